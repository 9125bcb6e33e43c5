"""Lines that put others right: `CORRECTION to 4 and 5 …`, `NO button box 4 is the one with tape on`."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from loomtest.harness.notes.items import items_of
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.struck import put_right_here

_CORRECTS = re.compile(
    r"^\W*NO[,:]?\s+(?!\d)\w|(?i:\bcorrections?\b|\berrat(?:um|a)\b|\bmy bad\b"
    r"|^\W*(?:no,? )?sorry\b|\bscrub that\b|\bscratch that\b"
    r"|\bgot (?:that|this|it|them|those) wrong\b|\b(?:that|this|it|they|those) (?:is|was|are|were) wrong\b)"
)
_NUMBERS = re.compile(
    r"(?i)\b(?:to|of|in|lines?|numbers?|nos?\.?)\s+(\d{1,3}(?:\s*(?:,|and|&|\+)\s*\d{1,3})*)"
)


def put_right(page: Page) -> Mapping[int, int]:
    """The numbers of the lines that a later one puts right, each with that line's own number."""
    found: dict[int, int] = {}
    for place, line in enumerate(page.lines):
        if line.role is not Role.LINE or not _CORRECTS.search(line.text.strip()):
            continue
        for number in _meant(page, page.lines[:place], line):
            if not page.lines[number - 1].right:
                found[number] = line.number
    return found


def correct(page: Page) -> None:
    """Put right the lines that a later one names by their numbers, where it says what for what."""
    for place, line in enumerate(page.lines):
        said = _NUMBERS.search(line.text) if _CORRECTS.search(line.text.strip()) else None
        if said is not None:
            put_right_here(line, page.lines[:place], re.findall(r"\d+", said[1]))


def _meant(page: Page, above: Sequence[PageLine], line: PageLine) -> list[int]:
    """The lines above by the numbers that are named, else those that have one of the points named."""
    said = _NUMBERS.search(line.text)
    numbers = re.findall(r"\d+", said[1]) if said else []
    if named := [other.number for other in above if other.listed and other.listed in numbers]:
        return named
    points = _points(page, line)
    return [other.number for other in above if other.role is Role.LINE and points & _points(page, other)]


def _points(page: Page, line: PageLine) -> set[str]:
    tokens = line.tokens[1:] if line.tokens[:1] and line.tokens[0].text == "NO" else line.tokens
    mentions = [item.mention for item in items_of(tokens, page.names, page.letters)]
    named = [m for m in mentions if m is not None and m.words and (m.terminal or len(m.words) > 2)]
    return {page.names.point(mention).casefold() for mention in named}
