"""Cavities that begin again below one heading: a heading was missed, and the rows are asked about."""

from __future__ import annotations

import pytest

from loomtest.harness.notes.restarts import PinnedRow, begun_again
from tests.harness.notes.once import read_once as read_notes

HEAD = "Winch box, 6 way\n1 black to horn 1\n2 white to horn 2\n3 red to fuse 1\n"


def rows(pins: str, heading: int = 1) -> list[PinnedRow]:
    return [PinnedRow(line, heading, "plug", (pin,)) for line, pin in enumerate(pins, 2)]


@pytest.mark.parametrize(
    ("pins", "asked"),
    [
        ("1234", ""),
        ("123123", "123"),
        ("ABCAB", "AB"),
        ("1231", ""),  # a second wire in one cavity, told later
        ("11223", ""),  # two wires in a cavity, side by side
        ("12345612", "12"),
        ("1231342", ""),
    ],
)
def test_two_cavities_that_come_again_in_their_order_are_of_another_device(pins: str, asked: str) -> None:
    found = begun_again(rows(pins))
    assert "".join(found.values()) == asked
    assert sorted(found) == list(range(2 + len(pins) - len(asked), 2 + len(pins)))


def test_rows_below_two_headings_are_two_blocks() -> None:
    assert not begun_again([*rows("123", 1), *rows("123", 9)])


@pytest.mark.parametrize("between", ["what goes on up the mast\n", "same again at the other side!\n"])
def test_rows_behind_a_missed_heading_are_asked(between: str) -> None:
    page = HEAD + between + "1 red to pump +\n2 black to pump -\n"
    read = read_notes(page)
    assert [wire.line for wire in read.wires] == [2, 3, 4]
    assert {line.number for line in read.unread} >= {6, 7}
    assert read.unread[-1].readings  # as it would have been read, one key away
