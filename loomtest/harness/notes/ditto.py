"""Ditto marks: each stands for what the line above has in the same place.

The place is counted in words where both lines have as many, and the words that are written agree in sort
with those above; else it is the column, as on a page written by hand. Where neither settles it, the line is
not read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes.words import Token


def written_out(words: Sequence[Token], above: Sequence[Token]) -> list[Token] | str:
    """The words with every ditto mark replaced by what it stands for; or why that cannot be told."""
    if not above:
        return "found a ditto mark; expected a line above it that could be read, or the words themselves"
    model = [word for word in above if word.sort not in ("gap", "note")]
    written = [word for word in words if word.sort != "gap"]
    line = _with_cavities(written)
    counted = _counted(written, line, model)
    if len(counted) == 1:
        return counted[0]
    spelled, used = [], list[Token]()
    for word in line:
        if word.sort != "ditto" and not _halved(word):
            spelled.append(word)
            continue
        under = [
            other
            for other in model
            if other.start < word.end and word.start < other.end and _agree(word, other)
        ]
        if len(under) != 1:
            return "found a ditto mark that stands below no single word of the line above; expected the words"
        if word.sort == "ditto" and under[0] in used:
            continue  # a mark under each word of `light green` is still one colour
        used.append(under[0])
        spelled.append(_stands_for(word, under[0]))
    return spelled


def _counted(written: list[Token], joined: list[Token], model: list[Token]) -> list[list[Token]]:
    """What the line may mean by its count of words: `" 2` as one word or two, the circuit left out or not."""
    found: list[list[Token]] = []
    for line in (written, joined):
        for passed in (("note",), ("note", "circuit")):
            places = [word for word in line if word.sort not in passed]
            under = [word for word in model if word.sort not in passed]
            if len(places) == len(under) and all(map(_agree, places, under)):
                each = iter(under)
                spelled = [word if word.sort in passed else _stands_for(word, next(each)) for word in line]
                if spelled not in found:
                    found.append(spelled)
    return found


def _with_cavities(words: Sequence[Token]) -> list[Token]:
    """A mark and the cavity behind it are one point: `" 2`, the connector of the line above."""
    joined: list[Token] = []
    for word in words:
        if word.sort == "cavity" and joined and joined[-1].sort == "ditto":
            mark = joined.pop()
            joined.append(Token("point", f":{word.value}", mark.start, mark.end))
        else:
            joined.append(word)
    return joined


def _halved(word: Token) -> bool:
    return word.sort == "point" and word.value.startswith(":")


def _agree(word: Token, other: Token) -> bool:
    if word.sort == "ditto":
        return True
    if _halved(word):
        return other.sort == "point"
    ends = ("point", "name", "cavity")
    return word.sort == other.sort or (word.sort in ends and other.sort in ends)


def _stands_for(word: Token, other: Token) -> Token:
    if word.sort == "ditto":
        return replace(other, start=word.start, end=max(word.end, word.start + other.end - other.start))
    if _halved(word):
        connector = other.value.partition(":")[0]
        return Token(
            "point", connector + word.value, word.start, max(word.end, word.start + other.end - other.start)
        )
    return word
