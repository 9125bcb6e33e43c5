"""The smallest and likeliest explanation: a swap before two broken wires, before two shorts."""

from __future__ import annotations

import numpy as np

from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.model import Harness
from tests.looms.measure import FourWire, bonded_pairs, continuity_pairs, measure
from tests.looms.tiny import harness_of, loom_of, moved, scan

LOOM = "X1:1 X2:1; X1:2 X2:2; X1:3 X2:3; X1:4 X2:4"


def found(verdict: Verdict) -> list[tuple[str, frozenset[str]]]:
    return [(f.fault, frozenset(f.points)) for f in verdict.findings]


def by_comb(harness: Harness, moves: dict[str, str]) -> Verdict:
    loom = loom_of(harness, moved(harness, moves))
    rng = np.random.default_rng(1)
    readings = measure(loom, continuity_pairs(harness), rng, FourWire(), bonded_pairs(harness))
    return judge(harness, readings)


def test_two_swapped_senders_with_bare_names_are_one_swap() -> None:
    harness = harness_of("X1:1 TEMP; X1:2 OILP; X1:3 FUEL; X1:4 X2:1")
    swap = moved(harness, {"TEMP": "OILP"}, wire="W1"), moved(harness, {"OILP": "TEMP"}, wire="W2")
    verdict = judge(harness, scan(loom_of(harness, *swap)))
    assert len(verdict.findings) == 1
    assert verdict.findings[0].fault == "crossed"
    ways = [set(verdict.findings[0].points), *(set(a.points) for a in verdict.findings[0].alternatives)]
    assert {"TEMP", "OILP"} in ways and {"X1:1", "X1:2"} in ways


def test_a_swap_measured_with_a_comb_is_no_short() -> None:
    harness = harness_of("X1:1 X2:1; X3:1 X4:1; X1:2 X2:2; X1:3 X2:3")
    verdict = by_comb(harness, {"X2:1": "X2:2", "X2:2": "X2:1"})
    assert not any(f.fault == "short" for f in verdict.findings)
