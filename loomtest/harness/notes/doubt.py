"""Where the writer is not sure, and the ways a doubtful line can be meant."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from loomtest.harness.notes import trade
from loomtest.harness.notes.tokens import Token

if TYPE_CHECKING:
    from loomtest.harness.notes.meaning import Joint
    from loomtest.harness.notes.names import Names
    from loomtest.harness.notes.notation import NotedWire
    from loomtest.harness.notes.roles import PageLine

# In a cell of its own `or` is orange.
_OR = re.compile(r"(?<![\w/])(?<!\s\s)(?<!\t)(?<!\|\s)or(?![\w/])", re.IGNORECASE)
    r"(?<![\w/])(?<!\s\s)(?<!\t)(?<!\|\s)or(?![\w/])", re.IGNORECASE
)  # in a cell of its own it is orange
_SEE = re.compile(
    r"\bsee\s+(?!above|below|pin)\w+.*\b(?:sheet|page|drawing|diagram|book|list)\b", re.IGNORECASE
)


def doubtful(text: str, tokens: Sequence[Token]) -> str:
    """The words that show a doubt; "" for none. A question mark behind a size doubts the size alone."""
    for index, token in enumerate(tokens):
        if token.sort == "quest":
            before = tokens[index - 1].sort if index else ""
            if before == "gap" and index > 1:
                before = tokens[index - 2].sort
            if before not in ("size", "size?", "decimal", "length", "amps"):
                return token.text
    if match := trade.pattern("doubt", "words").search(text):
        return match[0]
    if match := trade.pattern("doubt", "outside").search(re.sub(r"\([^()]*\)", "", text)):
        return match[0]
    if "???" in text:
        return "???"
    if match := re.search(r"\?\s*\)", text):
        return "?"
    if match := _SEE.search(text):
        return match[0]
    if match := _OR.search(text):
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


def readings_of(
    joints: Sequence[Joint], line: PageLine, names: Names, made: Callable[[Joint, int, object], NotedWire]
) -> tuple[str, ...]:
    """The ways the line can be meant, in our notation; none where it makes no wire."""
    from loomtest.harness.notes.meaning import UnsureError

    try:
        words = "; ".join(made(joint, line.number, names).words for joint in joints)
    except UnsureError:
        return ()
    return (words,) if words else ()
