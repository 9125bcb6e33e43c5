"""What is written for others' eyes: one place that decides, for each kind of output, what a text may do.

Names and notes come out of files that anybody may have written. On a terminal an escape character commands
it, in a spreadsheet a cell that begins with `=` is run, and a direction-changing character turns a line round
so that it reads as something else. Here each becomes something that can only be read.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from loomtest.harness.points import FORMULA_SIGNS

HARD_SPACE = "\N{NO-BREAK SPACE}"


def visible(text: str, besides: str = "") -> str:
    """The text with control and direction-changing characters written out (`\\x1b`); `besides` stay."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in besides else _spelled(c) for c in text)


def json_text(value: Any, indent: int | None = 2) -> str:
    """JSON that says the same to a program, and in which no character commands whoever looks at it.

    Raises ValueError for numbers that are not finite.
    """
    return _quiet_json(json.dumps(value, indent=indent, ensure_ascii=False, allow_nan=False))


def json_pieces(value: Mapping[str, Any], key: str, items: Iterable[Any]) -> Iterator[str]:
    """The text of an object whose list `key` is `items`, one a line, made as it is read: for lists that would
    fill the memory. Raises ValueError as `json_text` does."""
    begin, there, end = json_text({**value, key: []}).partition(f'\n  "{key}": [')
    yield begin + there
    encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
    separator = "\n    "
    for item in items:
        yield separator + _quiet_json(encode(item))
        separator = ",\n    "
    yield ("" if separator[0] == "\n" else "\n  ") + end


def _quiet_json(text: str) -> str:
    if text.isprintable():
        return text
    # Outside strings JSON has only printable characters and line breaks: what else there is, is in strings.
    return "".join(c if c.isprintable() or c == "\n" else json.dumps(c)[1:-1] for c in text)


def toml_text(text: str) -> str:
    """A text as a TOML basic string, on one line."""
    clean = text.encode("utf-8", "replace").decode("utf-8")
    return json_text(clean, None).replace("\x7f", "\\u007f")


def sheet_cell(cell: str) -> str:
    """A cell for a spreadsheet: visible, and with an apostrophe before what would be run as a formula."""
    if re.fullmatch(r"[+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?", cell):
        return cell
    # Also behind spaces, and the full-width forms: some programs strip the one and fold the other.
    first = cell.lstrip(" \t\r\n\u00a0\u3000")[:1]
    guard = "'" if first in tuple(FORMULA_SIGNS) or cell[:1] in ("\t", "\r", "\n") else ""
    return guard + visible(cell, HARD_SPACE + "\t\r\n\u3000")


def _spelled(letter: str) -> str:
    return letter.encode("unicode_escape", "surrogatepass").decode("ascii")
