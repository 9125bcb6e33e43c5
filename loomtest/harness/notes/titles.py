"""What a heading says: its words without what marks it as one, and the device that they name."""

from __future__ import annotations

import re

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import Mention

COUNT = re.compile(
    r"\b\d{1,3}[\s-]*(?:pins?|ways?|holes?|contacts?|blades?|pos|positions?|terminals?|tags?|cores?|flat|pol|cavit\w+)\b",
    re.IGNORECASE,
)
_VEHICLE = {
    "caravan", "trailer", "tractor", "lorry", "truck", "boat", "launch", "genset",
    "generator", "motorcycle", "bike", "scooter", "car", "van", "mower",
}  # fmt: skip
_PLACE = re.compile(
    r"\s(?:behind|under|in the|in|on|at|by|near|left to right|to|from|into|seen|counting|thro'?|through)\s"
    r"|,|;|\s[-–]\s|:|=",
    re.IGNORECASE,
)
_DAY = re.compile(
    r"(?i)(?:mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?$|(?:day|wk|week|page|sheet)$"
)
_OF_A_HEADING = {"pins", "pinout", "wiring", "connections", "terminals", "wires", "end", "contacts"}
_FRAMES = (("[", "]"), ("<", ">"), ("{", "}"), ("(", ")"), ('"', '"'), ("“", "”"), ("«", "»"))
_NUMBERED = re.compile(r"(?:#{1,6}\s*(?=\D)|(?:\d{1,2}|[A-Z])[.)]\s+(?=[^\W\d_]{3})|[-–—*•>+=~_]+\s+)")
_LEADING = re.compile(r"[=*_~]+\s*|[-–—]{2,}\s*")
_TRAILING = re.compile(r"\s*(?:[=*_~]+|[-–—]+>?|:)$")


def undecorated(text: str) -> tuple[str, bool]:
    """A heading's words without number, frame and underline, and whether anything marks it as one."""
    found = text.strip()
    bare = _NUMBERED.sub("", found, count=1) if _NUMBERED.match(found) else found
    marked = bool(re.match(r"#{2,}|[=*_]", found))
    for _ in range(3):
        shorter = _TRAILING.sub("", _LEADING.sub("", bare, count=1) if _LEADING.match(bare) else bare)
        for begin, end in _FRAMES:
            if len(shorter) > 2 and shorter.startswith(begin) and shorter.endswith(end):
                inner = shorter[1:-1]
                shorter = inner if begin not in inner and end not in inner else shorter
        marked = marked or (shorter != bare and bool(shorter.strip()))
        bare = shorter.strip()
    return bare or found, marked


def both_named(text: str) -> tuple[Mention, Mention | None] | None:
    """`X1 to X4`: the connectors of both columns; `X7` alone."""
    code = r"[A-Za-z]{1,6}_?\d{1,3}[A-Za-z]?"
    match = re.fullmatch(rf"({code})(?:(?:\s+(?:to|and)\s+|\s*[-–>]+\s*|\s*&\s*)({code}))?", text.strip())
    if match is None or re.match(r"(?i)(?:gnd|sp|spl|w|s|e)\d", match[1]):
        return None
    return Mention((match[1],)), Mention((match[2],)) if match[2] else None


_ONE_TO_LAST = re.compile(r"(?i)\b1\s*(?:to|-|–|thru|through|\.\.+)\s*\d|\bleft to right\b|\b(?:pins?|cavit)")


def has_cavities(device: Mention, text: str) -> bool:
    """Whether a heading's device is one whose cavities rows are numbered by, or the heading counts them."""
    numbered = any(trade.long_form(word) in trade.words("nouns", "numbered") for word in device.words)
    told = COUNT.search(text) or _ONE_TO_LAST.search(text)
    return bool(numbered or told) or device.sort in ("contact", "code", "joint")


# `engine side of the bulkhead plug`, `front half of plug C`: both halves of a plug have the same cavities
_HALF_OF = re.compile(
    r"(?i)^(?:[\w-]+ ){0,2}(?:side|half|end|face|front|rear|inside|outside|underside|view|rows?)"
    r" of (?:the )?(?=\w)"
)


def device_named(text: str) -> Mention | None:
    """The name of the device that a heading names."""
    text = re.sub(r"^[-*•>+]+\s+|(?i:^(?:(?:so|ok|now|then|next)[.,]?|right[.,])\s+(?=\w+ \w))", "", text)
    text = re.split(r"(?<=[a-z])\.\s", text)[0]
    bare = re.split(r"\s{2,}|\t", re.sub(r"\([^()]*\)", "   ", text).strip(" =*_:"))[0].strip()
    quoted = re.search(r"(?<!\w)[\"“'‘]([A-Z]\w{0,5})[\"”'’](?!\w)", bare)
    if quoted:
        return Mention((quoted[1],))
    bare = re.sub(r"(?i)^(?:from|at|the|back of)\s+(?:the\s+)?|\s+back$", "", bare).strip()
    bare = _HALF_OF.sub("", bare)
    title, colon, named = bare.partition(":")
    said = named.split(",")[0].split()
    if colon and trade.long_form(title) in trade.words("nouns", "numbered") and 0 < len(said) < 4:
        bare, colon = " ".join((*said, title)), ""  # `PLUG: dash`
    elif colon and trade.noun_sort(named.split(",")[0].split()[-1] if named.split(",")[0].split() else ""):
        bare = bare if trade.noun_sort(title.split()[-1] if title.split() else "") else named.strip()
    words = _PLACE.split(bare, maxsplit=1)[0].split()
    count = COUNT.search(" ".join(words))
    if count:
        before = " ".join(words)[: count.start()].split()
        after = " ".join(words)[count.end() :].split()
        if before and before[0].casefold() in _VEHICLE and after:
            words = [*count[0].split(), *after]
        else:
            counted = [] if before or trade.is_noun(after[-1] if after else "") else count[0].split()
            words = (
                before
                if before and (trade.is_noun(before[-1]) or not after)
                else [*counted, *before, *after] or count[0].split()
            )
    words = [word.strip(",.;") for word in words if word.strip(",.;")]
    while len(words) > 1 and words[-1].casefold() in _OF_A_HEADING:
        words = words[:-1]
    if len(words) > 2 and words[-1].casefold() in ("side", "half", "end") and trade.is_noun(words[-3]):
        words = words[:-2]  # `bulkhead plug engine side`
    if words and words[-1].casefold() in ("cable", "side", "wires", "wiring", "lamps", "lights"):
        return None
    if not words or len(words) > 5 or any(trade.is_prose(word) or trade.is_odd(word) for word in words):
        return None
    dated = bool(_DAY.match(words[0])) and len(words) < 4
    return None if dated else Mention(tuple(words))
