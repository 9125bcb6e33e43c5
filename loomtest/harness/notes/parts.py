"""Parts that were left in while measuring: a fuse in its clips, a relay's coil, a diode across it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes.meaning import Joint
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.scan import Token

_LEFT_IN = re.compile(r"\bleft\s+(?:in|plugged)\b|\bstill (?:in|plugged in)\b", re.IGNORECASE)
_FUSE = re.compile(r"\bfuse\s+([A-Za-z]?\d{1,2})\s*/\s*([A-Za-z]?\d{1,2})\b", re.IGNORECASE)
_COIL = re.compile(r"\bcoil\b[^\d]{0,12}(\d{2})\D{1,5}(\d{2})\b", re.IGNORECASE)
_BAND = re.compile(r"\b(?:stripe|band|cathode|bar)\b\D{0,12}(8[56])\b", re.IGNORECASE)
_RELAY = re.compile(r"\b((?:[a-z]+\s+)?relay|[KR]\d{1,2})\b", re.IGNORECASE)


def part_left_in(text: str, tokens: Sequence[Token], names: Names) -> Joint | None:
    """The part that the line says was left in, between two named terminals; None for any other line."""
    if not _LEFT_IN.search(text):
        return None
    if match := _FUSE.search(text):
        note = ", ".join(["left in", *(token.value for token in tokens if token.sort == "amps")])
        return Joint(Mention(("fuse", match[1])), Mention(("fuse", match[2])), {"kind": "fuse"}, (note,))
    relay = _which_relay(text, names)
    if relay is None:
        return None
    if "diode" in text.casefold() and (band := _BAND.search(text)):
        other = "85" if band[1] == "86" else "86"
        return Joint(Mention(relay, other), Mention(relay, band[1]), {"kind": "diode"}, ("left in",))
    if "diode" not in text.casefold() and (coil := _COIL.search(text)):
        return Joint(Mention(relay, coil[1]), Mention(relay, coil[2]), {"kind": "coil"}, ("left in",))
    return None


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
