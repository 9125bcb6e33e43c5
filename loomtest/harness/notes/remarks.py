"""Whether words that a reading leaves over are a remark: how, where and with what a wire is laid.

`new`, `thick as your finger`, `two wires in the hole`, `put a 5 amp fuse in it`: such words are of closed
kinds. A word that could name a point (a device, a code, a terminal) makes them none of these.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import CODE, WHERE
from loomtest.harness.notes.names import Names

_WORD = re.compile(r"[\w+/.'’-]+")
_FUSES = {"fuse", "fused", "fuses", "breaker", "fusible", "amp", "amps", "blade", "inline", "in-line"}
_LINKING = {"as", "like", "than"}
_THE = {"the", "a", "an", "my", "your", "his", "her", "our", "its", "that", "this", "one"}
_COUNTED = {
    "wire",
    "wires",
    "turn",
    "turns",
    "strand",
    "strands",
    "lead",
    "leads",
    "core",
    "cores",
    "run",
    "runs",
}
_COUNTED |= {
    "loop",
    "loops",
    "wrap",
    "wraps",
    "layer",
    "layers",
    "piece",
    "pieces",
    "length",
    "lengths",
    "strap",
}


def is_remark(text: str, names: Names, fused: bool = False) -> bool:
    """Whether words behind a statement that is whole without them name no point.

    `fused`: the wire has a fuse, so that what is said of a fuse is said of that one.
    """
    words = _WORD.findall(text)
    low = [word.casefold().strip(".") for word in words]
    if not low or all(word in names.labels for word in words):
        return True
    if low[-1] in ("a", "an"):
        return False  # `joined with a (red) crimp`: what follows belongs to it
    if fused and _FUSES & set(low):
        return _is_of_the_fuse([word for word in low if word not in _FUSES and not word.isdigit()])
    if any(CODE.fullmatch(word) and word[0].isupper() for word in words) or any(map(str.isdigit, low)):
        return False
    if all(map(_says_how, low)):
        return True
    place = next((i for i, word in enumerate(low) if word in _LINKING), 0)
    if place and all(map(_says_how, low[:place])):
        return True  # `thick as your finger`
    if low[0] in trade.ordered("english", "numbers") and len(low) > 1 and low[1] in _COUNTED:
        return len(low) == 2 or _is_where(low[2:], names)  # `three turns on a ferrite ring`
    return _is_where(low, names)


def _is_of_the_fuse(low: Sequence[str]) -> bool:
    """`put a 5 amp fuse in it near trip`, `20 amp fuse at that end`: that it is there, and where."""
    for word in low:
        if word in WHERE:
            return True
        if not _says_how(word) and word not in ("in", "it"):
            return False
    return True


def _is_where(low: Sequence[str], names: Names) -> bool:
    """`in the hole`, `near trip`, `by the gearbox`: where a wire or a point is."""
    rest = [*low]
    while rest and _says_how(rest[0]) and rest[0] not in (*WHERE, "in", "on", "at", *_THE):
        rest = rest[1:]
    if not rest:
        return True
    known = any(names.terminals.get(names.alias(trade.long_form(word))) for word in rest[1:])
    if rest[0] in ("in", "on", "at", "into", "along", "round", "around", "over") and rest[1:2]:
        return rest[1] in _THE and not known
    return rest[0] in WHERE and len(rest) > 1 and not known


def _says_nothing(word: str) -> bool:
    return trade.is_filler(word) or trade.is_prose(word) or trade.is_odd(word)


def _says_how(word: str) -> bool:
    """Whether a word tells how a wire is made or laid, or nothing."""
    return _says_nothing(word) or word in trade.words("remarks", "words")
