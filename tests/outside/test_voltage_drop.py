"""Volts lost, against worked examples of FAA AC 43.13-1B CHG 1, chapter 11 (public domain).

Paragraph 11-66d: VD = (resistance per foot)(length)(current). The copy at hand has misprints; they are
named where they stand, and what is checked is the arithmetic of the unrounded product.
"""

from __future__ import annotations

import numpy as np
import pytest

from loomtest.harness.copper import copper_ohms, temperature_factor, volts_lost, watts_lost
from loomtest.harness.measures import read_length


@pytest.mark.parametrize(
    ("limit", "feet", "ohm_per_foot", "printed", "tolerance"),
    [
        (1.0, 107, 0.00044, 0.942, 0.001),
        (0.5, 90, 0.00028, 0.504, 0.0005),  # the printed answer itself is above its limit of 0.5 V
        (4.0, 88, 0.00202, 3.60, 0.05),  # printed 1.3 % high: the product is 3.555
        (7.0, 100, 0.00306, 6.12, 0.005),
    ],
)
def test_table_11_7(limit: float, feet: float, ohm_per_foot: float, printed: float, tolerance: float) -> None:
    found = volts_lost(ohm_per_foot * feet, 20.0)
    assert found == pytest.approx(printed, abs=tolerance)
    assert found < limit * 1.01


@pytest.mark.parametrize(
    ("limit", "feet", "printed"),
    [
        (1.0, 39, 0.98),
        (0.5, 19.5, 0.4914),  # printed .366: a misprint, the product is 0.4914
        (4.0, 156, 3.93),
        (7.0, 273, 6.88),
    ],
)
def test_table_11_8(limit: float, feet: float, printed: float) -> None:
    """No. 10 wire, 0.00126 ohm/ft, 20 A: the longest run at each limit."""
    found = volts_lost(0.00126 * feet, 20.0)
    assert found == pytest.approx(printed, abs=0.005)
    assert 0.97 * limit < found <= limit


def test_example_1_takes_no_8() -> None:
    """50 ft at 20 A in a 28 V system may lose 1 V: No. 8 (0.0007 ohm/ft) does, No. 10 (0.00126) does not."""
    assert volts_lost(0.0007 * 50, 20.0) == pytest.approx(0.70)
    assert volts_lost(0.00126 * 50, 20.0) > 1.0


def test_example_2_hot_conductor() -> None:
    """At 182 °C a wire may be L2 = 254.5 · 15.5 ft/(234.5 + 182) = 9.5 ft long (last digits from memory)."""
    assert 15.5 / temperature_factor(182.0) == pytest.approx(9.5, abs=0.05)


def test_bilge_pump_of_abyc_e_11() -> None:
    """CM = K·I·L/E with K = 10.75 ohm·cmil/ft (ABYC E-11 as quoted): 10 A, 21 ft, 0.36 V give 6,271 cmil.

    K is 3.7 % above annealed copper at 20 °C, so that area loses 3.6 % less than the 0.36 V allowed.
    """
    circular_mils = 10.75 * 10.0 * 21.0 / 0.36
    assert circular_mils == pytest.approx(6270.8, abs=0.1)
    size_mm2 = circular_mils * np.pi / 4 * 0.0254**2
    ohm = float(copper_ohms(np.array([size_mm2]), np.array([read_length("21 ft")]))[0])
    assert volts_lost(ohm, 10.0) == pytest.approx(0.36 / 1.0365, rel=1e-3)


def test_watts() -> None:
    """Joule's law by the definition of the units: 1 V lost at 20 A is 20 W."""
    assert watts_lost(0.05, 20.0) == pytest.approx(volts_lost(0.05, 20.0) * 20.0) == pytest.approx(20.0)
