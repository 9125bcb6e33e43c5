"""What the readings of one sound unit say of copper and joints: a linear model of its network.

y = A·r + what all readings of the run share + what all readings of the meter share + each reading's own.
A is the sensitivity of the effective resistance (homogeneous of degree one, so that A·r is its tangent plane
through the origin); in nets without a ring it is exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.joints.healthy import chunks, nudged, sensitivities
from loomtest.diagnosis.joints.layout import arrange
from loomtest.diagnosis.seen.budget import Budget, budget_of
from loomtest.diagnosis.seen.consistency import steadiness
from loomtest.diagnosis.wiring import as_drawn
from loomtest.harness.copper import ZERO_RESISTANCE_C, Expectation, expectation_of
from loomtest.harness.model import BoolArray, Expect, FloatArray, Harness
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import Readings

MOST_WIRES = 60  # the sums grow with their cube, and sixty tell five numbers as well as six hundred
_TOLD_AT_OHM = 10.0  # an own uncertainty from which on a reading has no value (a beeper)


@dataclass(frozen=True, eq=False)
class Taken:
    """n readings of one unit over W wires of known size and length.

    `ohm`: (n,) with known leads subtracted and what is shared at its mean; `own`: (n,) own standard
    uncertainties; `a`: (n, W) sensitivities; `copper`: (W,) ohms of solid annealed copper at the run's
    temperature. `run`: (n,) standard uncertainty that all readings of this run share, with one sign; `meter`:
    (n, m) those that all runs of `instrument` share. `warmth`: standard uncertainty from the temperature, as
    a share of `copper`; `warmth_is_own`: the run states its temperature, so that its error is its own.
    """

    ohm: FloatArray
    own: FloatArray
    a: FloatArray
    copper: FloatArray
    run: FloatArray
    meter: FloatArray
    instrument: str
    warmth: float
    warmth_is_own: bool


def wires_used(harness: Harness) -> BoolArray:
    """(W,) the plain wires of known size and length that the estimate uses: all, or `MOST_WIRES` spread over
    the wire list, whole circuits at a time."""
    expectation = expectation_of(harness)
    known = np.isfinite(expectation.copper_ohm)
    nets = [net.conductors for net in harness.nets if any(known[list(net.conductors)])]
    used = np.zeros(len(harness.wires), dtype=np.bool_)
    step = max(1, math.ceil(int(known.sum()) / MOST_WIRES))
    for first in range(step):
        for conductors in nets[first::step]:
            if not used.any() or used.sum() + len(conductors) <= MOST_WIRES:
                used[list(conductors)] = known[list(conductors)]
    return used


def taken_of(harness: Harness, readings: Readings, used: BoolArray) -> Taken:
    """The model of one unit's readings, over the wires `used`; the unit is taken to be as drawn.

    Readings that depend on any other wire say nothing here and are left out. The meter is the run's own,
    else a generic handheld one.
    """
    meter = readings.instrument or generic_handheld()
    stated = readings.run.temperature_c if readings.run is not None else None
    usual, warmth = Expect(), harness.expect.temperature_spread_c
    # What is to be estimated must not come in: the network is looked at with the usual copper and joints.
    expect = replace(usual, temperature_c=harness.expect.temperature_c, temperature_spread_c=warmth)
    expectation = expectation_of(replace(harness, expect=expect), stated)
    budget = budget_of(readings, meter, expectation.temperature_c)
    limits = harness.limits
    steady = steadiness(readings, budget, limits.bad_joint_milliohms / 1e3, limits.short_below_ohms)
    layout = arrange(harness, as_drawn(harness), readings, meter, budget, steady).layout
    ohm = nudged(np.maximum(np.nan_to_num(_expected(expectation), nan=0.1), 1e-5)[layout.wire])
    rows: list[tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]] = []
    for nets in chunks(layout):
        got, a, _ = sensitivities(layout, nets, ohm)
        for net in range(len(nets)):
            whole = np.zeros((a.shape[1], len(harness.wires)))
            whole[:, layout.wire[got.wire[net]]] = a[net]
            weight = got.weight[net]
            told = (weight > _TOLD_AT_OHM**-2) & (np.abs(whole[:, ~used]).sum(axis=1) < 1e-9)
            own = 1 / np.sqrt(weight[told])
            rows.append(
                (got.value[net][told], own, whole[told], got.shared[net][told], got.common[net][told])
            )
    value, own, a, shared, common = _stacked(rows, len(harness.wires), layout.common.shape[1])
    run_sd, meter_sd = _shared_by(budget, readings)
    warmth *= usual.copper_factor / (expectation.temperature_c - ZERO_RESISTANCE_C)
    columns = [shared * meter_sd, np.sqrt(np.sum(common**2, axis=1))]
    return Taken(
        value - shared * budget.prior.mean,
        own,
        a[:, used],
        expectation.copper_ohm[used] / usual.copper_factor,
        shared * run_sd,
        np.column_stack(columns),
        meter.name,
        warmth,
        stated is not None,
    )


def _expected(expectation: Expectation) -> FloatArray:
    return expectation.copper_ohm + 2 * expectation.joint_mean_ohm


def _stacked(
    rows: list[tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]], wires: int, columns: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    nothing = np.zeros(0), np.zeros(0), np.zeros((0, wires)), np.zeros(0), np.zeros((0, columns))
    value, own, a, shared, common = (np.concatenate(parts) for parts in zip(nothing, *rows, strict=True))
    return value, own, a, shared, common


def _shared_by(budget: Budget, readings: Readings) -> tuple[float, float]:
    """(standard uncertainty of the run's own leads, of what every run of this meter shares): a zero that was
    measured in the run is the run's own, any other statement about the leads is the meter's."""
    run = readings.run
    lead_sd = math.sqrt((budget.prior.lead_high - budget.prior.lead_low) ** 2 / 12 + budget.prior.lead_sd**2)
    offset = budget.prior.offset_half / math.sqrt(3)
    zeroed = run is not None and (run.lead_start_ohms is not None or run.lead_end_ohms is not None)
    return (lead_sd, offset) if zeroed else (0.0, math.hypot(lead_sd, offset))
