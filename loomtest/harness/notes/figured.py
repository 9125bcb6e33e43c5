"""Figures with a unit that are part of a name: `12V outlet`, `0v bar`, `2 meter rig`.

A length or a voltage is said of a wire, or it tells a device from others. The page shows which: the same
length stands before the same word again and again, and a voltage before a noun that has no other name.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token

_VOLTS = re.compile(r"[+-]?\d{1,2}(?:\.\d)? ?[Vv](?:olts?)?")
MOST_WORDS = 2  # between a voltage and the noun that it is of


def with_figures(lines: Sequence[PageLine]) -> None:
    """Make such figures words of their names."""
    written = [(line, place) for line in lines for place in _before_a_word(line.tokens)]
    lengths = Counter(_pair(line.tokens, place) for line, place in written)
    bare = Counter(noun for line in lines for noun in _nouns(line.tokens))
    for line, place in reversed(written):  # from the end of each line, so that places stay
        token = line.tokens[place]
        if token.sort == "length" and lengths[_pair(line.tokens, place)] > 1:
            number, unit = re.split(r"\s+", token.text, maxsplit=1)
            middle = token.start + len(number)
            own = [
                Token("word", number, number, token.start, middle),
                Token("word", unit, unit, middle + 1, token.end),
            ]
            line.tokens = [*line.tokens[:place], *own, *line.tokens[place + 1 :]]
        elif token.sort == "measure" and (noun := _noun_behind(line.tokens, place)) and not bare[noun]:
            name = replace(token, sort="word", text=token.text.replace(" ", ""))
            line.tokens = [*line.tokens[:place], name, *line.tokens[place + 1 :]]


def _before_a_word(tokens: Sequence[Token]) -> list[int]:
    """Where a length of two words or a voltage stands right before a word that can be a name's."""
    found = []
    for place, token in enumerate(tokens[:-1]):
        length = token.sort == "length" and re.fullmatch(r"\d{1,3}\s+[a-z]+", token.text)
        volts = token.sort == "measure" and _VOLTS.fullmatch(token.text)
        after = tokens[place + 1]
        named = after.sort == "word" and not trade.is_odd(after.text) and not trade.is_filler(after.text)
        if (length or volts) and named and not trade.is_prose(after.text):
            found.append(place)
    return found


def _pair(tokens: Sequence[Token], place: int) -> tuple[str, str]:
    return tokens[place].value, trade.long_form(tokens[place + 1].text)


def _noun_behind(tokens: Sequence[Token], place: int) -> str:
    """The noun that a voltage stands before; "" for none."""
    for token in tokens[place + 1 : place + 2 + MOST_WORDS]:
        if token.sort != "word":
            return ""
        if trade.is_noun(token.text):
            return trade.long_form(token.text)
    return ""


def _nouns(tokens: Sequence[Token]) -> list[str]:
    """The nouns of a line that stand without a voltage and with a terminal or sign of joining behind them."""
    found = []
    for place, token in enumerate(tokens):
        begins = place == 0 or tokens[place - 1].sort not in ("word", "measure", "number")
        if token.sort == "word" and begins and trade.is_noun(token.text):
            found.append(trade.long_form(token.text))
    return found
