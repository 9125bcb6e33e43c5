"""Numbers as people read them."""

from __future__ import annotations

import math
import re

import pytest

from loomtest.words.numbers import (
    amps,
    counted,
    minutes,
    ohms,
    ohms_between,
    ohms_within,
    percent,
    seconds,
    shown_ohms,
    times,
    volts,
    watts,
)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "not known"),
        (math.inf, "over-range"),
        (0.0, "0 mΩ"),
        (0.0312, "31 mΩ"),
        (0.0061, "6.1 mΩ"),
        (0.0996, "0.1 Ω"),
        (0.392, "0.39 Ω"),
        (12.3, "12 Ω"),
        (99.96, "100 Ω"),
        (420.0, "420 Ω"),
        (1234.0, "1.2 kΩ"),
        (999_900.0, "1 MΩ"),
        (4e7, "40 MΩ"),
    ],
)
def test_resistances_have_two_figures_and_the_unit_that_suits_them(value: float | None, text: str) -> None:
    assert ohms(value) == text


def test_a_rounded_resistance_is_within_half_a_figure_of_the_value() -> None:
    units = {"mΩ": 1e-3, "Ω": 1.0, "kΩ": 1e3, "MΩ": 1e6, "GΩ": 1e9}
    for step in range(-30, 90):
        value = 1.0837 * 10 ** (step / 10)
        number, unit = ohms(value, 3).split()
        assert float(number) * units[unit] == pytest.approx(value, rel=0.0051)


def test_probabilities_never_claim_certainty() -> None:
    assert percent(0.9991) == "over 99 %"
    assert percent(0.001) == "under 1 %"
    assert percent(0.5) == "50 %"


def test_a_number_never_has_an_exponent_nor_more_figures_than_asked() -> None:
    for step in range(-60, 120):
        value = 1.2345678 * 10 ** (step / 10)
        for text in (ohms(value), shown_ohms(value), volts(value), watts(value), amps(value)):
            assert not re.search(r"\de[+-]?\d", text)
            assert len(re.sub(r"[^0-9]", "", text).strip("0")) <= 4


def test_one_value_reads_the_same_with_two_figures_and_with_four() -> None:
    for value in (0.15, 0.1, 0.099, 0.5, 1.0, 47.0, 1000.0, 4700.0, 2.2e6):
        assert ohms(value) == shown_ohms(value)


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (0.227, 0.073, "0.23 Ω ± 0.07"),
        (0.0182, 0.0006, "18.2 mΩ ± 0.6"),
        (0.391, 0.0004, "0.3910 Ω ± 0.0004"),
        (0.391, math.inf, "0.39 Ω"),
        (0.004, 0.3, "0.0 Ω ± 0.3"),
    ],
)
def test_an_estimate_ends_where_its_uncertainty_ends(value: float, uncertainty: float, text: str) -> None:
    assert ohms_within(value, uncertainty) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (0.37, 0.45, "0.37 to 0.45 Ω"),
        (0.39, 0.391, "0.39 Ω"),
        (0.017, 0.0194, "17 to 19 mΩ"),
        (0.05, 0.45, "0.05 to 0.45 Ω"),
        (0.0, 0.03, "0 to 30 mΩ"),
        (2.0, math.inf, "over 2 Ω"),
    ],
)
def test_an_interval_names_its_unit_once(low: float, high: float, text: str) -> None:
    assert ohms_between(low, high) == text


def test_times_and_minutes() -> None:
    assert [times(n) for n in (1, 2, 3)] == ["once", "twice", "3 times"]
    assert [minutes(v) for v in (0.2, 1, 18.4, 130)] == [
        "under a minute", "about 1 minute", "about 18 minutes", "about 2 hours 10 minutes",
    ]  # fmt: skip
    said = [seconds(v) for v in (0.05, 0.31, 12.2, 125, 180)]
    assert said == ["50 ms", "0.31 s", "12 s", "2 min 5 s", "3 min"]


def test_volts_watts_and_counts() -> None:
    assert (volts(3.14), volts(0.085), watts(28.4)) == ("3.1 V", "85 mV", "28 W")
    assert (counted(0, "fault"), counted(1, "fault"), counted(1200, "fault")) == (
        "no faults",
        "1 fault",
        "1,200 faults",
    )
