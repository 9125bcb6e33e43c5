"""A line in which one statement of several is in doubt: the others are read, and only that one is asked."""

from __future__ import annotations

import pytest

from loomtest.harness.notes.answers import entry_text
from loomtest.harness.notes.result import Kind, Notes
from loomtest.words.notes import as_read, question, summary
from tests.harness.notes.once import read_once as read_notes

# The doubtful part stands last, first, in the middle; behind a full stop, behind a semicolon; with a word of
# doubt, with an end that is missing, with a plural that the page does not have.
PARTS = [
    ("Bilge switch 2 to bilge pump +, brown. Horn button negative bus bar", "bilge_pump:+", "Horn button"),
    ("horn button 1 to fuse 3, purple; deck lamp + to fuse 4 I think", "fuse_3", "deck lamp"),
    ("Both pumps to the bus. Horn button 1 to fuse 3, purple.", "fuse_3", "Both pumps"),
    (
        "Horn button 1 to fuse 3, purple. Wipers to relay 87. Deck lamp - to neg bar, black.",
        "neg_bar",
        "Wipers",
    ),
    ("deck lamp + to fuse 4? ; horn button 1 to fuse 3, purple", "fuse_3", "deck lamp"),
]


def parted(text: str) -> tuple[Notes, str]:
    read = read_notes(text + "\n")
    (asked,) = read.unread
    return read, asked.part


@pytest.mark.parametrize(("line", "end", "part"), PARTS)
def test_the_sure_statements_are_read(line: str, end: str, part: str) -> None:
    read, asked = parted(line)
    assert end in {point.casefold() for wire in read.wires for point in (wire.start, wire.end)}
    assert asked.startswith(part)
    assert not any(part.split()[-1].casefold() in wire.words.casefold() for wire in read.wires)
    assert read.unread[0].text == line  # the whole line, with its number
    assert {one.number for one in read.lines} == {1} and len(read.lines) == 2


def test_an_answer_adds_to_the_sure_part_and_one_for_the_whole_line_takes_its_place() -> None:
    line = PARTS[1][0]
    read, _ = parted(line)
    (asked,) = read.unread
    assert asked.readings and all("deck_lamp" in reading for reading in asked.readings)
    more = read_notes(line, {asked.asked: "deck_lamp:+ to fuse_4"})
    assert [wire.words for wire in more.wires] == [read.wires[0].words, "deck_lamp:+ to fuse_4"]
    assert not more.unread
    remark = read_notes(line, {asked.asked: ""})
    assert remark.wires == read.wires and not remark.unread
    whole = read_notes(line, {line: "A:1 to B:1"})
    assert [wire.words for wire in whole.wires] == ["A:1 to B:1"] and not whole.unread
    assert line in entry_text(asked.asked, "") and asked.part in entry_text(asked.asked, "")


@pytest.mark.parametrize(
    "line",
    [
        "Horn button 1 to fuse 3. No - fuse 5, not sure",  # puts right what stands before
        "Horn button 1 to fuse 3, purple. Deck lamp the same?",  # points back
        "Both pumps to the bus, red. Its other side to neg bar.",  # hangs on the doubtful one
        "Horn button 1 to fuse 3; deck lamp + to fuse 4. I think.",  # said of the whole line
        "Horn button 1 to fuse 3; deck lamp + to fuse 4   ??",
        "Horn button 1 to fuse 3; deck lamp + to fuse 4 (check)",
    ],
)
def test_a_doubt_that_the_rest_hangs_on_is_one_of_the_whole_line(line: str) -> None:
    read = read_notes(line)
    assert not read.wires and not any(one.part for one in read.lines)
    assert read.lines[0].kind is Kind.UNREAD


def test_what_was_read_and_what_is_asked_are_told_as_one_line() -> None:
    read, part = parted(PARTS[0][0])
    assert summary(read, "n.txt")[0].text.startswith("n.txt: 1 line read as 1 wire")
    told = as_read(read, "n.txt")
    assert told.count(PARTS[0][0]) == 1 and "bilge_pump:+" in told and f"NOT READ: “{part}”" in told
    assert any(part in row.text for row in question(read.unread[0], 1, 1)[2:])
