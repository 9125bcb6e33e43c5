"""Movements of the hands, counted as the steps are walked: beside the plan's own count from its arrays."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.bench.plan.plan import Step
from loomtest.bench.plan.route import station_of


def moves_of(steps: Sequence[Step]) -> int:
    """Times the clip is hung on a point, plus times the probe arrives at another connector; no combs."""
    moves = 0
    clip = here = ""
    for step in steps:
        moves += (step.clip != clip) + (station_of(step.probe) != here)
        clip, here = step.clip, station_of(step.probe)
    return moves
