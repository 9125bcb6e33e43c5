"""What both readings of a page have is written; where they differ, both stand in the question."""

from __future__ import annotations

import pytest

from loomtest.harness.notes.reader import read_notes
from loomtest.harness.notes.roles import Page
from loomtest.harness.notes.weighed.weigh import Weighed, weigh
from tests.harness.notes.once import read_once

PAGE = "Bow plug (4 way)\n1 red  horn 1\n2 black  frame bolt\n3 brown  nav lamp +\n"


def test_what_both_have_is_read() -> None:
    assert [wire.words for wire in read_notes(PAGE).wires] == [wire.words for wire in read_once(PAGE).wires]
    assert len(read_notes(PAGE).wires) == 3


def test_where_they_differ_both_are_readings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Any other second reading of the line makes it a question with both."""

    def other(page: Page) -> dict[int, list[Weighed]]:
        found = weigh(page)
        found[1], found[2] = found[2], found[1]
        return found

    monkeypatch.setattr("loomtest.harness.notes.agree.weigh", other)
    notes = read_notes(PAGE)
    assert [line.number for line in notes.unread] == [2, 3]
    assert set(notes.unread[0].readings) == {
        "Bow_plug:1 red to horn:1",
        "Bow_plug:2 black to frame_bolt",
    }
    assert [wire.line for wire in notes.wires] == [4]


def test_a_doubt_of_the_writer_stays_one() -> None:
    notes = read_notes(PAGE + "4 white  fog lamp + ??\n")
    assert [line.number for line in notes.unread] == [5]


def test_an_answer_is_not_asked_again() -> None:
    text = "Bow plug (4 way)\n1 red  horn 1\n2 whatever it is\n"
    answered = read_notes(text, {"2 whatever it is": "Bow_plug:2 to frame_bolt"})
    assert not answered.unread and len(answered.wires) == 2


def test_a_row_with_a_fuse_is_asked_and_never_written_without_it() -> None:
    """The second reading alone understands these rows, and knows nothing of fuses."""
    page = "POS BAR\nbattery +   red thru the 80A breaker\nhorn 1  red\nlamp +  brown\n"
    notes = read_notes(page)
    assert [wire.line for wire in notes.wires] == [3, 4]
    assert [line.number for line in notes.unread] == [2]


def test_a_fuse_without_a_name_is_no_end() -> None:
    notes = read_notes("Positive bar\npump +   own 60A fuse\n")
    assert not notes.wires and [line.number for line in notes.unread] == [2]
