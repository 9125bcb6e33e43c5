"""Two connectors joined by a list of their cavities: `plug C to plug D: 1-3, 2-2, 3-1`, `A1-B1, A2-B3`.

How many there are must be said; what is not said is not guessed. A range that goes straight: straight.py.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes.meaning import Ask, Joint, UnsureError
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.scan import Token

_PAIR = re.compile(r"(?<![\w-])([A-Z]?\d{1,2}|[A-Z])\s*(?:->|→|>|-|–|to|=)\s*([A-Z]?\d{1,2}|[A-Z])(?![\w-])")
_CODED = re.compile(r"(?<![\w-])([A-Z]{1,2})(\d{1,2})\s*(?:->|→|>|-|–|to|=)\s*([A-Z]{1,2})(\d{1,2})(?![\w-])")
_AND_SO_ON = re.compile(r"(?i)\b(?:so on|etc|up to|on to|all)\b")
_STRAIGHT = re.compile(r"(?i)\bstraight (?:through|thru|across|over)\b|\b(pin|tag|way|core|hole) for \1\b")
_CHANGED = re.compile(r"(?i)\b(?:old|new|was|now|not|except|but)\b|\?")


def crossed(text: str, tokens: Sequence[Token], names: Names) -> list[Joint]:
    """The wires of such a line; [] for any other. Raises UnsureError where the list is not plain."""
    if _CHANGED.search(text):
        return []
    colours = {token.value for token in tokens if token.sort == "colour"}
    said = {"colour": colours.pop()} if len(colours) == 1 else {}
    if pairs := _coded(text, names):
        return [Joint(a, b, said) for a, b in pairs]
    both = _connectors(tokens, names)
    if both is None or _AND_SO_ON.search(text):
        return []
    first, second, end = both
    behind = re.sub(r"\([^()]*\)", " ", text[end:])
    cavities = _PAIR.findall(behind)
    if _STRAIGHT.search(behind) and not re.search(r"\d", behind):
        raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(first.words))  # how many there are is not said
    across = len(cavities) > 1 and any(a != b for a, b in cavities[1:])
    if not across:
        return []
    left = re.sub(r"(?i)[\s,;:.&]+|\band\b|\b(?:pins?|ways?)\b", "", _PAIR.sub("", behind))
    if left or len({a for a, _ in cavities}) < len(cavities):
        raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(first.words))
    return [Joint(Mention(first.words, a), Mention(second.words, b), said) for a, b in cavities]


def _coded(text: str, names: Names) -> list[tuple[Mention, Mention]]:
    """`A1-B1, A2-B3`: the letters are connectors that have a heading of their own."""
    found = _CODED.findall(text)
    headed = {
        names.spelled.get(key, (key,))[-1].upper(): names.spelled.get(key, (key,)) for key in names.headed
    }
    if len(found) < 2 or not all(a in headed and b in headed for a, _, b, _ in found):
        return []
    if re.sub(r"[\s,;.&]+|\band\b", "", _CODED.sub("", text.rpartition(":")[2])):
        return []
    return [(Mention(headed[a], m), Mention(headed[b], n)) for a, m, b, n in found]


def _connectors(tokens: Sequence[Token], names: Names) -> tuple[Mention, Mention, int] | None:
    """The two connectors that a line joins, and where the second one's name ends."""
    for place, token in enumerate(tokens):
        if token.sort not in ("to", "arrow") or not place:
            continue
        begin, end = place, place + 1
        while begin and tokens[begin - 1].sort == "word" and place - begin < 4:
            begin -= 1
        while end < len(tokens) and tokens[end].sort == "word" and end - place < 5:
            end += 1
        ends = [_whole(mention_of(run), names) for run in (tokens[begin:place], tokens[place + 1 : end])]
        sure = [m for m in ends if m is not None and m.words and not m.terminal and names.knows(m)]
        if len(sure) == 2 and sure[0].key != sure[1].key:
            return sure[0], sure[1], tokens[end - 1].end
    return None


def _whole(mention: Mention | None, names: Names) -> Mention | None:
    """`block A` as the name that the page has in a heading, and not as a block's terminal."""
    if mention is None or not mention.terminal:
        return mention
    whole = Mention((*mention.words, mention.terminal))
    return whole if names.alias(whole.key) in names.headed else mention
