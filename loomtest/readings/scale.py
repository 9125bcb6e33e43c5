"""Two slips of a whole file: decimal comma and point mixed, and a unit that every value shares wrongly."""

from __future__ import annotations

import re

import numpy as np

from loomtest.errors import Problem
from loomtest.harness.model import Harness
from loomtest.readings.columns import Columns, NeedsCareError, used_codes
from loomtest.readings.model import Quantity, Readings
from loomtest.readings.values import quoted

_NUMBERS = ("value", "uncertainty", "current", "range", "temperature")
COMMA = re.compile(r"[0-9],[0-9]|[^0-9],[0-9]|^,[0-9]")
POINT = re.compile(r"[0-9]\.(?![A-Za-z])|\.[0-9]")
# A wire with its joints and a meter's leads read tenths of an ohm (common practice): where not one of three
# wires or more does, the unit is likelier to be wrong than all of the loom.
_FEWEST = 3
_MOST_ALONG_A_WIRE_OHM = 10.0
_LEAST_ALONG_A_WIRE_OHM = 1e-4


def check_decimals(columns: Columns) -> None:
    """Decimal comma and decimal point in one file are an error that names both lines: one of them is a slip.

    `1.234` beside `0,42` may be a thousand. Raises NeedsCareError where the bulk reader lost the spelling.
    """
    commas = _first(columns, COMMA)
    if commas is None:
        return
    plain = columns.plain()
    if plain is not None and np.isfinite(plain).any():
        raise NeedsCareError
    points = _first(columns, POINT)
    if points is not None:
        (line, column, text), (other, other_column, other_text) = commas, points
        found = f"{quoted(text)} with a decimal comma, and {quoted(other_text)} with a decimal point"
        found += f" in line {other}, {other_column}"
        expected = "one decimal sign in the whole file"
        columns.errors.append(Problem(columns.table.file, line, column, found, expected))


def _first(columns: Columns, sign: re.Pattern[str]) -> tuple[int, str, str] | None:
    """(line, column, text) of the first standing number that holds the sign."""
    found: list[tuple[int, str, str]] = []
    for column in _NUMBERS:
        cells = columns.cells(column)
        if cells is None:
            continue
        codes = [code for code in used_codes(cells.codes) if sign.search(cells.texts[code])]
        if codes:
            row = int(np.flatnonzero(np.isin(cells.codes, codes))[0])
            found.append((int(columns.lines[row]), column, cells.texts[int(cells.codes[row])]))
    return min(found) if found else None


def scale_doubts(readings: Readings, harness: Harness) -> tuple[Problem, ...]:
    """A warning where every reading along a wire is far from what any wire has: m for M, or ohms for mΩ."""
    declared = len(harness.points)
    ohms = readings.quantity <= Quantity.RESISTANCE_4W  # two-wire and four-wire are the first two codes
    inside = ohms & (readings.start < declared) & (readings.end < declared) & np.isfinite(readings.value)
    rows = np.flatnonzero(inside)
    net = np.asarray(harness.net_of)
    rows = rows[net[readings.start[rows]] == net[readings.end[rows]]]
    values = readings.value[rows]
    if len(rows) < _FEWEST:
        return ()
    least, most = float(values.min()), float(values.max())
    if least <= _MOST_ALONG_A_WIRE_OHM and (most >= _LEAST_ALONG_A_WIRE_OHM or most <= 0.0):
        return ()
    if len(set(zip(readings.start[rows].tolist(), readings.end[rows].tolist(), strict=True))) < _FEWEST:
        return ()
    found = f"{least:g} to {most:g} ohms in every one of {len(rows)} readings along a wire"
    expected = "some tenths of an ohm: if the unit is wrong, put it right (m is milli, M is mega)"
    return (Problem(readings.source, int(readings.row[rows[0]]), "value", found, expected, "warning"),)
