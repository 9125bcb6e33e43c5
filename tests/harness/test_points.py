"""Names of points, as people and standards write them."""

from __future__ import annotations

import pytest

from loomtest.harness.points import folded, natural, read_point


@pytest.mark.parametrize(
    ("written", "stored"),
    [
        ("X3:2", "X3:2"),
        ("-X3:2", "X3:2"),  # IEC 81346
        ("=A1+B2-K5:13", "=A1+B2-K5:13"),
        (" X3 : A4 ", "X3:A4"),
        ("BATT+", "BATT+"),
        ("BATT-", "BATT-"),
        ("-BATT-", "BATT-"),
        ("GND2", "GND2"),
        ("x3:02", "x3:02"),  # case and zeros are stored as written
        ("Masse:ü", "Masse:ü"),
    ],
)
def test_what_is_stored(written: str, stored: str) -> None:
    assert read_point(written) == stored


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("", "a point such as"),
        ("X3:", "a connector, a colon and a cavity"),
        (":2", "a connector, a colon and a cavity"),
        ("A:B:C", "one colon"),
        ("03:02:00", "a spreadsheet made a time of it"),
        ("-", "a letter or a figure"),
        ("GND 2", "GND_2"),
        ("X3:2\x1b[31m", "visible"),
        ("X3:\u202e2", "visible"),
        ("#X1:1", "#"),
        ("X" * 101, "at most 100"),
    ],
)
def test_what_cannot_be_a_point(written: str, expected: str) -> None:
    with pytest.raises(ValueError, match=expected):
        read_point(written)


def test_names_alike() -> None:
    assert folded("X1:04") == folded("x1:4")
    assert folded("X1:0") == folded("X1:00")
    assert folded("X1:40") != folded("X1:4")
    assert folded("GND01") != folded("GND1")  # leading zeros count alike in cavities only


def test_cavities_sort_as_people_count() -> None:
    assert sorted(["X2:10", "X2:9", "X10:1", "X2:a"], key=natural) == ["X2:9", "X2:10", "X2:a", "X10:1"]
