"""Parts that were left in while measuring: a fuse in its clips, a relay's coil, a diode across it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes.items import items_of
from loomtest.harness.notes.meaning import Joint
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.roles import Page
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.tokens import tokens_of

_LEFT_IN = re.compile(
    r"\b(?:left|stays?|stayed|still|kept)\s+(?:it\s+|them\s+|both\s+)?(?:in|plugged(?: in)?)\b",
    re.IGNORECASE,
)
_FUSE = re.compile(r"\bfuse\s+([A-Za-z]?\d{1,2})\s*/\s*([A-Za-z]?\d{1,2})\b", re.IGNORECASE)
_FUSE_NAME = re.compile(r"\b(F[HS]?\d{1,2}|(?:[a-z]+\s+)?fuse(?:\s+\d{1,2})?)\b", re.IGNORECASE)
_SIDES = "in|out|line|load|feed|supply|battery|top|bottom|left|right"
_COIL = re.compile(r"\bcoil\b[^\d]{0,12}(\d{2})\D{1,5}(\d{2})\b", re.IGNORECASE)
_ACROSS = re.compile(r"\bdiode\b.*\b(?:across|over|on|between|round)\b.*\bcoil\b", re.IGNORECASE)
_BAND = re.compile(r"\b(?:stripe|striped|band|banded|cathode|bar|ring)\b\D{0,12}(8[56])\b", re.IGNORECASE)
_RELAY = re.compile(r"\b((?:[a-z]+\s+)?relay|[KR]\d{1,2})\b", re.IGNORECASE)


def parts_left_in(text: str, tokens: Sequence[Token], page: Page) -> list[Joint]:
    """The parts that the line says are there, each between two terminals that are named; [] for none."""
    coil_diode = _ACROSS.search(text)
    if not _LEFT_IN.search(text) and not coil_diode:
        return []
    amps = [token.value for token in tokens if token.sort == "amps"]
    if match := _FUSE.search(text):
        ends = Mention(("fuse", match[1])), Mention(("fuse", match[2]))
        return [Joint(*ends, {"kind": "fuse"}, (", ".join(["left in", *amps]),))]
    if not coil_diode and (fuses := _fuses_of_two_ends(text, page)):
        return [Joint(*ends, {"kind": "fuse"}, ("left in",)) for ends in fuses]
    relay = _which_relay(text, page.names)
    if relay is None:
        return []
    if "diode" in text.casefold() and (band := _BAND.search(text)):
        other = "85" if band[1] == "86" else "86"
        note = "across the coil" if coil_diode else "left in"
        return [Joint(Mention(relay, other), Mention(relay, band[1]), {"kind": "diode"}, (note,))]
    if "diode" not in text.casefold() and (coil := _COIL.search(text)):
        return [Joint(Mention(relay, coil[1]), Mention(relay, coil[2]), {"kind": "coil"}, ("left in",))]
    return []


def _fuses_of_two_ends(text: str, page: Page) -> list[tuple[Mention, Mention]]:
    """`F1 10 A, F2 15 A. Both left in`: the two ends that each fuse has elsewhere; [] if one has not two."""
    found = []
    for name in dict.fromkeys(_FUSE_NAME.findall(text)):
        ends = {mention.terminal or mention.words: mention for mention in _ends_of(name, page)}
        if len(ends) == 2:
            first, second = ends.values()
            found.append((first, second))
        elif ends or page.names.knows(Mention(tuple(name.split()))):
            return []
    return found


def _ends_of(name: str, page: Page) -> list[Mention]:
    """`F1 line side` and `F1 load side`, `fuse 2 in`: the ends of a fuse that the page speaks of."""
    ended = re.compile(
        rf"(?<!\w){re.escape(name)}\s+((?:(?:terminal|pin|tag)\s+)?(?:\d|{_SIDES})(?:\s+side)?)\b", re.I
    )
    said = dict.fromkeys(
        " ".join(match.casefold().split()) for line in page.lines for match in ended.findall(line.text)
    )
    items = [items_of(tokens_of(f"{name} {side}"), page.names, {}) for side in said]
    return [found[0].mention for found in items if found and found[0].mention is not None]


def _which_relay(text: str, names: Names) -> tuple[str, ...] | None:
    match = _RELAY.search(text)
    if match is None:
        return None
    words = tuple(match[1].split())
    for tried in (words, words[-1:]):
        key = names.alias(Mention(tried).key)
        if key in names.spelled:
            return names.spelled[key]
    return words[-1:]
