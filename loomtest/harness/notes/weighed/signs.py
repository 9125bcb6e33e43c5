"""A statement as runs of words with the signs between them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import CODE
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.scan import Token

ABOUT = ("colour", "letters", "size", "size?", "length", "amps", "decimal", "measure", "ditto", "quest")
JOINS = ("to", "arrow", "feeds", "from", "back", "via")
LIST = ("comma", "and", "slash", "gap", "plus")
_CLOSING = ("comma", "semi", "stop", "note", "colon", "and", "slash", *JOINS)
_OPENING = ("comma", "semi", "stop", "and", "note", "slash", "colon")
_SIZED = (4, 6, 8, 10, 16, 25, 35)  # numbers behind a colour that are sizes on any page
_DOTS = set(". …")
Sign = tuple[str, list[Token]]


def signs_of(tokens: Sequence[Token], names: Names) -> list[Sign]:
    """The statement in order: (`run`, its words) and (the sort of a sign, that sign)."""
    found: list[Sign] = []
    run: list[Token] = []
    dots = "gap" if sum(map(_is_dotted, tokens)) > 1 else "comma"
    for index, token in enumerate(tokens):
        before = tokens[index - 1] if index else None
        after = tokens[index + 1] if index + 1 < len(tokens) else None
        size = not run and _is_size(token, before, after, names)
        word = None if size else _as_word(token, before, after, run)
        if word is not None:
            run.append(word)
            if token.sort not in JOINS:
                continue
        sort = "about" if size else _sort(token)
        if run:
            found.append(("run", run))
            run = []
        found.append((sort, [replace(token, sort=dots) if _is_dotted(token) else token]))
    return [*found, ("run", run)] if run else found


def _sort(token: Token) -> str:
    if token.sort in ABOUT:
        return "about"
    if token.sort == "dash" or (token.sort in JOINS and not _is_dotted(token)):
        return "join"
    if token.sort in LIST or _is_dotted(token):
        return "list"
    return token.sort if token.sort in ("colon", "note", "pin") else "left"


def _as_word(token: Token, before: Token | None, after: Token | None, run: Sequence[Token]) -> Token | None:
    """The token as a word of the run that it goes on or begins; None for a sign."""
    if token.sort in ("word", "hash", "number") or (
        token.sort == "colon" and _is_tight(token, before, after)
    ):
        return token
    if token.sort == "note":
        glued = run and before is not None and before.end == token.start
        inner = re.fullmatch(r"[A-Za-z]?\d{1,3}|[A-Z]", token.value) if glued else None
        return replace(token, sort="number", text=token.value) if inner else None  # `X4(1)`
    if token.sort in ("dash", "plus"):
        return token if _is_terminal(token, before, after, run) else None
    if token.sort == "measure":
        named = not run and after is not None and after.sort == "word" and trade.is_noun(after.text)
        if named:  # `12 volt converter`
            return replace(token, sort="word", text=token.text.replace(" ", "_"))
        volts = run and re.fullmatch(r"\d{1,2} ?[Vv]", token.text)
        return replace(token, sort="word", text=token.text.replace(" ", "")) if volts else None  # `ctrl 5V`
    side = re.match(r"(IN|OUT)\b(?=.)|(in|out)\b(?=.)", token.text) if token.sort in JOINS else None
    if side and run and (side[1] or trade.noun_sort(run[-1].text) == "contact" or run[-1].sort == "number"):
        return replace(token, sort="word", text=side[0], value=side[0])  # `switch OUT to block 2`
    return None


def _is_tight(token: Token, before: Token | None, after: Token | None) -> bool:
    """The colon of `X1:3`."""
    return before is not None and after is not None and before.end == token.start and after.start == token.end


def _is_size(token: Token, before: Token | None, after: Token | None, names: Names) -> bool:
    """`red 16`: a number behind a colour is a size where the page gives gauges, or by what is sold."""
    closing = ("gap", "comma", "stop", "note", "semi", "dash", "arrow", "to")
    if token.sort != "number" or not token.text.isdecimal() or before is None or before.sort != "colour":
        return False
    if after is not None and after.sort not in closing:
        return False
    return int(token.text) > 0 and (names.gauge or int(token.text) in _SIZED)


def _is_dotted(token: Token) -> bool:
    return token.sort == "arrow" and set(token.text) <= _DOTS


def _is_terminal(token: Token, before: Token | None, after: Token | None, run: Sequence[Token]) -> bool:
    """Whether a plus or a dash is the terminal of what stands before it, or a terminal by itself."""
    if after is None or after.sort in _CLOSING:
        return bool(run) or before is None or before.sort in ("comma", "stop", "and", "note", "slash")
    if run:
        if token.sort == "plus" and (after.sort in ABOUT or trade.is_filler(after.text)):
            return True
        if after.sort == "dash":
            return token.end < after.start  # `coil - - tacho`
        return after.sort == "gap" and (before is None or before.sort != "gap")
    if before is not None and before.sort not in _OPENING:
        return False
    begins = token.sort == "plus" or after.sort in ("colour", "number")
    return begins or (before is not None and after.sort == "word")


def without_fuses(tokens: Sequence[Token]) -> list[Token]:
    """The statement with a fuse that its wire only passes as something said of it: `thru a 15A fuse`."""
    found = list(tokens)
    for place, token in enumerate(found):
        if token.sort != "word" or trade.long_form(token.text) not in trade.words("weighed", "fuses"):
            continue
        span = _passed(found, place)
        if span is not None:
            start, end = span
            rating = next((t for t in found[start:end] if t.sort == "amps"), token)
            about = replace(rating, sort="amps", value=rating.value if rating.sort == "amps" else "fuse")
            return without_fuses([*found[:start], about, *found[end:]])
    return found


def _passed(tokens: Sequence[Token], place: int) -> tuple[int, int] | None:
    """From where to where the words of a fuse stand that is no end; None for one with a name."""
    after = tokens[place + 1] if place + 1 < len(tokens) else None
    link = tokens[place].text.casefold() == "fusible"
    if after is not None and not link:
        word = after.sort == "word"
        code = CODE.fullmatch(after.text) or len(after.text) == 1 or trade.is_noun(after.text)
        if after.sort == "number" or (word and code):
            return None
    start, rated = place, link
    while start and _is_of_fuse(tokens[start - 1]):
        start -= 1
        rated = rated or tokens[start].sort in ("amps", "via")
    if after is not None:
        rated = rated or after.sort == "amps" or (after.sort == "note" and bool(re.search(r"\d", after.text)))
    if not rated:
        return None
    end = place + 1
    while end < len(tokens) and _is_behind_fuse(tokens[end], end == place + 1):
        end += 1
    return start, end


def _is_of_fuse(token: Token) -> bool:
    make = token.sort == "word" and token.text.casefold() in trade.words("weighed", "fuse_makes")
    return make or token.sort in ("amps", "via", "note")


def _is_behind_fuse(token: Token, first: bool) -> bool:
    low = token.text.casefold()
    word = token.sort == "word" and low in trade.words("weighed", "behind_fuse")
    return word or token.sort == "amps" or (first and low == "link")
