"""What is asked about a line of notes: one full stop or question mark, one wire or several."""

from __future__ import annotations

import re

import pytest

from loomtest.harness.notes.reader import read_notes
from loomtest.words import notes as words

DOUBTFUL = "Dash light from 3, red\n"


def test_a_question_ends_once() -> None:
    (line,) = read_notes(DOUBTFUL).unread
    told = " ".join(row.text.strip() for row in words.question(line, 1, 1))
    assert "of which connector?" in told
    assert not re.search(r"[?.]\.", told)


@pytest.mark.parametrize(
    ("choices", "prompt"), [(1, "1, or the wire in your own"), (3, "A number (1 to 3), or ")]
)
def test_a_single_answer_has_a_single_number(choices: int, prompt: str) -> None:
    assert words.answer_prompt(choices).startswith(prompt)


@pytest.mark.parametrize(
    ("lines", "told"), [(2, "1 more line that was not read"), (3, "2 more lines that were not read")]
)
def test_the_lines_left_are_counted(lines: int, told: str) -> None:
    (line,) = read_notes(DOUBTFUL).unread
    assert words.unread_problem([line] * lines, most=1)[-1][1] == told
