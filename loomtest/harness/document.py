"""TOML text from anybody: its tables, or one problem; never another error, and never for long."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from loomtest.errors import Problem
from loomtest.harness.table import lines_of, quoted

LARGEST_TOML_BYTES = 2_000_000  # a thousand connectors need some 200 kB
# The parser's time grows with the square of the parts of a dotted key: ten thousand of them take seconds.
MOST_KEY_PARTS = 200
_LINES = 'lines such as key = "value"'


def read_document(text: str, file: str, problems: list[Problem]) -> dict[str, Any] | None:
    """The document's tables, or None with the reason among the problems."""
    if len(text) > LARGEST_TOML_BYTES:
        found, expected = f"{len(text):,} characters", f"at most {LARGEST_TOML_BYTES:,}"
        problems.append(Problem(file, None, "", found, expected))
        return None
    for number, line in enumerate(lines_of(text), 1):
        if line.count(".") > MOST_KEY_PARTS and _dots_outside_quotes(line) > MOST_KEY_PARTS:
            found = f"a key of more than {MOST_KEY_PARTS} parts"
            problems.append(Problem(file, number, "", found, _LINES))
            return None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        where = f", at column {at[2]}" if at else ""
        found = f"text that is not TOML ({quoted(str(error).split(' (at')[0])[1:-1]}{where})"
        problems.append(Problem(file, int(at[1]) if at else None, "", found, _LINES))
    except (RecursionError, ValueError) as error:
        why = "nested too deep" if isinstance(error, RecursionError) else "with a number of enormous length"
        problems.append(Problem(file, None, "", f"text that is not TOML, {why}", _LINES))
    return None


def _dots_outside_quotes(line: str) -> int:
    dots, quote, skip = 0, "", False
    for letter in line:
        if skip:
            skip = False
        elif quote:
            skip = letter == "\\" and quote == '"'
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter == "#":
            break
        else:
            dots += letter == "."
    return dots


def plain(value: object) -> str:
    """A TOML value for a message, short and visible."""
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    try:
        return quoted(repr(value))[1:-1]
    except (RecursionError, ValueError):  # nested deep by a dotted key; an integer of thousands of digits
        return "a value too large to show"


def finite_number(value: object, most: float = 1e15) -> float | None:
    """The number as a float; None for anything else, for NaN, infinity and what lies beyond `most`."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= most:
        return None
    return float(value)
