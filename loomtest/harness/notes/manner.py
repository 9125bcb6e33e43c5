"""What a sentence says of how and where a wire runs, and why: remarks, and part of no name.

`comes down the mast and goes to …`, `on its own`, `in the lift box`, `…, so it stays live`. Each becomes one
remark, which the wire keeps. What has a sign of joining, a colour or a size in it is never put aside.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from loomtest.harness.notes import trade
from loomtest.harness.notes.scan import Token

_JOINS = ("to", "arrow", "back", "from", "feeds", "via")
_ENDS = (*_JOINS, "comma", "semi", "stop", "gap", "note", "remark", "colon", "quest")
_SAYS = ("colour", "letters", "size", "size?", "length", "amps", "decimal", "ditto", "quest")
_ALONG = {
    "up", "down", "along", "across", "through", "round", "around", "past", "over", "under", "beneath",
    "behind", "inside", "outside", "beside", "above", "below", "underneath", "between", "beyond",
}  # fmt: skip
_AT = {"in", "inside", "at", "by", "near", "behind", "under", "beside", "above", "below", "beneath"}
_DETERMINERS = {"the", "a", "an", "its", "my", "our", "that", "this", "each", "both", "one", "some"}
_WHY = {"so", "because", "since", "it", "they", "when", "whenever", "while", "before",
        "after", "where", "which", "that's", "thats", "it's", "as"}  # fmt: skip
_OPENS_BARE = {"so", "because", "since", "when", "whenever", "while", "where"}
_IN_A_RUN = {"fuse", "breaker", "joint", "splice", "diode", "resistor"}
MOST_WORDS = 4


def without_manner(tokens: Sequence[Token]) -> list[Token]:
    """The tokens with each phrase of manner, place or reason as one remark."""
    found: list[Token] = []
    index = 0
    while index < len(tokens):
        if dropped := _dropped(tokens, index):
            index += dropped
            continue
        taken = _taken(tokens, index, found) if tokens[index].sort in ("word", "via") else 0
        if taken:
            after = tokens[index + taken].sort if index + taken < len(tokens) else ""
            if after in _JOINS and found and found[-1].text.casefold() in _motion():
                found.pop()  # `go alone each one to`
            text = " ".join(token.text for token in tokens[index : index + taken])
            found.append(Token("remark", text, text, tokens[index].start, tokens[index + taken - 1].end))
            index += taken
            continue
        found.append(tokens[index])
        index += 1
    return found


_USES = {"ground", "earth", "live", "feed", "supply", "negative", "positive", "return", "sense", "signal"}
_HAS = {"has", "have", "gets", "get", "takes", "take", "carries", "carry"}


def _dropped(tokens: Sequence[Token], index: int) -> int:
    """How many words say nothing: `has a` before a colour, `out` before `the other side of`."""
    if tokens[index].sort != "word":
        return 0
    low = _low(tokens, index)
    place = index + 1
    while _low(tokens, place) in _DETERMINERS:
        place += 1
    coloured = place < len(tokens) and tokens[place].sort in ("colour", "letters", "size")
    if low in _HAS and coloured and index:
        return place - index
    if low == "out" and index and tokens[index - 1].sort in ("and", "comma"):
        return int("other" in [_low(tokens, index + n) for n in range(1, 6)])
    if low in ("leave", "leaves") and _low(tokens, index + 1) == "it":
        return 2
    more = _low(tokens, index + 1) in ("more", "further") and index + 2 < len(tokens)
    if low in ("one", "a", "another") and more and tokens[index + 2].sort in ("colour", "letters"):
        return 2
    use = index + 1 + (_low(tokens, index + 1) in _DETERMINERS)
    if (
        low == "is"
        and _low(tokens, use) in _USES
        and use + 1 < len(tokens)
        and tokens[use + 1].sort in ("comma", "colon")
    ):
        return use + 1 - index  # `box 5 is the earth, black to frame`
    return 0


def _taken(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> int:
    """How many tokens from `index` on are a phrase of manner, place or reason."""
    return (
        _phrase(tokens, index)
        or _same_as(tokens, index)
        or _path(tokens, index, before)
        or _place(tokens, index, before)
        or _reason(tokens, index, before)
    )


def _low(tokens: Sequence[Token], index: int) -> str:
    return tokens[index].text.casefold() if 0 <= index < len(tokens) else ""


def _phrase(tokens: Sequence[Token], index: int) -> int:
    """`on its own`, `any way round`: the phrases of the data file."""
    for phrase in _phrases().get(_low(tokens, index), ()):
        if all(_low(tokens, index + place) == word for place, word in enumerate(phrase)):
            return len(phrase)
    return 0


def _same_as(tokens: Sequence[Token], index: int) -> int:
    """`same crimp as the feed`, `same colours as the other one`: up to the next comma."""
    like = [_low(tokens, index + place) for place in range(1, 4)]
    if _low(tokens, index) != "same" or "as" not in like or like[0] == "as":
        return 0
    end = next(
        (i for i in range(index, len(tokens)) if tokens[i].sort in ("comma", "stop", "semi", "gap")), 0
    )
    end = end or len(tokens)
    plain = all(token.sort in ("word", "remark") for token in tokens[index:end])
    return end - index if plain else 0


@cache
def _phrases() -> dict[str, tuple[tuple[str, ...], ...]]:
    """The phrases of manner by their first word, longest first."""
    found: dict[str, list[tuple[str, ...]]] = {}
    for phrase in trade.phrases("manner", "phrases"):
        words = tuple(phrase.split())
        found.setdefault(words[0], []).append(words)
    return {first: tuple(sorted(phrases, key=len, reverse=True)) for first, phrases in found.items()}


def _path(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> int:
    """`comes down the mast` before a sign of joining: the way that the wire goes."""
    place = index + (_low(tokens, index) in _motion())
    if _low(tokens, place) not in _ALONG or _low(tokens, place + 1) not in _DETERMINERS:
        return 0
    if place == index and before and before[-1].sort in ("word", "number"):
        return 0
    end = _end(tokens, place + 2)
    joined = end < len(tokens) and tokens[end].sort in ("to", "arrow")
    return end - index if joined and 0 < end - place - 2 < MOST_WORDS else 0


@cache
def _motion() -> frozenset[str]:
    return trade.inflected(trade.words("joins", "verbs")) | trade.words("joins", "irregular")


def _place(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> int:
    """`relay 30 in the lift box`: where a thing is, behind its name or a comma."""
    low = _low(tokens, index)
    if before and before[-1].sort == "comma" and low in _AT | _ALONG:
        end = _end(tokens, index + 1, MOST_WORDS + 3)
        joined = end < len(tokens) and tokens[end].sort in (*_JOINS, "and")
        plain = all(token.sort == "word" for token in tokens[index:end])
        return end - index if end > index + 1 and plain and not joined else 0
    named = bool(before) and (before[-1].sort == "number" or trade.is_noun(before[-1].text))
    if not named or low not in _AT or _low(tokens, index + 1) not in _DETERMINERS:
        return 0
    passed = any(token.sort == "via" for token in before[-5:])
    if trade.long_form(before[-1].text) in _IN_A_RUN and not passed:
        return 0  # `a fuse in the line` is of the wire
    end = _end(tokens, index + 2)
    behind = tokens[index + 2 : end]
    if not 0 < len(behind) < MOST_WORDS or any(token.sort != "word" for token in behind):
        return 0
    return end - index


def _reason(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> int:
    """`…, it lights when the platform is open`, `so there is no wire`: to the end of the sentence."""
    low = _low(tokens, index)
    apart = bool(before) and before[-1].sort in ("comma", "remark", "note")
    if not before or low not in _WHY or (not apart and low not in _OPENS_BARE):
        return 0
    end = next(
        (i for i in range(index, len(tokens)) if tokens[i].sort in ("stop", "semi", "gap")), len(tokens)
    )
    said = tokens[index + 1 : end]
    if len(said) < 2 or _low(tokens, index + 1) in ("does", "do", "that"):
        return 0
    if any(token.sort in (*_JOINS, *_SAYS, "dash", "plus", "number", "colon") for token in said):
        return 0
    return end - index


def _end(tokens: Sequence[Token], begin: int, most: int = MOST_WORDS) -> int:
    """Where the words from `begin` on end."""
    place = begin
    while place < len(tokens) and tokens[place].sort in ("word", "number") and place - begin < most:
        place += 1
    return place if place == len(tokens) or tokens[place].sort in (*_ENDS, "and") else begin
