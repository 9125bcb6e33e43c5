"""The uncertainty budget of a reading, and what repeats say of it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loomtest.diagnosis.seen.budget import Shared, budget_of
from loomtest.diagnosis.seen.consistency import steadiness
from loomtest.readings.instrument import load_instrument
from loomtest.readings.model import Instrument, Quantity, Range, Run
from tests.diagnosis.joints.joint_readings import harness_of, readings_of, wire

HARNESS = harness_of([wire("W1", "X1:1", "X2:1"), wire("W2", "X1:2", "X2:2")])
PAIR = ("X1:1", "X2:1")
METER = Instrument(
    "meter", lead_ohms=0.2, lead_uncertainty_ohms=0.03, touch_ohms=0.02, ranges=(Range(200.0, 0.8, 3.0, 0.1),)
)
TWO, FOUR = Quantity.RESISTANCE, Quantity.RESISTANCE_4W


def test_parts_of_a_two_wire_reading() -> None:
    budget = budget_of(readings_of(HARNESS, [(*PAIR, 10.2)], quantity=TWO), METER, 20.0)
    assert budget.ohm == pytest.approx([10.0])
    assert budget.own == pytest.approx([math.hypot(0.1 / math.sqrt(12), 0.02)])  # JCGM 100 F.2.2.1
    assert budget.shared.tolist() == [1.0]
    assert budget.prior.sd == pytest.approx(math.hypot(0.03, 0.3 / math.sqrt(3)))  # 4.3.7: 3 counts of 0.1 Ω
    assert budget.common[0] == pytest.approx([10.2 * 0.008 / math.sqrt(3)])  # gain
    whole = math.sqrt(budget.own[0] ** 2 + budget.prior.sd**2 + budget.common[0, 0] ** 2)
    assert budget.combined() == pytest.approx([whole])


def test_a_stated_uncertainty_replaces_the_specification_but_not_the_leads() -> None:
    budget = budget_of(readings_of(HARNESS, [(*PAIR, 0.3)], 0.004, TWO), METER, 20.0)
    assert budget.own.tolist() == [0.004]
    assert budget.common.size == 0
    assert budget.prior.sd == pytest.approx(0.03)


def test_unknown_leads_are_rectangular_from_nothing_to_half_an_ohm() -> None:
    meter = Instrument("meter", ranges=METER.ranges)
    prior = budget_of(readings_of(HARNESS, [(*PAIR, 0.3)], 0.004, TWO), meter, 20.0).prior
    assert (prior.lead_low, prior.lead_high) == (0.0, 0.5)
    assert prior.sd == pytest.approx(0.5 / math.sqrt(12))


def test_the_zero_of_the_run_goes_before_the_instruments_figure_and_its_drift_counts() -> None:
    readings = readings_of(
        HARNESS,
        [(*PAIR, 0.5)],
        0.004,
        TWO,
        run=Run(lead_start_ohms=0.1, lead_end_ohms=0.2, lead_uncertainty_ohms=0.01),
    )
    budget = budget_of(readings, METER, 20.0)
    assert budget.ohm == pytest.approx([0.35])
    assert budget.prior.sd == pytest.approx(math.hypot(0.01, 0.1 / math.sqrt(12)))


@pytest.mark.parametrize("method", ["two-wire", "four-wire"])
def test_four_wire_readings_carry_no_leads(method: str) -> None:
    meter = Instrument("meter", method=method, lead_ohms=0.2, lead_uncertainty_ohms=0.03)
    quantity = FOUR if method == "two-wire" else TWO
    budget = budget_of(readings_of(HARNESS, [(*PAIR, 0.3)], 0.004, quantity), meter, 20.0)
    assert budget.ohm.tolist() == [0.3]
    assert budget.prior.sd == 0.0


def test_a_mean_of_many_keeps_what_is_common_and_a_difference_loses_it() -> None:
    """JCGM 100 F.1.2.3, with the covariance of the budget's own columns."""
    rows = [(*PAIR, 0.5)] * 50 + [("X1:2", "X2:2", 0.3)] * 50
    b = budget_of(readings_of(HARNESS, rows, quantity=TWO), METER, 20.0)
    cov = np.diag(b.own**2) + np.outer(b.shared, b.shared) * b.prior.sd**2 + b.common @ b.common.T
    mean = np.array([1 / 50] * 50 + [0.0] * 50)
    difference = np.array([1 / 50] * 50 + [-1 / 50] * 50)
    assert math.sqrt(mean @ cov @ mean) == pytest.approx(b.prior.sd, rel=0.01)
    assert math.sqrt(difference @ cov @ difference) < 0.05 * b.prior.sd


def test_voltage_drop_has_both_uncertainties() -> None:
    readings = readings_of(HARNESS, [(*PAIR, 0.6)], 0.003, Quantity.VOLTAGE_DROP, current_a=np.array([5.0]))
    b = budget_of(readings, METER, 20.0)
    assert b.ohm == pytest.approx([0.12])
    assert b.own == pytest.approx([0.0006])
    assert b.common[0] == pytest.approx([0.0012])
    assert b.shared.tolist() == [0.0]


def test_a_hot_reading_is_brought_to_the_expectations_temperature() -> None:
    """Copper, R(t) ∝ 234.5 + t (IEC 60228): 40 °C to 20 °C divides by 1.07859."""
    readings = readings_of(HARNESS, [(*PAIR, 0.107859)], 0.001, FOUR, temperature_c=np.array([40.0]))
    assert budget_of(readings, METER, 20.0).ohm == pytest.approx([0.1], rel=1e-5)


def test_every_shipped_instrument_has_a_budget() -> None:
    for name in ("handheld-3half", "handheld-4half", "milliohm-meter", "bench-four-wire"):
        b = budget_of(
            readings_of(HARNESS, [(*PAIR, 0.02), (*PAIR, 30.0)], quantity=TWO), load_instrument(name), 20.0
        )
        assert np.all(b.combined() > 0)


def test_scattered_repeats_are_widened_and_agreeing_ones_are_not() -> None:
    rows = [(*PAIR, v) for v in (0.100, 0.112, 0.088, 0.110)] + [("X1:2", "X2:2", 0.2)] * 4
    readings = readings_of(HARNESS, rows, 0.002)
    budget = budget_of(readings, METER, 20.0)
    found = steadiness(readings, budget, 0.05, 100.0)
    ratio = math.sqrt(sum((v - 0.1025) ** 2 for v in (0.100, 0.112, 0.088, 0.110)) / 0.002**2 / 3)
    assert found.own[:4] == pytest.approx([0.002 * ratio * 3.18245 / 1.95996] * 4, rel=1e-4)  # t(0.975; 3)
    assert found.own[4:] == pytest.approx([0.002] * 4)
    assert found.unsteady.size == 0  # scattered, but by less than a bad joint
    assert steadiness(readings, budget, 0.01, 100.0).unsteady.shape == (1, 2)


def test_bounds_hold_all_of_the_prior() -> None:
    shared = Shared(0.0, 0.5, 0.0, 0.3)
    assert shared.bounds == (-0.3, 0.8)
    assert shared.mean == 0.25
