"""What a reading proves, by the contract's section on readings."""

import numpy as np
import pytest

from loomtest.diagnosis.seen.observe import APART, JOINED, UNKNOWN, Observations, observe
from loomtest.harness.model import Limits
from loomtest.readings.model import Instrument, Quantity, Range, Readings

MANUAL = Instrument(
    "by hand", ranges=(Range(200.0, 0.8, 3, 0.1), Range(2e7, 1.0, 3, 1e4)), beep_below_ohms=50.0
)
AUTO = Instrument(
    "by itself", autorange=True, open_above_ohms=4e7, ranges=MANUAL.ranges, beep_below_ohms=50.0
)


def readings(*rows: tuple[int, int, float], **columns: object) -> Readings:
    n = len(rows)
    nan = np.full(n, np.nan)
    given = {
        "points": ("X1:1", "X1:2", "X1:3", "X1:4"),
        "start": np.array([row[0] for row in rows]),
        "end": np.array([row[1] for row in rows]),
        "quantity": np.zeros(n, dtype=np.int64),
        "value": np.array([row[2] for row in rows]),
        "above_ohm": nan,
        "current_a": nan,
        "uncertainty": nan,
        "temperature_c": nan,
        "row": np.arange(n) + 2,
    }
    return Readings(**{**given, **columns})


def pairs(seen: Observations) -> dict[tuple[int, int], int]:
    keys = zip(seen.pair_start.tolist(), seen.pair_end.tolist(), strict=True)
    return dict(zip(keys, seen.pair_state.tolist(), strict=True))


@pytest.mark.parametrize(
    ("instrument", "above", "proved"),
    [
        (AUTO, np.nan, 4e7),  # changes ranges by itself: its open_above_ohms
        (MANUAL, np.nan, 200.0),  # on an unknown range: only its lowest
        (MANUAL, 2e6, 2e6),  # `>2M`, or the column `range`
        (AUTO, 2e3, 2e3),
    ],
)
def test_over_range_proves_what_the_contract_says(
    instrument: Instrument, above: float, proved: float
) -> None:
    seen = observe(readings((0, 1, np.inf), above_ohm=np.array([above])), instrument, Limits())
    assert seen.low_ohm.tolist() == [proved]
    assert seen.high_ohm.tolist() == [np.inf]


def test_over_range_on_a_range_under_the_short_limit_tells_nothing() -> None:
    seen = observe(readings((0, 1, np.inf), above_ohm=np.array([50.0])), MANUAL, Limits())
    assert seen.state.tolist() == [UNKNOWN]
    assert pairs(seen) == {}


def test_a_value_at_the_short_limit_is_apart_and_one_below_it_joined() -> None:
    seen = observe(readings((0, 1, 100.0), (2, 3, 99.9)), AUTO, Limits())
    assert pairs(seen) == {(0, 1): APART, (2, 3): JOINED}


def test_a_beep_joins_and_no_beep_proves_no_more_than_the_beepers_limit() -> None:
    beeps = readings((0, 1, 1.0), (2, 3, 0.0), quantity=np.full(2, Quantity.CONTINUITY))
    seen = observe(beeps, AUTO, Limits())
    assert pairs(seen) == {(0, 1): JOINED, (2, 3): APART}
    assert seen.high_ohm[0] == 50.0
    assert seen.low_ohm[1] == 50.0


def test_a_voltage_drop_is_ohms_by_its_current_and_a_diode_test_is_no_resistance() -> None:
    both = readings(
        (0, 1, 0.25),
        (2, 3, 0.6),
        quantity=np.array([Quantity.VOLTAGE_DROP, Quantity.DIODE]),
        current_a=np.array([5.0, np.nan]),
    )
    seen = observe(both, AUTO, Limits())
    assert seen.low_ohm[0] == pytest.approx(0.05)
    assert pairs(seen) == {(0, 1): JOINED}


def test_leads_reversed_are_the_same_pair_and_the_least_value_of_each_is_kept() -> None:
    rows = readings((0, 1, 0.4), (1, 0, 0.3), (2, 3, np.inf), (3, 2, 5e6))
    seen = observe(rows, AUTO, Limits())
    assert pairs(seen) == {(0, 1): JOINED, (2, 3): APART}
    assert seen.pair_low_ohm.tolist() == [0.3, 5e6]  # a number is believed before over-range


def test_a_pair_read_both_joined_and_over_range_is_contradictory_and_no_evidence() -> None:
    seen = observe(readings((0, 1, 0.4), (0, 1, np.inf), (2, 3, 0.1)), AUTO, Limits())
    assert seen.contradictory.tolist() == [[0, 1]]
    assert pairs(seen) == {(2, 3): JOINED}


def test_a_joint_near_the_limit_read_on_both_sides_of_it_is_joined() -> None:
    assert pairs(observe(readings((0, 1, 99.0), (0, 1, 101.0)), AUTO, Limits())) == {(0, 1): JOINED}


def test_over_range_with_clips_clears_every_pair_across_and_none_within() -> None:
    clipped = readings((0, 2, np.inf), bonded={0: ((1,), (3,))})
    seen = observe(clipped, AUTO, Limits())
    assert pairs(seen) == {(0, 2): APART, (0, 3): APART, (1, 2): APART, (1, 3): APART}


def test_a_conducting_reading_with_clips_accuses_no_pair_by_itself() -> None:
    seen = observe(readings((0, 2, 0.2), bonded={0: ((1,), (3,))}), AUTO, Limits())
    assert pairs(seen) == {}
    assert seen.clipped_joins == ((0, (0, 1), (2, 3)),)
