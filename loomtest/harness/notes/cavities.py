"""Rows below a heading: which cavities a line begins with."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import ABOUT, JOINS
from loomtest.harness.notes.scan import Token


def is_pin(token: Token, strict: bool = False) -> bool:
    """Whether a token can be a cavity; `strict` leaves out words of several letters."""
    if token.sort in ("number", "hash", "pin"):
        return True
    return token.sort == "word" and _word_is_pin(token.text, strict)


@lru_cache(maxsize=65_536)
def _word_is_pin(text: str, strict: bool) -> bool:
    if not strict and text.casefold() in trade.words("terminals", "words"):
        return True
    if re.fullmatch(r"[a-z]\d{1,2}|[A-Z]\d{0,2}[+-]?|\d{1,3}[a-z]|[A-Z]{1,2}[+-]", text):
        return True
    return not strict and bool(re.fullmatch(r"[A-Z]{2,4}\d{0,2}", text))


_LEAD = (
    "pin", "pins", "cavity", "cav", "way", "position", "pos", "terminal", "term", "tag", "hole", "contact",
    "slot", "no", "nr", "num", "number",
)  # fmt: skip


def without_lead(tokens: Sequence[Token]) -> list[Token]:
    """A row that begins `pin 3 …` from its number on; `pin 3 of …` names the connector itself and stays."""
    if (
        len(tokens) > 2
        and tokens[0].text.casefold() in _LEAD
        and is_pin(tokens[1], strict=True)
        and tokens[2].text.casefold() not in ("of", "on", "in")
    ):
        return list(tokens[1:])
    return list(tokens)


def is_row(tokens: Sequence[Token], spoken: bool = False) -> bool:
    """Whether the tokens begin like a row below a heading: a cavity, then a colour, column or sign.

    `spoken` takes `ACC goes to the fuse panel` for one too.
    """
    if not tokens:
        return False
    rest = without_lead(tokens)
    if rest[0].sort in ("dash", "hash") and len(rest) > 1 and rest[1].start == rest[0].end:
        rest = rest[1:]
    first = rest[0]
    if len(rest) == 1:
        return is_pin(first, strict=True)
    after = rest[1]
    if first.sort == "colour":
        lettered = after.sort == "colon" and re.fullmatch("[A-Z]{2}", first.text)
        numbered = after.sort == "number" and len(rest) > 2 and rest[2].sort in JOINS  # `red 1 to fuse 3`
        return bool(lettered) or numbered or after.sort in ("gap", "arrow", "dash", "from", "to", "word")
    if not is_pin(first):
        return bool(re.fullmatch(r"[A-Za-z]+\d*-\d+", first.text)) and after.sort == "gap"
    if is_pin(first, strict=True):
        parted = after.sort == "slash" and first.end < after.start  # `1 / red / fuse 3`
        return parted or after.sort in (
            *ABOUT,
            "gap",
            "arrow",
            "back",
            "dash",
            "stop",
            "colon",
            "word",
            "note",
            "comma",
            "from",
            "to",
            "and",
            "ditto",
        )
    spoken = (
        spoken
        and first.text.isupper()
        and (after.sort in ("to", "from", "feeds") or after.text.casefold() in ("is", "also", "goes", "has"))
    )  # `ACC goes to the fuse panel`
    return spoken or after.sort in (*ABOUT, "gap", "arrow", "back", "dash", "stop", "colon")


def pins_of(tokens: Sequence[Token]) -> tuple[list[str], list[Token]]:
    """The cavities with which a row begins (`4`, `-7 .. -12`, `8, 9`), and the rest of it."""
    rest = without_lead(tokens)
    if rest[0].sort in ("dash", "hash") and len(rest) > 1:
        rest = rest[1:]
    first = rest[0]
    pins = [first.text]
    rest = rest[1:]
    while (
        len(first.text) == 1
        and len(rest) > 1
        and re.fullmatch(r"[A-Z]", rest[0].text)
        and first.sort == "word"
    ):
        pins.append(rest[0].text)  # `S T U V blanked`
        rest = rest[1:]
    while len(rest) >= 2:
        index = 1
        if rest[index].sort == "dash" and len(rest) > index + 1:
            index += 1
        number = rest[index]
        if (
            rest[0].sort in ("arrow", "to", "via", "dash")
            and re.fullmatch(r"\.\.+|…|to|thru|through|-|–|--", rest[0].text.strip())
            and number.text.isdecimal()
            and first.text.isdecimal()
            and int(number.text) > int(first.text)
            and (len(rest) == index + 1 or rest[index + 1].sort != "number")
        ):
            tight = rest[0].sort != "dash" or (rest[0].end == number.start and rest[0].start == first.end)
            if tight and _range_end(rest, index):
                pins = [str(n) for n in range(int(first.text), int(number.text) + 1)]
                rest = rest[index + 1 :]
            break
        if (
            rest[0].sort in ("comma", "and", "plus", "slash")
            and is_pin(number, strict=True)
            and len(rest) > 2
            and rest[2].sort != "word"
        ):
            pins.append(number.text)
            rest = rest[index + 1 :]
            continue
        break
    return pins, rest


def _range_end(rest: Sequence[Token], index: int) -> bool:
    """A range of cavities, and no wire from one to the other: `1 to 4` alone joins two where it may."""
    return rest[0].sort != "to" or (
        index + 1 < len(rest) and rest[index + 1].sort in ("colon", "gap", "word", "dash")
    )
