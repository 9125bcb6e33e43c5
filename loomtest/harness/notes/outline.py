"""Pages in outline: a device on a line of its own, and its terminals in the indented lines below it.

    Bilge pump
       auto   > float switch 1
       manual > bilge switch 2

Every line below begins with one word and a sign of joining; so the word is a terminal, whatever it is: no
list of words has all that makers print beside their terminals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_pin
from loomtest.harness.notes.items import ABOUT, JOINS
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.scan import Token

_SIGNS = {"positive": "+", "negative": "-"}
_FUNCTIONS = {"park", "tail", "stop", "turn", "reverse", "marker", "brake", "alarm", "lock", "heated", "led"}


def find_outlines(page: Page) -> None:
    """Make such a device a heading, and mark the first word of each line below as its terminal."""
    for index, line in enumerate(page.lines):
        own = line.role is Role.HEADING and line.device is not None
        device = line.device if own else _name(line)
        rows = (_below(page.lines, index) or _beside(page.lines, index)) if device is not None else []
        if device is not None and rows and _is_a_hub(device):
            _sizes_first(rows, page)
        sure = sum(_begins(row.tokens, page) for row in rows)
        whole = bool(rows) and all(_is_parted(row.tokens) for row in rows) and sure * 3 >= len(rows) * 2
        if device is None or not whole or (not own and not device.sort and sure < 2):
            continue
        line.role, line.device = Role.HEADING, device
        for row in rows:
            row.role, row.device = Role.LINE, None
            row.tokens = _marked(_joined(row.tokens))


def _name(line: PageLine) -> Mention | None:
    """The device that an unindented line names, and nothing else."""
    said = [token for token in line.tokens if token.sort != "note"]
    if said and said[-1].sort == "colon":
        said = said[:-1]
    if line.role not in (Role.LINE, Role.HEADING) or line.text[:1].isspace() or not 0 < len(said) < 6:
        return None
    if any(token.sort not in ("word", "number") for token in said):
        return None
    named = mention_of(said)
    if named is None or named.terminal or any(map(trade.is_odd, named.words)):
        return None
    return named


def _below(lines: Sequence[PageLine], index: int) -> list[PageLine]:
    """The lines right below one that are indented more; [] where one of them is no line to read."""
    own = _indent(lines[index].text)
    found = []
    for line in lines[index + 1 :]:
        if not line.text.strip() or _indent(line.text) <= own:
            break
        if line.role is not Role.LINE and not (line.role is Role.HEADING and line.tokens):
            return []
        found.append(line)
    return found


def _beside(lines: Sequence[PageLine], index: int) -> list[PageLine]:
    """The lines right below one, not set in, of a terminal, a colour and an end between equal signs."""
    found = []
    for line in lines[index + 1 :]:
        if line.role not in (Role.LINE, Role.HEADING) or not _second_sign(line.tokens):
            break
        found.append(line)
    return found


def _second_sign(tokens: Sequence[Token]) -> int:
    """Where in `main - blue - dip switch 2` the second sign stands; 0 where none like the first one does."""
    if not _is_parted(tokens):
        return 0
    first = next(place for place in (1, 2) if tokens[place].sort in (*JOINS, "colon", "dash"))
    place = next(
        (i for i, token in enumerate(tokens) if i > first + 1 and token.sort == tokens[first].sort), 0
    )
    said = [token.sort for token in tokens[first + 1 : place] if token.sort != "gap"]
    return place if said[:1] and said[0] in ABOUT and place + 1 < len(tokens) else 0


def _indent(text: str) -> int:
    return len(text) - len(text.lstrip())


def _is_a_hub(device: Mention) -> bool:
    last = trade.long_form(device.words[-1])
    return device.sort in ("ground", "joint") or last in ("bus", "bar", "rail")


def _sizes_first(rows: Sequence[PageLine], page: Page) -> None:
    """Make the gauges sizes with which the lines below a bar begin: `16 black > lamp -`."""
    begun = [row for row in rows if [token.sort for token in row.tokens[:2]] == ["number", "colour"]]
    numbers = [int(row.tokens[0].text) for row in begun]
    gauges = all(number in range(0, 27, 2) for number in numbers)
    if not page.gauge or not gauges or any(b - a == 1 for a, b in pairwise(numbers)):
        return
    for row in begun:
        size = replace(row.tokens[0], sort="size", value=f"AWG {row.tokens[0].text}")
        row.tokens = [size, *row.tokens[1:]]


def _is_parted(tokens: Sequence[Token]) -> bool:
    """Whether a line begins with one word and a sign of joining."""
    if len(tokens) < 3:
        return False
    behind = tokens[2] if tokens[1].sort in ("note", "gap") else tokens[1]
    return behind.sort in (*JOINS, "colon", "dash") and tokens[0].sort in ("word", "number", "plus", "dash")


def _begins(tokens: Sequence[Token], page: Page) -> bool:
    """Whether the word with which such a line begins can be a terminal."""
    if not _is_parted(tokens):
        return False
    first = tokens[0]
    if (
        first.sort in ("plus", "dash")
        or is_pin(first)
        or first.sort != "word"
        or trade.long_form(first.text) in _SIGNS
    ):
        return True
    odd = trade.is_odd(first.text) or trade.is_filler(first.text) or trade.is_prose(first.text)
    elsewhere = _is_a_device(first) or first.text.casefold() in page.names.aliases
    return first.text.isalpha() and not odd and not elsewhere


def _is_a_device(token: Token) -> bool:
    """`horn`, and not `park`, which says of a lamp or a motor what it does, nor its `earth`."""
    low = trade.long_form(token.text)
    return trade.is_noun(token.text) and low not in _FUNCTIONS and low not in ("earth", "ground", "mass")


def _joined(tokens: Sequence[Token]) -> list[Token]:
    """The words with a sign of joining for the second one of two equal signs around a colour."""
    place = _second_sign(tokens)
    return [*tokens[:place], replace(tokens[place], sort="to"), *tokens[place + 1 :]] if place else [*tokens]


def _marked(tokens: Sequence[Token]) -> list[Token]:
    first = tokens[0]
    sign = {"plus": "+", "dash": "-"}.get(first.sort) or _SIGNS.get(trade.long_form(first.text), "")
    if not sign and (first.sort == "number" or _is_a_device(first) or is_pin(first, strict=True)):
        return list(tokens)
    return [replace(first, sort="pin", text=sign or first.text), *tokens[1:]]
