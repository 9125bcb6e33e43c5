"""A name as it is written, with its terminal: `light switch 2`, `lt sw 2`, `battery + post`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from loomtest.harness.notes import trade
from loomtest.harness.notes.scan import Token

MOST_WORDS = 6
CODE = re.compile(r"[A-Za-z]{1,4}\d{1,3}[A-Za-z]?")
_HYPHENED = re.compile(
    r"(?![LRlrNnOo]/[HhSs]$)([A-Za-z][A-Za-z0-9_]*)[-/.](\d{1,3}[A-Za-z]?|[A-Z]|GND|GRD|COM|IN|OUT|NC|NO)(?![-/])"
)
_TERMINAL = re.compile(r"[+-]?\d{1,2}V|\d{1,3}[A-Za-z]?|[A-Z]\d{0,2}[+-]?|[A-Z]{1,2}[+-]")
_DESIGNATOR = re.compile(r"[A-Z]|\d{1,2}[A-Za-z]?")  # `coil A`, `light 2`: what tells devices of a name apart
_SHORT = re.compile(r"[A-Z]{2,3}\d?")
_COUNTS = {"two": "2", "three": "3", "four": "4"}
WHERE = (
    "under",
    "behind",
    "beside",
    "near",
    "inside",
    "beneath",
    "at",
    "by",
    "on",
    "above",
    "below",
    "next",
    "underneath",
)
_BEFORE_A_NAME = {"both", "all", "each", "every", "of", "at", "on", "three", "two", "four"}
_TELLING = {"up", "down", "first", "second", "third"}  # `up solenoid`, `second battery`: which of two
_NO_BEGINNING = {
    "across",
    "between",
    "with",
    "for",
    "where",
    "when",
    "because",
    "after",
    "before",
    "as",
    "up",
    "down",
}
_NUMBERED = ("splice", "fuse", "joint", "breaker")
_POSTS = ("tag", "tab", "post", "terminal", "pole", "clamp", "stud", "lug", "side")
_LETTERED = ("coil", "winding", "contact", "pole", "element", "filament")  # known by small letters too
_SIDES = ("lh", "rh", "ns", "os")


@lru_cache(maxsize=65_536)
def _written_out(words: tuple[str, ...]) -> str:
    parts = [_parted(trade.long_form(word)) for word in words]
    whole = re.sub(r"\b(\w+) \1\b", r"\1", " ".join(parts))  # `splice SP1`
    return trade.one_bus(whole.split()) or whole


def _parted(word: str) -> str:
    """`sp10` as `splice 10`, `gnd2` as `ground 2`: the same as in two words."""
    match = re.fullmatch(r"(spl?|splice|gnd|ground)(\d{1,3})", word)
    return f"{trade.long_form(match[1])} {match[2]}" if match else word


@dataclass(frozen=True, slots=True)
class Mention:
    """A name as written (`words`) with its terminal; `many` is `both`, `all` or `each` before a plural."""

    words: tuple[str, ...]
    terminal: str = ""
    many: str = ""
    weak: bool = False  # stands in a column of its own
    listed: bool = False  # stands behind a comma, an `and` or a `+`
    other: bool = False  # `the other side`: the terminal has no name
    start: int = 0

    @property
    def key(self) -> str:
        """The name written out, in lower case."""
        return _written_out(self.words)

    @property
    def sort(self) -> str:
        """What sort of device its last word is; `code` for `X1`; "" where it is none the trade knows."""
        return _sort(self.words)


@lru_cache(maxsize=65_536)
def _sort(words: tuple[str, ...]) -> str:
    if not words:
        return ""
    if trade.long_form(words[0]) in ("splice", "joint") and len(words) == 2 and len(words[1]) <= 3:
        return "joint"
    if len(words) == 2 and words[1].isdigit() and trade.noun_sort(words[0]) in ("ground", "joint"):
        return trade.noun_sort(words[0])
    sides = trade.words("english", "sides")
    if len(words) == 1 and words[0].casefold() in trade.words("english", "corners"):
        return "load"  # `indicator switch L to FL, RL`: the lamps at the corners
    last, before = words[-1], list(words[-2:-1])
    if len(words) > 2 and trade.long_form(words[-2]) in sides:
        before = [words[-3]]  # `position lamp front left`
    told_apart = trade.long_form(last) in sides or _DESIGNATOR.fullmatch(last)
    for word in (last, *(before if told_apart else ())):
        if sort := trade.noun_sort(word):
            return sort
    if len(words) == 1 and CODE.fullmatch(words[0]):
        return "code"
    return "contact" if trade.long_form(words[0]) == "fuse" else ""


@lru_cache(maxsize=65_536)
def lettered(text: str) -> tuple[str, str] | None:
    """`JB4` as junction box and 4: a short word of the trade with its terminal run together."""
    match = re.fullmatch(r"([A-Za-z]{2,3})(\d{1,2})", text)
    if match is None or " " not in trade.long_form(match[1]):
        return None
    return match[1], match[2]


def mention_of(tokens: Sequence[Token]) -> Mention | None:
    """The mention that a run of words, numbers and signs makes; None where it is prose or nothing."""
    return _mention(tuple([(token.sort, token.text) for token in tokens]))


@lru_cache(maxsize=65_536)  # the same words stand on a page many times, and each is looked at more than once
def _mention(parts: tuple[tuple[str, str], ...]) -> Mention | None:
    tokens = [Token(sort, text, text, place, place + 1) for place, (sort, text) in enumerate(parts)]
    found, many = _counted([token for token in tokens if token.sort != "hash"])
    found = _before_on_the(found)
    found = _without_fillers(found)
    if not found:
        return None
    start = found[0].start
    for place in range(1, len(found)):  # `earth spade under seat`: where it is is no part of its name
        if found[place].text.casefold() in WHERE and place + 1 < len(found):
            near = found[place - 1].text.casefold() in (
                "right",
                "just",
                "close",
                "hard",
                "directly",
                "up",
                "down",
            )
            found = found[: place - 1] if near and place > 1 else found[:place]
            break
    words, terminal = _split(found)
    low = [word.casefold() for word in words]
    if not words and not terminal:
        return None
    if low == ["gauge"] and start != tokens[0].start:
        return None
    other = low[:1] == ["other"] and set(low) & {"terminal", "side", "end", "wire", "one"}
    told = len(low) > 1 and low[0] in _TELLING and trade.is_noun(low[1])
    if other or (low and low[0] in _NO_BEGINNING and not told) or len(words) > MOST_WORDS:
        return None
    if any(word in ("the", "a", "an", "of", "to") for word in words):
        return None
    prose = [word for word, behind in zip(words, [*words, ""][1:], strict=True) if not _is_hot(word, behind)]
    doing = is_for(words)
    if any(map(trade.is_prose, prose[doing and prose[:1] == words[:1] :])):
        return None
    return Mention(tuple(words), terminal, many, start=start)


def is_for(words: Sequence[str]) -> bool:
    """`reading lamp`, `cooling fan`: a device by what it is for."""
    return (
        len(words) > 1 and words[0].casefold() in trade.words("english", "doing") and trade.is_noun(words[-1])
    )


def _is_hot(word: str, behind: str) -> bool:
    """`hot stud`, `cold side`: which terminal, and no remark."""
    return word.casefold() in ("hot", "cold") and behind.casefold() in trade.words("terminals", "sides")


def _before_on_the(found: list[Token]) -> list[Token]:
    """`float switch on the way`: `on` is no terminal of it."""
    for place in range(1, len(found) - 1):
        low, after = found[place].text.casefold(), found[place + 1].text.casefold()
        if (
            low == "on"
            and after in ("the", "a", "its")
            and not any(trade.is_odd(t.text) for t in found[:place])
        ):
            return found[:place]
    return found


def _counted(found: list[Token]) -> tuple[list[Token], str]:
    """The words behind `both`, `all three` and what says nothing; and how many are meant."""
    many = ""
    if found and found[0].text.casefold() == "all" and _count_of(found[1:]):
        found = found[1:]
    if count := _count_of(found):
        return found[1:], count
    while found and (trade.is_filler(found[0].text) or found[0].text.casefold() in _BEFORE_A_NAME):
        low = found[0].text.casefold()
        behind = found[1].text.casefold() if len(found) > 1 else ""
        if low in trade.words("english", "sizes") and behind in _POSTS:
            break  # `small tag`
        if low in _TELLING and len(found) > 1 and found[1].sort == "word":
            if trade.is_noun(found[1].text):
                break
            if low in ("up", "down"):  # `up mast`: the way it goes
                return [], many
        if low in trade.words("english", "sizes") and _is_post(found[1:]):
            break  # `small tag`: which of a device's tags
        if low in ("both", "all", "each", "every"):
            many = low if low in ("both", "each") else "all" if low == "all" else "each"
        elif low in _COUNTS and (many or found[-1].text.casefold().endswith("s") or _sign_behind(found)):
            many = _COUNTS[low]
        found = found[1:]
    return found, many


def _is_post(found: Sequence[Token]) -> bool:
    return len(found) == 1 and found[0].text.casefold() in trade.words("terminals", "sides")


def _count_of(found: Sequence[Token]) -> str:
    """`3` of `3 valves`; "" for any other words."""
    if not found or found[0].sort != "number" or not re.fullmatch(r"[2-9]|1\d", found[0].text):
        return ""
    words = [token.text for token in found[1:4] if token.sort == "word"]
    several = any(
        w.casefold().endswith("s") and trade.is_noun(w[:-1]) and not trade.is_ground(w) for w in words
    )
    return found[0].text if several else ""


def _sign_behind(found: Sequence[Token]) -> bool:
    """`two work lights -`"""
    return len(found) > 2 and found[-2].text.casefold().endswith("s") and found[-1].sort != "word"


def _without_fillers(found: list[Token]) -> list[Token]:
    """The words without those at their end that say nothing; `in` and `small` can be terminals."""
    while found and found[-1].sort == "word" and trade.is_filler(found[-1].text):
        low, before = found[-1].text.casefold(), found[-2:-1]
        device = bool(before) and (trade.is_noun(before[0].text) or before[0].text.isupper())
        if (low in ("small", "big") and device) or (before and before[0].text == ":"):
            break
        if low == "a" and before and before[0].text.casefold() in _LETTERED:
            break  # `coil a`, and no article
        if low in ("up", "down") and device and found[-1].text.isupper() and not before[0].text.isupper():
            break  # `hoist relay UP`
        if (
            low == "in"
            and before
            and (device or before[0].sort == "number" or CODE.fullmatch(before[0].text))
        ):
            break
        found = found[:-1]
    return found


def _split(tokens: Sequence[Token]) -> tuple[list[str], str]:
    """The words of the name, and the terminal."""
    texts = [token.text if token.text == "no." else token.text.rstrip(".") for token in tokens]
    last = texts[-1]
    sort = tokens[-1].sort
    if len(texts) >= 3 and texts[-2] == ":":
        return texts[:-2], last
    if len(tokens) == 1 and (match := _HYPHENED.fullmatch(last)) and not trade.is_noun(last):
        return [match[1]], match[2]
    kept = [(text, token) for text, token in zip(texts, tokens, strict=True) if text not in (":", "")]
    if not kept:
        return [], ""
    texts, tokens = [text for text, _ in kept], [token for _, token in kept]
    last, sort = texts[-1], tokens[-1].sort
    if len(tokens) == 1 and (own := lettered(last)) is not None:
        return [own[0]], own[1]
    if len(tokens) == 1:
        if sort == "word" and last[-1] in "+-" and len(last) > 2 and not _TERMINAL.fullmatch(last):
            return [last[:-1]], last[-1]
        if (
            sort in ("number", "plus", "dash")
            or (len(last) == 1 and last.isalpha())
            or re.fullmatch(r"\d{1,3}[a-z]|[A-Z]{1,2}[+-]", last)
        ):
            return [], {"plus": "+", "dash": "-"}.get(sort, last)
        return texts, ""
    if (
        len(texts) > 2
        and texts[0].casefold() in trade.words("terminals", "before")
        and texts[2].casefold() in ("of", "on", "in")
    ):
        return [text for text in texts[3:] if text.casefold() not in ("connector", "plug", "the")] or texts[
            3:
        ], texts[1]
    if (
        texts[0].casefold() in ("pin", "terminal", "cavity", "cav", "number", "no", "way", "tag", "position")
        and len(texts) >= 2
        and tokens[1].sort in ("number", "word")
        and _TERMINAL.fullmatch(texts[1])
    ):
        return texts[2:], texts[1]
    signs = [place for place, token in enumerate(tokens) if token.sort == "plus"]
    if len(signs) == 1 and 0 < signs[0] < len(texts) - 1:  # `panel + busbar`, `battery + post`
        rest = [text for text in texts[signs[0] + 1 :] if trade.long_form(text) in ("bus", "rail")]
        return [*texts[: signs[0]], *rest], "+"
    if sort in ("plus", "dash"):
        return texts[:-1], "+" if sort == "plus" else "-"
    if last[-1] in "+-" and len(last) > 1 and not _TERMINAL.fullmatch(last):
        if last[:-1].isupper() and last[:-1].casefold() in trade.words("terminals", "words"):
            return texts[:-1], last  # `charger OUT+`
        return [*texts[:-1], last[:-1]], last[-1]
    return _behind_a_name(texts, last, sort)


def _behind_a_name(texts: list[str], last: str, sort: str) -> tuple[list[str], str]:
    name = texts[:-1]
    first, before = trade.long_form(name[0]), trade.long_form(name[-1])
    low = trade.long_form(last)
    if (
        len(name) > 1
        and name[-1].casefold() in trade.words("terminals", "before")
        and _TERMINAL.fullmatch(last.upper() if len(last) == 1 else last)
    ):
        return name[:-1], last
    if len(name) > 1 and low in _POSTS and (post := _at_a_post(name, low)):
        return name[:-1], post
    if len(name) == 1 and first in ("connector", "plug", "socket") and CODE.fullmatch(last):
        return [last], ""
    if (
        before in _NUMBERED
        and (sort == "number" or len(last) <= 3)
        and last.isalnum()
        and not trade.is_noun(last)
    ):
        return texts, ""
    if first in ("splice", "joint") and len(name) == 1:
        return texts, ""
    if low in ("positive", "negative") and (trade.noun_sort(name[-1]) or len(name[0]) > 2):
        return name, "+" if low == "positive" else "-"
    noun = name[-2] if len(name) > 1 and trade.long_form(name[-1]) in _SIDES else name[-1]
    if low in ("earth", "ground") and trade.noun_sort(noun) == "load":
        return name, "E"
    if low in _SIDES and (trade.noun_sort(name[-1]) in ("load", "") or len(last) > 1):
        return texts, ""
    if re.fullmatch("[A-Z]", last) and before in ("rail", "bus", "bar", "earth", "ground") and last != "E":
        return texts, ""  # `rail X`
    if (
        sort in ("number", "pin")
        or _TERMINAL.fullmatch(last)
        or (last in "abcde" and name[-1].casefold() in _LETTERED)
    ):
        ground = len(name) == 1 and trade.is_ground(name[0]) and name[0].casefold() != "block"
        return (texts, "") if ground else (name, last)
    coded = CODE.fullmatch(name[-1]) is not None and low not in ("in", "out")
    behind = coded or first == "fuse" or trade.is_noun(name[-1])
    return (name, last) if behind and _is_short(last, name[-1]) else (texts, "")


def _at_a_post(name: list[str], post: str) -> str:
    """The terminal in `fuse panel ACC lug` and `battery negative post`; "" where none stands there."""
    before, device = name[-1], name[-2]
    if trade.long_form(before) in ("positive", "negative"):
        stores = post == "terminal" or trade.long_form(device) in ("battery", "pack", "bank")
        return {"positive": "+", "negative": "-"}[trade.long_form(before)] if stores else ""
    own = before.isupper() and not device.isupper()
    short = _SHORT.fullmatch(before) or _TERMINAL.fullmatch(before)
    return before if short and trade.is_noun(device) and (own or not trade.is_noun(before)) else ""


def _is_short(last: str, before: str) -> bool:
    """Whether a word is a terminal by its letters: `ACC`, `in`; `SW` is one of a coil, else a switch."""
    words = trade.words("terminals", "words")
    if not (_SHORT.fullmatch(last) or last.casefold() in words):
        return False
    if trade.long_form(last) == "switch":
        return before.casefold() == "coil"
    return not trade.is_noun(last) or (last.isupper() and last.casefold() in words)
