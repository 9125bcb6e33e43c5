"""Rings of 3 to 5 wires and 2 or 3 parallel ones: `python -m tests.scores.rings [N]`.

Truth as `[expect]` says, and open wires as often as bad joints; readings with independent normal noise, of
all pairs or round the ring. Coverage of the intervals, calibration of `bad_probability`, wrong passes.
"""

from __future__ import annotations

import sys
from itertools import combinations

import numpy as np

from loomtest.diagnosis.joints.report import estimate
from loomtest.diagnosis.wiring import as_drawn
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Expect, FloatArray, Harness, Limits, Wire
from loomtest.readings.model import Quantity, Readings
from tests.looms.solve import resistances
from tests.scores.joints import METER, Calibration, Pair

Rng = np.random.Generator
OPEN_OHM = 1e9
MOST_OHM = 50.0  # above it a part of the ring is cut off: that is found elsewhere


def random_ring(rng: Rng, rate: float) -> Harness:
    """A ring, or wires side by side, of 1 mm² and 0.3 to 4 m."""
    if rng.random() < 0.4:
        ends = [("X1:1", "GND1")] * int(rng.integers(2, 4))
    else:
        count = int(rng.integers(3, 6))
        points = [f"X1:{i}" for i in range(count)]
        ends = list(zip(points, [*points[1:], points[0]], strict=True))
    wires = tuple(
        Wire(f"W{i}", a, b, size_mm2=1.0, length_m=float(rng.uniform(0.3, 4.0)))
        for i, (a, b) in enumerate(ends)
    )
    points = list(dict.fromkeys(p for pair in ends for p in pair))
    limits = Limits(bad_joint_written=True)
    return Harness("ring", wires, tuple(points), limits=limits, expect=Expect(bad_joint_rate=rate))


def true_ohms(harness: Harness, rng: Rng) -> FloatArray:
    """(W,) healthy, with a bad joint, or open."""
    e, expect = expectation_of(harness), harness.expect
    ohm = np.maximum(e.copper_ohm + e.copper_spread_ohm * rng.normal(size=e.copper_ohm.size), 1e-4)
    for k in range(ohm.size):
        for _ in range(2):
            draw = -1.0
            while draw <= 0:  # cut off at zero
                draw = rng.normal(expect.joint_milliohms, expect.joint_spread_milliohms)
            ohm[k] += draw / 1e3
    odds = expect.bad_joint_rate / (1 - expect.bad_joint_rate)
    kind = rng.choice(3, size=ohm.size, p=np.array([1, odds, odds]) / (1 + 2 * odds))
    excess = np.exp(rng.uniform(np.log(0.01), np.log(100.0), ohm.size))
    return np.where(kind == 2, OPEN_OHM, ohm + np.where(kind == 1, excess, 0.0))


def coverage(seed: int, count: int, noise: float, rate: float = 0.02) -> Calibration:
    """Judge random rings."""
    inside, given, bad = [], [], []
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        harness = random_ring(rng, rate)
        ohm = true_ohms(harness, rng)
        edges = [(int(a), int(b), float(r)) for a, b, r in zip(harness.start, harness.end, ohm, strict=True)]
        matrix = resistances(len(harness.points), edges)
        pairs = list(combinations(range(len(harness.points)), 2))
        if len(pairs) > 3 and rng.random() < 0.5:
            pairs = [(int(a), int(b)) for a, b in zip(harness.start, harness.end, strict=True)]
        value = np.array([matrix[pair] for pair in pairs])
        if not value.max() < MOST_OHM:
            continue
        report = estimate(
            harness,
            as_drawn(harness),
            _read(harness, pairs, value, noise, rng),
            METER,
            expectation_of(harness),
        )
        limits = expectation_of(harness).limit_ohm
        for k, row in enumerate(report.rows):
            if row.interval_ohms is None or row.bad_probability is None or row.group:
                continue
            low, high = row.interval_ohms
            inside.append(low <= ohm[k] <= high)
            given.append(row.bad_probability)
            bad.append(ohm[k] > limits[k])
    return Calibration(*(np.array(column, dtype=np.float64) for column in (inside, given, bad)))


def _read(harness: Harness, pairs: list[Pair], value: FloatArray, noise: float, rng: Rng) -> Readings:
    start, end = (np.array(side, dtype=np.int64) for side in zip(*pairs, strict=True))
    blank = np.full(value.size, np.nan)
    return Readings(
        points=harness.points,
        start=start,
        end=end,
        quantity=np.full(value.size, int(Quantity.RESISTANCE_4W)),
        value=value + noise * rng.normal(size=value.size),
        above_ohm=blank,
        current_a=blank,
        uncertainty=np.full(value.size, noise),
        temperature_c=blank,
        row=np.arange(2, value.size + 2),
    )


def main() -> None:
    """Print coverage and calibration for three meters."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for noise in (0.0005, 0.002, 0.01):
        c = coverage(1, count, noise)
        print(f"noise {1e3 * noise:g} mΩ: coverage {100 * c.inside.mean():.1f} % of {c.inside.size}")
        for low, high, times, given, bad in c.reliability():
            print(
                f"   given {low:5.3f}-{high:5.3f}: {times:6d} wires, mean {given:.4f}, bad {bad:.4f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
