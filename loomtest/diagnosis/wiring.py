"""Where each conductor really sits: what the explanation of the faults hands to the network estimate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.harness.model import BoolArray, Harness, IntArray


@dataclass(frozen=True)
class Wiring:
    """Conductors and parts as found; every array is indexed like `Harness.wires`.

    `start`, `end`: (W,) codes into `Readings.points` where each end sits (a crossed wire where it was
    found). `joined`: (W,) False where the wire is open. `shorts`: (S, 2) codes of points joined by shorts.
    """

    start: IntArray
    end: IntArray
    joined: BoolArray
    shorts: IntArray


def as_drawn(harness: Harness) -> Wiring:
    """The wiring of a harness without faults."""
    return Wiring(
        harness.start,
        harness.end,
        np.ones(len(harness.wires), dtype=np.bool_),
        np.empty((0, 2), dtype=np.int64),
    )
