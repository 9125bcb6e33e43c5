"""Faults on a branched loom, for `python -m tests.scores.place`: a splice with three legs, a straight wire.

Every reading is the one that the finding asks for, in its order, until nothing more is asked: the leg first,
then from beyond it. The drops are those of a tree, in closed form: up to where the way leaves the current.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.place.breaks import STRETCH_M, SWING, Piece, place_break
from loomtest.diagnosis.verdict import Finding
from loomtest.harness.load import load_harness
from loomtest.harness.model import FloatArray, Harness
from loomtest.readings.load import load_readings
from loomtest.readings.model import Instrument, Range, VoltageRange

AMPS, NOISE_VOLT, STEP_M = 1.5, 1e-4, 0.01
METER = Instrument(
    "handheld", autorange=True, lead_ohms=0.1, open_above_ohms=2e7, ranges=(Range(200.0, 0.8, 3, 0.1),),
    voltage_ranges=(VoltageRange(0.2, 0.0, 1, NOISE_VOLT),),
)  # fmt: skip
HEADER = "from,to,value,unit,quantity,current,uncertainty"
LEGS = ("L1", "L2", "L3")


class Branched:
    """A loom with a short from a random place on a leg to one on a straight wire, copper and joints drawn."""

    def __init__(self, rng: np.random.Generator, folder: Path, joints: FloatArray) -> None:
        self.rng, self.folder = rng, folder
        listed = [*rng.uniform(0.6, 2.5, 3), 3.0]
        names = [(f"L{k}", "SP1", f"X{k}:1") for k in (1, 2, 3)] + [("W9", "X1:2", "X3:2")]
        rows = [f"{w},{a},{b},0.5,{m:.3f}" for (w, a, b), m in zip(names, listed, strict=True)]
        (folder / "wires.csv").write_text("wire,from,to,size,length\n" + "\n".join(rows) + "\n")
        (folder / "harness.toml").write_text('unreachable = ["SP1"]\n')
        self.harness: Harness = load_harness(folder)
        common, own = rng.normal(0, 0.03 * math.sqrt(0.5)), rng.normal(0, 0.03 * math.sqrt(0.5), 4)
        self.true_m = np.round(listed, 3) * (1 + common + own)
        warm = 1 + rng.normal(0, 5.0) / 254.5
        self.copper = 1.05 * 0.017241 / 0.5 * self.true_m * (1 + rng.normal(0, 0.04, 4)) * warm
        self.ends = joints.reshape(4, 2)
        self.leg, self.at, self.other = int(rng.integers(3)), float(rng.uniform()), float(rng.uniform())

    def to_splice(self, leg: int) -> float:
        return float(self.copper[leg] + self.ends[leg].sum())

    def drop_ohm(self, fed: str, far: str) -> float:
        """Ohms from a fed end up to where the way to the far end leaves the current."""
        if fed.endswith(":2"):
            near = fed == "X1:2"
            part = self.other if near else 1 - self.other
            return float(part * self.copper[3] + self.ends[3, 0 if near else 1])
        one, two = int(fed[1]) - 1, int(far[1]) - 1
        beyond = (1 - self.at) * self.copper[self.leg] + self.ends[
            self.leg, 1
        ]  # from the leg's end to the short
        if one == self.leg:
            return float(beyond)
        if two != self.leg:
            return self.to_splice(one)
        return float(self.to_splice(one) + self.at * self.copper[self.leg] + self.ends[self.leg, 0])

    def finding(self) -> Finding:
        """The short, after every reading that was asked for."""
        rows = ["X1:1,X2:1,0.2,,,,", "X1:1,X3:1,0.2,,,,", "X1:2,X3:2,0.2,,,,", "X1:1,X1:2,0.4,,,,"]
        while True:
            path = self.folder / "readings.csv"
            path.write_text("\n".join([HEADER, *rows]) + "\n")
            verdict = judge(self.harness, load_readings(path, self.harness), METER)
            found = next(each for each in verdict.findings if each.fault == "short")
            if not found.asked or len(rows) > 30:
                return found
            for asked in found.asked:
                volt = AMPS * self.drop_ohm(asked.start, asked.end) + self.rng.normal(0, NOISE_VOLT)
                sd = NOISE_VOLT
                rows.append(f"{asked.start},{asked.end},{volt!r},V,voltage_drop,{AMPS},{sd}")

    @property
    def place_m(self) -> float:
        return float(self.at * self.true_m[self.leg])


def swung(rng: np.random.Generator, length_m: float) -> FloatArray:
    """Capacitance of every centimetre of a wire, its mean one: a swing with an exponential correlation."""
    steps = max(2, round(length_m / STEP_M))
    keep = math.exp(-STEP_M / STRETCH_M)
    out = np.empty(steps)
    out[0] = rng.normal(0, SWING)
    for k in range(1, steps):
        out[k] = keep * out[k - 1] + rng.normal(0, SWING * math.sqrt(1 - keep**2))
    return np.asarray((1 + out) * length_m / steps)


def branched_break(rng: np.random.Generator, folder: Path) -> tuple[float, tuple[float, float], float] | None:
    """One break in a leg of a splice, two whole legs on its far piece: (told, interval, true) in metres."""
    listed = rng.uniform(0.6, 2.5, 3)
    (folder / "wires.csv").write_text(f"from,to,size,length\nX1:1,SP1,0.5,{listed[0]:.6f}\n")
    harness = load_harness(folder / "wires.csv")
    true_m = listed * (1 + rng.normal(0, 0.03 * math.sqrt(0.5)) + rng.normal(0, 0.03 * math.sqrt(0.5), 3))
    per_metre, at = float(rng.uniform(35e-12, 90e-12)), float(rng.uniform()) * float(true_m[0])
    own = per_metre * swung(rng, float(true_m[0]))
    cut = round(at / float(true_m[0]) * len(own))
    beyond = sum(per_metre * float(swung(rng, float(each)).sum()) for each in true_m[1:])
    pieces = []
    for farads, others in ((own[:cut].sum(), 0.0), (own[cut:].sum() + beyond, float(listed[1:].sum()))):
        shown = farads * (1 + rng.uniform(-0.01, 0.01)) + rng.uniform(-5e-12, 5e-12)
        limit = math.hypot(0.01 * farads, 5e-12) / math.sqrt(3)
        pieces.append(Piece(farads=float(shown), uncertainty=limit, step=1e-12, others_m=others))
    beside = per_metre * float(rng.uniform(0.85, 1.15))
    found = place_break(harness, float(listed[0]), (pieces[0], pieces[1]), beside)
    if found.metres is None or found.interval_metres is None:
        return None
    return found.metres, found.interval_metres, at
