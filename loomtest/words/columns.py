"""What is asked about the columns of a wire list that has its own names."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.words.lines import Line, wrapped
from loomtest.words.numbers import counted

_MORE = {
    "colour": "Which column is the wire's colour? (Enter: none)",
    "size": "Which column is the wire's size? (Enter: none)",
    "length": "Which column is the wire's length? (Enter: none)",
}
BEGINS = "Where does a wire begin? (connector and pin may be two columns: 1 2)"
ENDS = "Where does it end?"


def question(file: str, choices: Sequence[tuple[str, Sequence[str]]]) -> list[Line]:
    """The columns with their numbers and some of their cells."""
    width = max(len(name) for name, _ in choices)
    rows = [
        Line(f"  {number:>2}  {name.ljust(width)}  {', '.join(cell[:20] for cell in cells)}")
        for number, (name, cells) in enumerate(choices, 1)
    ]
    first = f"{file}: which columns say where a wire begins and ends? You are asked this once."
    return [*wrapped(first), Line(""), *rows, Line("")]


def more(key: str) -> str:
    """The question for a column that may be left out."""
    return _MORE[key]


def not_a_choice(said: str, most: int) -> str:
    """What is said to an answer that names no column."""
    return f"Found “{said}”; expected a number from 1 to {most}, or two numbers."


def not_so(wrong: int) -> str:
    """What is said where the columns that were named hold no ends of wires."""
    return f"Read so, {counted(wrong, 'end')} of wires cannot be points. Nothing was kept; try again."


def kept(toml: str) -> str:
    """Where the answer stands."""
    return f"Kept in {toml}, below [columns]: change it there."
