"""A touch against the common, and what clips give side by side."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

Block = tuple[int, ...]  # indices of clips, ascending; () is none: over-range


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerTouch:
    """One touch of a round: `ohm` (+inf over-range); `clip`, the index of the clip on the circuit touched,
    -1 where none sits there; `point`, its code, -1 where that does not matter."""

    ohm: float
    clip: int
    point: int = -1


def side_by_side_ohm(ohms: Iterable[float]) -> float:
    """Ohms of resistors in parallel; +inf of none."""
    conductance = sum(1.0 / ohm for ohm in ohms)
    return 1.0 / conductance if conductance else math.inf
