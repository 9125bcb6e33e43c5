"""Points as they are spoken of, put as they are noted: `terminal 30 of the key switch` is `key switch 30`.

The rest of the reader then knows one form of each. Nothing is added: words change places, or are left out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache

from loomtest.harness.notes import trade
from loomtest.harness.notes.scan import Token

_DETERMINERS = {"the", "a", "an", "its", "my", "that", "this", "same", "each", "one", "their"}
_WIRES = {
    "wire",
    "wires",
    "one",
    "ones",
    "lead",
    "leads",
    "cable",
    "cables",
    "strap",
    "flex",
    "core",
    "line",
    "braid",
}
_PARTS = {"common", "com", "input", "output", "positive", "negative", "plus", "minus", "live", "feed"} | {
    "negatives", "positives", "minuses", "earths",
}  # fmt: skip
_KINDS = {"pin", "terminal", "cavity", "way", "number", "position", "fuse", "breaker"}
_ID = re.compile(r"\d{1,3}[A-Za-z]?|[A-Z]\d{0,2}[+-]?|[A-Z]{2}")
MOST_WORDS = 5
Way = Callable[[Sequence[Token], int, Sequence[Token]], tuple[int, list[Token]]]


def plain(tokens: Sequence[Token]) -> list[Token]:
    """The tokens with every point that is spoken of in the order of a note."""
    tokens = _leaving_it(_so_does(tokens))
    found: list[Token] = []
    index = 0
    while index < len(tokens):
        taken, put = _phrase(tokens, index, found)
        if taken:
            found += put
            index += taken
            continue
        found.append(tokens[index])
        index += 1
    return found


_HERE = (["it"], ["here"])


def _leaving_it(tokens: Sequence[Token]) -> Sequence[Token]:
    """`Feed strip: two more reds come off it, to A and B` as `Feed strip: two reds to A and B`."""
    head = next((i for i, token in enumerate(tokens) if token.sort in ("colon", "stop")), 0)
    join = next((i for i, t in enumerate(tokens) if i > head and t.sort in ("to", "from", "arrow")), 0)
    it = next((i for i, t in enumerate(tokens) if i > head and t.text.casefold().split()[:1] in _HERE), 0)
    if not 0 < head < MOST_WORDS or not it or any(t.sort not in ("word", "number") for t in tokens[:head]):
        return tokens
    to = it + 2 if it + 1 < len(tokens) and tokens[it + 1].sort == "comma" else it + 1
    to = it if tokens[it].sort == "to" else to  # `run from it to`
    begin = it - 1
    said = tokens[head + 1 : begin]
    leaves = tokens[begin].sort == "from" or tokens[begin].text.casefold() in ("leave", "leaves")
    plain_wires = said and all(t.sort in ("word", "number", "colour", "size") for t in said)
    if (
        not leaves
        or not plain_wires
        or to >= len(tokens)
        or tokens[to].sort != "to"
        or join not in (begin, to)
    ):
        return tokens
    kept = [token for token in said if token.text.casefold() not in ("more", "other", "another", "further")]
    return [*tokens[: head + 1], *kept, *tokens[to:]]


def _so_does(tokens: Sequence[Token]) -> Sequence[Token]:
    """`A goes to B and so does C` as `A and C goes to B`."""
    place = next(
        (i for i, t in enumerate(tokens) if t.sort == "and" and _low(tokens, i + 1) == "so"), len(tokens)
    )
    if _low(tokens, place + 2) not in ("does", "do"):
        return tokens
    ends = ("stop", "semi", "comma")
    begin = max((i + 1 for i, t in enumerate(tokens[:place]) if t.sort in ends), default=0)
    end = next((i for i, t in enumerate(tokens) if i > place and t.sort in ends), len(tokens))
    joins = [i for i in range(begin, place) if tokens[i].sort in ("to", "from", "arrow", "feeds")]
    if len(joins) != 1:
        return tokens
    second = [tokens[place], *tokens[place + 3 : end]]
    return [*tokens[: joins[0]], *second, *tokens[joins[0] : place], *tokens[end:]]


def _phrase(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> tuple[int, list[Token]]:
    """How many tokens from `index` on are a point that is spoken of, and what stands for them."""
    token = tokens[index]
    signed = token.sort == "plus" and _low(tokens, index + 1) in (
        "post",
        "bus",
        "bar",
        "rail",
        "terminal",
        "stud",
    )
    if signed and (not before or before[-1].sort not in ("word", "number")):
        return 1, [replace(token, sort="word", text="positive", value="positive")]  # `+ post`
    if token.sort not in ("word", "number", "comma"):
        return 0, []
    for way in _ways(token.text):
        taken, put = way(tokens, index, before)
        if taken:
            return taken, put
    return 0, []


@lru_cache(maxsize=65_536)
def _ways(text: str) -> tuple[Way, ...]:
    """The phrases that can begin with a word: most begin none."""
    low = text.casefold().strip(".")
    if low == ",":
        return (_numbered_behind,)
    found: list[Way] = []
    if low in trade.words("english", "numbers") or low in _TENS:
        found.append(_number)
    if re.fullmatch(r"[A-Z]{1,2}", text):
        found.append(_signed)
    if low.endswith(("'s", "’s")):
        found.append(_of_its_owner)
    if low == "other" or low in _DETERMINERS:
        found.append(_the_other)
    if low == "no":
        found.append(_number_plate)
    kinds = trade.words("terminals", "before") | trade.words("terminals", "sides") | _PARTS
    if {low} & (_DETERMINERS | kinds | trade.words("english", "sizes") | {"other"}) or _ID.fullmatch(text):
        found.append(_terminal_of)
    if low == "in" or low in _WIRES:
        found.append(_wire_of_a_colour)
    return tuple(found)


def _of_its_owner(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> tuple[int, list[Token]]:
    """`the ammeter's right post`"""
    bare = re.sub(r"['’]s$", "", tokens[index].text)
    if tokens[index].sort == "word" and bare != tokens[index].text and trade.is_noun(bare):
        return 1, [replace(tokens[index], text=bare, value=bare)]
    return 0, []


_TENS = {"thirty": "30", "forty": "40", "fifty": "50", "hundred": "100"}
_UNITS = {"amp", "amps", "ampere"}


def _number(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> tuple[int, list[Token]]:
    """`switch two` and `pin one` by their figures, `five amp` as a fuse's rating: as notes are dictated."""
    low = _low(tokens, index)
    numbers = trade.ordered("english", "numbers")
    figure = str(numbers.index(low)) if low in numbers else _TENS.get(low, "")
    if not figure:
        return 0, []
    if _low(tokens, index + 1) in _UNITS:
        value = f"{figure} A"
        return 2, [Token("amps", value, value, tokens[index].start, tokens[index + 1].end)]
    named = bool(before) and before[-1].sort == "word" and not trade.is_odd(before[-1].text)
    named = named and (trade.is_noun(before[-1].text) or before[-1].text.casefold() in _KINDS)
    after = _low(tokens, index + 1)
    counts = (
        after in _WIRES
        or after == "more"
        or _of_several_colours(tokens, index + 1)
        or (after.endswith("s") and trade.is_noun(after[:-1]))
        or after in ("side", "end", "leg")
    )
    if not named or counts:
        return 0, []
    return 1, [replace(tokens[index], sort="number", text=figure, value=figure)]


def _of_several_colours(tokens: Sequence[Token], index: int) -> bool:
    """`three yellows`: wires by their colour, which the token has without its ending."""
    token = tokens[index] if index < len(tokens) else None
    return token is not None and token.sort == "colour" and token.end - token.start > len(token.text)


def _signed(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> tuple[int, list[Token]]:
    """`alternator D plus` is its D+."""
    sign = {"plus": "+", "minus": "-"}.get(_low(tokens, index + 1))
    named = bool(before) and before[-1].sort == "word" and trade.is_noun(before[-1].text)
    if sign and named and re.fullmatch(r"[A-Z]{1,2}", tokens[index].text) and tokens[index].sort == "word":
        return 2, [replace(tokens[index], text=tokens[index].text + sign, end=tokens[index + 1].end)]
    return 0, []


def _the_other(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> tuple[int, list[Token]]:
    """`the other horn terminal`"""
    place = _past_determiners(tokens, index)
    if _low(tokens, place) != "other":
        return 0, []
    name = _name(tokens, place + 1)
    behind = place + 1 + len(name)
    if name and _low(tokens, behind) in trade.words("terminals", "sides") and len(name) < MOST_WORDS:
        at = tokens[index].start
        put = [*name, tokens[place], tokens[behind]]
        return behind + 1 - index, [replace(t, start=at + n, end=at + n + 1) for n, t in enumerate(put)]
    return 0, []


def _number_plate(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> tuple[int, list[Token]]:
    """`no plate lamp` is one for the number plate, and not none."""
    if _low(tokens, index) == "no" and _low(tokens, index + 1).startswith("plate"):
        return 1, [replace(tokens[index], text="no.", value="no.")]
    return 0, []


def _low(tokens: Sequence[Token], index: int) -> str:
    return tokens[index].text.casefold().strip(".") if 0 <= index < len(tokens) else ""


def _past_determiners(tokens: Sequence[Token], index: int) -> int:
    while index < len(tokens) and tokens[index].sort == "word" and _low(tokens, index) in _DETERMINERS:
        index += 1
    return index


def _terminal_of(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> tuple[int, list[Token]]:
    """`terminal 30 of the key switch`, `B on the regulator`, `the other side of the lamp`."""
    place = _past_determiners(tokens, index)
    kinds = trade.words("terminals", "before") | trade.words("terminals", "sides")
    own: list[Token] = []
    place_of_kind = place
    other = _low(tokens, place) == "other"
    if other or _low(tokens, place) in trade.words("english", "sizes"):
        own, place = [tokens[place]], place + 1
    if place >= len(tokens):
        return 0, []
    kind = tokens[place] if _low(tokens, place) in kinds and tokens[place].sort == "word" else None
    if kind is None and _low(tokens, place) in _PARTS and _low(tokens, place + 1) == "of":
        kind = tokens[place]
    named = kind is not None
    if kind is not None and not (kind.text.isupper() and len(kind.text) <= 2):
        place += 1
    sign = tokens[place] if place < len(tokens) and not own and _is_id(tokens[place]) else None
    if sign is not None:
        own, place = [sign], place + 1
    elif kind is not None:
        own = [*own, kind]
    if not own or (not named and sign is None) or _low(tokens, place) not in ("of", "on", "at", "in"):
        return 0, []
    if sign is not None and not named and (_low(tokens, place) in ("at", "in") or not _apart(before)):
        return 0, []
    begin = _past_determiners(tokens, place + 1)
    name = _name(tokens, begin)
    if not name or (sign is not None and name[-1].text.casefold().endswith("s") and not named):
        return 0, []
    if sign is None and not other and index == place_of_kind and not _apart(before):
        return 0, []  # `kill tab on the engine` says where the tab is
    if len(name) == 1 and trade.noun_sort(name[0].text) == "ground" and sign is None and not other:
        return 0, []  # `the bolt on the frame` says where the bolt is
    start = tokens[index].start
    put = [
        replace(token, start=start + place, end=start + place + 1)
        for place, token in enumerate([*name, *own])
    ]
    return begin + len(name) - index, put


def _is_id(token: Token) -> bool:
    return token.sort in ("number", "word") and bool(_ID.fullmatch(token.text))


def _apart(before: Sequence[Token]) -> bool:
    """Whether nothing that belongs to the same name stands before."""
    return not before or before[-1].sort not in ("word", "number") or trade.is_odd(before[-1].text)


def _name(tokens: Sequence[Token], begin: int) -> list[Token]:
    """The words of a device's name from `begin` on: up to its noun."""
    run: list[Token] = []
    for token in tokens[begin : begin + MOST_WORDS]:
        odd = token.sort == "word" and (trade.is_odd(token.text) or trade.is_filler(token.text))
        if token.sort not in ("word", "number") or odd:
            break
        run.append(token)
    for length in range(len(run), 0, -1):
        if trade.is_noun(run[length - 1].text) and run[length - 1].sort == "word":
            return run[:length]
    if len(run) == 1 and re.fullmatch(r"[A-Za-z]{2,}\d*", run[0].text) and not trade.is_prose(run[0].text):
        return run
    return []


def _numbered_behind(tokens: Sequence[Token], index: int, before: Sequence[Token]) -> tuple[int, list[Token]]:
    """`light switch, number 1`, `the gauge, terminal 2`: the comma is of the name."""
    if tokens[index].sort != "comma" or not before or before[-1].sort != "word" or index + 2 >= len(tokens):
        return 0, []
    sign = tokens[index + 2]
    named = _low(tokens, index + 1) in trade.words("terminals", "before")
    named = named and (_is_id(sign) or sign.text.casefold() in ("in", "out"))
    if not named or not trade.is_noun(before[-1].text):
        return 0, []
    after = tokens[index + 3] if index + 3 < len(tokens) else None
    if after is not None and after.sort in ("to", "arrow", "from", "colour", "word", "dash"):
        return 0, []  # the next one's own statement
    return 3, [tokens[index + 2]]


def _wire_of_a_colour(
    tokens: Sequence[Token], index: int, before: Sequence[Token]
) -> tuple[int, list[Token]]:
    """`the thick red one`, `a blue wire`: what is said of the wire, and no name."""
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    numbered = bool(before) and before[-1].sort == "number"
    coloured = after is not None and after.sort in ("colour", "size")
    begins = not before or before[-1].sort in ("gap", "colon")  # `lamp switch: in red to fuse 4`
    if _low(tokens, index) == "in" and coloured and not begins and not numbered:
        return 1, []  # `goes to regulator D in yellow`
    if _low(tokens, index) in _WIRES and before and before[-1].sort in ("colour", "size", "letters"):
        return 1, []
    return 0, []
