"""The next best probing, given what was measured so far."""

from __future__ import annotations

from loomtest.bench.plan import Plan, Step, plan
from loomtest.harness.model import Harness
from loomtest.readings.model import Instrument, Readings


def next_probing(
    harness: Harness,
    readings: Readings,
    instrument: Instrument | None = None,
    planned: Plan | None = None,
) -> Step | None:
    """What to measure next, or None when no further probing can change the verdict.

    `planned`: the plan to work through, `plan(harness)` where None (pass it to save making it again).
    """
    steps = (planned or plan(harness)).steps
    measured = {
        frozenset((readings.points[a], readings.points[b]))
        for a, b in zip(readings.start.tolist(), readings.end.tolist(), strict=True)
    }
    return next((step for step in steps if frozenset((step.start, step.end)) not in measured), None)
