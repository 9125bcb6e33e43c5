"""The trade's words, from the data file that names their sources: what is a device, a ground, a remark."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection
from functools import cache
from importlib import resources

from loomtest.harness import colours
from loomtest.harness.colours import SHADES

_NO_PAST = re.compile(r"eed$|(?<!b)bed$|moped|hundred")  # `speed knob`, `flatbed lamp`
_SPLIT = re.compile(r"[\s|]+")


@cache
def _file() -> dict[str, dict[str, str]]:
    text = resources.files("loomtest.data").joinpath("notes", "words.toml").read_text("utf-8")
    return tomllib.loads(text)


@cache
def words(table: str, key: str) -> frozenset[str]:
    """The single words of an entry."""
    return frozenset(_SPLIT.split(_file()[table][key].strip()))


@cache
def ordered(table: str, key: str) -> tuple[str, ...]:
    """The single words of an entry, in their order."""
    return tuple(_SPLIT.split(_file()[table][key].strip()))


@cache
def phrases(table: str, key: str) -> tuple[str, ...]:
    """The phrases of an entry (`a|b c`), longest first."""
    found = {" ".join(text.split()) for text in _file()[table][key].split("|")}
    return tuple(sorted(found - {""}, key=len, reverse=True))


@cache
def pattern(table: str, key: str) -> re.Pattern[str]:
    """Matches one of the phrases of an entry as whole words, in either case."""
    either = "|".join(re.escape(text).replace(r"\ ", r"\s+") for text in phrases(table, key))
    return re.compile(rf"(?<![\w/])(?:{either})(?![\w/])", re.IGNORECASE)


@cache
def joins() -> tuple[tuple[str, re.Pattern[str]], ...]:
    """What joins two ends, each sort with its pattern: `and then goes back down to` is a `to`."""
    said = {key: _either(words("joins", key)) for key in _file()["joins"]}
    lead = rf"(?:from\s+there\s+)?(?:{said['before']}\s+)*"
    been = rf"(?:{said['is']}\s+){{0,2}}"
    verbs = inflected(words("joins", "verbs")) - words("joins", "plurals")
    forms = _either(verbs | words("joins", "irregular"))
    verb = rf"(?:{been}(?:{forms}\s+){{0,2}}|{been.replace('0', '1')}{said['behind_is']}\s+)"
    adverbs = rf"(?:{said['adverbs']}\s+){{0,4}}"
    to = (
        rf"{lead}{verb}{adverbs}{said['to']}"
        rf"|{lead}{been}{said['at']}\s+{adverbs}{said['at_what']}"
        rf"|{lead}(?:earth|ground)s?\s+{adverbs}(?:on|at|under|onto)(?!\s+(?:its|their)\b)"
        rf"|{lead}{said['with_into']}\s+{adverbs}in\s?to"
        rf"|{lead}(?:{said['alone']}|then(?!\s+(?:has|have|had|is|are)\b))|connects with"
    )
    fed = _either(inflected(words("joins", "from")) | words("joins", "from_words"))
    source = (
        rf"{lead}{been}(?:{fed}\s+){{0,5}}{adverbs}(?:{said['out_of']}(?:\s+of)?|out\s+of)"
        rf"|{lead}{been}{said['by']}\s+{adverbs}by"
        rf"|{lead}(?:starts|begins|originates|picks\s+up)\s+(?:at\b)?"
        rf"|{lead}picks\s+up\s+(?:its|the|a)\s+(?:feed|supply|power|live)\s+(?:at|from|off)"
    )
    found = [("feeds", pattern("joins", "feeds")), ("via", pattern("joins", "via"))]
    return (
        *found,
        ("from", re.compile(rf"(?<![\w/])(?:{source})(?![\w/])")),
        ("to", re.compile(rf"(?<![\w/])(?:{to})(?![\w/])")),
    )


def _either(forms: Collection[str]) -> str:
    """A pattern of any of the words, the longest first; words that begin alike are told apart once."""
    found: dict[str, list[str]] = {}
    for form in forms:
        if form:
            found.setdefault(form[0], []).append(form[1:])
    branches = [
        re.escape(letter) + (_either(rest) if any(rest) else "") for letter, rest in sorted(found.items())
    ]
    end = "?" if "" in forms else ""
    return f"(?:{'|'.join(branches)}){end}"


@cache
def long_form(word: str) -> str:
    """A word written out, in lower case: `sw` is switch, `j.box` junction box; else the word itself."""
    plain = word.casefold().replace(".", "").replace("'", "").replace("’", "")
    plain = _file()["spelling"].get(plain, plain)
    return _file()["long"].get(plain, plain)


@cache
def is_noun(word: str) -> bool:
    """Whether the word (or its long form) is a device, a ground or a joint."""
    return noun_sort(word) != ""


@cache
def noun_sort(word: str) -> str:
    """`load`, `contact`, `ground` or `joint`; "" for a word that is no device."""
    last = long_form(word).split()[-1:] or [""]
    for sort in ("joint", "load", "contact", "ground"):
        for form in (last[0], last[0].removesuffix("s")):
            if form in words("nouns", sort):
                return sort
    return ""


def one_bus(parts: list[str]) -> str:
    """`negative bus` for `neg bus bar`, `main -ve bar`; "" for any other name (`engine neg bus`)."""
    sign = next((part for part in parts if part in ("positive", "negative")), "")
    rest = set(parts) - {sign}
    if sign and rest & {"bus", "bar", "rail", "strip"} and rest <= {"bus", "bar", "main", "rail", "strip"}:
        return f"{sign} bus"
    return ""


_OF_AN_ENGINE_BLOCK = {"engine", "motor", "cylinder", "earth", "ground", "negative", "block"}


_SHARED = {"strip", "bar", "rail", "post", "stud", "point", "block", "terminal", "lug"}


def is_ground(name: str) -> bool:
    """Whether a device of this name is a ground: `scuttle earth bolt`, `neg bus`, `E1`, `gearbox bolt`."""
    parts = [long_form(part) for part in re.split(r"[\s_]+", name) if part]
    if "block" in parts and not set(parts) <= _OF_AN_ENGINE_BLOCK:
        parts = [part for part in parts if part != "block"]  # `tag block 1` is no engine's
    if any(part in words("ground", "words") for part in parts):
        return True
    if one_bus(parts) == "negative bus" or (parts[:1] == ["negative"] and parts[-1] in _SHARED):
        return True
    if re.fullmatch(r"(?:E|GND|G)\d*", name) or name.casefold() in ("negative bus", "neg bus", "neg"):
        return True
    return bool(parts) and (parts[-1] in ("bolt", "bracket") or parts[-2:] == ["negative", "bus"])


@cache
def is_colour(text: str) -> bool:
    """Whether the text is a colour in words or in letters of two (no single letters)."""
    return len(text) > 1 and text.casefold() not in SHADES and colours.is_colour(text)


@cache
def is_colours(text: str) -> bool:
    """`reds`, `blacks`: wires by their colour."""
    return (
        len(text) > 3
        and text[-1] in "sS"
        and not is_colour(text)
        and is_colour(text[:-1])
        and not is_noun(text)
    )


@cache
def is_prose(word: str) -> bool:
    """Whether the word belongs to a sentence rather than to a name."""
    return word.casefold() in words("prose", "words")


@cache
def is_filler(word: str) -> bool:
    """Whether the word says nothing of which ends are joined: `thick`, `the`, `about`."""
    return word.casefold() in words("prose", "fill") and not (len(word) == 1 and word.isupper())


@cache
def spelled(word: str) -> str:
    """The word with a slip of the pen put right, and a shortening by strokes (`c/van`) written out."""
    plain = word.casefold().replace(".", "").replace("'", "")
    right = _file()["spelling"].get(plain, "")
    if not right and "/" in plain:
        right = _file()["long"].get(plain, "")
        right = "" if len(right) <= 2 else right
    return right.replace(" ", "_") or word


@cache
def is_odd(word: str) -> bool:
    """Whether the word belongs to no device's name: an article, a pronoun, a verb with its ending."""
    low = re.sub(r"['’](?:s|re|ve|ll|d)$", "", word.casefold().strip(".,;"))
    if len(word) == 1 and word.isupper():
        return False  # `splice A`
    if low in words("english", "function") or low in words("english", "irregular"):
        return not is_noun(word) and long_form(word) == low
    if is_noun(word) or long_form(word) != low:
        return False
    if low in ordered("english", "numbers")[2:]:
        return True
    if len(low) > 4 and low.endswith("ed") and not is_colour(low) and not _NO_PAST.search(low):
        return True
    return low in _inflected()


@cache
def _inflected() -> frozenset[str]:
    return inflected(words("english", "verbs"))


def inflected(verbs: Collection[str]) -> frozenset[str]:
    """The forms of verbs that have an ending: `goes`, `tapped`, `feeding`."""
    found = set[str]()
    for verb in verbs:
        last = verb[-1]
        stems = {verb, verb + last, verb.removesuffix("e"), verb[:-1] + "i" if last == "y" else verb}
        found |= {stem + end for stem in stems for end in ("s", "es", "ed", "ing")}
    return frozenset(found) - frozenset(verbs)
