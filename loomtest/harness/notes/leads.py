"""What stands in front of the rows of a block: a cavity, or the wire's own number.

`3  red  key 2 - lamp 1`: the 3 is a wire's number where the rest has both its ends, and a cavity where it has
one. A block of rows is read as what most of its rows are; see `blocks.py`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_pin, without_lead
from loomtest.harness.notes.cells import behind_the_pin
from loomtest.harness.notes.scan import Token

_CODE = re.compile(r"([A-Z]{1,2})(\d{1,4})")
_BEHIND = ("gap", "colon", "stop", "dash", "arrow", "colour", "letters", "size", "note", "word", "ditto",
           "slash", "comma", "to", "from", "quest", "plus", "back")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Lead:
    """The first words of a row: `style` is alike in all rows of a block, `value` counts on; `rest` is behind.

    `style` is `number`, `letter` or `sign`, `#`, the word before the number (`flag`), or the code's letters.
    """

    style: str
    value: str
    rest: tuple[Token, ...]

    @property
    def of_a_wire(self) -> bool:
        """Whether it is written as wires are numbered: `#3`, `flag 3`, `W3`."""
        return self.style in ("#", "W", "w") or self.style in trade.words("wires", "numbered")

    @property
    def order(self) -> int:
        """Where it stands in a count."""
        return int(self.value) if self.value.isdecimal() else ord(self.value[0])


def lead_of(tokens: Sequence[Token]) -> Lead | None:
    """The lead of a line; None for a line that begins like no row."""
    found = without_lead(tokens)
    if len(found) < 2:
        return None
    first, second = found[0], found[1]
    if first.sort == "hash" and second.sort == "number":
        return _lead("#", second.text, found[2:])
    if first.sort == "word" and second.sort == "number" and _may_count(first.text):
        return _lead(first.text.casefold(), second.text, found[2:])
    if first.sort == "number":
        return _lead("number", first.text, found[1:])
    code = _CODE.fullmatch(first.text) if first.sort == "word" else None
    if code and not trade.is_noun(code[1]):
        return _lead(code[1], code[2], found[1:])
    if first.sort == "word" and len(first.text) == 1 and is_pin(first, strict=True):
        return _lead("letter", first.text, found[1:])
    if first.sort in ("plus", "dash") and second.sort in ("gap", "colon"):
        return _lead("sign", "+" if first.sort == "plus" else "-", found[1:])
    return None


def _may_count(word: str) -> bool:
    """Whether a number behind the word can be a wire's: `flag 3`, `wire 3`; and no device's terminal."""
    low = word.casefold()
    return low in trade.words("wires", "numbered") and not trade.is_noun(word)


def _lead(style: str, value: str, rest: Sequence[Token]) -> Lead | None:
    if not rest or rest[0].sort not in _BEHIND:
        return None
    return Lead(style, value, tuple(behind_the_pin(list(rest))))
