"""No word is lost in silence: a number, a terminal or a device that is in no wire makes a question."""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes

# Each names a terminal or a device that the grammar does not put into a wire: it must not be passed over.
LOSES = [
    "Second wire of both deck lamps, black, to negative bar",
    "The other lead of horn 1 and horn 2 to negative bar",
    "BATTERY SWITCH: IN is red from battery +",
    "tacho: sig green to engine plug 6, ign white to key switch IGN",
    "deck lamp black to negative bar, other side of that is fuse 3",
]
KEPT = [
    ("Front lamps: light switch 2 -> left headlamp + blue", "blue"),  # what the line is about
    ("horn 2 to frame bolt behind the left wheel, black", "black"),  # where the bolt is
    ("battery minus to engine block, black", "black"),  # a sign by its name
    ("A brown goes from key switch 15 to coil +", "brown"),  # an article
    ("horn relay 30 to battery + thru a fuse right at the battery, red", "red"),  # how the wire goes
]


@pytest.mark.parametrize("line", LOSES)
def test_a_word_that_no_wire_has_makes_a_question(line: str) -> None:
    read = read_notes(line)
    lost = {"other", "2", "IN", "sig", "ign", "second"}
    told = " ".join(wire.words for wire in read.wires)
    assert read.unread or any(word in told for word in lost)


@pytest.mark.parametrize(("line", "colour"), KEPT)
def test_words_that_name_no_point_do_not(line: str, colour: str) -> None:
    read = read_notes(line)
    assert not read.unread and [wire.colour for wire in read.wires] == [colour]
