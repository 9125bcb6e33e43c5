"""Colours as people write them; the codes themselves are checked in tests/outside/test_colours.py."""

from __future__ import annotations

import pytest

from loomtest.harness.colours import colour_code, colour_parts, colour_words


@pytest.mark.parametrize(
    "written",
    ["BKWH", "BK/WH", "bk-wh", "BK+WH", "black/white", "Black White", "BLK/WHT", "black with white stripe"],
)
def test_one_pair_of_colours_in_many_spellings(written: str) -> None:
    assert colour_parts(written) == ("BK", "WH")
    assert colour_code(written) == "BKWH"
    assert colour_words(written) == "black-white"


@pytest.mark.parametrize(("one", "other"), [("gray", "grey"), ("purple", "violet"), ("RED", "rd")])
def test_two_words_for_one_colour(one: str, other: str) -> None:
    assert colour_code(one) == colour_code(other) != ""


def test_base_and_stripe_are_not_the_same_the_other_way_round() -> None:
    assert colour_code("RD/BU") != colour_code("BU/RD")


def test_colours_without_a_letter_code_stay_words() -> None:
    assert colour_parts("tan") == ("tan",)
    assert colour_parts("lt green/red") == ("light green", "RD")
    assert colour_code("light green") != colour_code("green") != colour_code("dark green")
    assert colour_words("lt green/red") == "light green-red"


def test_no_colour_is_no_colour() -> None:
    assert colour_code("") == colour_code("  ") == colour_words("") == ""


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("redd", "the nearest is red"),
        ("B", "BK for black, BN for brown or BU for blue"),
        ("R", "RD for red"),
        ("RDX", "letters of IEC 60757"),
        ("stripe", "letters of IEC 60757"),
        ("light", "letters of IEC 60757"),
        ("BKWHRDBUGN", "letters of IEC 60757"),
        ("/", "letters of IEC 60757"),
    ],
)
def test_what_is_no_colour(written: str, expected: str) -> None:
    with pytest.raises(ValueError, match=expected):
        colour_parts(written)
    assert colour_words(written) == written  # what the person wrote stays recognisable
