"""Rings and parallel wires against exact integration, the examples that a linear step got wrong, coverage."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from loomtest.diagnosis.joints import further
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import FloatArray, Harness, Limits, Wire
from tests.diagnosis.joints.joint_readings import harness_of, readings_of, report_of, wire
from tests.scores.rings import coverage

TRIANGLE = [("X1:1", "X2:1"), ("X2:1", "GND1"), ("GND1", "X1:1")]
FINE = Limits(bad_joint_written=True)


def grids(harness: Harness) -> list[tuple[FloatArray, FloatArray]]:
    """(ohms, prior probabilities) of every wire: healthy, bad by a log-uniform excess, or open."""
    e = expectation_of(harness)
    rate = harness.expect.bad_joint_rate
    odds = rate / (1 - rate)
    out = []
    for mean, sd in zip(e.copper_ohm + 2 * e.joint_mean_ohm, e.spread_ohm, strict=True):
        healthy = mean + sd * np.linspace(-4, 4, 33)
        density = np.exp(-0.5 * np.linspace(-4, 4, 33) ** 2)
        excess = np.exp(
            np.linspace(math.log(0.01), math.log(100.0), 131)
        )  # the healthy spread is small beside it
        weight = np.concatenate([density / density.sum(), np.full(131, odds / 131), [odds]])
        out.append((np.concatenate([healthy, mean + excess, [1e9]]), weight / weight.sum()))
    return out


def exact(
    harness: Harness, shown: Callable[..., list[FloatArray]], value: list[float], noise: float
) -> FloatArray:
    """(W,) probability of lying above the limit, by summing over the product of the wires' grids."""
    every = grids(harness)
    mesh = np.meshgrid(*(ohm for ohm, _ in every), indexing="ij")
    weight = np.ones_like(mesh[0])
    for axis, (_, prior) in enumerate(every):
        weight = weight * np.moveaxis(np.broadcast_to(prior, weight.shape), -1, axis)
    for y, r in zip(value, shown(*mesh), strict=True):
        weight = weight * np.exp(-0.5 * ((y - r) / noise) ** 2)
    limits = expectation_of(harness).limit_ohm
    return np.array([weight[r > t].sum() / weight.sum() for r, t in zip(mesh, limits, strict=True)])


@pytest.mark.parametrize("value", [0.0113, 0.0150, 0.0170, 0.0215, 0.05, 0.8])
def test_two_parallel_wires_against_exact_integration(value: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(further, "SEVERAL", 1.0)
    harness = harness_of([wire("W1", "X1:1", "GND1"), wire("W2", "X1:1", "GND1")], limits=FINE)
    expected = exact(harness, lambda a, b: [a * b / (a + b)], [value], 0.001)
    report = report_of(harness, readings_of(harness, [("X1:1", "GND1", value)], 0.001))
    for row, p in zip(report.rows, expected, strict=True):
        assert row.bad_probability == pytest.approx(float(p), abs=0.04)


@pytest.mark.parametrize("excess", [(0.0, 0.0, 0.0), (0.03, 0.0, 0.0), (0.0, 0.2, 0.0), (0.05, 0.0, 0.3)])
def test_a_triangle_against_exact_integration(
    excess: tuple[float, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(further, "SEVERAL", 1.0)
    harness = harness_of([wire(f"W{i}", a, b) for i, (a, b) in enumerate(TRIANGLE)], limits=FINE)

    def shown(a: FloatArray, b: FloatArray, c: FloatArray) -> list[FloatArray]:
        whole = a + b + c
        return [a * (b + c) / whole, b * (a + c) / whole, c * (a + b) / whole]

    healthy = expectation_of(harness).expected_ohm
    truth = [np.array(h + x) for h, x in zip(healthy, excess, strict=True)]
    value = [float(v) + 0.002 * e for v, e in zip(shown(*truth), (0.5, -0.8, 0.3), strict=True)]
    expected = exact(harness, shown, value, 0.004)
    rows = [(a, b, v) for (a, b), v in zip(TRIANGLE, value, strict=True)]
    report = report_of(harness, readings_of(harness, rows, 0.004))
    for row, p in zip(report.rows, expected, strict=True):
        assert row.bad_probability == pytest.approx(float(p), abs=0.05)


def test_a_triangle_that_only_an_open_wire_explains_does_not_pass() -> None:
    # R12 = R23 + R13: the two other wires in series, the first one open
    harness = harness_of([Wire(f"W{i}", a, b) for i, (a, b) in enumerate(TRIANGLE)])
    rows = [(a, b, v) for (a, b), v in zip(TRIANGLE, (0.100, 0.050, 0.050), strict=True)]
    for noise in (0.0005, 0.001, 0.005, 0.01):
        report = report_of(harness, readings_of(harness, rows, noise))
        assert report.outcome != "pass"
        assert report.rows[0].verdict != "pass"
    (finding,) = report_of(harness, readings_of(harness, rows, 0.001)).findings
    assert (finding.fault, [s.wire for s in finding.suspects]) == ("open", ["W0"])


def test_two_grounds_side_by_side_are_told_the_surer_the_more_they_read() -> None:
    harness = harness_of([wire("W1", "X1:1", "GND1"), wire("W2", "X1:1", "GND1")])
    order = {"pass": 0, "not-proven": 1, "fail": 2}
    told = []
    for value in np.arange(0.0105, 0.0300, 0.0003):
        report = report_of(harness, readings_of(harness, [("X1:1", "GND1", float(value))], 0.0005))
        told.append(order[report.outcome])
    assert told == sorted(told)
    assert {0, 2} <= set(told)


def test_a_healthy_triangle_of_unlike_wires_passes_and_a_poor_joint_in_it_has_its_size() -> None:
    wires = [
        Wire(f"W{i}", a, b, size_mm2=size, length_m=2.0)
        for i, ((a, b), size) in enumerate(zip(TRIANGLE, (1.5, 0.5, 0.5), strict=True))
    ]
    harness = harness_of(wires)

    def rows(r: FloatArray) -> list[tuple[str, str, float]]:
        return [(a, b, float(r[i] * (r.sum() - r[i]) / r.sum())) for i, (a, b) in enumerate(TRIANGLE)]

    healthy = expectation_of(harness).expected_ohm
    sound = report_of(harness, readings_of(harness, rows(healthy), 0.001))
    assert sound.findings == () and {row.verdict for row in sound.rows} == {"pass"}
    bad = healthy + np.array([0.0, 0.113, 0.0])
    report = report_of(harness, readings_of(harness, rows(bad), 0.001))
    assert [row.verdict for row in report.rows] == ["pass", "fail", "pass"]
    low, high = report.rows[1].interval_ohms or (0.0, 0.0)
    assert low < bad[1] < high


def test_intervals_and_probabilities_hold_in_rings_as_in_trees() -> None:
    c = coverage(5, 120, 0.002, 0.05)
    assert 0.93 <= c.inside.mean() <= 0.98
    assert abs(c.given.sum() - c.bad.sum()) < 4 * math.sqrt(float(np.sum(c.given * (1 - c.given))) + 1)
