"""The readings of a run as a list to show."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from loomtest.bench.session.at_once import AtOnce
from loomtest.bench.session.by_hand import step_between, typed_value
from loomtest.harness.model import Harness
from loomtest.readings.appended import split_torn
from loomtest.readings.model import Instrument, Quantity
from loomtest.readings.runfile import READINGS_FILE


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """A reading: its line in readings.csv, its points, its value as written, and how it looked at once."""

    row: int
    start: str
    end: str
    value: str
    text: str
    good: bool
    back: bool = False

    def taken_back(self) -> ReadingLine:
        """The same, crossed out."""
        return replace(self, back=True)

    def to_json(self) -> dict[str, Any]:
        """As a screen gets it."""
        return {
            "row": self.row, "from": self.start, "to": self.end, "value": self.value,
            "text": self.text, "good": self.good, "back": self.back,
        }  # fmt: skip


def rows_of(folder: Path, harness: Harness, instrument: Instrument) -> dict[int, ReadingLine]:
    """The rows that a run holds already; what is torn at its end is left out."""
    text = split_torn((folder / READINGS_FILE).read_bytes())[0].decode("utf-8", "replace")
    glance = AtOnce(harness, instrument)
    rows: dict[int, ReadingLine] = {}
    for number, cells in enumerate(csv.DictReader(text.splitlines()), 1):
        if withdrawn := cells.get("withdraws"):
            if withdrawn.isdigit() and int(withdrawn) in rows:
                rows[int(withdrawn)] = rows[int(withdrawn)].taken_back()
            if not cells["value"]:
                continue
        told, good = cells["value"], True
        try:
            step = step_between(harness, cells["from"], cells["to"])
            quantity = Quantity[(cells["quantity"] or "resistance").upper()]
            if quantity in (Quantity.VOLTAGE_DROP, Quantity.CAPACITANCE):
                step = replace(step, what="place", quantity=cells["quantity"])
            amps = float(cells["current"]) if cells.get("current") else None
            looked = glance.look(step, typed_value(cells["value"], quantity), amps)
            told, good = looked.text, looked.good
        except (ValueError, KeyError):
            pass  # shown as it stands
        rows[number] = ReadingLine(number, cells["from"], cells["to"], cells["value"], told, good)
    return rows
