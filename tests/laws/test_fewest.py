"""No single fault explains what two findings do: every one is tried, on tiny looms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from loomtest.readings.model import Instrument, Quantity, Readings
from loomtest.words.verdict import judge
from tests.looms.fewest import fewest_faults
from tests.looms.generate import Recipe
from tests.looms.measure import full_scan
from tests.looms.scenario import Order, draw

BEEPER = Instrument("beeper", beep_below_ohms=100.0)  # nothing but yes and no
TINY = Recipe(parts=False, fuses=False, declared=0.3)
KINDS = ("open", "short", "crossed", "misplaced")


def beeps(readings: Readings) -> Readings:
    """The same readings by a beeper: yes and no, so that no resistance can speak for more faults."""
    return replace(
        readings,
        value=(readings.value < 100.0).astype(np.float64),
        quantity=np.full(len(readings), int(Quantity.CONTINUITY), dtype=np.int64),
        above_ohm=np.full(len(readings), np.nan),
        uncertainty=np.full(len(readings), np.nan),
    )


@given(st.integers(0, 2**32 - 1), st.integers(1, 3), st.integers(4, 6))
def test_there_are_no_more_findings_than_faults_and_one_fault_is_never_told_as_two(
    seed: int, count: int, wires: int
) -> None:
    rng = np.random.default_rng(seed)
    loom = draw(rng, Order(count, KINDS, overlap=True, wires=(wires, wires), recipe=TINY))
    readings = beeps(full_scan(loom, rng))
    verdict = judge(loom.harness, readings, BEEPER)
    assert 1 <= len(verdict.findings) <= count, (verdict.findings, loom.faults)
    if len(verdict.findings) > 1:
        assert fewest_faults(loom.harness, readings, most=1) > 1, (verdict.findings, loom.faults)
