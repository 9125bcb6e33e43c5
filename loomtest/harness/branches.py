"""`branches.csv`: how the loom lies, one row for each branch between two nodes, as a tape measure gives it.

A row without `to` says where a node lies (`x`, `y`, and `z` where known); any node may be left out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from loomtest.errors import Problem, nearest
from loomtest.harness.lie import Branch, Lie, Place3D
from loomtest.harness.measures import in_inches, read_length
from loomtest.harness.model import Wire, connector_of
from loomtest.harness.outward import visible
from loomtest.harness.points import folded, read_point
from loomtest.harness.table import Table, quoted, read_table

BRANCHES = "branches.csv"
BRANCH_COLUMNS = ("from", "to", "length", "x", "y", "z")
MOST_SAID = 12  # names in one sentence, sentences of one kind
# A wire has a little more than the way: it goes into its connectors and lies round others (common practice).
FAR_OFF_SHARE, FAR_OFF_M = 0.25, 0.10


def read_branches(path: Path, problems: list[Problem]) -> Lie | None:
    """The lie in a file; mistakes, each with its line and column, are added to `problems`."""
    file = visible(str(path))
    table = read_table(path, file, ("from", "to", "length"), problems)
    if table is None:
        return None
    places = _columns(table, problems)
    if places is None:
        return None
    branches: list[Branch] = []
    at_m: dict[str, Place3D] = {}
    for line, cells in table.rows:
        row = {name: cells[place].strip() for name, place in places.items()}
        row = {name: row.get(name, "") for name in BRANCH_COLUMNS}
        _read_row(_Row(file, line, row, problems), branches, at_m)
    if not branches:
        if not any(p.severity == "error" and p.file == file for p in problems):
            problems.append(Problem(file, None, "", "no branch", "a row for each branch: from, to, length"))
        return None
    _check_twice(file, branches, problems)
    return Lie(tuple(branches), at_m, file)


class _Row:
    def __init__(self, file: str, line: int, cells: dict[str, str], problems: list[Problem]) -> None:
        self.file, self.line, self.cells, self.problems = file, line, cells, problems

    def say(self, column: str, found: str, expected: str, severity: str = "error") -> None:
        self.problems.append(Problem(self.file, self.line, column, found, expected, severity))

    def node(self, column: str) -> str:
        try:
            return read_point(self.cells[column])
        except ValueError as error:
            expected = str(error) if self.cells[column] else "a connector, a point, or a name such as J1"
            self.say(column, quoted(self.cells[column]) if self.cells[column] else "nothing", expected)
            return ""

    def length(self) -> float | None:
        text = self.cells["length"]
        try:
            return read_coordinate(text, signed=False) if text else None
        except ValueError as error:
            self.say("length", quoted(text), str(error))
            return None

    def place(self) -> Place3D | None:
        """Where a node lies; None, with the reason said, where that is not two or three lengths."""
        out: list[float] = []
        for column in ("x", "y", "z"):
            text = self.cells[column]
            if not text and column == "z":
                out.append(0.0)
                continue
            try:
                out.append(read_coordinate(text))
            except ValueError as error:
                self.say(column, quoted(text) if text else "nothing", str(error))
                return None
        return out[0], out[1], out[2]


def read_coordinate(text: str, *, signed: bool = True) -> float:
    """Metres, 0 and (`signed`) below too, with the units of a length. ValueError with what was expected."""
    bare = text.strip().replace("\u00a0", " ")
    if not signed and bare.strip("0.,"):
        return read_length(bare)
    sign = -1.0 if bare[:1] in ("-", "\u2212") else 1.0
    number = bare.lstrip("+-\u2212").strip()
    if number and not number.strip("0.,"):
        return 0.0
    return sign * read_length(number)


def _read_row(row: _Row, branches: list[Branch], at_m: dict[str, Place3D]) -> None:
    start = row.node("from")
    placed = any(row.cells[column] for column in ("x", "y", "z"))
    if placed and row.cells["to"]:
        expected = "x and y in a row of their own, with from alone: where that node lies"
        row.say("x", "a branch with x, y or z", expected)
        return
    if placed:
        place = row.place()
        if start in at_m and place is not None:
            row.say("from", f"{quoted(start)}, which lies somewhere already", "one row with x and y for each")
        elif start and place is not None:
            at_m[start] = place
        return
    end = row.node("to")
    length = row.length()
    if start and start == end:
        row.say("to", f"{quoted(start)} at both ends", "two different nodes")
    elif start and end:
        branches.append(Branch(start, end, length, row.line, in_inches(row.cells["length"])))


def _columns(table: Table, problems: list[Problem]) -> dict[str, int] | None:
    """Column name to its place; None when a needed one is missing."""
    places: dict[str, int] = {}
    for place, written in enumerate(table.header):
        name = written.strip().casefold()
        if name in BRANCH_COLUMNS and name in places:
            found, expected = f"column {quoted(written)} twice", f"one column named {name}"
            problems.append(Problem(table.file, table.header_line, name, found, expected))
        places.setdefault(name, place)
    missing = [name for name in ("from", "to") if name not in places]
    for name in missing:
        near = nearest(name, [text for text in table.header if text.casefold() not in BRANCH_COLUMNS], 1)
        hint = f"; the nearest that is there is {quoted(near[0])}" if near else ""
        found = "no such column, only " + quoted(", ".join(table.header), 200)
        problems.append(Problem(table.file, table.header_line, name, found, f"a column named {name}{hint}"))
    if "length" not in places and not missing:
        near = nearest("length", [text for text in table.header if text.casefold() not in BRANCH_COLUMNS], 1)
        found = "no column length" + (f"; {quoted(near[0])} is not used" if near else "")
        expected = "a column named length, so that lengths of wires and places along them can be told"
        problems.append(Problem(table.file, table.header_line, "length", found, expected, "warning"))
    return None if missing else places


def _check_twice(file: str, branches: Sequence[Branch], problems: list[Problem]) -> None:
    first: dict[tuple[str, str], int] = {}
    for branch in branches:
        pair = (min(branch.start, branch.end), max(branch.start, branch.end))
        other = first.setdefault(pair, branch.row)
        if other != branch.row:
            found = f"a second branch from {quoted(branch.start)} to {quoted(branch.end)} (line {other})"
            expected = "each branch once, unless two run side by side; wires take the shorter"
            problems.append(Problem(file, branch.row, "to", found, expected, "warning"))


def branch_rows(lie: Lie) -> list[tuple[str, ...]]:
    """The rows of a branches.csv that says the same: branches, then the places of nodes."""
    rows = [
        (b.start, b.end, "" if b.length_m is None else f"{b.length_m:.6g}", "", "", "") for b in lie.branches
    ]
    return [*rows, *((name, "", "", *(f"{v:.6g}" for v in place)) for name, place in lie.at_m.items())]


def check_against(lie: Lie, points: Sequence[str], problems: list[Problem]) -> None:
    """Warn of names that look like slips, of what no branch reaches, and of pieces that hang apart."""
    stations = dict.fromkeys(name for point in points for name in (connector_of(point) or point,))
    known = [*stations, *points]
    known_names, alike = frozenset(known), {folded(name): name for name in reversed(known)}
    ends = Counter(name for branch in lie.branches for name in (branch.start, branch.end))
    row_of = {name: b.row for b in reversed(lie.branches) for name in (b.end, b.start)}

    def warn(line: int | None, column: str, found: str, expected: str) -> None:
        problems.append(Problem(lie.file, line, column, found, expected, "warning"))

    for name in lie.nodes:
        meant = alike.get(folded(name), "") if name not in known_names else ""
        if meant:
            warn(row_of[name], "from", quoted(name), f"{meant}, as the wire list has it, if that is meant")
        elif name not in known_names and ends[name] == 1:
            near = next(iter(nearest(name, known, 1)), "")
            hint = f"; the nearest is {near}" if near else ""
            warn(row_of[name], "from", f"a branch that ends at {quoted(name)}", f"a point of the loom{hint}")
    for name in lie.at_m:
        if name not in lie.nodes:
            warn(None, "from", f"a place for {quoted(name)}", "a name that a branch has")
    with_node = {lie.node_of(point) for point in points}
    bare = [name for name in stations if name not in with_node and not _held(lie, name, points)]
    if bare:
        warn(None, "", f"no branch to {_some(bare)}", "a branch to each connector, ring and splice")
    groups = _pieces(lie)
    if len(groups) > 1:
        ends_of = [f"{quoted(group[0])} to {quoted(group[-1])}" for group in groups[:MOST_SAID]]
        found = f"{len(groups)} pieces that do not hang together ({', '.join(ends_of)})"
        warn(None, "", found, "one loom; a branch is missing, or a name is written in two ways")


def _held(lie: Lie, station: str, points: Sequence[str]) -> bool:
    """True where cavities of the connector are nodes of their own."""
    return any(point in lie.nodes for point in points if connector_of(point) == station)


def _some(names: Sequence[str]) -> str:
    told = ", ".join(quoted(name) for name in names[:MOST_SAID])
    return told + (f" and {len(names) - MOST_SAID} more" if names[MOST_SAID:] else "")


def _pieces(lie: Lie) -> list[list[str]]:
    from loomtest.harness.forest import components

    ends = [(lie.nodes[branch.start], lie.nodes[branch.end]) for branch in lie.branches]
    lowest = components(len(lie.nodes), ends)
    groups: dict[int, list[str]] = {}
    for name, root in zip(lie.nodes, lowest, strict=True):
        groups.setdefault(root, []).append(name)
    return list(groups.values())


def with_lengths(lie: Lie, wires: Sequence[Wire], file: str, problems: list[Problem]) -> tuple[Wire, ...]:
    """Wires without a length get that of their way; a stated one that is far off it is said."""
    courses = lie.courses([(wire.start, wire.end) for wire in wires])
    out, odd = [], []
    for wire, course in zip(wires, courses, strict=True):
        way_m = lie.length_m(course) if course is not None and course.branches else None
        if way_m is not None and wire.length_m is None and wire.kind == "wire":
            inches = course is not None and all(lie.branches[piece].inches for piece in course.branches)
            out.append(replace(wire, length_m=way_m, inches=inches))
            continue
        out.append(wire)
        if way_m is not None and wire.length_m is not None and _far_off(wire.length_m, way_m):
            odd.append((wire, way_m))
    problems.extend(_length_warnings(odd, file))
    return tuple(out)


def _far_off(stated_m: float, way_m: float) -> bool:
    return abs(stated_m - way_m) > max(FAR_OFF_M, FAR_OFF_SHARE * max(stated_m, way_m))


def _length_warnings(odd: Sequence[tuple[Wire, float]], file: str) -> Iterable[Problem]:
    for wire, way_m in odd[:MOST_SAID]:
        found = f"{wire.length_m:.3g} m for wire {visible(wire.name)}"
        expected = f"about {way_m:.3g} m, the way along {BRANCHES}"
        yield Problem(file, wire.row, "length", found, expected, "warning")
    if odd[MOST_SAID:]:
        found = f"{len(odd) - MOST_SAID} more wires whose length is far off their way"
        yield Problem(file, odd[MOST_SAID][0].row, "length", found, f"the way along {BRANCHES}", "warning")
