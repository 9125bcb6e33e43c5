"""Two connectors joined by a list of their cavities.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes

HEAD = "Press\nblock A\n1 red fuse 1\n2 blue horn 1\n\nblock B\n1 red fan +\n2 blue lamp 1\n\n"


@pytest.mark.parametrize(
    "line",
    [
        "block A to block B: 1-3, 2-2, 3-1",
        "block A -> block B, 1 to 3, 2 to 2 and 3 to 1",
        "cable from block A to block B: 1=3, 2=2, 3=1",
        "straight across, same colours: A1-B3, A2-B2, A3-B1",
        "A1 > B3, A2 > B2, A3 > B1",
    ],
)
def test_a_list_of_cavities_of_two_connectors(line: str) -> None:
    found = [wire.words for wire in read_notes(HEAD + line).wires][4:]
    assert found == ["block_A:1 to block_B:3", "block_A:2 to block_B:2", "block_A:3 to block_B:1"]


@pytest.mark.parametrize(
    "line", ["A: 1-3 red, 2-2 blue, 3-1", "A: 1-3, 1-2", "A, pin for pin", "A, straight through"]
)
def test_a_list_that_says_more_is_asked_about(line: str) -> None:
    notes = read_notes(HEAD + line.replace("A", "block B to block A", 1))
    assert len(notes.wires) == 4 and len(notes.unread) == 1
