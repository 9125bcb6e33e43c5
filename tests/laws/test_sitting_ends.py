"""A sitting ends: nothing is asked twice, and what is asked beyond the plan is bounded (docs/plan.md)."""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from loomtest.bench.plan.adaptive import most_further
from loomtest.bench.plan.plan import plan
from tests.looms.faults import KINDS, healthy_loom, random_fault
from tests.looms.generate import Recipe, random_harness
from tests.looms.person import Person, sit


@given(
    seed=st.integers(0, 2**32 - 1),
    level=st.sampled_from(["full", "neighbours", "bonded", "none"]),
    kinds=st.lists(st.sampled_from(KINDS), max_size=6),
    slips=st.sampled_from([0.0, 0.05]),
)
def test_a_sitting_ends_within_its_bound_and_asks_no_pair_twice(
    seed: int, level: str, kinds: list[str], slips: float
) -> None:
    rng = np.random.default_rng(seed)
    harness = random_harness(rng, Recipe(wires=int(rng.integers(3, 16)), listed=float(rng.integers(2))))
    loom = healthy_loom(harness, rng)
    faults = [fault for kind in kinds if (fault := random_fault(loom, rng, kind)) is not None]
    loom = loom.with_faults(faults)  # whatever they do to each other: also what no reasoning gets through
    with tempfile.TemporaryDirectory() as place:
        sat = sit(loom, level, Path(place) / "run", Person(loom, rng, slips=slips))
    assert sat.ended
    made = plan(sat.harness, level)  # type: ignore[arg-type]  # one of the four
    planned = Counter(_asked(step) for step in made.steps)
    asked = Counter(_asked(step) for step in sat.asked)
    assert sum((asked - planned).values()) <= most_further(sat.harness) == 2 * len(harness.points) + 10
    for key, count in asked.items():
        doubtful_joint = any(_asked(step) == key and step.what == "joints" for step in sat.asked)
        assert count <= max(planned[key], 1) + doubtful_joint, key


def _asked(step: object) -> tuple[object, ...]:
    return frozenset((step.start, step.end)), step.quantity, frozenset(step.bonded)  # type: ignore[attr-defined]
