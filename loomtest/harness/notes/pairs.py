"""Two devices with one noun between them: `LH & RH stop lamps`, `stop lamps L/H & R/H`, `headlight L & R`."""

from __future__ import annotations

from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import Mention

_CORNERS = ("LF", "RF", "LR", "RR")


def with_one_noun(first: Mention, second: Mention) -> tuple[Mention, Mention] | None:
    """Both mentions with the noun that stands once; None where each has its own."""
    for way in (_noun_before, _noun_behind_letters, _noun_behind):
        if (both := way(first, second)) is not None:
            return both
    return None


def _noun_before(first: Mention, second: Mention) -> tuple[Mention, Mention] | None:
    """`stop lamps L/H & R/H`"""
    noun, side = first.words[:-1], first.words[-1:]
    bare = not first.terminal and not second.terminal
    if (
        not noun
        or not bare
        or len(second.words) != 1
        or not _is_side(side[0])
        or not _is_side(second.words[0])
    ):
        return None
    noun = (*noun[:-1], singular(noun[-1]))
    return replace(first, words=(*noun, *side), many=""), replace(second, words=(*noun, *second.words))


def _noun_behind_letters(first: Mention, second: Mention) -> tuple[Mention, Mention] | None:
    """`headlight L & R ground`: the ground is the terminal of both."""
    if first.words[-1:] != ("L",) or second.words[:1] != ("R",):
        return None
    rest = second.words[1:]
    if rest and not trade.is_ground(" ".join(rest)):
        return None
    terminal = "E" if rest else second.terminal
    whole = (*first.words[:-1], "R")
    return replace(first, terminal=terminal), replace(second, words=whole, terminal=terminal)


def _noun_behind(first: Mention, second: Mention) -> tuple[Mention, Mention] | None:
    """`LH & RH stop lamps`"""
    words = first.words or ((first.terminal,) if first.terminal in ("L", "R") else ())
    own_terminal = bool(first.words) and bool(first.terminal)
    if not words or own_terminal or not all(map(_is_side, words)):
        return None
    if not second.words or not _is_side(second.words[0]) or len(second.words) <= len(words):
        return None
    noun = second.words[1:]
    noun = (*noun[:-1], singular(noun[-1]))
    whole = replace(first, words=(*words, *noun), terminal=second.terminal)
    return whole, replace(second, words=(second.words[0], *noun))


def _is_side(word: str) -> bool:
    long = trade.long_form(word)
    return long in ("lh", "rh", "ns", "os", "front", "rear", "port", "starboard") or word in _CORNERS


def singular(word: str) -> str:
    """`lamp` for `lamps`."""
    plain = word.removesuffix("s")
    if word.casefold() == "lights":
        return word[:-1]
    return plain if trade.is_noun(plain) else word
