"""Conductors against published tables; the source stands at each table (tests/outside/data) and test."""

from __future__ import annotations

import numpy as np
import pytest

from loomtest.harness.copper import copper_ohms, expectation_of, temperature_factor
from loomtest.harness.measures import read_length, read_size
from loomtest.harness.model import Expect, Harness, Wire
from tests.outside.published import rows_of

AWG = rows_of("awg_copper.csv")
IEC_60228 = [row for row in rows_of("iec60228_class5.csv") if row["source"] == "iec60228"]
IEC_60228_KT = rows_of("iec60228_kt.csv")
ISO_6722 = rows_of("iso6722_max.csv")
FAA_11_9 = rows_of("faa_ac43_13_1b_table11_9.csv")


def gauge(row: dict[str, str]) -> str:
    return f"AWG {row['awg']}"


def expected_ohm_per_km(size_mm2: float) -> float:
    """Copper of a real stranded wire as `[expect]` has it by default, joints left out, at 20 °C."""
    wire = Wire("W1", "A", "B", size_mm2=size_mm2, length_m=1000.0)
    return float(expectation_of(Harness("", (wire,), ("A", "B"))).copper_ohm[0])


def test_tables_are_whole() -> None:
    assert (len(AWG), len(IEC_60228), len(IEC_60228_KT), len(FAA_11_9)) == (44, 22, 20, 17)
    assert len(ISO_6722) == 28


@pytest.mark.parametrize("row", AWG, ids=gauge)
def test_awg_resistance(row: dict[str, str]) -> None:
    """NBS Circular 31 (1914), ohm per 1000 ft of solid annealed copper; four digits: 0.06 % covers rounding.

    The printed digits of a few gauges sit at the edge of their last place (largest 0.038 %, gauge 11).
    """
    size, feet = read_size(gauge(row)), read_length("1000 ft")
    found = float(copper_ohms(np.array([size]), np.array([feet]))[0])
    assert found == pytest.approx(float(row["ohm_per_kft_pub"]), rel=6e-4)
    assert found == pytest.approx(float(row["ohm_per_kft_calc"]), rel=2e-4)


@pytest.mark.parametrize("row", AWG, ids=gauge)
def test_awg_area(row: dict[str, str]) -> None:
    """ASTM B258: d = 0.127 mm · 92^((36 - n)/39)."""
    assert read_size(gauge(row)) == pytest.approx(float(row["area_mm2"]), rel=1e-4)


@pytest.mark.parametrize("row", IEC_60228, ids=lambda row: f"{row['nominal_mm2']} mm²")
def test_iec_60228_maxima(row: dict[str, str]) -> None:
    """IEC 60228:2004, tables 2 and 3: what a real conductor is expected to show stays below the maximum.

    Above it would mean that sound wire from the shop is called poor; the bare copper of the full nominal
    area is the lower bound, since a conductor is made to its resistance and not to its area. 630 mm² is
    left out of the upper bound: there the table leaves only 4.8 % for lay and stranding.
    """
    size = float(row["nominal_mm2"])
    expected = expected_ohm_per_km(size)
    bare = float(copper_ohms(np.array([size]), np.array([1000.0]))[0])
    assert bare < expected
    if size != 630:
        assert expected < float(row["class5_plain_ohm_per_km"])
        assert expected < float(row["class5_coated_ohm_per_km"])
    # The maximum of class 5 is 1.05 (630 mm²) to 1.16 times bare copper of the nominal area.
    assert float(row["class5_plain_ohm_per_km"]) / bare < 1.17


@pytest.mark.parametrize("row", ISO_6722, ids=lambda row: f"{row['nominal_mm2']} mm²")
def test_iso_6722_maxima(row: dict[str, str]) -> None:
    """ISO 6722-1:2011, maximum resistance at 20 °C in mΩ/m; rows marked "memory" are values from memory.

    0.13 mm² is made of 7 strands of 0.16 mm, 0.141 mm² of copper: its maximum leaves 2.5 % over bare
    copper of the nominal area, so there only the strand bound can be asked for.
    """
    size, most = float(row["nominal_mm2"]), float(row["max_mohm_per_m"])
    expected = expected_ohm_per_km(size)
    bare = float(copper_ohms(np.array([size]), np.array([1000.0]))[0])
    assert bare < expected
    assert bare < most
    if size != 0.13:
        assert expected < most
    if row["strand_calc_mohm_per_m"]:
        assert float(row["strand_calc_mohm_per_m"]) < most


@pytest.mark.parametrize("row", IEC_60228_KT, ids=lambda row: f"{row['t_C']} °C")
def test_temperature_law(row: dict[str, str]) -> None:
    """IEC 60228, k_t with R20 = R_t · k_t. The printed table is 250/(230 + t), up to 0.0034 (0.44 % at 95 °C)
    away from the copper expression 254.5/(234.5 + t), that of the same standard's annex and of this tool.
    """
    factor = 1 / temperature_factor(float(row["t_C"]))
    assert factor == pytest.approx(float(row["kt_copper_254.5/(234.5+t)"]), abs=1e-5)
    assert factor == pytest.approx(float(row["kt_table"]), rel=4.5e-3)


def test_temperature_coefficient() -> None:
    """IEC 28 (1913) as quoted in handbooks: 0.00393 per kelvin at 20 °C for standard annealed copper."""
    assert temperature_factor(21.0) - temperature_factor(20.0) == pytest.approx(0.00393, abs=5e-6)
    assert temperature_factor(-234.5) == 0.0


def test_iacs_resistivity() -> None:
    """International Annealed Copper Standard: 1/58 Ω·mm²/m at 20 °C, and 0.15328 Ω·g/m² at 8.89 g/cm³."""
    one = float(copper_ohms(np.array([1.0]), np.array([1.0]))[0])
    assert one == pytest.approx(1 / 58, rel=3e-5)
    assert one == pytest.approx(0.15328 / 8.89, rel=1e-4)


@pytest.mark.parametrize("row", FAA_11_9, ids=gauge)
def test_faa_maxima(row: dict[str, str]) -> None:
    """FAA AC 43.13-1B CHG 1, table 11-9: maximum of tin-plated aircraft wire, by its area in circular mils.

    Aircraft wire has its own areas, so the area of the table is used. Fine tinned strands leave more room
    (No. 24: 1.3 times the expectation); from No. 10 up the printed two digits alone are worth 7 %.
    """
    circular_mil_mm2 = np.pi / 4 * 0.0254**2
    size = float(row["area_cmil"]) * circular_mil_mm2
    most = float(row["ohm_per_km"])
    rounding = 0.005 / 0.3048 if float(row["ohm_per_kft"]) < 10 else 0.05 / 0.3048
    bare = float(copper_ohms(np.array([size]), np.array([1000.0]))[0])
    assert bare < most + rounding
    assert most - rounding < 1.31 * bare


def test_expectation_moves_with_the_loom_s_temperature() -> None:
    """The copper part alone follows the law, joints do not."""
    wire = Wire("W1", "A", "B", size_mm2=1.0, length_m=2.0)
    cold = expectation_of(Harness("", (wire,), ("A", "B"), expect=Expect(temperature_c=0.0)))
    warm = expectation_of(Harness("", (wire,), ("A", "B"), expect=Expect(temperature_c=80.0)))
    # factors by hand from (234.5 + t)/254.5: 0.92141 and 1.23576
    assert warm.copper_ohm[0] / cold.copper_ohm[0] == pytest.approx(1.23576 / 0.92141, rel=1e-5)
    assert warm.expected_ohm[0] - warm.copper_ohm[0] == pytest.approx(0.004)
