"""Sizes, lengths, ohms and amperes in every spelling of the contract."""

from __future__ import annotations

import pytest

from loomtest.harness.measures import read_amps, read_length, read_ohms, read_size


@pytest.mark.parametrize(
    "written", ["1.5", "1,5", "1.5 mm2", "1.5mm²", "1.5 mm²", "1.5 MM2", "+1.5", " 1.5 mm^2 "]
)
def test_square_millimetres(written: str) -> None:
    assert read_size(written) == 1.5


@pytest.mark.parametrize(
    ("written", "mm2"),
    [
        ("AWG 16", 1.3087),
        ("16 AWG", 1.3087),
        ("awg16", 1.3087),
        ("AWG #16", 1.3087),
        ("AWG 0", 53.475),
        ("AWG 00", 67.431),
        ("2/0 AWG", 67.431),
        ("AWG 2/0", 67.431),
        ("0000 AWG", 107.22),
        ("4/0", 107.22),
        ("AWG 40", 0.0050104),
    ],
)
def test_gauges(written: str, mm2: float) -> None:
    # areas: ASTM B258 rule, tests/outside/data/awg_copper.csv
    assert read_size(written) == pytest.approx(mm2, rel=5e-5)


@pytest.mark.parametrize(
    ("written", "metres"),
    [
        ("0.85", 0.85),
        ("0,85", 0.85),
        ("0.85 m", 0.85),
        ("850 mm", 0.85),
        ("85cm", 0.85),
        ("33 in", 0.8382),
        ('33"', 0.8382),
        ("2.8 ft", 0.85344),
        ("3'", 0.9144),
        ("2 ft 9 in", 0.8382),
        ("2'9\"", 0.8382),
        ("1e2 mm", 0.1),
    ],
)
def test_lengths(written: str, metres: float) -> None:
    assert read_length(written) == pytest.approx(metres, rel=1e-12)


def test_ohms_tell_milli_from_mega() -> None:
    assert read_ohms("220 mΩ") == pytest.approx(0.22)
    assert read_ohms("220 MΩ") == pytest.approx(220e6)
    assert read_ohms("1.2k") == read_ohms("1,2 kohm") == read_ohms("1200") == 1200
    assert read_ohms("4.7 \u2126") == read_ohms("4.7 \u03a9") == 4.7  # ohm sign and capital omega
    with pytest.raises(ValueError, match="ohms such as"):
        read_ohms("220 m")  # milli of what
    with pytest.raises(ValueError, match="below zero"):
        read_ohms("-1")


def test_amperes() -> None:
    assert read_amps("5") == read_amps("5 A") == read_amps("5000 mA") == 5
    with pytest.raises(ValueError, match="above 0"):
        read_amps("0")


@pytest.mark.parametrize(
    "written",
    [
        "0",
        "-1.5",
        "AWG 41",
        "AWG 5/0",
        "1.5 m",
        "nan",
        "inf",
        "1e999",
        "1.5.5",
        "٣",
        "00",
        "1,234.5",
        "AWG",
        "2 mm",
    ],
)
def test_sizes_refused(written: str) -> None:
    with pytest.raises(ValueError, match=r"a size such as|number"):
        read_size(written)


@pytest.mark.parametrize("written", ["-3", "0", "3 yd", "m", "1e300", "--3", "3 m m", "NaN"])
def test_lengths_refused(written: str) -> None:
    with pytest.raises(ValueError, match=r"a length such as|number"):
        read_length(written)
