"""Words behind a whole statement: a remark is kept as a note, and what can be a point is asked about."""

from __future__ import annotations

import pytest

from loomtest.harness.notes.names import Names
from loomtest.harness.notes.remarks import is_remark
from tests.harness.notes.once import read_once as read_notes

REMARKS = [
    "new",
    "old original",
    "twisted together",
    "thick as your finger",
    "heavy like a rope",
    "tinned braid",
    "two wires in the hole",
    "three turns on a ferrite ring",
    "in the cabin",
    "near the gearbox",
    "sleeved and taped",
    "soldered",
]
MAY_BE_POINTS = [
    "top",
    "horn 2",
    "X4",
    "oil press ind",
    "bus bar",
    "on rail X",
    "wiper",
    "T1A22",
    "red one 3",
]


@pytest.mark.parametrize("words", REMARKS)
def test_how_and_where_a_wire_is_laid_is_a_remark(words: str) -> None:
    assert is_remark(words, Names())
    read = read_notes(f"horn relay 87 to fuse 3, red, {words}")
    assert not read.unread
    (wire,) = read.wires
    assert (wire.start, wire.end) == ("horn_relay:87", "fuse_3")


@pytest.mark.parametrize("words", MAY_BE_POINTS)
def test_what_can_name_a_point_is_no_remark(words: str) -> None:
    assert not is_remark(words, Names())


@pytest.mark.parametrize(
    "words",
    ["20 amp fuse at that end", "with its own 20 amp fuse", "put a 20 amp fuse in it near trip"],
)
def test_what_is_said_of_the_fuse_in_a_wire_is_no_point(words: str) -> None:
    assert is_remark(words, Names(), fused=True)
    assert not is_remark("20 amp fuse to relay 3", Names(), fused=True)


def test_the_numbers_of_the_wires_are_told_by_their_shape_on_the_page() -> None:
    page = "TS1-1 / P1-G / T1A22\nTS1-2 / P1-H / T1B22\nTS1-3 / P1-J / T2C20\n"
    wires = read_notes(page).wires
    assert [(w.start, w.end) for w in wires] == [("TS1:1", "P1:G"), ("TS1:2", "P1:H"), ("TS1:3", "P1:J")]
    alone = read_notes("TS1-1 / P1-G / T1A22\n")
    assert alone.unread  # one word alone may be a point


def test_a_side_behind_a_comma_is_the_terminal_that_other_lines_have() -> None:
    page = "tow switch top to fuse 1\nkey switch S to tow switch, top, blue\nhorn 2 to tow switch, bottom\n"
    ends = [wire.end for wire in read_notes(page).wires]
    assert ends[1].casefold().replace(":", "_") == "tow_switch_top"
    assert ends[2].casefold().replace(":", "_") == "tow_switch_bottom"
