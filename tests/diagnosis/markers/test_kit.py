"""The kit follows from the meter's specification."""

from __future__ import annotations

import dataclasses
import math
from itertools import combinations

import numpy as np
import pytest

from loomtest.diagnosis.markers.kit import choose_kit, margins_of, range_for, too_near
from loomtest.readings.instrument import load_instrument
from loomtest.readings.model import Instrument, Range

METER = load_instrument("handheld-3half")


def test_twenty_four_clips_for_2000_counts_are_an_octave_of_e96_from_8_25_to_16_2_kilohm() -> None:
    kit = choose_kit(METER, 24)
    assert kit is not None
    assert (kit.series, kit.ohms[0], kit.ohms[-1]) == ("E96", 8250.0, 16200.0)
    assert kit.range.up_to_ohms == 20_000
    assert all(a * b / (a + b) < min(kit.ohms) for a, b in combinations(kit.ohms, 2))


def test_twelve_clips_are_of_e24_and_no_two_side_by_side_read_like_a_third() -> None:
    kit = choose_kit(METER, 12)
    assert kit is not None
    assert kit.series == "E24"
    for a, b in combinations(kit.ohms, 2):
        both = a * b / (a + b)
        # four display steps and what a meter drifts, to either side (JCGM 100:2008, F.2.2.1)
        assert (
            min(abs(both - c) for c in kit.ohms) > 5 * math.sqrt(2 * 10**2 / 12 + (1e-3 * both) ** 2) * 0.98
        )


@pytest.mark.parametrize("clips", [2, 5, 12, 17, 24])
def test_every_kit_shows_a_megohm_and_a_hundred_ohms_above_the_display(clips: int) -> None:
    kit = choose_kit(METER, clips)
    assert kit is not None
    assert len(kit.ohms) == clips
    for ohm in kit.ohms:
        leaking = 1 / (1 / ohm + 1e-6)
        assert ohm - leaking > 3 * kit.range.resolution_ohms or ohm - leaking > 4 * 1e-3 * ohm
        assert kit.range.resolution_ohms * 3 < 100


def test_a_meter_without_a_range_for_them_has_no_kit() -> None:
    low = dataclasses.replace(METER, ranges=tuple(r for r in METER.ranges if r.up_to_ohms <= 2000))
    assert choose_kit(low, 12) is None


def test_a_finer_meter_gets_a_kit_of_its_own() -> None:
    fine = Instrument(name="fine", ranges=(Range(50_000.0, 0.05, 3, 1.0),))
    kit = choose_kit(fine, 24)
    assert kit is not None
    assert kit.range.up_to_ohms == 50_000
    assert kit.margins.spare >= 1


def test_about_a_quarter_of_bought_sets_of_1_percent_need_one_exchanged() -> None:
    kit = choose_kit(METER, 24)
    assert kit is not None
    rng = np.random.default_rng(3)
    sets = [np.array(kit.ohms) * (1 + rng.uniform(-0.01, 0.01, 24)) for _ in range(200)]
    share = np.mean([bool(too_near(one.tolist(), kit.range)) for one in sets])
    assert 0.15 < share < 0.4


def test_two_that_are_too_near_are_named_with_the_one_to_exchange() -> None:
    held = range_for(METER, 18_000)
    assert held is not None
    found = too_near([10_000, 10_050, 12_000, 12_060, 12_110], held)
    assert {(near.one, near.other) for near in found} == {((0,), 1), ((2,), 3), ((3,), 4)}
    assert {near.exchange for near in found} >= {3}
    assert too_near([10_000, 10_100, 12_000, 12_150], held) == []


def test_two_side_by_side_like_a_third_are_named() -> None:
    held = range_for(METER, 18_000)
    assert held is not None
    found = too_near([12_000, 13_000, 6_240], held)
    assert [(near.one, near.other) for near in found] == [((0, 1), 2)]


def test_a_kit_over_decades_takes_a_wire_with_kilohms_for_whole() -> None:
    decades = [1e4 * 100 ** (i / 23) for i in range(24)]
    held = range_for(METER, max(decades))
    assert held is not None
    assert margins_of(decades, held).joint < 1
