"""Copper: what a healthy wire with its two joints should show, and the most it may show.

Resistivity: International Annealed Copper Standard, 0.017241 Ω·mm²/m at 20 °C (58 MS/m).
Temperature: R(t) = R(20 °C)·(234.5 + t)/254.5, IEC 60228 annex and FAA AC 43.13-1B, 11-66d(4).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.harness.model import FloatArray, Harness, Wire

RESISTIVITY_OHM_MM2_PER_M = 0.017241
ZERO_RESISTANCE_C = -234.5
PART_OHMS = (0.1, 10_000.0)  # a resistor, lamp, coil or diode without a range
FUSE_OHMS_MAX = 1.0


@dataclass(frozen=True)
class Expectation:
    """What every row of a wire list should show, in ohms at `temperature_c`; arrays are (W,).

    NaN where size or length is unknown and on parts: there `continuity_ohms` limits the path.

    `copper_ohm`, `copper_spread_ohm`: the conductor alone and its standard deviation (copper factor, length
    and temperature in quadrature). `expected_ohm`: copper plus two joints of `joint_milliohms`.
    `spread_ohm`: standard deviation of copper and two joints in quadrature; a joint is a normal
    distribution (joint_milliohms, joint_spread_milliohms) cut off at zero and scaled up to one, and its own
    standard deviation counts. `limit_ohm`: the most a wire may show; also given by `ohms_max`.
    `joint_mean_ohm`, `joint_spread_ohm`: mean and standard deviation of one such cut-off joint (its mean is
    a little above joint_milliohms, which is where it is likeliest).
    """

    temperature_c: float
    copper_ohm: FloatArray
    copper_spread_ohm: FloatArray
    expected_ohm: FloatArray
    spread_ohm: FloatArray
    limit_ohm: FloatArray
    joint_mean_ohm: float
    joint_spread_ohm: float


def temperature_factor(temperature_c: float) -> float:
    """R(t)/R(20 °C) of annealed copper."""
    return (temperature_c - ZERO_RESISTANCE_C) / (20.0 - ZERO_RESISTANCE_C)


def copper_ohms(
    size_mm2: FloatArray, length_m: FloatArray, temperature_c: float = 20.0, copper_factor: float = 1.0
) -> FloatArray:
    """copper_factor · ρ·L/A at the temperature, element by element; factor 1 is solid annealed copper."""
    at_20 = copper_factor * RESISTIVITY_OHM_MM2_PER_M * length_m / size_mm2
    return np.asarray(at_20 * temperature_factor(temperature_c), dtype=np.float64)


def cut_off_normal(mean: float, spread: float) -> tuple[float, float]:
    """Mean and standard deviation of a normal distribution restricted to values of zero or more.

    N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions 1, 2nd ed., sec. 13.10.1.
    """
    if spread == 0.0:
        return mean, 0.0
    at = -mean / spread
    above = 0.5 * math.erfc(at / math.sqrt(2.0))
    hazard = math.exp(-0.5 * at * at) / math.sqrt(2.0 * math.pi) / above
    return mean + spread * hazard, spread * math.sqrt(max(0.0, 1.0 + at * hazard - hazard * hazard))


def expectation_of(harness: Harness, temperature_c: float | None = None) -> Expectation:
    """Expectation, spread and limit of every wire; `temperature_c` defaults to that of `[expect]`.

    limit = expectation + max(least of bad_joint_milliohms and joint_drop_volts/amps, 2 · spread); where a
    wire has `ohms_max`, that. A fuse's limit is its ohms_max, else 1 Ω. Other parts have none.
    """
    expect, limits, wires = harness.expect, harness.limits, harness.wires
    temperature = expect.temperature_c if temperature_c is None else temperature_c
    plain = np.array([wire.kind == "wire" for wire in wires], dtype=np.bool_)
    size, length = _column(wires, "size_mm2"), _column(wires, "length_m")
    copper = copper_ohms(size, length, temperature, expect.copper_factor)
    copper[~plain] = np.nan
    temperature_share = expect.temperature_spread_c / (temperature - ZERO_RESISTANCE_C)
    share = math.hypot(
        expect.copper_spread_percent / 100, expect.length_spread_percent / 100, temperature_share
    )
    joint_mean, joint_spread = cut_off_normal(
        expect.joint_milliohms / 1e3, expect.joint_spread_milliohms / 1e3
    )
    expected = copper + 2 * expect.joint_milliohms / 1e3
    spread = np.hypot(copper * share, math.sqrt(2.0) * joint_spread)
    amps = _column(wires, "amps")
    excess = np.fmin(limits.bad_joint_milliohms / 1e3, limits.joint_drop_volts / amps)
    limit = expected + np.maximum(excess, 2 * spread)
    highest = _column(wires, "ohms_max")
    limit = np.where(plain & ~np.isnan(highest), highest, limit)
    fuse = np.array([wire.kind == "fuse" for wire in wires], dtype=np.bool_)
    limit = np.where(fuse, np.where(np.isnan(highest), FUSE_OHMS_MAX, highest), limit)
    return Expectation(temperature, copper, copper * share, expected, spread, limit, joint_mean, joint_spread)


def part_ohms(wire: Wire) -> tuple[float, float]:
    """The accepted range of a part in ohms: its own bounds, else the contract's for its kind."""
    lowest, highest = (0.0, FUSE_OHMS_MAX) if wire.kind == "fuse" else PART_OHMS
    if wire.ohms_min is not None:
        lowest = wire.ohms_min
    if wire.ohms_max is not None:
        highest = wire.ohms_max
        if wire.ohms_min is None:
            lowest = min(lowest, highest)
    return lowest, highest


def volts_lost(ohm: float, amps: float) -> float:
    """Voltage drop of a resistance that carries a current: VD = R·I (FAA AC 43.13-1B, 11-66d)."""
    return ohm * amps


def watts_lost(ohm: float, amps: float) -> float:
    """Heat made in a resistance that carries a current."""
    return ohm * amps * amps


def _column(wires: tuple[Wire, ...], name: str) -> FloatArray:
    values = (getattr(wire, name) for wire in wires)
    return np.array([math.nan if value is None else value for value in values], dtype=np.float64)
