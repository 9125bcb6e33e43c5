"""What a page's devices are called, and what it costs to take words for one, or to leave them over."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from loomtest.harness.notes import trade
from loomtest.harness.notes.members import which
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.roles import Page, PageLine
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.weighed.signs import signs_of

FEWEST_LABELS = 4


@dataclass
class Lexicon:
    """The names of a page, and in how many lines words stand by themselves between two signs."""

    names: Names
    support: Counter[str] = field(default_factory=Counter)
    labels: set[str] = field(default_factory=set)  # words that number the lines: `flag 1`, `flag 2`
    cuts: dict[tuple[object, ...], Any] = field(default_factory=dict)  # of the same words before

    def known(self, key: str) -> bool:
        """Whether a name stands in more than one line, or heads a block."""
        return self.names.stands(key) > 1 or key in self.names.headed or self.support[key] > 1


def said(key: str) -> frozenset[str]:
    """The words of an entry of the second reading's table."""
    return trade.words("weighed", key)


def lexicon_of(page: Page) -> Lexicon:
    """The words of the page that stand by themselves, without a terminal behind them."""
    found = Lexicon(page.names)
    for line in page.lines:
        seen = set()
        for sort, run in signs_of(line.tokens, page.names):
            mention = mention_of(run) if sort == "run" else None
            if mention is not None and mention.words and len(mention.words) < 5:
                seen.add(page.names.alias(mention.key))
        found.support.update(seen)
    found.labels = _labels(page.lines)
    return found


def _labels(lines: Sequence[PageLine]) -> set[str]:
    """Words that stand with a running number at the beginning of lines, and nowhere else."""
    heads: dict[str, set[int]] = {}
    inside: set[str] = set()
    for line in lines:
        inside |= {token.text.casefold() for token in line.tokens[1:] if token.sort == "word"}
        words = [token for token in line.tokens if token.sort not in ("gap", "dash", "stop")]
        numbered = len(words) > 2 and words[0].sort == "word" and words[1].text.isdecimal()
        if numbered and not trade.is_noun(words[0].text):
            heads.setdefault(words[0].text.casefold(), set()).add(int(words[1].text))
    return {
        word
        for word, numbers in heads.items()
        if len(numbers) >= FEWEST_LABELS
        and max(numbers) - min(numbers) <= len(numbers) + 1
        and word not in inside
    }


def weigh_point(mention: Mention, lexicon: Lexicon) -> float:
    """What it costs to take words for a point: little for a device that the page has elsewhere."""
    names = lexicon.names
    key, words = names.alias(mention.key), mention.words
    if all(word.casefold() in said("said") or trade.is_filler(word) for word in words):
        return 3.0
    cost = _weigh_name(mention, key, lexicon)
    if names.terminals.get(key) and not mention.terminal and mention.sort not in ("ground", "joint"):
        cost += 0.3
    cost += 0.25 * max(0, len(words) - 3)
    cost += 1.5 * sum(trade.is_odd(word) or trade.is_prose(word) for word in words)
    cost += 0.7 * sum(word.isdigit() for word in (words[:1] if len(words) < 3 else words[:-1]))
    if len(words) > 1:
        return cost + (0.2 if words[-1].casefold() in said("telling") else 0.0)
    alone = words[0].casefold()
    cost += 1.0 if alone in said("leads") or alone in lexicon.labels else 0.0
    return cost + (0.6 if alone in said("terminals") and mention.sort != "ground" else 0.0)


def _weigh_name(mention: Mention, key: str, lexicon: Lexicon) -> float:
    if lexicon.known(key):
        return 0.2
    if len(which(mention, lexicon.names)[0]) > 1:
        return 0.3
    if mention.sort:
        return 0.4
    alone = len(mention.words) == 1 and mention.words[0].isupper()
    return 0.7 if alone else 0.8 + 0.3 * len(mention.words)


def weigh_left(token: Token) -> float:
    """What it costs to leave a word over: most for a number or a word that tells two terminals apart."""
    if token.sort == "number" or re.fullmatch(r"[A-Z]|\d+[a-z]|[A-Z]+\d+", token.text):
        return 1.8
    if trade.is_filler(token.text):
        return 0.1
    if token.text.casefold() in said("telling"):
        return 1.2
    if says_nothing(token.text):
        return 0.3
    return 1.5 if trade.is_noun(token.text) else 0.8


def says_nothing(word: str) -> bool:
    """Whether a word belongs to a sentence and to no name."""
    return trade.is_filler(word) or trade.is_odd(word) or trade.is_prose(word)
