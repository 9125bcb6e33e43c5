"""Numbers as people read them."""

from __future__ import annotations

import math

import pytest

from loomtest.evidence.units import counted, ohms, percent, volts, watts


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


def test_volts_watts_and_counts() -> None:
    assert (volts(3.14), volts(0.085), watts(28.4)) == ("3.1 V", "85 mV", "28 W")
    assert (counted(0, "fault"), counted(1, "fault"), counted(1200, "fault")) == (
        "no faults",
        "1 fault",
        "1,200 faults",
    )
