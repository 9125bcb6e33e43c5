"""Lead sets by name, and a scan in parts: which go on which pins of the scanner, one part after another.

    lead_set,point,lead_ohms
    X1 lead set,X1:1,0
    X1 lead set,X1:2,0

That is `lead_sets.csv` in the harness folder, the points of a lead set in the order of its pins. The board's
end of a lead set has a housing for every four pins, which goes on any four pins that are free (1 to 4, 5 to
8, ...): so a lead set that stays in keeps its pins, and no room is lost between them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from loomtest.bench.plan.in_parts import PartsPlan, plan_parts
from loomtest.bench.scanner.sockets import Socket, Sockets, in_bench_order
from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.model import Harness, connector_of
from loomtest.harness.table import read_table

LEAD_SETS_FILE = "lead_sets.csv"
HOUSING = 4  # pins of the scanner in one housing
RING_LEADS = "ring leads"


@dataclass(frozen=True)
class LeadSet:
    """A lead set: its points in the order of its pins, and the ohms of each single wire (0: not to count)."""

    name: str
    points: tuple[str, ...]
    lead_ohms: tuple[float, ...]

    @property
    def housings(self) -> int:
        """How many groups of HOUSING pins it takes."""
        return -(-len(self.points) // HOUSING)


@dataclass(frozen=True)
class ScanPart:
    """One part: what is plugged in for it and what comes off first, by name, and its socket table."""

    number: int
    plug_in: tuple[str, ...]
    take_off: tuple[str, ...]
    sockets: Sockets


@dataclass(frozen=True)
class ScanInParts:
    """All parts in order; `plan` counts the changes. `never`: lead sets too large to be in at once."""

    lead_sets: tuple[LeadSet, ...]
    parts: tuple[ScanPart, ...]
    plan: PartsPlan
    never: tuple[tuple[str, str], ...]

    @property
    def points(self) -> frozenset[str]:
        """Every point that some lead set reaches."""
        return frozenset(point for one in self.lead_sets for point in one.points)


def proposed_lead_sets(harness: Harness, pins: int) -> tuple[LeadSet, ...]:
    """One lead set for each connector, and ring leads for single points; one that could not be in together
    with every other is split into halves, by its cavities in their order."""
    sets: dict[str, list[str]] = {}
    for point in in_bench_order(harness):
        connector = connector_of(point)
        sets.setdefault(f"{connector} lead set" if connector else RING_LEADS, []).append(point)
    room = pins // HOUSING
    while True:
        by_size = sorted(sets, key=lambda name: (-_housings(sets[name]), name))
        two = by_size[:2]
        largest = sets[two[0]]
        if sum(_housings(sets[name]) for name in two) <= room or len(largest) <= HOUSING:
            break
        middle = HOUSING * (_housings(largest) // 2 + _housings(largest) % 2)
        middle = middle if middle < len(largest) else len(largest) // 2
        sets = dict(
            item
            for name, points in sets.items()
            for item in (
                [(f"{name} a", points[:middle]), (f"{name} b", points[middle:])]
                if name == two[0]
                else [(name, points)]
            )
        )
    return tuple(LeadSet(name, tuple(points), (0.0,) * len(points)) for name, points in sets.items())


def _housings(points: Sequence[str]) -> int:
    return -(-len(points) // HOUSING)


def lead_sets_text(lead_sets: Sequence[LeadSet]) -> str:
    """The file's text."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(("lead_set", "point", "lead_ohms"))
    for one in lead_sets:
        table.writerows(
            (one.name, *row) for row in zip(one.points, map("{:.5g}".format, one.lead_ohms), strict=True)
        )
    return out.getvalue()


def read_lead_sets(path: Path, harness: Harness, pins: int) -> tuple[LeadSet, ...]:
    """The lead sets of a file, checked against harness and board. Raises InputError with every mistake."""
    problems: list[Problem] = []
    table = read_table(path, str(path), ("lead_set", "point"), problems)
    if table is None:
        raise InputError(problems)
    header = [name.casefold() for name in table.header]
    if not {"lead_set", "point"} <= set(header):
        found = f"the columns {', '.join(table.header)}"
        raise InputError([Problem(str(path), table.header_line, "", found, "lead_set and point at least")])
    rows: dict[str, list[tuple[str, float]]] = {}
    first: dict[str, int] = {}
    for line, texts in table.rows:
        cells = {name: text.strip() for name, text in zip(header, texts, strict=True)}
        point, lead = cells["point"], _lead(cells.get("lead_ohms", "") or "0")
        before = len(problems)
        for column, found, expected in _wrong(harness, cells, lead, first, line):
            problems.append(Problem(str(path), line, column, found, expected))
        if len(problems) == before:
            rows.setdefault(cells["lead_set"], []).append((point, lead))
    for name, own in rows.items():
        if -(-len(own) // HOUSING) > pins // HOUSING:
            expected = f"at most {pins}, the scanner's pins: split it into two lead sets, by its cavities"
            problems.append(Problem(str(path), None, "lead_set", f"{name} with {len(own)} points", expected))
    if not rows and not problems:
        problems.append(Problem(str(path), None, "", "no rows", "a lead set and a point in each"))
    if any(problem.severity == "error" for problem in problems):
        raise InputError(problems)
    return tuple(LeadSet(name, *(tuple(c) for c in zip(*own, strict=True))) for name, own in rows.items())


def _wrong(
    harness: Harness, cells: dict[str, str], lead: float, first: dict[str, int], line: int
) -> list[tuple[str, str, str]]:
    """(column, found, expected) of each mistake in a row."""
    point, out = cells["point"], []
    if not cells["lead_set"]:
        out.append(("lead_set", "nothing", "the lead set's name"))
    if point not in harness.code_of:
        known = [*harness.points]
        out.append(("point", repr(point), "one of " + ", ".join(nearest(point, known) or known[:5])))
    elif point in harness.untouchable:
        out.append(("point", point, "no pin of a restraint system: a scanner can fire it"))
    elif first.setdefault(point, line) != line:
        out.append(("point", f"{point} again", f"each point once (first in line {first[point]})"))
    if not 0.0 <= lead < float("inf"):
        out.append(("lead_ohms", repr(cells.get("lead_ohms", "")), "a number of zero or more"))
    return out


def _lead(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


def scan_in_parts(lead_sets: Sequence[LeadSet], pins: int) -> ScanInParts:
    """The parts, and which pins each lead set goes on; what stays in keeps its pins."""
    made = plan_parts([one.housings for one in lead_sets], pins // HOUSING)
    free = list(range(pins // HOUSING))
    at: dict[int, list[int]] = {}
    parts = []
    for number, inside in enumerate(made.parts, 1):
        off = [index for index in at if index not in inside]
        for index in off:
            free += at.pop(index)
        free.sort()
        new = [index for index in sorted(inside) if index not in at]
        for index in new:
            count = lead_sets[index].housings
            at[index], free = free[:count], free[count:]
        rows = sorted((s for i in at for s in _sockets_of(lead_sets[i], at[i])), key=lambda s: s.pin)
        parts.append(
            ScanPart(
                number,
                tuple(lead_sets[index].name for index in new),
                tuple(lead_sets[index].name for index in off),
                Sockets(tuple(rows), number),
            )
        )
    never = tuple((lead_sets[a].name, lead_sets[b].name) for a, b in made.never)
    return ScanInParts(tuple(lead_sets), tuple(parts), made, never)


def _sockets_of(lead_set: LeadSet, housings: Sequence[int]) -> list[Socket]:
    return [
        Socket(HOUSING * housings[n // HOUSING] + n % HOUSING + 1, point, ohm, lead_set.name)
        for n, (point, ohm) in enumerate(zip(lead_set.points, lead_set.lead_ohms, strict=True))
    ]
