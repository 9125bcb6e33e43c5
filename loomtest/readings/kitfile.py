"""Files of marker clips: the kit (`marker,ohms`) and where its clips sat (`markers.csv` of a run)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.model import connector_of
from loomtest.harness.outward import visible
from loomtest.harness.points import read_point
from loomtest.harness.table import quoted, read_table
from loomtest.readings.marked import COMMON, Clip
from loomtest.readings.values import ValueSyntaxError, parse_value

SEATS_FILE = "markers.csv"
SEATS_HEADER = "round,marker,point,ohms,uncertainty,plug\n"
SEATS_COLUMNS = SEATS_HEADER.count(",") + 1
MOST_ROUNDS = 10_000
_Row = tuple[int, dict[str, str]]  # line of the file, cell by column


@dataclass(frozen=True, kw_only=True)
class Kit:
    """Marker clips as measured. `instrument`: the meter's name where the file says it, else ""."""

    clips: tuple[Clip, ...]
    instrument: str = ""
    file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatRow:
    """One row of `markers.csv`: a clip on a point (its name) in a round; and where the row stands."""

    round: int
    clip: Clip
    point: str
    line: int
    file: str


def read_kit(path: str | Path, *, measured: bool = True) -> Kit:
    """The kit in a CSV file with the columns marker and ohms, and uncertainty and instrument where wanted.

    A `point` says in which cavity of a marker plug the marker is built in; it is empty for a loose clip.
    `measured` False: where ohms is empty still, `nominal_ohms` counts. Raises InputError with every problem.
    Whether a meter can tell the values apart is for
    `diagnosis.markers.kit.too_near`.
    """
    reader = _Reader(Path(path))
    known = ("marker", "ohms", "uncertainty", "instrument", "point", "nominal_ohms")
    rows = reader.rows(("marker", "ohms"), known)
    clips: list[Clip] = []
    first: dict[str, int] = {}
    meters = {cells["instrument"] for _, cells in rows if cells.get("instrument")}
    at: dict[str, int] = {}
    for line, cells in rows:
        if not measured and not cells["ohms"]:
            cells["ohms"] = cells.get("nominal_ohms", "")
        clip = reader.clip(line, cells)
        if clip is None:
            continue
        if cells.get("point"):
            clip = replace(clip, built_in=reader.cavity(line, cells) or "")
            if at.setdefault(clip.built_in, line) != line:
                found = f"{clip.built_in}, which line {at[clip.built_in]} has too"
                reader.wrong(line, "point", found, "one marker in a cavity of a plug")
        if clip.marker.casefold() in first:
            found = f"{quoted(clip.marker)}, which line {first[clip.marker.casefold()]} has too"
            reader.wrong(line, "marker", found, "each clip once")
        first.setdefault(clip.marker.casefold(), line)
        clips.append(clip)
    if len(meters) > 1:
        found = " and ".join(quoted(meter) for meter in sorted(meters))
        reader.wrong(None, "instrument", found, "one meter for the whole kit: values of two do not compare")
    if len(clips) < 2 and not any(clip.built_in for clip in clips) and not reader.errors:
        reader.wrong(None, "", f"{len(clips)} clips", "two or more, each a row: M1,10020")
    reader.done()
    return Kit(clips=tuple(clips), instrument=next(iter(meters), ""), file=reader.file)


def read_seats(path: str | Path) -> tuple[SeatRow, ...]:
    """Where the clips sat, from `markers.csv` (round, marker, point, ohms). Raises InputError."""
    reader = _Reader(Path(path))
    known = ("round", "marker", "point", "ohms", "uncertainty", "plug")
    rows = reader.rows(("marker", "point", "ohms"), known)
    out: list[SeatRow] = []
    at: dict[tuple[int, str], SeatRow] = {}
    for line, cells in rows:
        number, clip, point = reader.number(line, cells), reader.clip(line, cells), reader.point(line, cells)
        if number is None or clip is None or point is None:
            continue
        if cells.get("plug"):
            clip = replace(clip, built_in=point)
        row = SeatRow(round=number, clip=clip, point=point, line=line, file=reader.file)
        for key, column in ((clip.marker.casefold(), "marker"), (f"\0{point}", "point")):
            before = at.setdefault((number, key), row)
            if before is not row:
                found = f"{clip.marker} on {point}, and on line {before.line} {before.clip.marker}"
                found += f" on {before.point}, both in round {number}"
                reader.wrong(line, column, found, "one clip on one point in a round")
        out.append(row)
    reader.done()
    return tuple(out)


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path, self.file = path, visible(str(path))
        self.problems: list[Problem] = []
        self.comma_is_decimal = False

    def wrong(self, line: int | None, column: str, found: str, expected: str) -> None:
        self.problems.append(Problem(self.file, line, column, found, expected))

    @property
    def errors(self) -> list[Problem]:
        return [problem for problem in self.problems if problem.severity == "error"]

    def done(self) -> None:
        """Raises InputError where something is wrong."""
        if self.errors:
            raise InputError(sorted(self.errors, key=lambda problem: problem.line or 0))

    def rows(self, needed: tuple[str, ...], known: tuple[str, ...]) -> list[_Row]:
        """The rows as cells by column. Raises InputError where there is no table."""
        table = read_table(self.path, self.file, needed, self.problems)
        if table is None:
            raise InputError(self.problems)
        self.comma_is_decimal = table.separator != ","
        names = [name.casefold() for name in table.header]
        for name in needed:
            if name not in names:
                near = nearest(name, table.header, 1)
                expected = f"a column named {name}" + (f" ({quoted(near[0])} is there)" if near else "")
                self.wrong(table.header_line, name, "no such column", expected)
        self.done()
        at = {name: names.index(name) for name in known if name in names}
        return [(line, {name: cells[i].strip() for name, i in at.items()}) for line, cells in table.rows]

    def clip(self, line: int, cells: dict[str, str]) -> Clip | None:
        name = cells["marker"]
        if not name or not name.isprintable() or any(letter.isspace() or letter == "," for letter in name):
            self.wrong(line, "marker", quoted(name) if name else "nothing", "a short name such as M1")
            return None
        ohms = self._ohms(line, "ohms", cells["ohms"])
        stated = cells.get("uncertainty", "")
        sd = self._ohms(line, "uncertainty", stated) if stated else None
        if ohms is None or (stated and sd is None):
            return None
        return Clip(marker=name, ohms=ohms, uncertainty_ohm=sd)

    def _ohms(self, line: int, column: str, text: str) -> float | None:
        try:
            number = parse_value(text, comma_is_decimal=self.comma_is_decimal).number
        except ValueSyntaxError as error:
            self.wrong(line, column, error.found, "measured ohms, such as 10020 or 10.02k")
            return None
        if not 0 < number < math.inf:
            self.wrong(line, column, quoted(text), "measured ohms above zero, such as 10020 or 10.02k")
            return None
        return number

    def cavity(self, line: int, cells: dict[str, str]) -> str | None:
        """A cavity that a marker is built in for: a plug goes on a connector."""
        name = self.point(line, cells)
        if name is not None and not connector_of(name):
            self.wrong(line, "point", name, "a cavity of a connector, such as X3:2: a marker plug goes on it")
            return None
        return name

    def number(self, line: int, cells: dict[str, str]) -> int | None:
        text = cells.get("round", "") or "1"
        if text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= MOST_ROUNDS:
            return int(text)
        self.wrong(line, "round", quoted(text), "the number of a round: 1, 2, 3 …")
        return None

    def point(self, line: int, cells: dict[str, str]) -> str | None:
        text = cells["point"]
        try:
            name = read_point(text)
        except ValueError as error:
            self.wrong(line, "point", quoted(text) if text else "nothing", str(error))
            return None
        if name == COMMON:
            self.wrong(line, "point", COMMON, "a point of the loom: the other ends of all leads are there")
            return None
        return name
