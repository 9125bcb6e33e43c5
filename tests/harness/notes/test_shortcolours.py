"""Colours in two letters without a key: taken where the page shows what they mean, and else left alone."""

from __future__ import annotations

import pytest

from loomtest.harness.notes.shortcolours import short_colours
from tests.harness.notes.once import read_once as read_notes

CABIN = "Plug C (4 way)\n1  {0}/wh  cabin lamp +\n2  wh/or  horn 1\n3  {0}  pump +\n4  black  frame bolt\n"


def test_german_letters_by_their_company() -> None:
    found = short_colours("1 rt/ws lamp\n2 sw/ge horn\n3 bl pump")
    assert found["sw"] == "black" and found["GE"] == "yellow" and found["bl"] == "blue"


def test_sw_alone_stays_a_switch() -> None:
    assert short_colours("lt sw 2 to br sw 1\nign sw 3 to or") == {}


@pytest.mark.parametrize(("other", "meant"), [("black", "blue"), ("blue", "black")])
def test_bl_is_the_colour_that_the_page_has_no_other_word_for(other: str, meant: str) -> None:
    page = CABIN.format("bl").replace("black", other)
    assert read_notes(page).wires[0].colour == f"{meant}/white"


def test_bl_without_help_is_no_colour_and_no_point() -> None:
    notes = read_notes(CABIN.format("bl").replace("black", "green"))
    assert "black" not in notes.wires[0].colour and "blue" not in notes.wires[0].colour
    assert not any("bl" in point for wire in notes.wires for point in (wire.start, wire.end))


def test_a_key_in_a_sentence() -> None:
    page = "Colours telephone fashion, body first then ring: bl blue, or orange, sl slate, br brown\n" + CABIN
    assert read_notes(page.format("bl")).wires[0].colour == "blue/white"
