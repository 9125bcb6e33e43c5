"""Text for a terminal."""

from __future__ import annotations

from loomtest.commands.terminal.text import counted, listed, shown, shown_lines, wrapped


def test_what_a_terminal_could_obey_is_written_out() -> None:
    assert shown("red \x1b[31m\r\u202e\u200f") == "red \\x1b[31m\\r\\u202e\\u200f"
    assert shown("two\nlines") == "two\\nlines"
    assert shown_lines("two\nlines\x07") == "two\nlines\\x07"
    assert shown("1.5 mm², größer, Ω") == "1.5 mm², größer, Ω"


def test_counting() -> None:
    assert counted(1, "wire") == "1 wire"
    assert counted(0, "wire") == "0 wires"
    assert counted(2, "way", "ways round") == "2 ways round"
    assert counted(12400, "wire") == "12\u202f400 wires"


def test_wrapping_breaks_no_name_and_keeps_the_width() -> None:
    names = [f"X{i}:{i}" for i in range(60)]
    text = wrapped(["Empty:", *listed(names)], indent=2, hanging=6, width=40)
    assert max(map(len, text.splitlines())) <= 40
    assert text.split() == ["Empty:", *(f"{n}," for n in names[:-1]), names[-1]]
    assert text.splitlines()[0].startswith("  E") and text.splitlines()[1].startswith("      X")
    long = "x" * 100
    assert long in wrapped(["a", long, "b"], width=40)
