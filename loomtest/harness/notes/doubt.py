"""Where the writer is not sure, and the ways a doubtful line can be meant."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from loomtest.harness.notes import trade
from loomtest.harness.notes.meaning import Ask, UnsureError
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.tokens import bare_size

if TYPE_CHECKING:
    from loomtest.harness.notes.meaning import Joint
    from loomtest.harness.notes.names import Names
    from loomtest.harness.notes.notation import NotedWire
    from loomtest.harness.notes.roles import PageLine

# In a cell of its own `or` is orange.
_OR = re.compile(r"(?<![\w/])(?<!\.\.\s)(?<!\s\s)(?<!\t)(?<!\|\s)or(?![\w/])", re.IGNORECASE)
# `one wire green, other is black`: two wires, and which is which is not said
_ONE_OF_TWO = re.compile(
    r"\bone (?:wire|is)\b(?! each).*\bother\b(?! (?:one |wire |is |[\w/]+ ){0,3}(?:to|from|off|goes)\b)"
    r"|\bother is\b(?! (?:[\w/]+ )?(?:to|from|off)\b)",
    re.IGNORECASE,
)
_PAIR = re.compile(
    r"\b[a-z]+\s*(?:&|and|\+)\s*[a-z]+\s+(?:pair|twin)\b", re.IGNORECASE
)  # two wires, and one line
_SEE = re.compile(
    r"\bsee\s+(?!above|below|pin)\w+.*\b(?:sheet|page|drawing|diagram|book|list)\b", re.IGNORECASE
)


def doubtful(text: str, tokens: Sequence[Token]) -> str:
    """The words that show a doubt; "" for none. A question mark behind a size doubts the size alone."""
    for index, token in enumerate(tokens):
        if token.sort == "note" and re.fullmatch(r"(?i)[+-] ?sides?|sides? [+-]", token.value):
            return token.text
        if token.sort == "note" and re.search(r"(?i)\bin\b.*\bout\b", token.value):
            return token.text  # `(1 in, 2 out)`: terminals in brackets
        if token.sort == "note" and re.search(r"[^\d\s]\s*\?", token.value):
            return "?"
        if token.sort == "quest":
            before = tokens[index - 1].sort if index else ""
            if before == "gap" and index > 1:
                before = tokens[index - 2].sort
            if before not in ("size", "size?", "decimal", "length", "amps"):
                return token.text
    if match := trade.pattern("doubt", "words").search(text):
        return match[0]
    if match := _ONE_OF_TWO.search(re.sub(r"\([^()]*\)", "", text)):
        return match[0]
    if match := re.search(r"(?i)\b\d{1,2} off\b(?! the)", text):  # so many of them
        return match[0]
    if "???" in text:
        return "???"
    if match := re.search(r"\?\s*\)", text):
        return "?"
    if match := _SEE.search(text):
        return match[0]
    if match := _PAIR.search(text) or _OR.search(text):
        return match[0]
    return ""


def undoubted(tokens: Sequence[Token]) -> list[Token]:
    """The tokens up to the doubt's own words: the likeliest meaning, which is asked about."""
    found: list[Token] = []
    for index, token in enumerate(tokens):
        low = token.text.casefold()
        after = tokens[index + 1].text.casefold() if index + 1 < len(tokens) else ""
        if low == "or" or f"{low} {after}" in ("i think", "could be", "might be", "not sure", "not traced"):
            break
        if token.sort == "quest":
            continue
        if low in ("maybe", "probably", "perhaps", "check", "possibly", "i"):
            continue
        found.append(token)
    return found


# The ways to take a line of several meanings, by why it is one: each is tried, and offered as an answer.
WAYS: dict[Ask, tuple[str, ...]] = {
    Ask.SEVERAL_MEANINGS: ("series", "chain", "star", "each", "end", "note"),
    Ask.LIST_TO_LIST: ("each", "first"),
    Ask.COLOURS: ("first", "second", "both"),
    Ask.WHICH_OF_THEM: ("all", "end"),
    Ask.UNKNOWN_WORDS: ("end", "note"),
    Ask.CAVITY: ("same",),
}
MOST_READINGS = 6


def _with_a_size(tokens: Sequence[Token]) -> list[Token]:
    """The tokens with a figure behind a colour, or a thick cable's at the end, as a size; [] without one."""
    last = max((i for i, token in enumerate(tokens) if token.sort not in ("gap", "note")), default=-1)
    for index, token in enumerate(tokens[1:], 1):
        behind = tokens[index - 1].sort == "colour"
        thick = index == last and token.text in ("10", "16", "25", "35", "50", "70", "95")
        if token.sort == "number" and bare_size(token) and (behind or thick):
            return [*tokens[:index], replace(token, sort="size"), *tokens[index + 1 :]]
    return []


def meanings(tokens: Sequence[Token]) -> list[list[Token]]:
    """The tokens up to the words of doubt, and with each alternative that they name, the likeliest first."""
    sized = _with_a_size(tokens)
    before_a_sign = any(
        a.sort == "size" and b.sort in ("to", "dash", "arrow") for a, b in pairwise(sized) if a not in tokens
    )
    found = [undoubted(tokens), *alternatives(tokens)]
    return found[::-1] if before_a_sign else found


def alternatives(tokens: Sequence[Token]) -> list[list[Token]]:
    """The tokens with what stands behind `or` in place of what stands before it."""
    sized = _with_a_size(tokens)
    place = next((i for i, token in enumerate(tokens) if token.text.casefold() == "or"), 0)
    if not place:
        return [sized] if sized else []
    before, behind = undoubted(tokens[:place]), undoubted(tokens[place + 1 :])
    if not before or not behind:
        return []
    if behind[0].sort == before[-1].sort and behind[0].sort in ("number", "colour", "size"):
        return [[*before, *behind[1:]], [*before[:-1], *behind]]
    parts = ("to", "arrow", "back", "from", "feeds", "dash", "gap", "comma", "colour", "size", "colon", "via")
    last = max((i for i, token in enumerate(before) if token.sort in parts), default=-1)
    return [[*before[: last + 1], *behind]] if last >= 0 else []


def in_words(
    joints: Sequence[Joint], line: PageLine, names: Names, made: Callable[[Joint, int, object], NotedWire]
) -> str:
    """What a reading says in our notation; "" where it makes no wire."""
    try:
        wires = [made(joint, line.number, names) for joint in joints]
    except UnsureError:
        return ""
    return "; ".join(dict.fromkeys(wire.words for wire in wires))
