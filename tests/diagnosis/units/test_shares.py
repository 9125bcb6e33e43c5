"""Yield and the commonest faults: exact intervals by their definition, and retests that are no units."""

from __future__ import annotations

from math import comb

import pytest

from loomtest.diagnosis.units.shares import commonest, right_of, share_of, tries_of


def tail(at_least: int, total: int, share: float) -> float:
    """Probability of `at_least` or more, by the sum itself."""
    return sum(comb(total, k) * share**k * (1 - share) ** (total - k) for k in range(at_least, total + 1))


@pytest.mark.parametrize(("count", "total"), [(4, 20), (1, 7), (19, 20), (60, 100)])
@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_the_ends_are_the_shares_under_which_as_much_comes_about_so_rarely(
    count: int, total: int, confidence: float
) -> None:
    share = share_of(count, total, confidence)
    assert tail(count, total, share.low) == pytest.approx((1 - confidence) / 2, rel=1e-9)
    assert 1 - tail(count + 1, total, share.high) == pytest.approx((1 - confidence) / 2, rel=1e-9)


def test_four_of_twenty_as_published() -> None:
    """NIST/SEMATECH e-Handbook, 7.2.4.1: 4 of 20 at 90 %, 0.071354 and 0.401029 (values from memory)."""
    share = share_of(4, 20, 0.9)
    assert (share.low, share.high) == pytest.approx((0.071354, 0.401029), abs=1e-6)


def test_all_and_none_in_closed_form() -> None:
    assert share_of(0, 30).low == 0.0 and share_of(30, 30).high == 1.0
    assert share_of(0, 30).high == pytest.approx(1 - 0.025 ** (1 / 30), rel=1e-12)
    assert share_of(30, 30).low == pytest.approx(0.025 ** (1 / 30), rel=1e-12)
    nothing = share_of(0, 0)
    assert (nothing.value, nothing.low, nothing.high) == (0.0, 0.0, 1.0)


def test_a_retest_is_no_second_unit() -> None:
    units = ["A", "B", "A", "", "C", "A"]
    verdicts = ["fail", "pass", "fail", "pass", "not-proven", "pass"]
    tries = tries_of(units)
    assert (tries.unit, tries.first, tries.last, tries.nameless) == (("A", "B", "C"), (0, 1, 4), (5, 1, 4), 1)
    right = right_of(tries, verdicts)
    assert (right.first.count, right.first.total, right.open_first) == (1, 3, 1)
    assert (right.last.count, right.last.total, right.open_last) == (2, 3, 1)


def test_the_commonest_fault_comes_first() -> None:
    found = [
        ("short", ("X1:1", "X1:2"), 1),
        ("open", ("X1:1", "X2:1"), 3),
        ("high-resistance", ("X1:1", "X2:1"), 1),
    ]
    rows = commonest(found, units=10)
    assert [(row.fault, row.units.count) for row in rows] == [
        ("open", 3),
        ("high-resistance", 1),
        ("short", 1),
    ]
    assert [row.so_far for row in rows] == pytest.approx([0.6, 0.8, 1.0])
    assert rows[0].points == ("X1:1", "X2:1") and rows[0].units.value == 0.3
    assert commonest([], units=0) == []
