"""The wire list: rows of a table to wires, with every mistake found on the way."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from loomtest.errors import Problem, nearest
from loomtest.harness.colours import colour_parts
from loomtest.harness.copper import PART_OHMS
from loomtest.harness.lookalike import looks, told_apart
from loomtest.harness.measures import in_inches, read_amps, read_length, read_ohms, read_size
from loomtest.harness.model import Kind, Wire, connector_of
from loomtest.harness.outward import visible
from loomtest.harness.points import folded, read_point
from loomtest.harness.table import Table, quoted

NEEDED = ("from", "to")
KINDS: dict[str, Kind] = {
    "wire": "wire",
    "fuse": "fuse",
    "resistor": "resistor",
    "lamp": "lamp",
    "coil": "coil",
    "diode": "diode",
    "switch": "switch",
    "restraint": "restraint",
}
# Plain words for the kinds (common practice).
_ALSO_KINDS: dict[str, Kind] = {
    "bulb": "lamp", "light": "lamp", "globe": "lamp", "solenoid": "coil", "relay coil": "coil",
    "winding": "coil",
    "motor": "coil",
    "cable": "wire", "lead": "wire", "link": "wire", "jumper": "wire", "breaker": "fuse",
    "fusible link": "fuse", "push": "switch", "button": "switch", "rectifier": "diode",
}  # fmt: skip
COLUMNS = (
    "from",
    "to",
    "wire",
    "colour",
    "size",
    "length",
    "kind",
    "ohms_min",
    "ohms_max",
    "amps",
    "circuit",
    "note",
)
_ALSO = {"color": "colour"}
_LONG_FOR_A_VEHICLE_M = 100.0
MOST_SHARED = 3  # double crimps that are told one by one
MOST_WRONG = 500  # wrong cells of one column that are told one by one
# Gauges that nobody means as mm²: typed without "AWG" they would be thick cable.
_GAUGES_TYPED_BARE = {"12", "14", "18", "20", "22", "24", "26"}

Value = TypeVar("Value")


def columns_of(table: Table, problems: list[Problem]) -> dict[str, int]:
    """Column name to its place; unknown columns keep their own name, in the table's order."""
    places: dict[str, int] = {}
    line = table.header_line
    for place, written in enumerate(table.header):
        name = written.casefold()
        name = _ALSO.get(name, name)
        if name not in COLUMNS:
            name = written or f"column {place + 1}"
        if name in places:
            expected = f"one column named {name}"
            where = visible(name)
            problems.append(Problem(table.file, line, where, f"column {quoted(written)} twice", expected))
            continue
        places[name] = place
    likely: set[str] = set()  # what was probably meant for a needed column
    for needed in NEEDED:
        if needed not in places:
            near = nearest(needed, [name for name in table.header if name.casefold() not in COLUMNS], 1)
            likely.update(near)
            hint = f"; the nearest that is there is {quoted(near[0])}" if near else ""
            found = "no such column, only " + quoted(", ".join(table.header), 200)
            problems.append(Problem(table.file, line, needed, found, f"a column named {needed}{hint}"))
    for name in places:
        if name not in COLUMNS and name not in likely:
            close = [column for column in nearest(name, COLUMNS, 1) if column not in places]
            if close:
                expected = f"{close[0]}, if that is what is meant; the column is kept but not used"
                where = visible(name)
                problems.append(
                    Problem(table.file, line, where, f"column {quoted(name)}", expected, "warning")
                )
    return places


class _Columns:
    """The table by columns: equal cells are read once, so that a list of 100,000 rows takes a second."""

    def __init__(self, table: Table, places: dict[str, int], problems: list[Problem]) -> None:
        self.file, self.problems, self.places = table.file, problems, places
        self.lines = [line for line, _ in table.rows]
        self.place = table.place
        self.rows = [cells for _, cells in table.rows]
        self.bad: set[int] = set()  # rows that make no wire
        self.told: dict[str, int] = {}  # problems of each column
        self.texts: dict[str, list[str]] = {}
        self.numbers: dict[str, list[str]] = {}  # the cells of the number columns, for `_check_decimals`

    def text(self, column: str) -> list[str]:
        """The cells of a column without the spaces around them; empty ones where there is no such column."""
        if column not in self.texts:
            place = self.places.get(column)
            self.texts[column] = (
                [""] * len(self.rows) if place is None else [cells[place].strip() for cells in self.rows]
            )
        return self.texts[column]

    def read(self, column: str, reader: Callable[[str], Value]) -> list[Value | None]:
        """The column's values: None where the cell is empty or wrong (then it stands among the problems)."""
        if column not in self.places:
            return [None] * len(self.rows)
        cells = self.text(column)
        values: dict[str, Value | None] = {"": None}
        wrong: dict[str, str] = {}
        for cell in dict.fromkeys(cells):
            if len(wrong) >= MOST_WRONG:  # a file of another kind: the rest of the column stays unread
                break
            if cell:
                try:
                    values[cell] = reader(cell.replace("\u00a0", " "))
                except ValueError as error:
                    values[cell], wrong[cell] = None, str(error)
        if wrong:
            self._tell(column, cells, wrong)
        return [values.get(cell) for cell in cells]

    def _tell(self, column: str, cells: list[str], wrong: dict[str, str]) -> None:
        rows = [row for row, cell in enumerate(cells) if cell in wrong]
        for row in rows[:MOST_WRONG]:
            self.wrong(row, column, quoted(cells[row]), wrong[cells[row]])
        if rows[MOST_WRONG:] or len(wrong) == MOST_WRONG:
            self.wrong(rows[-1], column, f"more than {MOST_WRONG} mistakes", "those above put right first")
        self.bad.update(rows)

    def number(self, column: str, reader: Callable[[str], float]) -> list[float | None]:
        """Like `read`, of a column of numbers."""
        if column in self.places:
            self.numbers[column] = self.text(column)
        return self.read(column, reader)

    def wrong(self, row: int, column: str, found: str, expected: str) -> None:
        self.bad.add(row)
        self.told[column] = self.told.get(column, 0) + 1
        if self.told[column] <= 2 * MOST_WRONG:
            self.problems.append(Problem(self.file, self.lines[row], column, found, expected))

    def odd(self, row: int, column: str, found: str, expected: str) -> None:
        self.problems.append(Problem(self.file, self.lines[row], column, found, expected, "warning"))


@dataclass(frozen=True, slots=True)
class WireList:
    """The wires, to be used when there is no mistake, and every end that could be read.

    `ends` are (line, column, point), also of rows that make no wire: a mistake in a row hides no other.
    """

    wires: tuple[Wire, ...] = ()
    ends: tuple[tuple[int, str, str], ...] = ()
    table: Table | None = None


def read_wires(table: Table, problems: list[Problem]) -> WireList:
    """All rows that could be read; mistakes and oddities are added to `problems`."""
    places = columns_of(table, problems)
    if not all(needed in places for needed in NEEDED):
        return WireList(table=table)
    if not table.rows:
        if not any(problem.severity == "error" for problem in problems):
            problems.append(Problem(table.file, None, "", "a wire list with no rows", "a row for each wire"))
        return WireList()
    columns = _Columns(table, places, problems)
    starts, ends = _ends(columns)
    columns.read("colour", colour_parts)
    kinds = columns.read("kind", read_kind)
    sizes, lengths = columns.number("size", read_size), columns.number("length", read_length)
    imperial = [in_inches(text) for text in columns.text("length")]
    lowest, highest = columns.number("ohms_min", read_ohms), columns.number("ohms_max", read_ohms)
    _check_ranges(columns, kinds, lowest, highest)
    amps = columns.number("amps", read_amps)
    _check_decimals(columns)
    given = [bool(name) for name in columns.text("wire")]
    names = _names(columns)
    colours, circuits, notes = columns.text("colour"), columns.text("circuit"), columns.text("note")
    extras = [[(name, cell) for cell in columns.text(name)] for name in places if name not in COLUMNS]
    extra = list(zip(*extras, strict=True)) if extras else [()] * len(columns.rows)
    wires = tuple(
        Wire(
            name=names[row],
            start=start,
            end=end,
            kind=kinds[row] or "wire",
            colour=colours[row],
            size_mm2=sizes[row],
            length_m=lengths[row],
            ohms_min=lowest[row],
            ohms_max=highest[row],
            amps=amps[row],
            circuit=circuits[row],
            note=notes[row],
            row=columns.lines[row],
            extra=extra[row],
            named=given[row],
            inches=imperial[row],
        )
        for row, (start, end) in enumerate(zip(starts, ends, strict=True))
        if start is not None and end is not None
    )
    _check_bare_gauges(columns)
    _check_long(columns, lengths)
    joins = [
        (row, column, point)
        for row, both in enumerate(zip(starts, ends, strict=True))
        for column, point in zip(NEEDED, both, strict=True)
        if point is not None
    ]
    _check_shared_cavities(columns, joins, kinds, names)
    _check_alike(columns, joins, names)
    ends_read = tuple((columns.lines[row], column, point) for row, column, point in joins)
    return WireList(wires, ends_read, table)


def _ends(columns: _Columns) -> tuple[list[str | None], list[str | None]]:
    starts, ends = (columns.read(column, read_point) for column in NEEDED)
    for column in NEEDED:
        for row, cell in enumerate(columns.text(column)):
            if not cell:
                columns.wrong(row, column, "nothing", "a point such as X3:2 or GND1")
    for row, (start, end) in enumerate(zip(starts, ends, strict=True)):
        if start is not None and start == end:
            columns.wrong(row, "to", f"{quoted(start)} at both ends", "two different points")
    return starts, ends


def _check_ranges(
    columns: _Columns, kinds: list[Kind | None], lowest: list[float | None], highest: list[float | None]
) -> None:
    for row, low in enumerate(lowest):
        high = highest[row]
        if low is None:
            continue
        if high is not None and low > high:
            columns.wrong(row, "ohms_min", f"{low:g} above ohms_max {high:g}", "the smaller of the two")
        elif high is None and low >= PART_OHMS[1] and (kinds[row] or "wire") != "wire":
            columns.wrong(row, "ohms_max", "nothing", f"the highest value too, where ohms_min is {low:g}")


def read_kind(text: str) -> Kind:
    """The kind that a word says, `bulb` and `fuse 10 A` too. Raises ValueError with the words there are."""
    word = re.sub(r"\s+\d.*", "", text.casefold())
    kind = KINDS.get(word) or _ALSO_KINDS.get(word)
    if kind is None:
        near = nearest(text, list(KINDS), 1)
        raise ValueError("one of " + ", ".join(KINDS) + (f"; the nearest is {near[0]}" if near else ""))
    return kind


def _names(columns: _Columns) -> list[str]:
    """Every wire's name: W1, W2 … by row where the list gives none; two of a name are a mistake."""
    names = list(columns.text("wire"))
    taken: dict[str, int] = {}
    for row, name in enumerate(names):
        if name and taken.setdefault(name, row) != row:
            found = f"{quoted(name)}, the name of the wire in {columns.place(columns.lines[taken[name]])} too"
            columns.wrong(row, "wire", found, "a name of its own for each wire")
    for row, name in enumerate(names):
        if not name:
            own = name = f"W{row + 1}"
            while name in taken:
                name += "'"
            if name != own:
                found = f"no name, and {own} is the wire in {columns.place(columns.lines[taken[own]])}"
                columns.odd(row, "wire", found, f"a name; it is called {name} until then")
            taken[name] = row
            names[row] = name
    return names


def _check_decimals(columns: _Columns) -> None:
    """A decimal comma is taken and said; comma and point in one file are refused: one of them is a slip."""

    def with_sign(sign: str) -> list[tuple[int, str, str]]:
        return sorted(
            (row, column, cell)
            for column, cells in columns.numbers.items()
            for row, cell in enumerate(cells)
            if sign in cell and row not in columns.bad
        )

    commas = with_sign(",")
    if not commas:
        return
    row, column, text = commas[0]
    dots = with_sign(".")
    if dots:
        other, other_column, other_text = dots[0]
        found = f"{quoted(text)} with a decimal comma, and {quoted(other_text)} with a decimal point"
        found += f" in {columns.place(columns.lines[other])}, {other_column}"
        columns.wrong(row, column, found, "one decimal sign in the whole file")
        return
    found = f"{quoted(text)}, with a decimal comma" + (f" ({len(commas)} such cells)" if commas[1:] else "")
    columns.odd(row, column, found, f"a decimal point; it was read as {text.replace(',', '.')}")


def _check_bare_gauges(columns: _Columns) -> None:
    cells = columns.text("size")
    rows = [row for row, cell in enumerate(cells) if cell in _GAUGES_TYPED_BARE]
    if rows:
        text = cells[rows[0]]
        found = f"{quoted(text)}, read as {text} mm²" + (
            f" (and {len(rows) - 1} more like it)" if rows[1:] else ""
        )
        columns.odd(rows[0], "size", found, f"AWG {text}, if a gauge is meant")


def _check_long(columns: _Columns, lengths: list[float | None]) -> None:
    rows = [row for row, length in enumerate(lengths) if (length or 0.0) > _LONG_FOR_A_VEHICLE_M]
    if rows:
        found = f"{lengths[rows[0]]:g} m" + (f" (and {len(rows) - 1} more like it)" if rows[1:] else "")
        columns.odd(rows[0], "length", found, "a unit, if these are not metres: 850 mm, 33 in")


def _check_shared_cavities(
    columns: _Columns, joins: list[tuple[int, str, str]], kinds: list[Kind | None], names: list[str]
) -> None:
    """Two wires in one cavity are allowed (a double crimp) and said; parts stand beside their wires."""
    first: dict[str, int] = {}
    shared: list[tuple[int, str, str]] = []
    for row, column, point in joins:
        if ":" in point and kinds[row] in (None, "wire") and first.setdefault(point, row) != row:
            shared.append((row, column, point))
    expected = "a cavity of its own, a splice, or two wires in one terminal on purpose"
    if len(shared) > MOST_SHARED:  # a loom full of double crimps: one sentence, not a screen of them
        some = ", ".join(dict.fromkeys(point for _, _, point in shared[:40]))
        found = f"{len(shared)} wires that share their cavity with another: {quoted(some, 100)}"
        columns.odd(shared[0][0], shared[0][1], found, expected)
        return
    for row, column, point in shared:
        other = first[point]
        found = (
            f"{quoted(point)}, where {quoted(names[other])} ({columns.place(columns.lines[other])}) ends too"
        )
        columns.odd(row, column, found, expected)


def _check_alike(columns: _Columns, joins: list[tuple[int, str, str]], names: list[str]) -> None:
    """Names that differ only by case, by a cavity's leading zeros, or not to the eye: one thing, probably."""
    wires = {name: (row, "wire") for row, name in enumerate(names)}
    points = {point: (row, column) for row, column, point in reversed(joins)}
    connectors = {connector_of(point): place for point, place in points.items()}
    connectors.pop("", None)
    for found_at, fold in ((wires, str.casefold), (points, folded), (connectors, str.casefold)):
        if len({fold(name) for name in found_at}) == len(found_at):
            continue
        seen: dict[str, str] = {}
        for name, (row, column) in sorted(found_at.items(), key=lambda item: item[1][0]):
            other = seen.setdefault(fold(name), name)
            if other == name or (found_at is points and connector_of(name) != connector_of(other)):
                continue  # a connector's name is said once, not at each of its cavities
            found = (
                f"{quoted(name)}, and {quoted(other)} in {columns.place(columns.lines[found_at[other][0]])}"
            )
            columns.odd(row, column, found, "one spelling, if they are the same")
    for found_at in (points, connectors):
        _check_looks(columns, found_at)


def _check_looks(columns: _Columns, found_at: Mapping[str, tuple[int, str]]) -> None:
    """Names that nobody can tell apart by looking."""
    if len({looks(name) for name in found_at}) == len(found_at):
        return
    seen: dict[str, str] = {}
    for name, (row, column) in sorted(found_at.items(), key=lambda item: item[1][0]):
        other = seen.setdefault(looks(name), name)
        if other == name or (":" in name and connector_of(name) != connector_of(other)):
            continue  # a connector's name is said once, not at each of its cavities
        mine, its = told_apart(name, other)
        place = columns.place(columns.lines[found_at[other][0]])
        found = f"{quoted(name)} ({mine}), which looks like {quoted(other)} ({its}) in {place}"
        columns.odd(row, column, found, "one spelling, if they are the same")
