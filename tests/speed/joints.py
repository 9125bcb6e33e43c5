"""How long the joints of a whole run take: `python -m tests.speed.joints`.

A run of 2,000 nets of five wires on a splice (10,000 wires, 60,000 four-wire readings), and one net of 400
wires with 200 loops (20,000 readings). Beside each stands a bare script that does the least anybody could:
one sparse least-squares solve of the same readings, no posterior, no loops linearised again.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.linalg import lsqr

from loomtest.diagnosis.joints.report import estimate
from loomtest.diagnosis.numbers.network import effective_resistance
from loomtest.diagnosis.wiring import as_drawn
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Harness, Wire
from loomtest.readings.instrument import load_instrument
from loomtest.readings.model import Quantity, Readings

NOISE_OHM = 0.002


def stars(nets: int, legs: int) -> Harness:
    """`nets` splices of `legs` wires each."""
    wires = [
        Wire(f"W{n}.{k}", f"X{n}:{k}", f"SP{n}", size_mm2=1.0, length_m=1.0 + 0.2 * k)
        for n in range(nets)
        for k in range(1, legs + 1)
    ]
    points = dict.fromkeys(p for wire in wires for p in (wire.start, wire.end))
    return Harness("stars", tuple(wires), tuple(points))


def meshed(wires: int, loops: int, rng: np.random.Generator) -> Harness:
    """One net: a random tree of `wires - loops` wires, and `loops` wires more between its points."""
    size = wires - loops + 1
    ends = [(int(rng.integers(max(0, i - 6), i)), i) for i in range(1, size)]
    while len(ends) < wires:
        a, b = (int(p) for p in rng.integers(0, size, 2))
        if a != b:
            ends.append((a, b))
    rows = tuple(
        Wire(f"W{n}", f"X{a}:1", f"X{b}:1", size_mm2=1.0, length_m=1.0) for n, (a, b) in enumerate(ends)
    )
    return Harness("meshed", rows, tuple(f"X{i}:1" for i in range(size)))


def measured(harness: Harness, start: np.ndarray, end: np.ndarray, rng: np.random.Generator) -> Readings:
    """Four-wire readings of these pairs, one wire in a hundred with a bad joint."""
    expected = expectation_of(harness)
    ohm = np.abs(expected.expected_ohm + rng.normal(0, expected.spread_ohm))
    ohm += np.where(rng.random(len(ohm)) < 0.01, np.exp(rng.uniform(np.log(0.02), 0, len(ohm))), 0)
    true = effective_resistance(len(harness.points), harness.start, harness.end, ohm, start, end)
    n, nan = len(start), np.full(len(start), np.nan)
    return Readings(
        harness.points,
        start,
        end,
        np.full(n, Quantity.RESISTANCE_4W, dtype=np.int64),
        true.resistance_ohm + rng.normal(0, NOISE_OHM, n),
        nan,
        nan,
        np.full(n, NOISE_OHM),
        nan,
        np.arange(n) + 2,
    )


def bare(harness: Harness, readings: Readings) -> None:
    """Sparse least squares of the readings on a spanning path of wires each."""
    rows = np.repeat(np.arange(len(readings)), 2)
    near = {int(p): w for w, p in enumerate(harness.start.tolist())}
    columns = [near.get(int(p), 0) for pair in zip(readings.start, readings.end, strict=True) for p in pair]
    shape = (len(readings), len(harness.wires))
    lsqr(coo_array((np.ones(len(rows)), (rows, columns)), shape=shape).tocsr(), readings.value, iter_lim=50)


def seconds(work: Callable[[], object]) -> float:
    """The least of three runs, in processor seconds."""
    out = []
    for _ in range(3):
        began = time.process_time()
        work()
        out.append(time.process_time() - began)
    return min(out)


def main() -> None:
    """Print one line a run."""
    rng = np.random.default_rng(1)
    many = stars(2000, 5)
    legs = np.array([many.code_of[wire.start] for wire in many.wires]).reshape(2000, 5)
    a, b = np.triu_indices(5, 1)
    start, end = np.tile(legs[:, a], (1, 3)).ravel(), np.tile(legs[:, b], (1, 3)).ravel()
    one = meshed(400, 200, rng)
    pairs = rng.integers(0, len(one.points), (30_000, 2))
    pairs = pairs[pairs[:, 0] != pairs[:, 1]][:20_000]
    meter = load_instrument("bench-four-wire")
    print(f"{'run':<40}{'readings':>9}{'seconds':>9}{'bare':>8}{'ratio':>7}{'peak MB':>9}")
    for harness, ends in ((many, (start, end)), (one, (pairs[:, 0], pairs[:, 1]))):
        readings = measured(harness, *ends, rng)
        expectation = expectation_of(harness)

        def work(harness: Harness = harness, readings: Readings = readings) -> object:
            return estimate(harness, as_drawn(harness), readings, meter, expectation)  # noqa: B023  (called at once)

        took, least = seconds(work), seconds(lambda h=harness, r=readings: bare(h, r))
        tracemalloc.start()
        work()
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        name = f"{harness.name}: {len(harness.wires)} wires"
        print(f"{name:<40}{len(readings):>9}{took:>9.2f}{least:>8.2f}{took / least:>7.1f}{peak:>9.0f}")


if __name__ == "__main__":
    main()
