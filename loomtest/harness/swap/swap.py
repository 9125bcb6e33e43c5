"""A connector changed for another: the harness after it, and every reason why a map cannot be right. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.load import problems_in_order
from loomtest.harness.model import Face, Harness, Wire, cavity_of, connector_of
from loomtest.harness.origin import WAS, was_at
from loomtest.harness.points import natural
from loomtest.harness.swap.map import ConnectorMap, MapRow, WireEnd, ends_at
from loomtest.harness.table import quoted


@dataclass(frozen=True, slots=True)
class Move:
    """One end of a wire or part that goes to another point; `new` "" when it is taken out of the loom."""

    wire: Wire
    column: str
    old: str
    new: str

    @property
    def other(self) -> str:
        """The wire's other end, as the old list has it."""
        return self.wire.end if self.column == "from" else self.wire.start


@dataclass(frozen=True)
class Swapped:
    """The harness after the change and what happened to it.

    `moves` in the order of the new cavities; `unused`: ends that go nowhere, whose wires are out of the new
    list; `joined`, `parted`: nets that the map joins or parts on purpose (marked), as sentences; `notes`:
    what could not be checked. `old_connectors` have no wire left.
    """

    harness: Harness
    moves: tuple[Move, ...]
    unused: tuple[Move, ...]
    joined: tuple[str, ...]
    parted: tuple[str, ...]
    notes: tuple[str, ...]
    old_connectors: tuple[str, ...]


def swap(
    harness: Harness,
    chart: ConnectorMap,
    cavities: Mapping[str, tuple[str, ...]] | None = None,
    faces: Mapping[str, Face] | None = None,
) -> Swapped:
    """Carry the map out; `cavities` and `faces` tell more connectors than the harness does.

    Raises InputError with every reason why the map cannot be carried out.
    """
    cavities = {**harness.cavities, **(cavities or {})}
    problems: list[Problem] = []
    targets = _targets(harness, chart, problems)
    _check_left_out(harness, chart, targets, problems)
    _check_cavities(chart, cavities, problems)
    _check_collisions(harness, chart, targets, problems)
    wires, images = _rewired(harness, chart, targets, problems)
    if problems:
        raise InputError(problems_in_order(problems))
    after = _after(harness, wires, chart, cavities, {**harness.faces, **(faces or {})})
    joined, parted = _net_changes(harness, chart, after, images, problems)
    if problems:
        raise InputError(problems_in_order(problems))
    moves = [
        Move(harness.wires[end.wire], end.column, row.old, row.new)
        for end, row in targets.items()
        if row.old != row.new
    ]
    before = {connector_of(point) for point in ends_at(harness)} - {""}
    now = {connector_of(point) for wire in wires for point in (wire.start, wire.end)} - {""}
    new = tuple(sorted(now - before, key=natural))
    return Swapped(
        after,
        tuple(sorted((m for m in moves if m.new), key=lambda m: natural(m.new))),
        tuple(sorted((m for m in moves if not m.new), key=lambda m: natural(m.old))),
        joined,
        parted,
        _notes(chart, before, new, cavities),
        tuple(sorted(before - now, key=natural)),
    )


def _targets(harness: Harness, chart: ConnectorMap, problems: list[Problem]) -> dict[WireEnd, MapRow]:
    """Which row moves each end; an end that two rows claim is a problem, a cavity without wires is none."""
    targets: dict[WireEnd, MapRow] = {}
    for row in chart.rows:
        claimed = next((targets[end] for end in row.ends if end in targets), None)
        if claimed is not None:
            found = f"{row.old}, which line {claimed.line} moves too"
            problems.append(Problem(chart.file, row.line, "old", found, "each old cavity in one row"))
        for end in row.ends:
            targets.setdefault(end, row)
    return targets


def _check_left_out(
    harness: Harness, chart: ConnectorMap, targets: Mapping[WireEnd, MapRow], problems: list[Problem]
) -> None:
    changed = {connector_of(row.old) for row in chart.rows} - {""}
    told: set[str] = set()
    for point, ends in ends_at(harness).items():
        missing = [harness.wires[end.wire] for end in ends if end not in targets]
        mapped = len(missing) < len(ends)
        if missing and point not in told and (connector_of(point) in changed or mapped):
            told.add(point)
            names = ", ".join(f"{_colour(wire)}{wire.name}" for wire in missing)
            found = f"no row for {point} ({names})"
            expected = f"a row with its new cavity, or {point},unused"
            problems.append(Problem(chart.file, None, "old", quoted(found, 200)[1:-1], expected))


def _check_cavities(
    chart: ConnectorMap, cavities: Mapping[str, tuple[str, ...]], problems: list[Problem]
) -> None:
    for row in chart.rows:
        connector, cavity = connector_of(row.new), cavity_of(row.new)
        if connector in cavities and cavity not in cavities[connector]:
            names = cavities[connector]
            expected = f"a cavity of {connector}: " + ", ".join(names[:20]) + (" …" if names[20:] else "")
            near = nearest(cavity, names, 1) if names[20:] else []
            expected += f"; the nearest is {near[0]}" if near else ""
            problems.append(Problem(chart.file, row.line, "new", quoted(row.new), expected))


def _check_collisions(
    harness: Harness, chart: ConnectorMap, targets: Mapping[WireEnd, MapRow], problems: list[Problem]
) -> None:
    """Two old cavities in one new one, or one where a wire is that stays, unless a row says splice."""
    rows_to: dict[str, list[MapRow]] = {}
    for row in chart.rows:
        if row.new:
            rows_to.setdefault(row.new, []).append(row)
    there = ends_at(harness)
    for point, rows in rows_to.items():
        if any(row.mark == "splice" for row in rows):
            continue
        last = rows[-1]
        expected = "a cavity for each, or splice in a column named mark"
        if len({row.old for row in rows}) > 1:
            sources = " and ".join(f"{row.old} (line {row.line})" for row in rows)
            problems.append(Problem(chart.file, last.line, "new", f"{point} for {sources}", expected))
        staying = [harness.wires[end.wire].name for end in there.get(point, ()) if end not in targets]
        if staying:
            found = f"{point}, where {', '.join(staying)} already ends"
            problems.append(Problem(chart.file, last.line, "new", quoted(found, 200)[1:-1], expected))


def _rewired(
    harness: Harness, chart: ConnectorMap, targets: Mapping[WireEnd, MapRow], problems: list[Problem]
) -> tuple[tuple[Wire, ...], dict[int, set[str]]]:
    """The new wires, and for each old net the points that came of its own."""
    wires = []
    images: dict[int, set[str]] = {}
    for index, wire in enumerate(harness.wires):
        ends = {"from": wire.start, "to": wire.end}
        was = {}
        for column, end in (("from", WireEnd(index, "from")), ("to", WireEnd(index, "to"))):
            row = targets.get(end)
            old = ends[column]
            if row is not None and row.new != old:
                ends[column], was[column] = row.new, old
            if ends[column]:
                images.setdefault(int(harness.net_of[harness.code_of[old]]), set()).add(ends[column])
        if ends["from"] and ends["from"] == ends["to"]:
            line = next(row.line for row in chart.rows if row.new == ends["to"])
            found = f"both ends of {quoted(wire.name)} in {ends['to']}"
            problems.append(Problem(chart.file, line, "new", found, "a cavity for each end"))
        elif ends["from"] and ends["to"]:
            wires.append(replace(wire, start=ends["from"], end=ends["to"], extra=_extra(wire, was)))
    return tuple(wires), images


def _extra(wire: Wire, was: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """The wire's further columns; an end that this change leaves alone keeps what an earlier one says."""
    kept = tuple((name, cell) for name, cell in wire.extra if name.casefold() not in WAS.values())
    return (*kept, *((WAS[column], was.get(column) or was_at(wire, column)) for column in WAS))


def _after(
    harness: Harness,
    wires: tuple[Wire, ...],
    chart: ConnectorMap,
    cavities: Mapping[str, tuple[str, ...]],
    faces: Mapping[str, Face],
) -> Harness:
    """The new harness; a point that only a wire taken out had stays a point: a live stub may end there."""
    used = dict.fromkeys(point for wire in wires for point in (wire.start, wire.end))
    changed = {connector_of(row.old) for row in chart.rows}
    into = {connector_of(row.new) for row in chart.rows} - {""}
    gone = {name for name in changed if name and not any(connector_of(p) == name for p in used)}
    kept = {name: list(names) for name, names in cavities.items() if name not in gone}
    for point in harness.points:
        connector = connector_of(point)
        if connector and connector not in gone and point not in used:
            names = kept.setdefault(connector, [cavity_of(p) for p in used if connector_of(p) == connector])
            if cavity_of(point) not in names:
                names.append(cavity_of(point))
    points = used | dict.fromkeys(f"{name}:{cavity}" for name, cells in kept.items() for cavity in cells)
    moved = {row.old: row.new for row in chart.rows}
    places = {
        moved.get(name, name) or name: words for name, words in harness.places.items() if name not in gone
    }
    for name in gone & harness.places.keys():
        heirs = {connector_of(row.new) for row in chart.rows if connector_of(row.old) == name} - {""}
        if len(heirs) == 1:
            places.setdefault(heirs.pop(), harness.places[name])
    return replace(
        harness,
        wires=wires,
        points=tuple(points),
        unreachable=frozenset(moved.get(p, p) for p in harness.unreachable) & points.keys(),
        worked_on=frozenset((harness.worked_on - gone) | into),
        cavities={name: tuple(names) for name, names in kept.items()},
        faces={name: face for name, face in faces.items() if name not in gone},
        places=places,
        warnings=(),
        source=None,
        files=(),
    )


def _net_changes(
    harness: Harness,
    chart: ConnectorMap,
    after: Harness,
    images: Mapping[int, set[str]],
    problems: list[Problem],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Nets that the change joins or parts: sentences where a row says so, problems where none does."""
    joined, parted = [], []
    sources: dict[int, dict[int, None]] = {}
    for old, points in images.items():
        new = {int(after.net_of[after.code_of[point]]) for point in points if point in after.code_of}
        for net in new:
            sources.setdefault(net, {})[old] = None
        if len(new) > 1:
            pieces = [sorted((p for p in points if p in after.code_of), key=natural)]
            line, marked = _marked(harness, chart, {old}, "split")
            what = f"{_net_name(harness, old)} into {len(new)} parts ({', '.join(pieces[0][:8])})"
            if marked:
                parted.append(f"The map parts {what}, as marked.")
            else:
                expected = (
                    "every old cavity's wires in one new point (a splice), or split in a column named mark"
                )
                problems.append(Problem(chart.file, line, "new", f"a map that parts {what}", expected))
    for olds in sources.values():
        if len(olds) > 1:
            line, marked = _marked(harness, chart, set(olds), "splice")
            what = " and ".join(_net_name(harness, old) for old in olds)
            if marked:
                joined.append(f"The map joins {what}, as marked.")
            else:
                expected = "one old circuit in each new one, or splice in a column named mark"
                problems.append(Problem(chart.file, line, "new", f"a map that joins {what}", expected))
    return tuple(joined), tuple(parted)


def _marked(harness: Harness, chart: ConnectorMap, nets: set[int], mark: str) -> tuple[int | None, bool]:
    rows = [row for row in chart.rows if int(harness.net_of[harness.code_of[row.old]]) in nets]
    marked = [row for row in rows if row.mark == mark]
    return (rows[-1].line if rows else None), bool(marked)


def _net_name(harness: Harness, net: int) -> str:
    return quoted(harness.nets[net].name)


def _notes(
    chart: ConnectorMap,
    before: set[str],
    new: tuple[str, ...],
    cavities: Mapping[str, tuple[str, ...]],
) -> tuple[str, ...]:
    notes = []
    if chart.connector:
        notes.append(f"The colours were looked up at {chart.connector}.")
    notes += [
        f"How many cavities {name} has is not known, so nothing could be checked against it."
        for name in new
        if name not in cavities
    ]
    old_points = {row.old for row in chart.rows if row.ends and row.old != row.new}
    same = sorted({connector_of(row.new) for row in chart.rows if row.new in old_points} - {""}, key=natural)
    notes += [
        f"{name} keeps its name and gets other numbers: readings from before the change cannot be matched "
        f"with those after it. A name of its own, such as {name}N, keeps them apart."
        for name in same
    ]
    empty = [row for row in chart.rows if not row.ends]
    notes += [f"No wire ends at {row.old} (line {row.line}): nothing to move." for row in empty]
    return tuple(notes)


def _colour(wire: Wire) -> str:
    return f"{wire.colour} " if wire.colour else ""
