"""Instrument files: a meter's specification from `instrument.toml`, or one of the generic ones by name."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.document import LARGEST_TOML_BYTES, finite_number, plain, read_document
from loomtest.harness.outward import visible
from loomtest.harness.table import lines_of, read_text
from loomtest.readings.generic import TWO_WIRE_LEAD_UNCERTAINTY_OHM, TWO_WIRE_TOUCH_OHM
from loomtest.readings.model import CapacitanceRange, Instrument, Range, VoltageRange

_KEYS = (
    "name",
    "method",
    "autorange",
    "lead_ohms",
    "lead_uncertainty_ohms",
    "touch_ohms",
    "open_above_ohms",
    "beep_below_ohms",
    "range",
    "lead_farads",
    "capacitance_range",
    "voltage_range",
    "serial",  # how to talk to the meter: read by the bench, not here
)
_RANGE_KEYS = ("up_to_ohms", "percent", "counts", "resolution_ohms")
_CAPACITANCE_KEYS = ("up_to_farads", "percent", "counts", "resolution_farads")
_VOLTAGE_KEYS = ("up_to_volts", "percent", "counts", "resolution_volts")
_METHODS = ("two-wire", "four-wire")
_FOLDER = Path(__file__).parents[1] / "data" / "instruments"


def instrument_names() -> tuple[str, ...]:
    """Names of the generic instruments that come with the package."""
    return tuple(sorted(path.stem for path in _FOLDER.glob("*.toml")))


def load_instrument(file_or_name: str | Path) -> Instrument:
    """An instrument's specification from a file, or a generic one by its name (`handheld-3half`).

    Raises InputError with every mistake in the file.
    """
    path = Path(file_or_name)
    if path.is_file():
        return _parse(path)
    name = str(file_or_name).removesuffix(".toml").casefold()
    if name in instrument_names():
        return _parse(_FOLDER / f"{name}.toml")
    known = instrument_names()
    close = nearest(name, known, 1)
    raise InputError(
        [
            Problem(
                str(file_or_name),
                None,
                "",
                "no such instrument file",
                "a file, or one of " + ", ".join(known) + (f" (did you mean {close[0]}?)" if close else ""),
            )
        ]
    )


def _parse(path: Path) -> Instrument:
    file, problems = str(path), list[Problem]()
    text = read_text(path, file, problems, LARGEST_TOML_BYTES)
    table = None if text is None else read_document(text, file, problems)
    if text is None or table is None:
        raise InputError(problems)
    reader = _InstrumentReader(file, text)
    instrument = reader.instrument(table)
    if reader.problems:
        raise InputError(reader.problems)
    return instrument


class _InstrumentReader:
    """Collects every problem of one file while its tables are read."""

    def __init__(self, file: str, text: str) -> None:
        self.file, self.text, self.lines = file, text, lines_of(text)
        self.problems: list[Problem] = []

    def instrument(self, table: Mapping[str, Any]) -> Instrument:
        self._unknown(table, _KEYS)
        method = table.get("method", "two-wire")
        if method not in _METHODS:
            self._say("method", plain(method), '"two-wire" or "four-wire"')
        two_wire = method != "four-wire"
        lead = self._number(table, "lead_ohms", None if two_wire else 0.0)
        autorange = table.get("autorange", False)
        if not isinstance(autorange, bool):
            self._say("autorange", plain(autorange), "true or false")
        name = table.get("name", Path(self.file).stem)
        if not isinstance(name, str):
            self._say("name", plain(name), "text in quotes")
        return Instrument(
            name=str(name),
            method=str(method),
            autorange=bool(autorange),
            lead_ohms=lead,
            lead_uncertainty_ohms=self._number(
                table, "lead_uncertainty_ohms", TWO_WIRE_LEAD_UNCERTAINTY_OHM if two_wire else 0.0
            )
            or 0.0,
            touch_ohms=self._number(table, "touch_ohms", TWO_WIRE_TOUCH_OHM if two_wire else 0.0) or 0.0,
            open_above_ohms=self._number(table, "open_above_ohms", None, above_zero=True),
            beep_below_ohms=self._number(table, "beep_below_ohms", None, above_zero=True),
            ranges=tuple(Range(**row) for row in self._ranges(table, "range", _RANGE_KEYS)),
            lead_farads=self._number(table, "lead_farads", 0.0) or 0.0,
            capacitance_ranges=tuple(
                CapacitanceRange(**row) for row in self._ranges(table, "capacitance_range", _CAPACITANCE_KEYS)
            ),
            voltage_ranges=tuple(
                VoltageRange(**row) for row in self._ranges(table, "voltage_range", _VOLTAGE_KEYS)
            ),
            source=self.file,
            text=self.text,
        )

    def _ranges(self, table: Mapping[str, Any], name: str, keys: Sequence[str]) -> list[dict[str, float]]:
        """The numbers of every table [[name]], the lowest range first; only `range` must be there."""
        tables = table.get(name)
        if tables is None and name != "range":
            return []
        if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
            found = f"no [[{name}]]" if tables is None else plain(tables)
            self._say(name, found, f"at least one table [[{name}]]")
            return []
        rows = []
        # The keys that both kinds of range share stand in the order of the file.
        first = self.text.find(f"[[{name}]]")
        before = {key: len(re.findall(rf"^\s*{key}\s*=", self.text[:first], re.MULTILINE)) for key in keys}
        for index, row in enumerate(tables):
            self._unknown(row, keys, index)
            numbers = {}
            for key in keys:
                at = index + before[key]
                if key not in row:
                    self._say(key, f"nothing in [[{name}]] number {index + 1}", "a number", at)
                needs_more = key.startswith(("up_to", "resolution"))
                numbers[key] = self._number(row, key, 0.0, above_zero=needs_more, occurrence=at) or 0.0
            rows.append(numbers)
        return sorted(rows, key=lambda numbers: numbers[keys[0]])

    def _number(
        self,
        table: Mapping[str, Any],
        key: str,
        default: float | None,
        *,
        above_zero: bool = False,
        occurrence: int = 0,
    ) -> float | None:
        if key not in table:
            return default
        value = table[key]
        number = finite_number(value)
        if number is None or number < 0 or (above_zero and number == 0):
            wanted = "a number above zero" if above_zero else "a number, zero or more"
            self._say(key, plain(value), wanted, occurrence)
            return default
        return number

    def _unknown(self, table: Mapping[str, Any], known: Sequence[str], occurrence: int = 0) -> None:
        for key in table:
            if key not in known:
                close = nearest(key, known, 1)
                advice = f"{close[0]} (the nearest known key)" if close else "one of " + ", ".join(known)
                self._say(key, "an unknown key", advice, occurrence)

    def _say(self, key: str, found: str, expected: str, occurrence: int = 0) -> None:
        pattern = re.compile(rf"\s*(\[\[?\s*)?{re.escape(key)}\s*[=\]]")
        places = [number for number, line in enumerate(self.lines, 1) if pattern.match(line)]
        # Within the tables [[range]] a key may be missing from earlier ones: then the place is only near.
        line = places[min(occurrence, len(places) - 1)] if places else None
        self.problems.append(Problem(self.file, line, visible(key), found, expected))
