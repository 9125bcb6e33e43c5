"""The readings of a run that is being recorded: only what was added since the last look is read."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from loomtest.harness.model import Harness
from loomtest.readings import runfile
from loomtest.readings.appended import split_torn
from loomtest.readings.load import assemble, load_readings
from loomtest.readings.model import Readings
from loomtest.readings.table import decode, parse_table


class GrowingReadings:
    """The readings of a run folder, as `load_readings` gives them, at the cost of the rows that are new.

    Warnings of rows read later are left out. A withdrawal, or a cavity that the harness does not declare,
    has everything read again.
    """

    def __init__(self, folder: Path, harness: Harness) -> None:
        self._folder, self._harness = folder, harness
        self._file = folder / runfile.READINGS_FILE
        self._read_bytes = self._lines = 0
        self._header = b""
        self._readings: Readings | None = None

    def now(self) -> Readings:
        """What stands in the folder now. Raises InputError as `load_readings` does."""
        with self._file.open("rb") as stream:
            stream.seek(self._read_bytes)
            whole, _ = split_torn(stream.read())
        if self._readings is not None and not whole:
            return self._readings
        fresh = self._rows(whole) if self._readings is not None else None
        if self._readings is None or fresh is None:
            self._readings = load_readings(self._folder, self._harness)
            data, _ = split_torn(self._file.read_bytes())
            self._read_bytes, self._lines = len(data), data.count(b"\n")
            self._header = data[: data.find(b"\n") + 1]
            return self._readings
        self._readings = _joined(self._readings, fresh, self._lines - 1)
        self._read_bytes += len(whole)
        self._lines += whole.count(b"\n")
        return self._readings

    def _rows(self, lines: bytes) -> Readings | None:
        """The new rows by themselves; None where they change what came before them."""
        table = parse_table(decode(self._header + lines, str(self._file)), str(self._file))
        withdraws = table.columns.get("withdraws")
        if table.problems or (withdraws is not None and any(withdraws.texts)):
            return None
        rows = assemble(table, self._harness)
        assert self._readings is not None
        same = rows.points == self._readings.points == self._harness.points
        return rows if same and len(rows) == len(table.lines) else None


def _joined(before: Readings, rows: Readings, above: int) -> Readings:
    """Both, the new rows' numbers raised by the `above` lines that stand between them and the header."""
    if before.turned is not None or rows.turned is not None:  # a run without a drop below zero has none
        before, rows = (
            replace(part, turned=np.zeros(len(part), dtype=np.bool_)) if part.turned is None else part
            for part in (before, rows)
        )
    names = [f.name for f in fields(before) if isinstance(getattr(before, f.name), np.ndarray)]
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(before, name), getattr(rows, name)]) for name in names
    }
    columns["row"] = np.concatenate([before.row, rows.row + above])
    bonded = {**before.bonded, **{index + len(before): tie for index, tie in rows.bonded.items()}}
    return replace(before, **columns, bonded=bonded, notes={}, times={})
