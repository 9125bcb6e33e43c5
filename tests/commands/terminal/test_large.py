"""Letters for three metres: every word of the station in blocks, as large as the terminal allows."""

from __future__ import annotations

import os
import pty
import select
import sys

import pytest

from loomtest.commands.terminal.large import forget_typed, large, show_large
from loomtest.words.station import WORD


@pytest.mark.parametrize("word", [*WORD.values(), "NOT KEPT", "NOT DONE"])
@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (120, 40), (200, 60), (30, 10)])
def test_a_word_fills_the_terminal_and_never_more(word: str, columns: int, rows: int) -> None:
    lines = large(word, columns, rows)
    assert len({len(line) for line in lines}) == 1
    if columns >= 80:
        assert len(lines[0]) <= columns and len(lines) <= max(rows, 7)
        assert 4 * len(lines) > min(rows, columns / 8) or len(lines) == 7


def test_right_is_drawn_as_right() -> None:
    assert large("I", 6, 7) == ["██████", "  ██  ", "  ██  ", "  ██  ", "  ██  ", "  ██  ", "██████"]


def test_elsewhere_than_on_a_terminal_it_is_plain_lines(capsys: pytest.CaptureFixture[str]) -> None:
    show_large("RIGHT", "good", ["Unit 7", "a\x1b[2Jb"])
    assert capsys.readouterr().out == "RIGHT\nUnit 7\na\\x1b[2Jb\n"


def test_on_a_terminal_it_is_painted_and_a_name_cannot_command_it(monkeypatch: pytest.MonkeyPatch) -> None:
    master, slave = pty.openpty()
    monkeypatch.delenv("NO_COLOR", raising=False)
    with os.fdopen(slave, "w", encoding="utf-8") as terminal:
        monkeypatch.setattr(sys, "stdout", terminal)
        show_large("WRONG", "bad", ["unit \x1b]0;x\x07"])
        data = b""
        while b"\\x1b]0" not in data:
            data += os.read(master, 65536)
    os.close(master)
    text = data.decode()
    assert "48;2;140;26;44m" in text and "██" in text and "\x1b]0" not in text


def test_what_was_typed_meanwhile_is_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    master, slave = pty.openpty()
    with os.fdopen(slave, "r", encoding="utf-8") as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        os.write(master, b"U-1\nU-1\n")
        assert select.select([terminal], [], [], 5.0)[0]
        forget_typed()
        assert not select.select([terminal], [], [], 0.1)[0]
        os.write(master, b"U-2\n")
        assert terminal.readline() == "U-2\n"
    os.close(master)
