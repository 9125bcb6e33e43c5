"""Colours in two letters on a page without a key: what they mean, as far as the page itself shows it.

`wh/bl`, `rt`, `br/ws`: the letters of IEC 60757 need no help. Others do. `bl` is black to one person and
blue to another, so the page must show which: by a second word for the other colour, or by its company.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import chain

from loomtest.harness.colours import IEC_60757

# German letters (common practice there, before and beside those of IEC 60757).
_GERMAN = {
    "sw": "black", "br": "brown", "rt": "red", "or": "orange", "ge": "yellow", "gn": "green",
    "bl": "blue", "vi": "violet", "gr": "grey", "ws": "white", "rs": "pink",
}  # fmt: skip
_ONLY_GERMAN = {"sw", "rt", "ge", "ws", "rs"}
# English letters with one meaning (common practice); `bl` and `gr` have two.
_ENGLISH = {
    "br": "brown", "or": "orange", "sl": "grey", "vi": "violet", "pu": "violet", "wt": "white",
    "yl": "yellow", "yw": "yellow", "tn": "tan",
}  # fmt: skip
_EITHER = {"bl": (("black", "bk", "blk"), ("blue", "bu", "blu")),
           "gr": (("green", "gn", "grn"), ("grey", "gy", "gry"))}  # fmt: skip
_SHORT = re.compile(r"(?<![\w/.'-])([A-Za-z]{2})(?:([/-])([A-Za-z]{2}))?(?![\w/'-])")
FEWEST = 2  # pairs of a page that make its short words colours


def short_colours(text: str) -> dict[str, str]:
    """What the two-letter words of a page's colours mean; nothing where too few of them stand in pairs.

    The keys are as written, in small and in capital letters; IEC 60757's own letters are left out.
    """
    standard = {code.casefold() for code in IEC_60757}
    known = standard | set(_GERMAN) | set(_ENGLISH) | set(_EITHER)
    pairs = {
        (one.casefold(), two.casefold())
        for one, _, two in _SHORT.findall(text)
        if one.casefold() in known and two.casefold() in known
    }
    seen = set(chain(*pairs))
    if len(pairs) < FEWEST:
        return {}
    german = len(seen & _ONLY_GERMAN) > 1
    meant = _GERMAN if german else {**_ENGLISH, **_settled(text, seen)}
    return {form: colour for short, colour in meant.items() for form in (short, short.upper())}


def _settled(text: str, seen: Sequence[str] | set[str]) -> dict[str, str]:
    """`bl` and `gr`, where the page has another word for the one of the two colours that it is not."""
    words = {word.casefold() for word in re.findall(r"[A-Za-z]+", text)}
    found = {}
    for short, (first, second) in _EITHER.items():
        one, two = bool(words & set(first)), bool(words & set(second))
        if short in seen and one != two:
            found[short] = second[0] if one else first[0]
    return found
