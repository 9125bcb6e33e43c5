"""A marker plug to build: the mate of a connector with a marker in every cavity whose circuit it can test."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from loomtest.diagnosis.markers.kit import MOST_CLIPS, choose_kit
from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.model import Harness, connector_of
from loomtest.harness.points import natural
from loomtest.harness.table import Table, read_table, read_text
from loomtest.readings.kitfile import read_kit
from loomtest.readings.marked import Clip
from loomtest.readings.model import Instrument

COLUMNS = ("marker", "ohms", "point", "nominal_ohms")


@dataclass(frozen=True, kw_only=True)
class MarkerPlug:
    """`clips`: each marker with the cavity it is built into, its ohms nominal until measured; `measured`: the
    names of those that are. `left_out`: cavities without a marker: their circuit ends nowhere else that can
    be touched, has two cavities here, or has its marker in another plug. `new`: not in the kit yet."""

    connector: str
    clips: tuple[Clip, ...]
    left_out: tuple[str, ...]
    measured: frozenset[str] = frozenset()
    new: bool = False


def marker_plug(harness: Harness, connector: str, kit: Path, instrument: Instrument) -> MarkerPlug:
    """The plug for a connector as the kit file has it, else a new one whose values the meter tells apart in
    one round. Raises InputError for no such connector, or where nothing of it can be tested so."""
    there = _known(kit)
    cavities = [point for point in harness.points if connector_of(point) == connector]
    if not cavities:
        names = sorted({connector_of(point) for point in harness.points} - {""}, key=natural)
        expected = "one of " + ", ".join(nearest(connector, names) or names[:8])
        raise InputError([Problem(str(harness.source or harness.name), None, "", connector, expected)])
    own = [clip for clip in there if clip.plug == connector]
    if not own:
        points = _worth_a_marker(harness, cavities, there)
        own = _valued(points, there, instrument, kit)
    built = {clip.built_in for clip in own}
    return MarkerPlug(
        connector=connector,
        clips=tuple(own),
        left_out=tuple(point for point in cavities if point not in built),
        measured=_measured(kit),
        new=not any(clip.plug == connector for clip in there),
    )


def _known(kit: Path) -> list[Clip]:
    return list(read_kit(kit, measured=False).clips) if kit.is_file() else []


def _measured(kit: Path) -> frozenset[str]:
    if not kit.is_file():
        return frozenset()
    table = _table(kit)
    header = [name.casefold() for name in table.header]
    at, ohms = header.index("marker"), header.index("ohms")
    return frozenset(cells[at].strip() for _, cells in table.rows if cells[ohms].strip())


def _worth_a_marker(harness: Harness, cavities: Sequence[str], there: Sequence[Clip]) -> list[str]:
    """Cavities whose circuit has one cavity here, ends elsewhere too, and no marker in another plug."""
    taken = {int(harness.net_of[harness.code_of[c.built_in]]) for c in there if c.built_in in harness.code_of}
    out = []
    for point in cavities:
        net = int(harness.net_of[harness.code_of[point]])
        ends = [harness.points[c] for c in harness.nets[net].points if harness.reachable[c]]
        elsewhere = [end for end in ends if connector_of(end) != connector_of(point)]
        alone = len(ends) - len(elsewhere) == 1
        free = net not in taken and not any(end in harness.untouchable for end in ends)
        if point in ends and alone and elsewhere and free:
            out.append(point)
    return sorted(out, key=natural)[:MOST_CLIPS]


def _valued(points: Sequence[str], there: Sequence[Clip], instrument: Instrument, kit: Path) -> list[Clip]:
    if not points:
        expected = "a connector with circuits that end elsewhere too and have no marker in a plug yet"
        raise InputError([Problem(str(kit), None, "point", "no cavity that wants a marker", expected)])
    choice = choose_kit(instrument, max(2, len(points)))
    if choice is None:
        found = "no range that tells so many markers apart"
        expected = "a meter with a range of some 20 kΩ in steps of 10 Ω or less"
        raise InputError([Problem(instrument.source or instrument.name, None, "range", found, expected)])
    numbers = [int(m[1]) for clip in there if (m := re.fullmatch(r"[Mm](\d{1,6})", clip.marker))]
    first = max(numbers, default=0) + 1
    return [
        Clip(marker=f"M{number}", ohms=ohm, built_in=point)
        for number, (point, ohm) in enumerate(zip(points, choice.ohms, strict=False), first)
    ]


def remember(plug: MarkerPlug, kit: Path) -> None:
    """Adds a new plug's markers to the kit file, their ohms left empty until measured. What stands in the
    file stays; columns that it lacks are added to its header. Raises InputError where it cannot grow."""
    if not kit.exists():
        kit.write_text(",".join(COLUMNS) + "\n" + _added(plug, COLUMNS, ","), "utf-8", newline="\n")
        return
    table = _table(kit)
    names = [name.casefold() for name in table.header]
    more = [name for name in COLUMNS if name not in names]
    lines = (read_text(kit, str(kit), []) or "").splitlines()
    lines[table.header_line - 1] += "".join(table.separator + name for name in more)
    for line, _ in table.rows:
        lines[line - 1] += table.separator * len(more)
    added = _added(plug, [*names, *more], table.separator)
    kit.write_text("\n".join(lines) + "\n" + added, "utf-8", newline="\n")


def _added(plug: MarkerPlug, header: Sequence[str], separator: str) -> str:
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n", delimiter=separator)
    for clip in plug.clips:
        nominal = f"{clip.ohms:.0f}"  # whole ohms: no decimal point that a semicolon's file would misread
        own = {"marker": clip.marker, "point": clip.built_in, "nominal_ohms": nominal}
        table.writerow([own.get(name, "") for name in header])
    return out.getvalue()


def _table(kit: Path) -> Table:
    problems: list[Problem] = []
    table = read_table(kit, str(kit), ("marker", "ohms"), problems)
    if table is None or any(problem.severity == "error" for problem in problems):
        raise InputError(problems)
    if kit.suffix.casefold() in (".xlsx", ".ods"):
        raise InputError([Problem(str(kit), None, "", "a workbook", "a CSV, to which markers can be added")])
    return table
