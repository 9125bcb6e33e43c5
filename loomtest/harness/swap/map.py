"""The map of a connector change: rows `old,new`, or as on a notepad `colour,new`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.colours import colour_code, colour_parts, colour_words
from loomtest.harness.load import MOST_NEAREST, problems_in_order
from loomtest.harness.model import Harness, connector_of
from loomtest.harness.outward import visible
from loomtest.harness.points import read_point
from loomtest.harness.table import quoted, read_table

Column = Literal["from", "to"]
MARKS = ("splice", "split", "unused")


@dataclass(frozen=True, slots=True)
class WireEnd:
    """One end of a row of the wire list: `wire` is its index."""

    wire: int
    column: Column


@dataclass(frozen=True, slots=True)
class MapRow:
    """One row of the map: the ends of wires at `old` go to `new`, or nowhere when `new` is "".

    `mark`: "splice" (may share its new cavity), "split" (the wires of one old cavity part), "unused" or "".
    """

    line: int
    old: str
    new: str
    mark: str
    ends: tuple[WireEnd, ...]


@dataclass(frozen=True)
class ConnectorMap:
    """All rows of a map file; `connector` is the old one that its colours were looked up at, or ""."""

    file: str
    rows: tuple[MapRow, ...]
    connector: str = ""


def ends_at(harness: Harness) -> dict[str, list[WireEnd]]:
    """Every point of the wire list with the ends of wires and parts there, in order."""
    found: dict[str, list[WireEnd]] = {}
    for index, wire in enumerate(harness.wires):
        found.setdefault(wire.start, []).append(WireEnd(index, "from"))
        found.setdefault(wire.end, []).append(WireEnd(index, "to"))
    return found


def read_map(path: str | Path, harness: Harness, connector: str = "") -> ConnectorMap:
    """Read a map for this harness; `connector` is where a map without `old` looks up its colours.

    Raises InputError with every problem.
    """
    problems: list[Problem] = []
    file = visible(str(path))
    table = read_table(Path(path), file, ("old", "new"), problems)
    if table is None:
        raise InputError(problems)
    reader = _MapReader(file, harness, problems)
    names = ["colour" if name.casefold() == "color" else name.casefold() for name in table.header]
    known: tuple[str, ...] = ("old", "colour", "new", "mark")
    columns = {name: names.index(name) for name in known if name in names}
    for needed in ("new",) if "old" in columns or "colour" in columns else ("old", "new"):
        if needed not in columns:
            near = nearest(needed, table.header, 1)
            expected = f"a column named {needed}" + (" or colour" if needed == "old" else "")
            expected += f"; the nearest that is there is {quoted(near[0])}" if near else ""
            found = "no such column, only " + quoted(", ".join(table.header), 200)
            problems.append(Problem(file, table.header_line, needed, found, expected))
    if any(problem.severity == "error" for problem in problems):
        raise InputError(problems_in_order(problems))
    cells = [(line, {name: row[at].strip() for name, at in columns.items()}) for line, row in table.rows]
    if not cells:
        raise InputError([Problem(file, None, "", "a map with no rows", "a row for each cavity")])
    by_colour = [(line, row["colour"]) for line, row in cells if not row.get("old") and row.get("colour")]
    home = reader.home(by_colour, connector) if by_colour else ""
    rows = [reader.row(line, row, home) for line, row in cells]
    if any(problem.severity == "error" for problem in problems):
        raise InputError(problems_in_order(problems))
    return ConnectorMap(file, tuple(row for row in rows if row is not None), home)


class _MapReader:
    def __init__(self, file: str, harness: Harness, problems: list[Problem]) -> None:
        self.file, self.harness, self.problems = file, harness, problems
        self.ends = ends_at(harness)

    def wrong(self, line: int | None, column: str, found: str, expected: str) -> None:
        self.problems.append(Problem(self.file, line, column, found, expected))

    def colours_at(self, connector: str) -> dict[str, list[WireEnd]]:
        """The wires that end at a connector by colour code; parts have none."""
        found: dict[str, list[WireEnd]] = {}
        for point, ends in self.ends.items():
            if connector_of(point) == connector:
                for end in ends:
                    wire = self.harness.wires[end.wire]
                    if wire.kind == "wire":
                        found.setdefault(colour_code(wire.colour), []).append(end)
        return found

    def point_of(self, end: WireEnd) -> str:
        wire = self.harness.wires[end.wire]
        return wire.start if end.column == "from" else wire.end

    def home(self, rows: list[tuple[int, str]], wanted: str) -> str:
        """The old connector of a notepad map: as said, or the only one that has all of its colours."""
        connectors = list(dict.fromkeys(c for point in self.ends if (c := connector_of(point))))
        if wanted in connectors:
            return wanted
        if wanted:
            near = nearest(wanted, connectors, 1)
            expected = "a connector of the wire list" + (f"; the nearest is {near[0]}" if near else "")
            self.wrong(None, "", f"connector {quoted(wanted)}", expected)
            return ""
        codes = {colour_code(text) for _, text in rows}
        fitting = [name for name in connectors if codes <= set(self.colours_at(name))]
        if len(fitting) > 1 and len(set(fitting) & self.harness.worked_on) == 1:
            fitting = [name for name in fitting if name in self.harness.worked_on]
        if len(fitting) == 1:
            return fitting[0]
        found = "colours that fit " + (", ".join(fitting) if fitting else "no connector")
        self.wrong(rows[0][0], "colour", found, "the old connector's name: --connector NAME")
        return ""

    def row(self, line: int, cells: dict[str, str], home: str) -> MapRow | None:
        mark, new = self.mark(line, cells), self.new(line, cells)
        if cells.get("old"):
            found = self.by_point(line, cells["old"], cells.get("colour", ""))
        elif cells.get("colour"):
            found = self.by_colour(line, cells["colour"], home) if home else None
        else:
            self.wrong(line, "old", "nothing", "the old cavity, such as X5:1, or the wire's colour")
            return None
        if mark is None or new is None or found is None:
            return None
        old, ends = found
        if mark == "unused" and new:
            self.wrong(line, "new", f"{quoted(new)} marked unused", "one of the two")
            return None
        return MapRow(line, old, new, mark, ends)

    def mark(self, line: int, cells: dict[str, str]) -> str | None:
        mark = cells.get("mark", "").casefold()
        if mark in MARKS or not mark:
            return mark
        near = nearest(mark, MARKS, 1)
        expected = "nothing, or one of " + ", ".join(MARKS) + (f"; the nearest is {near[0]}" if near else "")
        self.wrong(line, "mark", quoted(cells["mark"]), expected)
        return None

    def new(self, line: int, cells: dict[str, str]) -> str | None:
        text = cells["new"]
        if text.casefold() == "unused":
            return ""
        if not text:
            if cells.get("mark", "").casefold() == "unused":
                return ""
            self.wrong(line, "new", "nothing", "the new cavity, such as X5N:3, or unused")
            return None
        return self.point(line, "new", text)

    def point(self, line: int, column: str, text: str) -> str | None:
        try:
            return read_point(text)
        except ValueError as error:
            self.wrong(line, column, quoted(text), str(error))
            return None

    def by_point(self, line: int, text: str, colour: str) -> tuple[str, tuple[WireEnd, ...]] | None:
        old = self.point(line, "old", text)
        if old is None:
            return None
        if old not in self.harness.code_of:
            expected = "a point of the wire list"
            if len(self.problems) < MOST_NEAREST:
                expected += ", such as " + _some(self.harness.points, text)
            self.wrong(line, "old", quoted(old), expected)
            return None
        ends = tuple(self.ends.get(old, ()))
        if not colour:
            return old, ends
        code = self.code(line, colour)
        if code is None:
            return None
        same = tuple(end for end in ends if colour_code(self.harness.wires[end.wire].colour) == code)
        if not same:
            there = ", ".join(
                colour_words(self.harness.wires[end.wire].colour) or "no colour" for end in ends
            )
            found = f"{quoted(colour)}, and the wire list has {there or 'no wire'} at {old}"
            self.wrong(line, "colour", found, "the colour of the wire at the old cavity")
            return None
        return old, same

    def by_colour(self, line: int, colour: str, home: str) -> tuple[str, tuple[WireEnd, ...]] | None:
        code = self.code(line, colour)
        if code is None:
            return None
        colours = self.colours_at(home)
        same = colours.get(code, [])
        cavities = list(dict.fromkeys(self.point_of(end) for end in same))
        if len(cavities) == 1:
            return cavities[0], tuple(same)
        if not cavities:
            known = ", ".join(colour_words(name) if name else "no colour" for name in sorted(colours))
            self.wrong(line, "colour", quoted(colour), f"a colour of a wire at {home}: {known}")
        else:
            wires = ", ".join(f"{self.harness.wires[e.wire].name} in {self.point_of(e)}" for e in same)
            found = f"{quoted(colour)}, which {home} has {len(cavities)} times ({wires})"
            self.wrong(line, "colour", found, "the old cavity in a column named old")
        return None

    def code(self, line: int, colour: str) -> str | None:
        try:
            colour_parts(colour)
        except ValueError as error:
            self.wrong(line, "colour", quoted(colour), str(error))
            return None
        return colour_code(colour)


def _some(points: tuple[str, ...], like: str) -> str:
    return ", ".join(nearest(like, points) or points[:3])
