"""Changes that keep a text's own grain: lines, cells, tags, tokens and the parts between `%%%`.

A change of bytes seldom gets past the first check of a table, a TOML file or XML. These take whole pieces
away, double them, exchange them, or put a word or a piece of another good input in their place.
"""

from __future__ import annotations

import random
import re
from collections.abc import Sequence

GRAINS = tuple(
    re.compile(pattern)
    for pattern in (
        rb"(\n)",
        rb"([,;\t\n])",
        rb"(<[^<>]*>)",
        rb"""([\s,;=:/.()\[\]{}<>"']+)""",
        rb"(%%%)",
    )
)
_MANY = (1, 1, 1, 2, 3, 40, 400)


def changed(
    data: bytes, seeds: Sequence[bytes], words: Sequence[bytes], longest: int, chance: random.Random
) -> bytes:
    """The input after one to four changes, each in a grain of its own."""
    for _ in range(chance.randrange(1, 5)):
        data = _once(data, seeds, words, chance)
    return data[:longest]


def _once(data: bytes, seeds: Sequence[bytes], words: Sequence[bytes], chance: random.Random) -> bytes:
    grain = chance.choice(GRAINS)
    pieces = grain.split(data)
    at = chance.randrange(len(pieces))
    till = min(len(pieces), at + chance.choice((1, 1, 2, 2, 4, 8)))
    kind = chance.randrange(5)
    if kind == 0:
        del pieces[at:till]
    elif kind == 1:
        pieces[at:at] = pieces[at:till] * chance.choice(_MANY)
    elif kind == 2:
        other = chance.randrange(len(pieces))
        pieces[at], pieces[other] = pieces[other], pieces[at]
    elif kind == 3 and words:
        pieces[at] = chance.choice(words) * chance.choice(_MANY)
    else:
        theirs = grain.split(chance.choice(seeds))
        begin = chance.randrange(len(theirs))
        pieces[at:till] = theirs[begin : begin + chance.choice((1, 2, 4))]
    return b"".join(pieces)
