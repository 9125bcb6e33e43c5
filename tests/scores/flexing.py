"""False alarms and detection of the wiggle test on simulated flicker.

Run it: python -m tests.scores.flexing [STREAMS]

Streams of 300 s with white noise, quantised like the meter named, on a baseline that drifts by ten sigmas.
First without any flicker: share of streams with a false event. Then with five contacts lost for a moment:
share of them that are found, over their depth (in sigmas, or to over-range) and their length (in samples).
"""

from __future__ import annotations

import sys

import numpy as np

from loomtest.diagnosis.flexing import analyse
from loomtest.harness.model import FloatArray


def stream(
    rng: np.random.Generator, interval_s: float, sigma: float, step: float, seconds: float = 300.0
) -> tuple[FloatArray, FloatArray]:
    """Time and value of a steady contact of about half an ohm."""
    time = np.arange(0.0, seconds, interval_s)
    drift = 10.0 * sigma * np.sin(np.linspace(0.0, 3.0, len(time)))
    value = 0.5 + drift + sigma * rng.standard_normal(len(time))
    return time, np.round(value / step) * step


def flicker(
    rng: np.random.Generator, value: FloatArray, depth: float, samples: int, count: int = 5
) -> tuple[FloatArray, list[int]]:
    """The value with `count` excursions well apart, and where they begin."""
    out = value.copy()
    slots = np.linspace(0, len(value), count + 2)[1:-1].astype(int)
    starts = [int(slot + rng.integers(-len(value) // 40, len(value) // 40)) for slot in slots]
    for start in starts:
        out[start : start + samples] += depth
    return out, starts


def found_share(
    seed: int, streams: int, interval_s: float, sigma: float, step: float, depth: float, samples: int
) -> float:
    """Share of the excursions that an event overlaps."""
    rng = np.random.default_rng(seed)
    hits = total = 0
    for _ in range(streams):
        time, value = stream(rng, interval_s, sigma, step)
        value, starts = flicker(rng, value, depth, samples)
        events = analyse(time, value).events
        for start in starts:
            lo, hi = time[start] - 1e-9, time[min(start + samples, len(time)) - 1] + 1e-9
            hits += any(e.start_s <= hi and e.start_s + e.length_s >= lo for e in events)
            total += 1
    return hits / total


def false_share(seed: int, streams: int, interval_s: float, sigma: float, step: float) -> float:
    """Share of steady streams that are called intermittent."""
    rng = np.random.default_rng(seed)
    said = [analyse(*stream(rng, interval_s, sigma, step)).verdict for _ in range(streams)]
    return said.count("intermittent") / streams


METERS = {
    "handheld, 4 values/s, 0.1 Ω steps": (0.25, 0.03, 0.1),
    "handheld, 4 values/s, 0.01 Ω steps": (0.25, 0.01, 0.01),
    "bench meter, 50 values/s, 1 mΩ noise": (0.02, 0.001, 1e-5),
}


def main() -> None:
    streams = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    depths = (4.0, 6.0, 8.0, 10.0, 12.0, 16.0, np.inf)
    for name, (interval_s, sigma, step) in METERS.items():
        unit = max(sigma, step / 2.0)
        false = false_share(1, streams, interval_s, sigma, step)
        print(f"{name}: {100 * false:.2f} % of {streams} steady streams of 300 s called intermittent")
        print("  found, by depth in sigmas: " + "".join(f"{depth:>8g}" for depth in depths))
        for samples in (1, 2, 5, 20):
            shares = [
                found_share(2, max(1, streams // 10), interval_s, sigma, step, depth * unit, samples)
                for depth in depths
            ]
            row = "".join(f"{100 * share:7.1f}%" for share in shares)
            print(f"  {samples:3} samples long          {row}")


if __name__ == "__main__":
    main()
