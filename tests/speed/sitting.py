"""From a taken reading to the next prompt, on looms with two faults.

Run: python -m tests.speed.sitting

A simulated person (`tests/looms/person.py`) sits through looms of 70 and 360 wires with a broken wire and a
swap, at `neighbours`. Counted is the wall clock from the typed value to the events that hold the next prompt,
the reading safe on disk between them; beside it a bare line appended to a file and synced, on the same disk.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from loomtest.bench.session.session import Session
from tests.looms.faults import Fault, Loom, healthy_loom, random_fault
from tests.looms.generate import Recipe, random_harness
from tests.looms.person import Person, sit
from tests.looms.scenario import fits

SIZES = (70, 360)


def faulty(wires: int, seed: int) -> tuple[Loom, np.random.Generator]:
    """A loom with a broken wire and a swap."""
    rng = np.random.default_rng(seed)
    loom = healthy_loom(random_harness(rng, Recipe(wires=wires, loops=False)), rng)
    faults: list[Fault] = []
    for kind in ("open", "crossed"):
        while True:
            fault = random_fault(loom, rng, kind)
            if fault is not None and fits(loom.harness, faults, fault, False):
                faults.append(fault)
                break
    return loom.with_faults(faults), rng


def timed(typed: Callable[..., Any], into: list[float]) -> Callable[..., Any]:
    """The method, each call's seconds noted."""

    def call(self: Session, now_s: float, text: str) -> Any:
        start_s = time.perf_counter()
        events = typed(self, now_s, text)
        into.append(time.perf_counter() - start_s)
        return events

    return call


def bare_ms(folder: Path, count: int) -> float:
    """Median of a line appended and synced."""
    spent = []
    with (folder / "bare.csv").open("ab", buffering=0) as stream:
        for _ in range(count):
            start_s = time.perf_counter()
            stream.write(b"X1:1,X2:1,0.3,,,,,,,,2026-01-01T00:00:00.000+00:00,,,,\n")
            os.fsync(stream.fileno())
            spent.append(time.perf_counter() - start_s)
    return 1e3 * float(np.median(spent))


def main() -> None:
    """Print one row a size."""
    heads = ("readings", "median ms", "95 % ms", "99 % ms", "worst ms", "bare ms")
    print(f"{'wires':>6}" + "".join(f"{head:>11}" for head in heads))
    original = Session.typed
    for wires in SIZES:
        spent: list[float] = []
        Session.typed = timed(original, spent)  # type: ignore[method-assign]  # put back below
        try:
            with tempfile.TemporaryDirectory() as place:
                loom, rng = faulty(wires, 3)
                sit(loom, "neighbours", Path(place) / "run", Person(loom, rng))
                bare = bare_ms(Path(place), 200)
        finally:
            Session.typed = original  # type: ignore[method-assign]
        ms = 1e3 * np.array(spent)
        median, ninety_five, ninety_nine = np.percentile(ms, [50, 95, 99])
        row = (median, ninety_five, ninety_nine, ms.max(), bare)
        print(f"{wires:>6}{len(ms):>11}" + "".join(f"{value:>11.1f}" for value in row))


if __name__ == "__main__":
    main()
