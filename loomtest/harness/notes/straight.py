"""A cable from connector to connector, cavity for cavity: `block A to block B, 1 to 8, tag for tag`."""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import ABOUT
from loomtest.harness.notes.meaning import Joint
from loomtest.harness.notes.mentions import CODE, Mention
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.scan import Token

_KINDS = "pins?|ways?|tags?|cavity|cavities|cores?|terminals?|numbers?|holes?|posts?|like|same|one|wires?"
_ALIKE = re.compile(
    rf"(?i)\b(?P<kind>{_KINDS})\s+(?:for|to)\s+(?P=kind)\b|\bstraight (?:through|across|over)\b"
    r"|\bsame (?:numbers?|order|cavit\w+|pins?)\b|\b(?P<n>\d{1,2})\s*(?:to|-|for|>)\s*(?P=n)\b|\bin order\b"
    r"|\bnumber(?:s)? as numbered\b"
)
_RANGE = re.compile(r"(?i)\b(\d{1,2})\s*(?:-|–|to|thru|through|\.{2,})\s*(\d{1,2})\b")
_UP_TO = re.compile(r"(?i)\b(?:up to|so on to|on to|all)\s+(\d{1,2})\b")
MOST_CAVITIES = 60


def straight_through(text: str, tokens: Sequence[Token], names: Names) -> list[Joint]:
    """The wires of such a cable; [] for any other line."""
    spans = {(int(a), int(b)) for a, b in _RANGE.findall(text) if int(a) < int(b)}
    if not spans and _ALIKE.search(text):
        spans = {(1, int(last)) for last in _UP_TO.findall(text) if int(last) > 1}
    twice = len([1 for a, b in _RANGE.findall(text) if int(a) < int(b)]) > 1  # `X1 1-8 to X2 1-8`
    if len(spans) != 1 or not (_ALIKE.search(text) or twice):
        return []
    first, last = spans.pop()
    ends = _connectors(tokens, names)
    if len(ends) != 2 or last - first >= MOST_CAVITIES:
        return []
    said = {}
    for sort in ABOUT:
        own = {token.value for token in tokens if token.sort == sort}
        if len(own) > 1:
            return []
        if own and sort in ("colour", "size", "length"):
            said[sort] = own.pop()
    return [
        Joint(Mention(ends[0], str(pin)), Mention(ends[1], str(pin)), said, ("cavity for cavity",))
        for pin in range(first, last + 1)
    ]


def _connectors(tokens: Sequence[Token], names: Names) -> list[tuple[str, ...]]:
    """The connectors that the words name: those of the page's headings, and codes."""
    forms = [trade.long_form(token.text) if token.sort == "word" else token.text for token in tokens]
    keys = sorted(names.headed, key=lambda key: -len(key.split()))
    found: list[tuple[str, ...]] = []
    place = 0
    while place < len(forms):
        key = next((key for key in keys if forms[place : place + len(key.split())] == key.split()), "")
        code = bool(CODE.fullmatch(tokens[place].text)) and tokens[place].text[0].isupper()
        key = key or (names.alias(forms[place]) if code else "")
        words = names.spelled.get(key, (tokens[place].text,)) if key else ()
        if words and words not in found:
            found.append(words)
        place += len(key.split()) or 1
    return found
