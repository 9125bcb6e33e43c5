"""What a writer takes back, in the same line or in a later one: common practice, invented scenes."""

from __future__ import annotations

import pytest

from loomtest.harness.notes.meaning import Ask
from loomtest.harness.notes.result import Kind
from tests.harness.notes.once import read_once as read_notes


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("X1 2 red to fuse box 4. no - 5", "X1:2 red to fuse_box:5"),
        ("X1 2 red to fuse box 4, no sorry, 5", "X1:2 red to fuse_box:5"),
        ("X1 2 red to fuse box 4, I mean 5", "X1:2 red to fuse_box:5"),
        ("X1 2 red to fuse box 4 - make that 5", "X1:2 red to fuse_box:5"),
        ("X1 2 red to fuse box (4 - no) 5", "X1:2 red to fuse_box:5"),
        ("X1 2 blue - no, red - to fuse box 5", "X1:2 red to fuse_box:5"),
        ("X1 2 red to fuse box 4, scratch that, to fuse box 5", "X1:2 red to fuse_box:5"),
        ("X1 2 red from key M?? no. From key L.", "X1:2 red to key:L"),
    ],
)
def test_what_is_taken_back_in_the_same_line(line: str, meant: str) -> None:
    assert [wire.words for wire in read_notes(line).wires] == [meant]


@pytest.mark.parametrize("line", ["X1 8 to lamp no 5", "X1 8 to lamp no. 5", "X1 8 to lamp number 5"])
def test_a_number_is_no_denial(line: str) -> None:
    assert [wire.words for wire in read_notes(line).wires] == ["X1:8 to lamp:5"]


LIST = "1. X1 pin 4 to lamp pin 2.\n2. X1 pin 5 to horn pin 2.\n3. X1 pin 6 to buzzer pin 2.\n"


@pytest.mark.parametrize(
    "correction",
    [
        "CORRECTION to 1 and 2. They are both pin 3 of the lamp and the horn, not pin 2.",
        "Correction to 1, 2: pin 3, not pin 2",
        "Errata in lines 1 & 2: terminal 3, and not 2",
        "Got that wrong in 1 and 2. It is 3 not 2.",
        "Sorry, numbers 1 and 2 were wrong. Pin 3, not 2",
    ],
)
def test_a_line_says_what_is_right_in_place_of_what(correction: str) -> None:
    notes = read_notes(LIST + correction)
    assert [(wire.start, wire.end) for wire in notes.wires] == [
        ("X1:4", "lamp:3"), ("X1:5", "horn:3"), ("X1:6", "buzzer:2"),
    ]  # fmt: skip
    assert [bool(wire.note) for wire in notes.wires] == [True, True, False]
    assert notes.lines[-1].kind is Kind.REMARK and not notes.unread


@pytest.mark.parametrize("correction", ["CORRECTION to 2: pin 4", "Correction to 1: 4, not 9"])
def test_what_is_not_said_in_so_many_words_is_asked(correction: str) -> None:
    notes = read_notes(LIST + correction)
    assert Ask.PUT_RIGHT in [line.why for line in notes.unread]
