"""The wiggle test's analysis: events, jumps, drift, pauses, and what nothing seen is worth."""

from __future__ import annotations

import numpy as np
import pytest

from loomtest.diagnosis.flexing import FlexRule, analyse, robust_sigma, running_baseline
from loomtest.harness.model import FloatArray
from loomtest.words.flexing import flex_text


def steady(seconds: float = 120.0, interval_s: float = 0.25, seed: int = 0) -> tuple[FloatArray, FloatArray]:
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, seconds, interval_s)
    return time, np.round(0.5 + 0.01 * rng.standard_normal(len(time)), 2)


def test_nothing_in_300_s_is_fewer_than_0_6_a_minute() -> None:
    flexing = analyse(*steady(300.25))
    assert flexing.verdict == "no event"
    assert flex_text(flexing) == "Steady: nothing happened in 5 min (fewer than 0.6 a minute at 95 %)"


def test_a_short_test_says_so() -> None:
    flexing = analyse(*steady(20.0))
    assert flexing.verdict == "too short"
    assert "too short to say" in flex_text(flexing)


@pytest.mark.parametrize("depth", [0.2, -0.2, 3.0, np.inf])
def test_an_excursion_is_found_with_start_length_and_depth(depth: float) -> None:
    time, value = steady()
    value[200:206] += depth
    (event,) = analyse(time, value).events
    assert event.start_s == 50.0
    assert event.length_s == pytest.approx(1.5)
    assert event.depth_ohm == pytest.approx(abs(depth), abs=0.05)
    assert event.samples == 6


def test_a_value_that_hovers_between_the_thresholds_is_one_event() -> None:
    time, value = steady()
    value[200:220] += np.where(np.arange(20) % 2, 0.2, 0.07)  # below entering, above leaving
    assert len(analyse(time, value).events) == 1


def test_an_event_lasts_as_many_samples_as_asked() -> None:
    time, value = steady()
    value[200:203] += 1.0
    assert len(analyse(time, value, FlexRule(least_samples=3)).events) == 1
    assert analyse(time, value, FlexRule(least_samples=4)).verdict == "no event"


def test_a_drift_is_no_event_and_is_told() -> None:
    time, value = steady(240.0)
    flexing = analyse(time, value + np.linspace(0.0, 0.5, len(time)))
    assert flexing.verdict == "no event"
    assert {shift.kind for shift in flexing.shifts} == {"drift"}
    assert sum(shift.size_ohm for shift in flexing.shifts) == pytest.approx(0.5, abs=0.15)


def test_a_jump_to_another_level_is_intermittent_and_no_long_event() -> None:
    time, value = steady(240.0)
    value[480:] += 0.3
    flexing = analyse(time, value)
    assert flexing.verdict == "intermittent"
    (jump,) = flexing.shifts
    assert jump.kind == "jump"
    assert jump.size_ohm == pytest.approx(0.3, abs=0.02)
    assert jump.start_s == pytest.approx(120.0, abs=1.0)


def test_a_steady_stream_has_no_shift() -> None:
    for seed in range(20):
        assert analyse(*steady(300.0, seed=seed)).shifts == ()


def test_a_pause_of_the_stream_is_not_time_observed() -> None:
    time, value = steady(100.0)
    time[200:] += 500.0
    assert analyse(time, value).observed_s == pytest.approx(99.5, abs=0.3)


def test_a_stream_that_never_touched_proves_nothing() -> None:
    time, value = steady(100.0)
    flexing = analyse(time, np.full_like(value, np.inf))
    assert flexing.verdict == "too short"
    assert flexing.observed_s == 0.0 and np.isinf(flexing.rate_limit_per_min)
    assert flexing.to_json()["baseline_ohms"] == "OL"


@pytest.mark.parametrize("count", [0, 1, 2])
def test_a_stream_of_hardly_anything_is_too_short(count: int) -> None:
    assert analyse(np.arange(count, dtype=float), np.full(count, 0.5)).verdict == "too short"


def test_one_stray_value_on_a_fast_meter_is_neither_event_nor_shift() -> None:
    time, value = steady(100.0, 0.02)
    value[2000] += 5.0
    flexing = analyse(time, value)
    assert flexing.verdict == "no event" and flexing.shifts == ()


def test_a_contact_that_opens_for_one_sample_of_a_fast_meter_is_an_event() -> None:
    time, value = steady(100.0, 0.02)
    value[2000] = np.inf
    assert len(analyse(time, value).events) == 1
    assert analyse(time, value, FlexRule(least_samples=2)).events == ()


def test_the_noise_of_a_coarse_meter_is_half_a_digit_and_of_a_fine_one_its_scatter() -> None:
    flat = np.array([0.5] * 90 + [0.6] * 10)
    assert robust_sigma(flat) == pytest.approx(0.05)
    noise = np.random.default_rng(1).normal(0.0, 0.002, 20_000)
    assert robust_sigma(0.5 + noise) == pytest.approx(0.002, rel=0.03)


def test_the_baseline_passes_under_what_is_shorter_than_half_its_window() -> None:
    time, value = steady(120.0)
    value[200:230] += 5.0  # 7.5 s of 20
    assert np.abs(running_baseline(time, value, 20.0) - 0.5).max() < 0.02
