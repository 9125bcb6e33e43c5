"""Writes the readings of the invented sample runs; the same bytes every time.

    python sample_runs/make_sample_runs.py [FOLDER]

A loom is a network of resistors: every wire is its copper plus two joints, each fault changes the network,
and a meter with known limits of error reads pairs of points in it. Nothing here is imported from the
package, so the sample readings are an independent witness of what the package says about them. Copper:
17.241 mΩ mm²/m at 20 °C (annealed copper, IACS) and 0.393 % per kelvin; a healthy joint is a millohm or
three. All harnesses, faults and readings are invented.
"""

from __future__ import annotations

import csv
import hashlib
import math
import random
import shutil
import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from itertools import combinations
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
HARNESS_FILES = ("harness.toml", "wires.csv")
COPPER_OHM_MM2_PER_M = 0.017241
COPPER_PER_KELVIN = 0.00393
METERS = {
    # name: (limit of error in %, counts, [(range, resolution)], over-range above, lead ohms, touch ohms)
    "bench": (0.05, 3, [(20.0, 1e-3), (2e3, 0.1), (2e5, 10.0), (2e7, 1e3)], 2e7, 0.0, 0.0),
    "handheld": (0.8, 2, [(400.0, 0.1), (4e3, 1.0), (4e5, 100.0), (4e7, 1e4)], 4e7, 0.2, 0.02),
}


@dataclass(frozen=True)
class Sitting:
    """One run: where it goes, what is wrong with the loom, and who measures with what."""

    loom: str
    name: str
    meter: str
    celsius: float
    started: datetime
    stage: str
    extra_ohms: dict[str, float] = field(default_factory=dict)  # wire: what its bad joint adds
    cut: tuple[str, ...] = ()  # wires that are open
    moved: dict[tuple[str, str], str] = field(
        default_factory=dict
    )  # (wire, where its end belongs): where it is
    shorts: tuple[tuple[str, str, float], ...] = ()  # point, point, ohms of the contact
    lit: tuple[tuple[str, str], ...] = ()  # pairs whose lost volts were read too, with LIT_AMPS flowing


LIT_AMPS = 5.0
TRACTOR, LAUNCH = "orchard_tractor", "fishing_launch"
CROSSED_LAMP_AND_HORN = {("W14", "X2:3"): "X2:4", ("W16", "X2:4"): "X2:3"}
CROSSED_LIGHTS = {("W3", "X2:3"): "X2:4", ("W4", "X2:4"): "X2:3"}
CHAFED = (("X1:3", "SP1", 0.21),)


def _at(month: int, day: int, hour: int, minute: int) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=timezone(timedelta(hours=2)))


SITTINGS = (
    Sitting(
        TRACTOR, "1_before", "bench", 18.0, _at(3, 7, 9, 30), "before",
        extra_ohms={"W20": 0.38}, cut=("W4",), moved=CROSSED_LAMP_AND_HORN, shorts=CHAFED,
    ),
    Sitting(TRACTOR, "2_after", "bench", 19.0, _at(3, 14, 10, 5), "after", extra_ohms={"W20": 0.0083}),
    Sitting(TRACTOR, "3_final", "bench", 19.0, _at(3, 14, 15, 40), "final"),
    Sitting(
        LAUNCH, "1_first.csv", "handheld", 20.0, _at(4, 2, 18, 0), "first",
        extra_ohms={"W7": 1.7}, moved=CROSSED_LIGHTS,
    ),
    Sitting(
        LAUNCH, "2_second.csv", "handheld", 20.0, _at(4, 3, 18, 0), "second",
        lit=(("X2:6", "PUMP2"), ("X2:6", "NEG")),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """A row of the wire list, as far as the network needs it."""

    name: str
    start: str
    end: str
    kind: str
    ohms_at_20c: float


class Loom:
    """An expected harness, read from its files, with the true healthy resistance of everything in it."""

    def __init__(self, folder: Path) -> None:
        self.toml = tomllib.loads((folder / "harness.toml").read_text(encoding="utf-8"))
        chance = random.Random(folder.name)
        self.rows: list[Row] = []
        with (folder / "wires.csv").open(encoding="utf-8", newline="") as file:
            for cells in csv.DictReader(file):
                self.rows.append(self._row(cells, chance))
        named = dict.fromkeys(point for row in self.rows for point in (row.start, row.end))
        declared = [f"{x}:{n}" for x, count in self.toml["cavities"].items() for n in range(1, count + 1)]
        self.points = list(dict.fromkeys([*named, *declared]))
        self.reachable = [p for p in self.points if p not in self.toml.get("unreachable", [])]
        self.nets = self._nets()

    @staticmethod
    def _row(cells: dict[str, str], chance: random.Random) -> Row:
        kind = cells.get("kind") or "wire"
        if kind == "wire":
            size, length = (float(cells[key].split()[0]) for key in ("size", "length"))
            copper = COPPER_OHM_MM2_PER_M * length / size * 1.05
            copper *= 1 + 0.03 * chance.gauss()
            joints = abs(chance.gauss(0.002, 0.0009)) + abs(chance.gauss(0.002, 0.0009))
            ohms = copper + joints
        else:
            ohms = {"fuse": 0.0062, "coil": 3.31}[kind]
        return Row(cells["wire"], cells["from"], cells["to"], kind, ohms)

    def _nets(self) -> list[list[str]]:
        home = {point: point for point in self.points}
        for row in self.rows:
            if row.kind in ("wire", "fuse"):
                old, new = home[row.end], home[row.start]
                home = {point: new if at == old else at for point, at in home.items()}
        nets: dict[str, list[str]] = {}
        for point in self.reachable:
            nets.setdefault(home[point], []).append(point)
        return list(nets.values())


def between(loom: Loom, sitting: Sitting) -> np.ndarray:
    """(P, P) true resistance between every two points of the loom with this sitting's faults, in ohms.

    Infinite between points that nothing joins. Each joined group is solved by itself, so that the numbers
    are good to far more digits than any meter shows.
    """
    index = {point: i for i, point in enumerate(loom.points)}
    siemens = np.zeros((len(index), len(index)))
    warm = 1 + COPPER_PER_KELVIN * (sitting.celsius - 20.0)
    for row in loom.rows:
        if row.name in sitting.cut:
            continue
        a = index[sitting.moved.get((row.name, row.start), row.start)]
        b = index[sitting.moved.get((row.name, row.end), row.end)]
        siemens[a, b] += 1 / (row.ohms_at_20c * warm + sitting.extra_ohms.get(row.name, 0.0))
        siemens[b, a] = siemens[a, b]
    for start, end, ohms in sitting.shorts:
        siemens[index[start], index[end]] += 1 / ohms
        siemens[index[end], index[start]] = siemens[index[start], index[end]]
    out = np.full(siemens.shape, np.inf)
    joined = (np.linalg.matrix_power((siemens > 0) + np.eye(len(index)), len(index)) > 0).astype(bool)
    for group in {tuple(np.flatnonzero(row)) for row in joined}:
        part = siemens[np.ix_(group, group)]
        laplacian = np.diag(part.sum(axis=1)) - part
        inverse = np.linalg.inv(laplacian + 1.0)
        diagonal = np.diag(inverse)
        out[np.ix_(group, group)] = diagonal[:, None] + diagonal[None, :] - 2 * inverse
    return out


class Meter:
    """Reads a resistance as its display would show it."""

    def __init__(self, kind: str, chance: random.Random) -> None:
        self.percent, self.counts, self.ranges, self.over, self.lead, self.touch = METERS[kind]
        self.chance = chance
        # one error of gain and one of offset for the whole sitting, within a third of the limit of error
        self.gain = chance.uniform(-1, 1) / 3 * self.percent / 100
        self.offset_counts = chance.uniform(-1, 1) / 3 * self.counts

    def shows(self, ohms: float) -> str:
        """The display: a number with its prefix, or OL."""
        if ohms > self.over:
            return "OL"
        ohms += self.lead + abs(self.chance.gauss(0, self.touch))
        resolution = next(step for up_to, step in self.ranges if ohms <= up_to)
        counts = ohms * (1 + self.gain) / resolution + self.offset_counts + self.chance.gauss(0, 0.5)
        shown = max(round(counts), 0) * resolution
        scale, letter = next((s, k) for s, k in ((1e6, " MΩ"), (1e3, " kΩ"), (0.0, "")) if ohms >= s)
        scale = scale or 1.0
        return f"{shown / scale:.{max(0, round(math.log10(scale / resolution)))}f}{letter}"


def probes(loom: Loom) -> tuple[list[tuple[str, str]], list[tuple[str, str]], list[tuple[str, str]]]:
    """The pairs that should be joined, those across parts, and one pair for every two nets."""
    inside = [pair for net in loom.nets for pair in combinations(net, 2)]
    parts = [(row.start, row.end) for row in loom.rows if row.kind not in ("wire", "fuse")]
    by_part = {frozenset(pair) for pair in parts}
    net_of = {point: i for i, net in enumerate(loom.nets) for point in net}
    skip = {frozenset(net_of[p] for p in pair) for pair in by_part}
    across = [
        (a[0], b[0])
        for (i, a), (j, b) in combinations(list(enumerate(loom.nets)), 2)
        if frozenset((i, j)) not in skip
    ]
    return inside, parts, across


def search(loom: Loom, lost: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Where a person looks for a wire that reads open: each end against the other connector's cavities."""
    wanted = []
    for start, end in lost:
        for fixed, other in ((start, end), (end, start)):
            connector = other.partition(":")[0]
            wanted += [(fixed, p) for p in loom.reachable if p.startswith(connector + ":") and p != fixed]
    return wanted


def measure(loom: Loom, sitting: Sitting) -> list[list[str]]:
    """The rows of readings.csv, without its header."""
    chance = random.Random(f"{sitting.loom}/{sitting.name}")
    meter = Meter(sitting.meter, chance)
    true = between(loom, sitting)
    index = {point: i for i, point in enumerate(loom.points)}
    inside, parts, across = probes(loom)
    done: set[frozenset[str]] = set()
    rows: list[list[str]] = []
    clock = sitting.started + timedelta(minutes=2)

    def take(pair: tuple[str, str]) -> str:
        nonlocal clock
        value = meter.shows(float(true[index[pair[0]], index[pair[1]]]))
        quantity = "resistance_4w" if sitting.meter == "bench" else "resistance"
        clock += timedelta(seconds=chance.randint(4, 10))
        done.add(frozenset(pair))
        rows.append([*pair, value, quantity, clock.isoformat()])
        return value

    lost = [pair for pair in inside if take(pair) == "OL"]
    for pair in [*parts, *search(loom, lost), *across]:
        if frozenset(pair) not in done:
            take(pair)
    return rows


def lost_volts(loom: Loom, sitting: Sitting) -> list[list[str]]:
    """Rows of the voltage lost along pairs while a lamp draws its amperes, to the millivolt."""
    true = between(loom, sitting)
    index = {point: i for i, point in enumerate(loom.points)}
    return [
        [a, b, f"{LIT_AMPS * float(true[index[a], index[b]]):.3f}", "voltage_drop", "V", f"{LIT_AMPS:g}"]
        for a, b in sitting.lit
    ]


RUN_TOML = """\
# Invented for the demonstration.
format = "loomtest-run/1"
tool_version = "0.1.0"
stage = "{stage}"
rehearsal = true
operator = "the workshop"
started = "{started}"
temperature_c = {celsius}
notes = "{notes}"

[harness]
name = "{harness}"
digest = "{digest}"

[instrument]
name = "bench meter, four-wire ohms"
assumed = false

[events]
1 = {{what = "started", at = "{started}"}}
2 = {{what = "ended", at = "{ended}", status = "complete", last_row = {last_row}}}
"""
RUN_HEADER = [
    "from", "to", "value", "quantity", "unit", "current", "uncertainty", "range", "bonded_from", "bonded",
    "time", "withdraws", "instrument", "temperature", "note",
]  # fmt: skip
NOTES = {
    "1_before": "as the loom came apart, new front lamp connector fitted",
    "2_after": "all four faults mended; the rear ground ring was crimped again",
    "3_final": "rear ground ring replaced, stud wire-brushed",
}


def write(out: Path) -> None:
    """Write every run under `out`."""
    for sitting in SITTINGS:
        source, target = HERE / sitting.loom, out / sitting.loom
        loom = Loom(source)
        rows = measure(loom, sitting)
        if sitting.name.endswith(".csv"):
            volts = lost_volts(loom, sitting)
            header = ["from", "to", "value", *(("quantity", "unit", "current") if volts else ())]
            rest = [""] * (len(header) - 3)
            save(target / sitting.name, header, [row[:3] + rest for row in rows] + volts)
            continue
        run = target / sitting.name
        cells = [dict(zip(("from", "to", "value", "quantity", "time"), row, strict=True)) for row in rows]
        save(run / "readings.csv", RUN_HEADER, [[row.get(name, "") for name in RUN_HEADER] for row in cells])
        (run / "harness").mkdir(exist_ok=True)
        for name in HARNESS_FILES:
            shutil.copyfile(source / name, run / "harness" / name)
        shutil.copyfile(source / "meter.toml", run / "instrument.toml")
        text = RUN_TOML.format(
            harness=loom.toml["name"], digest=digest(source), stage=sitting.stage, celsius=sitting.celsius,
            started=sitting.started.isoformat(), ended=rows[-1][-1], last_row=len(rows),
            notes=NOTES[sitting.name],
        )  # fmt: skip
        (run / "run.toml").write_text(text, encoding="utf-8", newline="\n")


def mirror(out: Path) -> None:
    """Copy the samples, without this script, to where the package carries them for `loomtest demo`."""
    shutil.rmtree(out, ignore_errors=True)
    shutil.copytree(HERE, out, ignore=shutil.ignore_patterns("*.py", "__pycache__"))


def digest(folder: Path) -> str:
    """Of the harness: the SHA-256 of what `sha256sum` prints for its files, in the order of names."""
    lines = [f"{hashlib.sha256((folder / n).read_bytes()).hexdigest()}  {n}\n" for n in HARNESS_FILES]
    return "sha256:" + hashlib.sha256("".join(lines).encode()).hexdigest()


def save(path: Path, header: list[str], rows: list[list[str]]) -> None:
    """A CSV with LF line ends."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([header, *rows])


if __name__ == "__main__":
    if len(sys.argv) > 1:
        write(Path(sys.argv[1]))
    else:
        write(HERE)
        mirror(HERE.parent / "loomtest" / "data" / "demo")
