"""The linear model of a unit's readings against the dense solve of the same network."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from loomtest.diagnosis.units.taken import MOST_WIRES, taken_of, wires_used
from loomtest.harness.model import Expect, Wire
from loomtest.readings.model import Range
from tests.looms.units import measured_units
from tests.scores.healthy import loom


def test_what_the_model_gives_for_the_true_wires_is_what_is_read() -> None:
    """Without spread every wire is what `[expect]` says, in the ring too."""
    harness = loom(np.random.default_rng(1), 16)
    truth = Expect(
        copper_spread_percent=0.0,
        length_spread_percent=0.0,
        temperature_spread_c=0.0,
        joint_spread_milliohms=0.0,
    )
    harness = replace(harness, expect=replace(harness.expect, joint_spread_milliohms=0.0))
    readings = measured_units(harness, np.random.default_rng(2), truth, 1)[0]
    used = wires_used(harness)
    taken = taken_of(harness, readings, used)
    assert used.all() and taken.a.shape == (14, 17)  # two taped splices of three legs
    modelled = taken.a @ (1.05 * taken.copper + 0.004)
    # the meter of the test is off by at most 0.3 % and 0.2 mΩ, and shows 0.1 mΩ
    assert np.all(np.abs(taken.ohm - modelled) < 0.003 * modelled + 0.0003)
    assert taken.own == pytest.approx(0.0001 / np.sqrt(12))
    assert taken.warmth_is_own and taken.warmth == pytest.approx(1.05 * 5.0 / 254.5)


def test_wires_of_unknown_length_are_left_out_with_their_readings() -> None:
    harness = loom(np.random.default_rng(1), 16)
    wires = list(harness.wires)
    wires[2] = replace(wires[2], length_m=None)  # alone
    wires[5] = replace(wires[5], length_m=None)  # a leg of a splice
    harness = replace(harness, wires=tuple(wires))
    used = wires_used(harness)
    assert np.flatnonzero(~used).tolist() == [2, 5]
    whole = loom(np.random.default_rng(1), 16)
    readings = measured_units(whole, np.random.default_rng(2), Expect(), 1)[0]
    taken = taken_of(harness, readings, used)
    assert taken.a.shape[1] == 15
    assert len(taken.ohm) == 14 - 1 - 2  # the splice of three legs was read by two pairs, both through it


def test_a_large_loom_is_thinned_out_evenly() -> None:
    rows = tuple(Wire(f"W{k}", f"X1:{k}", f"X2:{k}", size_mm2=1.0, length_m=1.0 + k) for k in range(500))
    harness = loom(np.random.default_rng(1), 8)
    points = tuple(point for row in rows for point in (row.start, row.end))
    used = wires_used(replace(harness, wires=rows, points=points, unreachable=frozenset()))
    assert 0.8 * MOST_WIRES < used.sum() <= MOST_WIRES
    assert np.diff(np.flatnonzero(used)).max() < 20


def test_leads_measured_in_the_run_are_its_own_and_others_are_the_meters() -> None:
    harness = loom(np.random.default_rng(1), 8)
    readings = measured_units(harness, np.random.default_rng(2), Expect(), 1)[0]
    assert readings.instrument is not None and readings.run is not None
    two_wire = replace(
        readings.instrument,
        method="two-wire",
        lead_ohms=0.0,
        lead_uncertainty_ohms=0.003,
        ranges=(Range(2.0, 0.0, 0.0, 0.0001),),
    )
    plain = replace(readings, instrument=two_wire, quantity=np.zeros_like(readings.quantity))
    used = wires_used(harness)
    stated = taken_of(harness, plain, used)
    assert stated.meter[:, 0] == pytest.approx(0.003) and not stated.run.any()
    run = replace(readings.run, lead_start_ohms=0.1, lead_end_ohms=0.1, lead_uncertainty_ohms=0.001)
    zeroed = taken_of(harness, replace(plain, run=run), used)
    assert zeroed.run == pytest.approx(0.001) and not zeroed.meter.any()
    assert zeroed.ohm == pytest.approx(stated.ohm - 0.1)
