"""A dash or a plus among the words of a line: a terminal, a sign of joining, or `and`."""

from __future__ import annotations

import re

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import lettered, mention_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.scan import Token

JOINS = ("to", "arrow", "back", "from", "feeds")
ABOUT = ("colour", "size", "size?", "length", "amps", "letters")
SIDE_WORDS = (
    "all",
    "both",
    "each",
    "also",
    "too",
    "again",
    "then",
    "straight",
    "direct",
    "order",
    "respectively",
    "new",
)
_CODE = re.compile(r"[A-Za-z]{1,4}_?\d{1,3}")
_BEHIND_A_SIGN = ("bus", "rail", "post", "terminal", "stud", "lug")  # `battery + post`
_EMPTY = {phrase.split()[0] for phrase in trade.phrases("empty", "whole")}  # `park - not used`


def sign_role(token: Token, before: Token | None, after: Token | None, run: list[Token], names: Names) -> str:
    """A dash or plus: a terminal behind a name, a join, or a list."""
    if not run:
        return _alone(token, before, after)
    if after is None:
        return "word"
    further = after.sort == "plus" and token.sort == "dash"  # `fan - + pump -`
    if (after.sort == "dash" or further) and token.end < after.start:  # `coil - - tacho`
        return "word"
    spaced = before is not None and before.sort == "gap"
    if after.sort in (*JOINS, "comma", "slash", "and", "via", "stop", "semi", "note", "remark", "colon") or (
        after.sort == "gap" and not spaced
    ):
        return "word"
    own = mention_of(run) if after.sort == "colour" and token.sort == "dash" else None
    if own is not None and not own.terminal and "+" in names.terminals.get(names.alias(own.key), ()):
        return "word"  # `buzzer - black to the stud`, where the buzzer has a + too
    if trade.is_prose(after.text) and after.sort == "word":
        says_empty = before is not None and before.end < token.start and after.text.casefold() in _EMPTY
        return "join" if says_empty else "word"
    return _plus_role(after, run, names) if token.sort == "plus" else "join"


def _alone(token: Token, before: Token | None, after: Token | None) -> str:
    """A dash or plus with no name right before it."""
    sort = before.sort if before is not None else ""
    then = after.sort if after is not None else ""
    begins = sort in ("", "comma", "semi", "stop", "and", "colon")
    if sort == "slash":
        return "word"  # `inverter + / -`
    if token.sort == "dash" and begins and then in ("to", "from", "arrow"):
        return "word"  # `…, - to bar`: the minus of what was named before
    if sort == "colon" and then == "colour":
        return "word"  # `bow light: - black to the post`
    if token.sort == "plus" and sort == then == "colour":
        return "list"  # `blue/yellow + green/white  pickup 1 + 2 > CDI 4 + 5`
    if token.sort == "plus" and then and then not in ("word", "number"):
        return "word"
    if token.sort == "plus" and then and sort and sort not in ("colour", "note", "gap", "comma"):
        return "list"
    return "sign" if before is None else "join" if token.sort == "dash" else "list"


def _plus_role(after: Token, run: list[Token], names: Names) -> str:
    """A plus behind a name: its terminal, or `and`."""
    if trade.long_form(after.text) in _BEHIND_A_SIGN:
        return "word"
    if run[-1].sort == after.sort == "number":
        return "list"  # `pickup 1 + 2`
    if after.sort in ABOUT or trade.is_filler(after.text) or after.text.casefold() in SIDE_WORDS:
        return "word"
    near = mention_of(run)
    if near is None or near.terminal:
        return "list"
    code = after.sort == "word" and (lettered(after.text) or _CODE.fullmatch(after.text))
    if near.sort == "load" and code:
        return "word"  # `side marker + JB7`
    has_one = names.alias(near.key) in ("battery", "rectifier", "house battery", "starter battery")
    return "word" if has_one else "list"
