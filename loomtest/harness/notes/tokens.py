"""The tokens of a line of notes: words, numbers, arrows, measures, colours and signs, with their places.

A token says what stands there and nothing of what it means for a wire: that is the statement's grammar.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

from loomtest.harness.colours import FILLERS, SHADES, colour_words
from loomtest.harness.notes import trade
from loomtest.harness.notes.scan import Token, scanned

# Conductor sizes sold for vehicles, mm²: ISO 6722-1 table 3 and common practice; the others stay numbers.
_SIZES = {
    "0.22", "0.35", "0.5", "0.50", "0.75", "0.85", "1.0", "1", "1.25", "1.5", "2.0", "2",
    "2.5", "3.0", "3", "4.0", "4", "5.0", "6.0", "6", "8.0", "8.5", "10.0", "16.0",
    "10", "16", "25", "35", "50", "70",
}  # fmt: skip


def tokens_of(line: str, letters: Mapping[str, str] | None = None) -> list[Token]:
    """The tokens of a line; `letters` is the page's own key of single-letter colours (`R` to `red`)."""
    return _with_decimals(_coloured(_closed_up(scanned(line)), letters or {}))


_PART_OF_A_NAME = "part of a name"
_POSTS = ("stud", "post", "bus", "busbar", "bar", "rail", "block")
_ARTICLES = ("the", "a", "big", "small", "little", "main", "same", "both")


def _names_a_post(tokens: list[Token], index: int) -> bool:
    """Whether a colour is part of a name: `the black stud` is another one than the red."""
    token = tokens[index]
    after = tokens[index + 1].text.casefold() if index + 1 < len(tokens) else ""
    if token.sort != "word" or after not in _POSTS or not trade.is_colour(token.text) or len(token.text) < 3:
        return False
    before = tokens[index - 1] if index else None
    return (
        before is None
        or before.sort in ("to", "from", "arrow", "back", "feeds", "gap")
        or (before.text.casefold() in _ARTICLES)
    )


_JOINING = ("from", "to", "arrow", "back", "feeds", "comma")


def _closed_up(tokens: list[Token]) -> list[Token]:
    """The tokens without a gap behind a comma, or before a sign that can only be a terminal."""
    found: list[Token] = []
    for index, token in enumerate(tokens):
        if _names_a_post(tokens, index):
            found.append(replace(token, value=_PART_OF_A_NAME))
            continue
        before = tokens[index - 1].sort if index else ""
        after = [other.sort for other in tokens[index + 1 : index + 3]]
        sign = before in ("word", "number") and after[:1] in (["plus"], ["dash"]) and after[1:2] != []
        closes = before in ("comma", "semi") or (sign and after[1] in _JOINING)
        if not (token.sort == "gap" and token.text.isspace() and closes):
            found.append(token)
    return found


def _coloured(tokens: list[Token], letters: Mapping[str, str]) -> list[Token]:
    """Runs of colour words as one token (`blue with white tracer`, `BK/WH`, `lt. blue`)."""
    found: list[Token] = []
    index = 0
    while index < len(tokens):
        token = tokens[index]
        length = _colour_run(tokens, index) if token.sort == "word" and _may_begin(token.text) else 0
        if length:
            run = tokens[index : index + length]
            text = " ".join(token.text for token in run)
            text = text[:-1] if trade.is_colours(text) else text
            value = colour_words(text.replace("&", "/").replace(" a ", " ")).replace("-", "/")
            found.append(Token("colour", text, value, run[0].start, run[-1].end))
            index += length
            continue
        lettered = _lettered(tokens, index, letters)
        found.append(lettered or tokens[index])
        index += 1
    return found


@lru_cache(maxsize=65_536)
def _may_begin(text: str) -> bool:
    """Whether a colour can begin with a word: one, or a shade before one."""
    low = text.casefold().rstrip(".")
    return low in SHADES or trade.is_colour(text) or trade.is_colours(text) or _ends_in_shade(low)


def _colour_run(tokens: list[Token], index: int) -> int:
    """How many tokens from `index` on are one colour; 0 where none begins."""
    best, place, pieces = 0, index, list[str]()
    while place < len(tokens) and place - index < 7:
        token = tokens[place]
        word = token.text.casefold().rstrip(".")
        if token.value is _PART_OF_A_NAME:
            break
        if token.sort == "word" and (
            word.endswith(("+", "-")) or (not pieces and word in ("light", "lt") and _is_lamp(tokens, place))
        ):
            break
        closes = best and word in ("stripe", "striped", "tracer", "trace", "stripes")
        if (
            token.sort == "word"
            and (
                trade.is_colour(token.text) or trade.is_colours(token.text) or closes or _ends_in_shade(word)
            )
            and word not in FILLERS - {"tracer", "trace", "stripe", "striped"}
        ):
            if (
                best
                and pieces
                and pieces[-1] not in ("/", "and", "with", "on")
                and not closes
                and "/" in token.text
            ):
                break
            pieces.append(token.text[:-1] if trade.is_colours(token.text) else token.text)
            best = place - index + 1
            if closes:
                break
        elif token.sort == "word" and word in SHADES | {"with", "on", "a"}:
            if word in ("with", "on") and not pieces:
                break
            if word == "a" and (not pieces or pieces[-1] not in ("with", "on", "and")):
                break
            pieces.append(word)
        elif pieces and token.sort in ("slash", "and", "dash"):
            if token.sort == "dash" and token.start != tokens[place - 1].end:
                break
            if token.sort == "and" and not _tracer_follows(tokens, place):
                break
            pieces.append("and" if token.sort == "and" else "/")
        else:
            break
        place += 1
    return best


def _ends_in_shade(word: str) -> bool:
    first, stroke, last = word.rpartition("/")
    return bool(stroke) and last in SHADES and trade.is_colour(first)


_KINDS_OF_LIGHT = ("tail", "park", "stop", "turn", "plate", "pilot", "alarm")


def _is_lamp(tokens: list[Token], place: int) -> bool:
    """Whether `light` is a lamp and no shade: `rear light green`, and not `relay 2 light green`."""
    before = tokens[place - 1] if place else None
    return (
        before is not None
        and before.sort == "word"
        and len(before.text) > 2
        and (not trade.is_noun(before.text) or before.text.casefold() in _KINDS_OF_LIGHT)
    )


def _tracer_follows(tokens: list[Token], place: int) -> bool:
    """`yellow & green tracer` is one colour; `blue and brown` are two until one wire only is meant."""
    for token in tokens[place + 1 : place + 5]:
        if token.text.casefold() in ("tracer", "trace", "stripe", "striped"):
            return True
        if token.sort != "word" or not (
            trade.is_colour(token.text) or token.text.casefold() in SHADES | {"a"}
        ):
            return False
    return False


_SEPARATE = ("gap", "comma", "semi", "arrow", "back", "to", "from", "note", "dash", "size", "size?", "length",
             "amps", "decimal", "stop", "colour", "letters", "ditto", "quest", "colon")  # fmt: skip


def _lettered(tokens: list[Token], index: int, letters: Mapping[str, str]) -> Token | None:
    """A colour in single letters (`G/Y`): by the page's key where it has one, else of unknown meaning."""
    token = tokens[index]
    if token.text.casefold() in ("screen", "scrn", "shield", "bare") and 0 < index < len(tokens) - 1:
        alone = tokens[index - 1].sort == tokens[index + 1].sort == "gap"
        return replace(token, sort="letters") if alone else None
    if token.text.casefold() == "or" and 0 < index < len(tokens) - 1:  # a cell of its own: orange
        apart = tokens[index - 1].sort in ("gap", "arrow") and tokens[index + 1].sort in ("gap", "arrow")
        return replace(token, sort="colour", value="orange") if apart else None
    parts = re.split(r"[/-]", token.text) if letters else token.text.split("/")
    keyed = len(parts) > 1 and not index and bool(letters) and all(part in letters for part in parts)
    if token.sort == "word" and (keyed or any(len(part) > 1 for part in parts)):
        return _by_the_key(tokens, index, parts, letters) or _unknown_letters(tokens, index)
    if token.sort != "word" or not all(
        len(part) == 1 and part.isalpha() and part.isupper() for part in parts
    ):
        return None
    before = tokens[index - 1] if index else None
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    apart = (before is not None and before.sort in _SEPARATE) or (
        before is not None and (before.text == "of" or trade.is_filler(before.text))
    )
    apart = apart and (after is None or after.sort in _SEPARATE)
    if (
        letters
        and all(part in letters for part in parts)
        and (apart or (len(parts) > 1 and before is not None and after is None))
    ):
        if before is not None and before.sort in ("to", "from", "arrow", "back") and len(parts) == 1:
            return None
        value = colour_words("/".join(letters[part] for part in parts)).replace("-", "/")
        return replace(token, sort="colour", value=value)
    if not letters and apart and len(parts) == 2 and before is not None and before.sort != "dash":
        return replace(token, sort="letters")
    return None


def _by_the_key(
    tokens: list[Token], index: int, parts: list[str], letters: Mapping[str, str]
) -> Token | None:
    """A colour in the page's own short words (`ws`, `rt/ws`), where no name is: apart from other words."""
    known = [part in letters for part in parts]
    if not any(known) or not all(k or trade.is_colour(part) for k, part in zip(known, parts, strict=True)):
        return None
    beside = [tokens[place] for place in (index - 1, index + 1) if 0 <= place < len(tokens)]
    if any(token.sort == "word" and not trade.is_filler(token.text) for token in beside) and len(parts) == 1:
        return None
    value = colour_words("/".join(letters.get(part, part) for part in parts)).replace("-", "/")
    return replace(tokens[index], sort="colour", value=value)


def _unknown_letters(tokens: list[Token], index: int) -> Token | None:
    """`rt 2.5` in a column of its own: a colour in letters of some other country, and no name."""
    text = tokens[index].text
    if not _TWO_LETTERS.fullmatch(text) or text == "or" or trade.is_noun(text):
        return None
    if trade.long_form(text) != text or trade.is_filler(text) or trade.is_prose(text):
        return None
    before = tokens[index - 1].sort if index else ""
    after = tokens[index + 1].sort if index + 1 < len(tokens) else "gap"
    alone = before == "gap" and after in ("number", "decimal", "size", "gap")
    return replace(tokens[index], sort="letters") if alone else None


def _with_decimals(tokens: list[Token]) -> list[Token]:
    """`red 1,5` as a size of 1.5: a comma inside a number where no list of cavities can stand."""
    found: list[Token] = []
    for token in tokens:
        if len(found) > 2 and [t.sort for t in found[-2:]] == ["number", "comma"] and token.sort == "number":
            whole, comma, before = found[-2], found[-1], found[-3]
            text = f"{whole.text}.{token.text}"
            tight = whole.end == comma.start and comma.end == token.start
            if (
                tight
                and text in _SIZES
                and before.sort in ("colour", "letters", "gap", "comma", "semi", "note")
            ):
                found[-2:] = [Token("decimal", text, text, whole.start, token.end)]
                continue
        found.append(token)
    return found


def bare_size(token: Token) -> str:
    """The size that a bare number such as 2.5 is, in mm²; "" where it is none that is sold."""
    return token.text if token.text in _SIZES else ""


_TWO_LETTERS = re.compile(r"[a-z]{2}(?:/[a-z]{2})?")
_A_COLOUR = re.compile(
    r"(?i)black|brown|red|orange|yellow|green|blue|violet|purple|gr[ea]y|white|pink|slate|tan"
)
_KEY_WORD = re.compile(r"[A-Za-z]+|[^\sA-Za-z]+")


def colour_letters(text: str) -> dict[str, str]:
    """The key of colours in letters that a line gives (`R red B black`, `ge = yellow, bl = blue`).

    A line is a key where most of its words are pairs of at most three letters and a colour, or where it has
    three such pairs of letters that the colour's name has in this order (`body first: bl blue, or orange`).
    """
    if len(_A_COLOUR.findall(text)) < 3:
        return {}
    title, _, told = text.partition(":")
    text = told if len(_A_COLOUR.findall(told)) > 2 and not _A_COLOUR.search(title) else text
    words = [
        word for word in _KEY_WORD.findall(text) if word.isalpha() and word.casefold() not in ("is", "for")
    ]
    found: dict[str, str] = {}
    for short, word in pairwise(words):
        if len(short) <= 3 and len(word) > 2 and trade.is_colour(word) and not _is_full_colour(short):
            found.setdefault(short, word)
    plain = [short for short in found if trade.long_form(short) == short.casefold() or len(short) == 1]
    if len(plain) >= 3 and len(found) * 3 >= len(words):
        return found
    short_for = {short: word for short, word in found.items() if len(short) == 2 and _shortens(short, word)}
    return short_for if len(short_for) >= 3 else {}


def _shortens(short: str, word: str) -> bool:
    """Whether the letters of `short` stand in the word in their order: `gn` in green, `sl` in slate."""
    letters = iter(word.casefold())
    return all(letter in letters for letter in short.casefold())


def _is_full_colour(word: str) -> bool:
    return len(word) > 2 and trade.is_colour(word)
