"""From the cells of a readings table to `Readings`: codes, floats, and every problem on the way.

Each distinct text is parsed once, whatever the number of rows that hold it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from functools import cached_property

import numpy as np

from loomtest.errors import Problem, nearest
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray, connector_of
from loomtest.harness.points import folded, natural, read_point
from loomtest.readings.marked import COMMON
from loomtest.readings.model import Quantity
from loomtest.readings.table import Cells, ReadingsTable
from loomtest.readings.values import ValueSyntaxError, parse_unit, quoted

# After so many bad cells of one column the file is of another kind, and a longer list helps nobody.
MOST_PROBLEMS_PER_COLUMN = 1000
MOST_NEAREST = 100  # unknown points after which nobody looks for the nearest name: it takes long
MOST_UNDECLARED = 10_000


class NeedsCareError(Exception):
    """The bulk reader met a plain number that has to be reported with its own spelling."""


class TextColumn(Mapping[int, str]):
    """The non-empty cells of a column, by index of the reading; holds codes, not a million strings."""

    def __init__(self, cells: Cells) -> None:
        self._cells = cells
        filled = np.array([bool(text) for text in cells.texts], dtype=np.bool_)
        self._indices: IntArray = np.flatnonzero(filled[cells.codes]) if len(filled) else cells.codes[:0]

    def __getitem__(self, index: int) -> str:
        text = self._cells.texts[int(self._cells.codes[index])] if 0 <= index < len(self._cells.codes) else ""
        if not text:
            raise KeyError(index)
        return text

    def __iter__(self) -> Iterator[int]:
        return iter(self._indices.tolist())

    def __len__(self) -> int:
        return len(self._indices)


class Columns:
    """The rows of a table that stand, and the problems met while they are read.

    `keep` are the indices of those rows in the table; every array below is (len(keep),).
    """

    def __init__(self, table: ReadingsTable, harness: Harness, with_common: bool = False) -> None:
        self.table, self.harness = table, harness
        self.errors: list[Problem] = list(table.problems)
        self.warnings: list[Problem] = list(table.warnings)
        self.withdrawn = 0
        self._keep = self._standing()
        self.lines = self._kept(table.lines)
        self.points: list[str] = list(harness.points)
        self._code_of = dict(harness.code_of)
        self._connectors = {connector_of(point) for point in harness.points} | set(harness.cavities)
        self._connectors.discard("")
        self._strangers = 0
        self.common = -1  # until the undeclared cavities are sorted; then it is the last point
        if with_common and COMMON not in self._code_of:
            self.common = self._code_of[COMMON] = len(self.points)
            self.points.append(COMMON)

    # Rows -----------------------------------------------------------------------------------------------

    def _kept(self, column: IntArray) -> IntArray:
        return column if self._keep is None else column[self._keep]

    def _standing(self) -> IntArray | None:
        """Rows that hold a reading and are not withdrawn; None: all of them."""
        filled = self._filled()
        cells = self.table.columns.get("withdraws")
        if cells is None or not any(cells.texts):
            return None if filled is None else np.flatnonzero(filled)
        row_of_line = {line: row for row, line in enumerate(self.table.lines.tolist())}
        malformed = {problem.line for problem in self.table.problems if problem.line is not None}
        numbered = sorted(row_of_line.keys() | {line for line in malformed if line > 1})
        stands = np.ones(len(self.table), dtype=np.bool_) if filled is None else filled
        taken_back: dict[int, int] = {}
        for row in np.flatnonzero(np.array([bool(text) for text in cells.texts])[cells.codes]).tolist():
            line, text = int(self.table.lines[row]), cells.texts[cells.codes[row]]
            number = int(text) if re.fullmatch(r"[0-9]{1,9}", text) else 0
            earlier = numbered[number - 1] if 1 <= number <= len(numbered) else -1
            if self._text("value", row) == "":
                stands[row] = False
            if earlier < 0 or earlier >= line:
                found = quoted(text) + (", a later row" if earlier > line else "")
                found += ", this row itself" if earlier == line else ""
                self._error(line, "withdraws", found, "the number of an earlier reading (the first is 1)")
            elif self._only_withdraws(row_of_line.get(earlier)):
                self._error(line, "withdraws", quoted(text), "a row that holds a reading")
            elif earlier in taken_back:
                found = f"{quoted(text)}, which line {taken_back[earlier]} already takes back"
                self._warn(line, "withdraws", found, "each row taken back once")
            else:
                taken_back[earlier] = line
        stands[[row_of_line[line] for line in taken_back if line in row_of_line]] = False
        self.withdrawn = len(taken_back)
        gone = set(taken_back)
        self.errors = [p for p in self.errors if p.line not in gone]
        return np.flatnonzero(stands)

    def _filled(self) -> BoolArray | None:
        """False for rows of a bench sheet that nobody filled in, told once; None where there are none."""
        cells = self.table.columns["value"]
        if "" not in cells.texts:
            return None
        withdraws = self.table.columns.get("withdraws")
        empty: BoolArray = cells.codes == list(cells.texts).index("")
        if withdraws is not None:
            empty &= ~np.array([bool(text) for text in withdraws.texts], dtype=np.bool_)[withdraws.codes]
        rows = np.flatnonzero(empty)
        if not len(rows):
            return None
        found = "nothing" if len(rows) == 1 else f"nothing (and in {len(rows) - 1} more rows)"
        expected = "a value; the row counts as not measured"
        self._warn(int(self.table.lines[rows[0]]), "value", found, expected)
        return np.logical_not(empty)

    def _only_withdraws(self, row: int | None) -> bool:
        return row is not None and self._text("value", row) == "" and self._text("withdraws", row) != ""

    def _text(self, column: str, row: int) -> str:
        cells = self.table.columns.get(column)
        if cells is None or cells.codes[row] < 0:
            return "" if cells is None else "a number"
        return cells.texts[int(cells.codes[row])]

    # Problems -------------------------------------------------------------------------------------------

    def _error(self, line: int, column: str, found: str, expected: str) -> None:
        self.errors.append(Problem(self.table.file, line, column, found, expected))

    def _warn(self, line: int, column: str, found: str, expected: str) -> None:
        self.warnings.append(Problem(self.table.file, line, column, found, expected, "warning"))

    def error_rows(self, rows: IntArray, column: str, found: str, expected: str) -> None:
        """The same problem at each of `rows` (indices of standing rows)."""
        for row in rows[:MOST_PROBLEMS_PER_COLUMN].tolist():
            self._error(int(self.lines[row]), column, found, expected)

    def warn_row(self, row: int, column: str, found: str, expected: str) -> None:
        """A warning at one standing row."""
        self._warn(int(self.lines[row]), column, found, expected)

    def report(
        self, codes: IntArray, column: str, bad: Mapping[int, ValueSyntaxError], rows: IntArray | None = None
    ) -> None:
        """Each standing row whose code is among `bad`; `rows` are those that `codes` stand for."""
        if not bad:
            return
        for index in np.flatnonzero(np.isin(codes, list(bad)))[:MOST_PROBLEMS_PER_COLUMN].tolist():
            error = bad[int(codes[index])]
            row = index if rows is None else rows[index]
            self._error(int(self.lines[row]), column, error.found, error.expected)

    # Cells ----------------------------------------------------------------------------------------------

    def cells(self, column: str) -> Cells | None:
        """The standing cells of a column; None where it is absent or empty throughout."""
        cells = self.table.columns.get(column)
        if cells is None or not any(cells.texts):
            return None
        return Cells(self._kept(cells.codes), cells.texts)

    def value_cells(self) -> Cells:
        """The standing cells of `value`, empty ones included."""
        cells = self.table.columns["value"]
        return Cells(self._kept(cells.codes), cells.texts)

    def plain(self) -> FloatArray | None:
        """The standing bare numbers of the bulk reader."""
        if self.table.plain is None or self._keep is None:
            return self.table.plain
        return self.table.plain[self._keep]

    def parsed(self, column: str, parse: Callable[[str], float]) -> tuple[FloatArray, BoolArray]:
        """(n,) numbers of a column, NaN where a cell is empty or bad, and whether each cell was filled."""
        n = len(self.lines)
        cells = self.cells(column)
        if cells is None:
            return constant(n, math.nan), np.broadcast_to(np.False_, n)
        numbers = np.full(len(cells.texts), math.nan)
        bad: dict[int, ValueSyntaxError] = {}
        for code in used_codes(cells.codes):
            if cells.texts[code]:
                try:
                    numbers[code] = parse(cells.texts[code])
                except ValueSyntaxError as error:
                    bad[code] = error
                    if len(bad) >= MOST_PROBLEMS_PER_COLUMN:
                        break
        self.report(cells.codes, column, bad)
        filled = np.array([bool(text) for text in cells.texts], dtype=np.bool_)
        return numbers[cells.codes], filled[cells.codes]

    # Points ---------------------------------------------------------------------------------------------

    def point_codes(self, column: str) -> IntArray:
        """(n,) codes into `points` of the column `from` or `to`; -1 where the cell is no known point."""
        cells = self.cells(column)
        if cells is None:
            self.error_rows(np.arange(len(self.lines)), column, "nothing", "a point such as X3:2")
            return np.full(len(self.lines), -1)
        out = np.full(len(cells.texts), -1, dtype=np.int64)
        bad: dict[int, ValueSyntaxError] = {}
        for code in used_codes(cells.codes):
            try:
                out[code] = self.point_code(cells.texts[code])
            except ValueSyntaxError as error:
                bad[code] = error
                if len(bad) >= MOST_PROBLEMS_PER_COLUMN:
                    break
        self.report(cells.codes, column, bad)
        return out[cells.codes]

    def point_code(self, text: str) -> int:
        """The code of a point; an undeclared cavity gets one. Raises ValueSyntaxError."""
        try:
            name = read_point(text)
        except ValueError as error:
            raise ValueSyntaxError(quoted(text) if text else "nothing", str(error)) from None
        if name not in self._code_of:
            if connector_of(name) not in self._connectors:
                self._strangers += 1
                close = nearest(name, self.points) if self._strangers <= MOST_NEAREST else []
                advice = f": {', '.join(close)}?" if close else ""
                if name == COMMON:
                    advice = ", or markers.csv beside it that says where the marker clips sat"
                raise ValueSyntaxError(quoted(text), f"a point of the harness{advice}")
            if len(self.points) - len(self.harness.points) >= MOST_UNDECLARED:
                most = f"at most {MOST_UNDECLARED:,} cavities that the harness does not name"
                raise ValueSyntaxError(f"{quoted(text)}, one more undeclared cavity", most)
            self._code_of[name] = len(self.points)
            self.points.append(name)
        return self._code_of[name]

    def bonded(self, column: str) -> dict[int, tuple[int, ...]]:
        """Codes tied on by clips, by index of the reading, where the column is filled."""
        cells = self.cells(column)
        if cells is None:
            return {}
        tied: dict[int, tuple[int, ...]] = {}
        bad: dict[int, ValueSyntaxError] = {}
        for code in used_codes(cells.codes):
            try:
                tied[code] = tuple(dict.fromkeys(self.point_code(text) for text in cells.texts[code].split()))
            except ValueSyntaxError as error:
                bad[code] = error
        self.report(cells.codes, column, bad)
        return {row: tied[code] for row, code in enumerate(cells.codes.tolist()) if tied.get(code)}

    def sort_undeclared(self) -> IntArray:
        """Put the undeclared cavities into their natural order; (P,) the new code of every old one."""
        first = len(self.harness.points)
        extra = sorted(
            self.points[first:], key=lambda name: (self._code_of[name] == self.common, natural(name), name)
        )
        self.points[first:] = extra
        place = {name: first + index for index, name in enumerate(extra)}
        return np.array([place.get(name, code) for name, code in self._code_of.items()], dtype=np.int64)

    def warn_of_points(self, start: IntArray, end: IntArray) -> None:
        """Undeclared cavities and unreachable points that were probed, each once, at its first row."""
        declared = len(self.harness.points)
        odd = [self.harness.code_of[p] for p in self.harness.unreachable if p in self.harness.code_of]
        odd += range(declared, len(self.points) - (self.common >= 0))
        alike = {folded(point): point for point in self.harness.points}
        if not odd:
            return
        first_from, first_to = (_first_rows(codes, len(self.points)) for codes in (start, end))
        for code in sorted(odd):
            row, column = min((int(first_from[code]), "from"), (int(first_to[code]), "to"))
            if row == len(start):
                continue
            found = quoted(self.points[code])
            if self.points[code] in self.harness.untouchable:
                expected = "never a meter there: it belongs to a restraint system, and a meter can fire it"
            elif code < declared:
                expected = "no reading there: the harness says that no probe reaches it; the reading is used"
            else:
                expected = "a cavity of the harness; the reading is used as at an empty cavity"
                twin = alike.get(folded(self.points[code]))
                expected += f". Only case or zeros tell it from {twin}" if twin else ""
            self.warn_row(row, column, found, expected)

    # Quantities and units -------------------------------------------------------------------------------

    def quantities(self) -> IntArray:
        """(n,) codes of Quantity; bad cells are reported and read as resistance."""
        if self.cells("quantity") is None:
            return np.broadcast_to(np.int64(Quantity.RESISTANCE), len(self.lines))
        numbers, _ = self.parsed("quantity", _quantity)
        return np.where(np.isnan(numbers), float(Quantity.RESISTANCE), numbers).astype(np.int64)

    @cached_property
    def unit(self) -> tuple[IntArray, list[str], FloatArray]:
        """(n,) unit codes, their texts (absent and bad ones as ""), and (n,) SI units in one, NaN for ""."""
        cells = self.cells("unit")
        if cells is None:
            none = np.broadcast_to(np.int64(0), len(self.lines))
            return none, [""], constant(len(self.lines), math.nan)
        scale, _ = self.parsed("unit", lambda text: parse_unit(text)[0])
        good = set(cells.codes[~np.isnan(scale)].tolist())
        return cells.codes, [text if code in good else "" for code, text in enumerate(cells.texts)], scale

    def times(self) -> Mapping[int, str]:
        """The column `time` as written; one that is no ISO 8601 draws a warning."""
        cells = self.cells("time")
        if cells is None:
            return {}
        for code in used_codes(cells.codes):
            text = cells.texts[code]
            try:
                good = not text or datetime.fromisoformat(text).tzinfo is not None
            except ValueError:
                good = False
            if not good:
                row = int(np.flatnonzero(cells.codes == code)[0])
                expected = "ISO 8601 with an offset, such as 2026-05-01T14:03:00+02:00; kept as written"
                self.warn_row(row, "time", quoted(text), expected)
                break  # one is enough: a spreadsheet changes them all
        return TextColumn(cells)

    def notes(self) -> Mapping[int, str]:
        """The column `note`."""
        cells = self.cells("note")
        return {} if cells is None else TextColumn(cells)


def constant(count: int, value: float) -> FloatArray:
    """(count,) the same number throughout, in the memory of one; it cannot be written to."""
    return np.broadcast_to(np.float64(value), count)


def _first_rows(codes: IntArray, count: int) -> IntArray:
    """(count,) the first row of each code; the number of rows where it does not occur."""
    first = np.full(count, len(codes), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)  # written last, the first row stays
    return first


def used_codes(codes: IntArray) -> list[int]:
    """The codes that occur, ascending; -1 is none. A count is faster than a sort of millions."""
    used: list[int] = np.flatnonzero(np.bincount(codes[codes >= 0] if (codes < 0).any() else codes)).tolist()
    return used


def _quantity(text: str) -> float:
    name = text.upper().replace("-", "_").replace(" ", "_")
    if name in Quantity.__members__:
        return float(Quantity[name])
    known = [q.name.lower() for q in Quantity]
    close = nearest(text, known, 1)
    raise ValueSyntaxError(quoted(text), (f"{close[0]}, or " if close else "") + "one of " + ", ".join(known))
