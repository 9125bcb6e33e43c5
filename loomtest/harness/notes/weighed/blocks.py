"""The blocks of a page: a heading, and the lines below it that may speak of its device."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.ditto import written_out
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.weighed.cuts import cuts_of
from loomtest.harness.notes.weighed.lexicon import Lexicon
from loomtest.harness.notes.weighed.readings import is_hub
from loomtest.harness.notes.weighed.signs import ABOUT, JOINS

COUNT = re.compile(
    r"(?i)\b\d{1,3}[\s-]*(?:pins?|ways?|holes?|contacts?|blades?|pos|positions?|terminals?|tags?|cores?|pol|poles?"
    r"|cavit\w+)\b"
)
LONGEST_HEADING = 9
MOST_OF_A_NAME = 1.6  # what the words of a heading may cost as a point
_UNREAD = (Role.BLANK, Role.RULE, Role.COMMENT, Role.KEY)
_OF_A_NUMBER = ("number", "and", "comma", "gap", "dash", "to", "hash")


@dataclass
class HeadedLines:
    """Lines below one heading, as (index of the line, its tokens), and what the heading says."""

    device: Mention | None = None
    other: Mention | None = None
    counted: bool = False  # it says that the device has cavities
    ways: int = 0  # how many
    lines: list[tuple[int, list[Token]]] = field(default_factory=list)


def blocks_of(page: Page, lexicon: Lexicon) -> list[HeadedLines]:
    """The page in blocks, its ditto marks written out."""
    found = [HeadedLines()]
    above: list[Token] = []
    written = [line for line in page.lines if line.role not in _UNREAD]
    lone = {line.number: _lone(line, lexicon) for line in written}
    for place, line in enumerate(written):
        counted = bool(COUNT.search(line.text))
        if line.role is not Role.LINE:
            found.append(_headed(line, lone[line.number]))
            continue
        device = lone[line.number] if line.number != page.title or counted else None
        if device is not None and not _is_item(written, place, lone):
            found.append(HeadedLines(device, None, counted, _ways(line.text)))
            continue
        tokens = line.tokens
        if any(token.sort == "ditto" for token in tokens):
            tokens = written_out(tokens, above) or tokens
        above = tokens
        found[-1].lines.append((line.number - 1, tokens))
    return found


def _headed(line: PageLine, lone: Mention | None) -> HeadedLines:
    """The block below a heading or a table's header; a table with both ends in columns needs no device."""
    if {"from", "to"} <= {sort for sort, *_ in line.columns}:
        return HeadedLines()
    device = line.device or lone
    counted = bool(COUNT.search(line.text)) or (line.role is Role.TABLE and device is not None)
    return HeadedLines(device, line.other, counted, _ways(line.text))


def _ways(text: str) -> int:
    """How many cavities a heading says there are; 0 where it does not."""
    counted = COUNT.search(text)
    number = re.search(r"\d+", counted[0]) if counted else None
    return int(number[0]) if number else 0


def _is_item(written: Sequence[PageLine], place: int, lone: Mapping[int, Mention | None]) -> bool:
    """Whether a line with a device alone is an item of a list: the lines beside it are such too."""
    line = written[place]
    if line.text.rstrip().endswith(":") or line.text.isupper():
        return False
    beside = [written[i] for i in (place - 1, place + 1) if 0 <= i < len(written)]
    near = [
        other.number for other in beside if other.role is Role.LINE and abs(other.number - line.number) == 1
    ]
    return any(lone.get(number) is not None for number in near)


def _lone(line: PageLine, lexicon: Lexicon) -> Mention | None:
    """The device that a line names while it says nothing of a wire."""
    head = line.tokens
    joins = any(token.sort in JOINS for token in head)
    fuse = len(head) > 1 and trade.long_form(head[0].text) in ("fuse", "breaker", "circuit")
    if fuse and head[1].sort == "number" and not joins and len(head) <= LONGEST_HEADING:
        return None if any(token.sort == "colour" for token in head) else mention_of(head[:2])
    cells = (i for i, token in enumerate(head) if i and token.sort in ("gap", "colon", "comma"))
    cut = next(cells, len(head))
    ends = line.text.rstrip().endswith(":")
    named = _named(head[:cut], lexicon)
    if named is not None and not joins:
        if ends or (cut < len(head) and head[cut].sort == "gap" and is_hub(named)):
            return named
        if cut < len(head) and COUNT.search(line.text) and not any(t.sort in ABOUT for t in head):
            return named
    return _named([token for token in head if not COUNT.fullmatch(token.text)], lexicon)


def _named(tokens: Sequence[Token], lexicon: Lexicon) -> Mention | None:
    """The one device that words name, with nothing else beside it."""
    told = [token for token in tokens if token.sort not in ("note", "gap")]
    if not told or len(told) > LONGEST_HEADING or any(token.sort in (*ABOUT, *JOINS) for token in told):
        return None
    for cut in cuts_of([token for token in tokens if token.sort != "note"], lexicon)[:3]:
        points = [piece.mention for piece in cut.pieces if piece.mention is not None]
        pins = any(piece.sort == "pin" or piece.text in ("+", "-") for piece in cut.pieces)
        if len(points) != 1 or pins or cut.cost > MOST_OF_A_NAME or points[0].words[0].isdigit():
            continue
        if not points[0].terminal or is_hub(points[0]):
            return points[0]
    return None


def statements_of(tokens: Sequence[Token]) -> list[list[Token]]:
    """The sentences of a line; a stop behind a shortened word or a row's number ends none."""
    found: list[list[Token]] = [[]]
    for place, token in enumerate(tokens):
        if token.sort == "semi":
            found.append([])
        elif token.sort != "stop":
            found[-1].append(token)
        elif found[-1] and _is_number(found[-1]):
            found[-1].append(replace(token, sort="gap", text="  "))
        elif place and not _is_shortened(tokens[place - 1]):
            found.append([])
    told = ("word", "number", "plus", "dash", "pin")
    return [part for part in found if any(token.sort in told for token in part)]


def _is_number(own: Sequence[Token]) -> bool:
    """`12`, `8 and 9`, `A`: the number of a row, before its full stop."""
    return all(token.sort in _OF_A_NUMBER or len(token.text) == 1 for token in own)


def _is_shortened(before: Token) -> bool:
    low = before.text.casefold()
    return before.sort == "word" and len(low) < 6 and trade.long_form(low) != low
