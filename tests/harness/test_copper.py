"""What a healthy wire should show; figures worked out by hand or by Monte-Carlo, not by the module."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loomtest.harness.copper import cut_off_normal, expectation_of, part_ohms, volts_lost, watts_lost
from loomtest.harness.model import Expect, Harness, Limits, Wire


def harness(*wires: Wire, **settings: object) -> Harness:
    points = tuple(dict.fromkeys(p for w in wires for p in (w.start, w.end)))
    return Harness("invented", wires, points, **settings)


def wire(name: str = "W1", **values: object) -> Wire:
    return Wire(name, f"X1:{name}", f"X2:{name}", **values)


def test_expectation_by_hand() -> None:
    # 1.05 · 0.017241 Ω·mm²/m · 0.85 m / 1.5 mm² = 10.2584 mΩ, and two joints of 2 mΩ
    found = expectation_of(harness(wire(size_mm2=1.5, length_m=0.85)))
    assert found.copper_ohm[0] == pytest.approx(0.01025840, rel=1e-6)
    assert found.expected_ohm[0] == pytest.approx(0.01425840, rel=1e-6)
    assert found.limit_ohm[0] == pytest.approx(0.03425840, rel=1e-6)


def test_spread_is_that_of_what_expect_says() -> None:
    """Monte-Carlo of the sentences in [expect], 400,000 wires."""
    expect = Expect(temperature_c=35.0)
    found = expectation_of(harness(wire(size_mm2=0.5, length_m=4.0), expect=expect))
    random = np.random.default_rng(20261125)
    count = 400_000
    joints = random.normal(2e-3, 1.5e-3, 8 * count)
    joints = joints[joints >= 0][: 2 * count].reshape(2, count)
    temperature = random.normal(35.0, 5.0, count)
    copper = 1.05 * 0.017241 * 4.0 / 0.5 * (234.5 + temperature) / 254.5
    copper = copper * random.normal(1, 0.04, count) * random.normal(1, 0.03, count)
    total = copper + joints.sum(axis=0)
    assert found.spread_ohm[0] == pytest.approx(total.std(), rel=0.01)
    assert found.copper_ohm[0] + 2 * found.joint_mean_ohm == pytest.approx(total.mean(), rel=1e-3)
    assert found.joint_spread_ohm == pytest.approx(joints.std(), rel=0.01)
    assert found.expected_ohm[0] == pytest.approx(copper.mean() + 0.004, rel=1e-3)


def test_cut_off_normal_at_its_ends() -> None:
    assert cut_off_normal(0.002, 0.0) == (0.002, 0.0)
    # half-normal distribution: mean σ·√(2/π), standard deviation σ·√(1 - 2/π)
    mean, spread = cut_off_normal(0.0, 3.0)
    assert mean == pytest.approx(3 * math.sqrt(2 / math.pi))
    assert spread == pytest.approx(3 * math.sqrt(1 - 2 / math.pi))
    assert cut_off_normal(100.0, 1.0) == pytest.approx((100.0, 1.0))


def test_temperature_argument_wins_over_expect() -> None:
    loom = harness(wire(size_mm2=1.0, length_m=1.0), expect=Expect(temperature_c=0.0))
    cold, warm = expectation_of(loom), expectation_of(loom, 40.0)
    # factors of annealed copper: 20 → 0 °C 0.92141, 20 → 40 °C 1.07859 (234.5 rule)
    assert cold.copper_ohm[0] == pytest.approx(1.05 * 0.017241 * 0.92141, rel=1e-5)
    assert warm.copper_ohm[0] == pytest.approx(1.05 * 0.017241 * 1.07859, rel=1e-5)
    assert warm.temperature_c == 40.0


def test_limit_of_a_wire_with_a_current() -> None:
    loom = harness(
        wire("a", size_mm2=1.0, length_m=0.1),
        wire("b", size_mm2=1.0, length_m=0.1, amps=10.0),
        wire("c", size_mm2=1.0, length_m=0.1, amps=2.0),
        wire("d", size_mm2=1.0, length_m=0.1, amps=200.0),
    )
    found = expectation_of(loom)
    above = found.limit_ohm - found.expected_ohm
    assert above[0] == pytest.approx(0.020)
    assert above[1] == pytest.approx(0.010)  # 0.1 V at 10 A
    assert above[2] == pytest.approx(0.020)  # 0.1 V at 2 A would be 50 mΩ: the smaller limit holds
    assert above[3] == pytest.approx(2 * found.spread_ohm[3])  # never so small that healthy copper fails


def test_long_thin_wire_gets_twice_its_spread() -> None:
    found = expectation_of(harness(wire(size_mm2=0.35, length_m=12.0)))
    assert 2 * found.spread_ohm[0] > 0.020
    assert found.limit_ohm[0] == pytest.approx(found.expected_ohm[0] + 2 * found.spread_ohm[0])


def test_what_is_not_known_is_nan_and_ohms_max_overrides() -> None:
    found = expectation_of(
        harness(
            wire("a", size_mm2=1.0),
            wire("b", length_m=1.0, amps=5.0),
            wire("c", size_mm2=1.0, length_m=1.0, ohms_max=0.5),
            wire("d", ohms_max=0.5),
            wire("e", kind="fuse"),
            wire("f", kind="fuse", ohms_max=0.02),
            wire("g", kind="lamp", size_mm2=1.0, length_m=1.0),
            limits=Limits(),
        )
    )
    assert np.isnan(found.expected_ohm[[0, 1, 3, 4, 5, 6]]).all()
    assert np.isnan(found.limit_ohm[[0, 1, 6]]).all()
    assert found.limit_ohm[2:6].tolist() == [0.5, 0.5, 1.0, 0.02]


def test_no_wires_at_all() -> None:
    assert expectation_of(harness()).limit_ohm.shape == (0,)


def test_ranges_of_parts() -> None:
    assert part_ohms(wire(kind="fuse")) == (0.0, 1.0)
    assert part_ohms(wire(kind="lamp")) == (0.1, 10_000.0)
    assert part_ohms(wire(kind="resistor", ohms_min=4.0, ohms_max=6.0)) == (4.0, 6.0)
    assert part_ohms(wire(kind="coil", ohms_max=0.05)) == (0.05, 0.05)
    assert part_ohms(wire(kind="fuse", ohms_max=0.02)) == (0.0, 0.02)


def test_volts_and_watts() -> None:
    assert volts_lost(0.41, 5.0) == pytest.approx(2.05)
    assert watts_lost(0.41, 5.0) == pytest.approx(10.25)
