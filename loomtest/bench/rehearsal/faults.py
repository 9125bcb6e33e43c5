"""The true copper of a rehearsed loom: a harness, and the faults that its folder's `faults.csv` puts into it.

fault,wire,from,to,ohms,volts
open,W4,,,,                      a wire that is cut
high-resistance,W20,,,0.38,      ohms more than it should have
short,,X1:3,SP1,0.21,            a contact between two points (leakage is the same with more ohms)
crossed,,X2:3,X2:4,,             two cavities whose wires are exchanged
misplaced,W7,X4:1,X4:2,,         an end of a wire: where it belongs, where it is
wrong-part,W9,,,1200,            a part that has so many ohms
intermittent,W12,,,,             opens while the loom is flexed (with ohms: gains so many)
voltage,,BATT+,GND1,,12.6        a battery that is still connected
"""

from __future__ import annotations

import csv
import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.copper import PART_OHMS, expectation_of
from loomtest.harness.model import Harness, Wire

FAULTS_FILE = "faults.csv"
COLUMNS = ("fault", "wire", "from", "to", "ohms", "volts")
# What each fault needs.
NEEDS = {
    "open": ("wire",),
    "high-resistance": ("wire", "ohms"),
    "short": ("from", "to"),
    "leakage": ("from", "to", "ohms"),
    "crossed": ("from", "to"),
    "misplaced": ("wire", "from", "to"),
    "wrong-part": ("wire", "ohms"),
    "intermittent": ("wire",),
    "voltage": ("from", "to", "volts"),
}
UNKNOWN_WIRE_OHM = 0.02  # where size or length is not in the wire list
SHORT_OHM = 0.05  # a contact without a stated resistance
BATTERY_OHM = 0.5


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One row of `faults.csv`, checked against the harness."""

    fault: str
    wire: str = ""
    start: str = ""
    end: str = ""
    ohms: float | None = None
    volts: float | None = None


@dataclass(frozen=True)
class TrueLoom:
    """What stands on the bench. `edges`: (point, point, ohms); `flexing`: edges as they are while flexed."""

    points: tuple[str, ...]
    edges: tuple[tuple[str, str, float], ...]
    flexing: tuple[tuple[str, str, float], ...]
    diodes: tuple[tuple[str, str], ...] = ()
    sources: tuple[tuple[str, str, float, float], ...] = ()


def read_faults(folder: Path, harness: Harness) -> tuple[FaultRow, ...]:
    """The faults of a harness folder, none without the file. Raises InputError with every mistake in it."""
    path = folder / FAULTS_FILE
    if not path.is_file():
        return ()
    reading = _Reading(str(path), harness)
    with path.open(encoding="utf-8-sig", newline="") as stream:
        table = csv.reader(stream)
        header = [name.strip() for name in next(table, [])]
        for name in header:
            if name and name not in COLUMNS:
                reading.wrong(1, name, f"the column {name!r}", "one of " + ", ".join(COLUMNS))
        if "fault" not in header:
            reading.wrong(1, "", "no column 'fault'", "a header " + ",".join(COLUMNS))
        else:
            for cells in table:
                texts = dict(zip(header, (cell.strip() for cell in cells), strict=False))
                if any(texts.values()):
                    reading.row(table.line_num, texts)
    if reading.problems:
        raise InputError(reading.problems)
    return tuple(reading.rows)


@dataclass
class _Reading:
    file: str
    harness: Harness
    problems: list[Problem] = field(default_factory=list)
    rows: list[FaultRow] = field(default_factory=list)

    def wrong(self, line: int, column: str, found: str, expected: str) -> None:
        self.problems.append(Problem(self.file, line, column, found, expected))

    def row(self, line: int, texts: dict[str, str]) -> None:
        fault, before = texts["fault"], len(self.problems)
        if fault not in NEEDS:
            self.wrong(line, "fault", repr(fault), "one of " + ", ".join(NEEDS))
            return
        for column in NEEDS[fault]:
            if not texts.get(column):
                self.wrong(line, column, "nothing", f"a value: {fault} needs {', '.join(NEEDS[fault])}")
        for column in ("from", "to"):
            self._known(line, column, texts.get(column, ""), self.harness.points)
        self._known(line, "wire", texts.get("wire", ""), [w.name for w in self.harness.wires])
        numbers = {column: self._number(line, column, texts.get(column, "")) for column in ("ohms", "volts")}
        if len(self.problems) == before:
            places = (texts.get("wire", ""), texts.get("from", ""), texts.get("to", ""))
            self.rows.append(FaultRow(fault, *places, numbers["ohms"], numbers["volts"]))

    def _known(self, line: int, column: str, name: str, known: Sequence[str]) -> None:
        if name and name not in known:
            close = nearest(name, known)
            self.wrong(line, column, repr(name), "one of " + ", ".join(close or list(known)[:5]))

    def _number(self, line: int, column: str, text: str) -> float | None:
        if not text:
            return None
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not (math.isfinite(value) and value >= 0.0):
            self.wrong(line, column, repr(text), "a number of zero or more")
            return None
        return value


def true_loom(harness: Harness, faults: Sequence[FaultRow] = ()) -> TrueLoom:
    """The copper with these faults; every wire differs a little from its expectation, the same every time."""
    expected = expectation_of(harness).expected_ohm
    ends = {wire.name: [wire.start, wire.end] for wire in harness.wires}
    ohms = {w.name: _true_ohms(w, float(e)) for w, e in zip(harness.wires, expected, strict=True)}
    diode = {wire.name for wire in harness.wires if wire.kind == "diode"}
    cut: set[str] = set()
    flicker: dict[str, float] = {}
    bridges: list[tuple[str, str, float]] = []
    sources: list[tuple[str, str, float, float]] = []
    for row in faults:
        if row.fault == "open":
            cut.add(row.wire)
        elif row.fault == "high-resistance":
            ohms[row.wire] += row.ohms or 0.0
        elif row.fault == "wrong-part":
            ohms[row.wire] = row.ohms or 1e-3
            diode.discard(row.wire)
        elif row.fault == "intermittent":
            flicker[row.wire] = math.inf if row.ohms is None else row.ohms
        elif row.fault in ("short", "leakage"):
            bridges.append((row.start, row.end, SHORT_OHM if row.ohms is None else max(row.ohms, 1e-3)))
        elif row.fault == "voltage":
            sources.append((row.start, row.end, row.volts or 0.0, BATTERY_OHM))
        else:
            _move(ends, row)
    held = [name for name in ends if name not in cut and name not in diode]
    steady = [(ends[n][0], ends[n][1], ohms[n]) for n in held]
    moving = [n for n in held if flicker.get(n, 0.0) != math.inf]
    flexed = [(ends[n][0], ends[n][1], ohms[n] + flicker.get(n, 0.0)) for n in moving]
    return TrueLoom(
        points=harness.points,
        edges=tuple(edge for edge in [*steady, *bridges] if edge[0] != edge[1]),
        flexing=tuple(edge for edge in [*flexed, *bridges] if edge[0] != edge[1]),
        diodes=tuple((ends[n][0], ends[n][1]) for n in ends if n in diode and n not in cut),
        sources=tuple(sources),
    )


def _move(ends: dict[str, list[str]], row: FaultRow) -> None:
    """Wire ends to other points: exchanged between two (crossed), or one end elsewhere (misplaced)."""
    there = {row.start: row.end, row.end: row.start} if row.fault == "crossed" else {row.start: row.end}
    for name, pair in ends.items():
        if row.wire in ("", name):
            ends[name] = [there.get(point, point) for point in pair]


def _true_ohms(wire: Wire, expected: float) -> float:
    chance = zlib.crc32(wire.name.encode("utf-8")) / 2**32  # the same loom at every rehearsal
    if wire.kind == "fuse":
        return 0.008
    if wire.conducts:
        base = UNKNOWN_WIRE_OHM if math.isnan(expected) else expected
        return base * (0.98 + 0.04 * chance)
    low = PART_OHMS[0] if wire.ohms_min is None else wire.ohms_min
    high = PART_OHMS[1] if wire.ohms_max is None else wire.ohms_max
    return math.sqrt(max(low, 1e-3) * max(high, 1e-3))
