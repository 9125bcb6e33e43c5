"""The words of a notepad line: points, arrows, colours, sizes and ditto marks, told apart from left to right.

How people write wires down is nobody's standard; the spellings here are common practice. What has two
meanings (a lone `B`, `1.5 mm`) is no word at all: it is told, and never guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from loomtest.harness.colours import FILLERS, SHADES, colour_parts, colour_words

Sort = Literal[
    "point", "cavity", "name", "arrow", "back", "colour", "size", "length", "amps", "kind", "circuit", "note",
    "ditto", "gap", "and", "unread",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Token:
    """A word: its sort, what it means in our own spelling, and where it stands in the line."""

    sort: Sort
    value: str
    start: int
    end: int


_NAME = r"[^\W\d]\w{0,39}"
_CAVITY = r"(?:\d{1,4}(?:[A-Za-z](?!\w))?|[A-Za-z]\d{0,3})(?![\w²]|[.,]\d)"
_PIN = r"(?:pins?|cav(?:ity)?\.?|way|terminal|pos(?:ition)?\.?|no\.?|number|#(?=\d))"
# A number before one of these is a measure and no cavity.
_UNIT = r"(?i:mm|cm|m|in|inch|inches|ft|feet|foot|awg|ga|gauge|sq|qmm|a|amps?|ma)"
_BARE_CAVITY = rf"(?:\d{{1,4}}|[A-Za-z]\d{{1,3}}|[A-Z](?!\w))(?![\w²'\"]|[.,]\d|\s*{_UNIT}\b(?!\s*\d)(?!:))"

# A ground, a splice or a battery clamp is one terminal; a number behind it is part of its name.
SINGLE = re.compile(
    r"(?:gnd|ground|earth|chassis|mass|neg|negative|body|frame|sp|spl|splice|joint|stud|batt|battery)_?\d*[+-]?",
    re.IGNORECASE,
)
_SINGLE_NUMBER = re.compile(
    r"(gnd|ground|earth|chassis|mass|neg|negative|sp|spl|splice|joint|stud)"
    rf"(?:\s+(?:{_PIN}\s*)?|\s*#)(\d{{1,3}})(?![.,]\w|[\w'\"]|\s*{_UNIT}\b)",
    re.IGNORECASE,
)
_POINT = re.compile(
    rf"({_NAME})(?!\w)(?:\s*:(?=\w)|:\s+(?=\d)|[-./](?=\d|[A-Za-z](?![\w:]))|\s*,?\s*{_PIN}\s*(?=[\w])|\()({_CAVITY}|(?<=:)\w+)\)?",
    re.IGNORECASE,
)
_POINT_BY_SPACE = re.compile(rf"({_NAME})(?:\s+|\s*[,\t|]\s*)({_BARE_CAVITY})")
# `X1-A1` may be a cavity, and may be a wire from X1 to A1.
_GLUED = re.compile(rf"({_NAME})-[A-Za-z]\d{{1,3}}(?![\w:])")
_PIN_OF = re.compile(
    rf"{_PIN}\s*#?({_CAVITY})\s+(?:(?:of|on|in)\s+)?(?:connector\s+|plug\s+)?({_NAME})", re.IGNORECASE
)
_CAVITY_ALONE = re.compile(
    rf"(?:{_PIN}\s*({_CAVITY})|(\d{{1,4}}[A-Za-z]?|[A-Za-z](?!\w))(?![\w²'\"]|[.,]\d|\s*{_UNIT}\b(?!\s*\d)))",
    re.IGNORECASE,
)
_NAME_ALONE = re.compile(rf"{_NAME}[+-]?(?!\w)")

_ARROW = re.compile(
    r"<[-=~–—]*>|↔|⇔|<?[-=~–—―.·]*(?:[>»→⇒⟶➔➜➝⇨►▶])+|(?:-{1,20}|–+|—+|―+|={1,20}|~+|\.{2,}|…+)(?=\s|\w|$)"
)
_BACK = re.compile(r"<[-=~–—]+|←|⇐|⟵|<(?=\s|\w)")
_ARROW_WORDS = re.compile(
    r"(?:(?:that\s+)?(?:goes|runs|going|joins|joined|connected|connects|wired)\s+(?:in)?to|into|to|joins)(?![\w:])",
    re.IGNORECASE,
)
_DITTO = re.compile(
    r"-+\s*[\"”“〃]\s*-+|[\"”“″〃״]|''|(?<!\S),,(?!\S)|(?:ditto|do\.?|same)(?![\w:])", re.IGNORECASE
)
_SIZE = re.compile(
    r"(\d{1,3}(?:[.,]\d{1,3})?)\s*(?:mm2|mm²|mm\^2|sq\.?\s*mm|sqmm|qmm|sq)(?!\w)", re.IGNORECASE
)
_GAUGE = re.compile(
    r"awg\s*#?\s*(\d{1,2}/0|0{1,4}|\d{1,2})(?!\w)|#?\s*(\d{1,2}/0|0{1,4}|\d{1,2})\s*(?:awg|ga\.?|gauge)(?!\w)",
    re.IGNORECASE,
)
_FEET_INCHES = re.compile(r"(\d{1,3})\s*(?:ft|')\s*(\d{1,2}(?:\.\d+)?)\s*(?:in|\"|'')(?!\w)", re.IGNORECASE)
_LENGTH = re.compile(
    r"(\d{1,5}(?:[.,]\d{1,4})?)\s*(?:(mm)|(cm)|(m|metres?|meters?)|(in|inch|inches|(?<=\d)(?:\"|''|″))|(ft|feet|foot|(?<=\d)['′]))(?![\w²^'\"])",
    re.IGNORECASE,
)
_LENGTH_UNITS = ("mm", "cm", "m", "in", "ft")
_AMPS = re.compile(r"(\d{1,3}(?:[.,]\d{1,3})?)\s*(ma|a|amps?|amperes?)(?!\w)", re.IGNORECASE)
_KINDS = {kind: kind for kind in ("fuse", "resistor", "lamp", "coil", "diode")} | {"bulb": "lamp"}
_NOISE = re.compile(
    r"(?:connector|conn|plug|socket|from|wire|cable|lead|the|colou?r|size|length|long|in)(?![\w:+-])",
    re.IGNORECASE,
)
_CIRCUIT = re.compile(r"for\s+(?:the\s+)?([^,;(\[\t|#]+?)\s*(?=[,;(\[\t|#]|$)", re.IGNORECASE)
_NOTE = re.compile(r"\(([^()]*)\)|\[([^\[\]]*)\]")
_COMMENT = re.compile(r"(?:#(?!\d)|//)\s*(.*)$")
_WORD = re.compile(r"[^\W\d_]+")
_REST = re.compile(r"\S+")


def tokens_of(line: str) -> list[Token]:
    """The line's words; what is none stands as `unread`, with its text."""
    found: list[Token] = []
    place = 0
    while place < len(line):
        gap = re.compile(r"[\s,;|:]+").match(line, place)
        if gap and not _DITTO.match(line, place):
            if re.search(r"[,;|\t]|\s\s", gap[0]):
                found.append(Token("gap", gap[0], place, gap.end()))
            place = gap.end()
            continue
        after_arrow = bool(found) and found[-1].sort in ("arrow", "back")
        begins = all(token.sort == "gap" for token in found)
        if line[place] == "-" and (after_arrow or begins) and line[place + 1 : place + 2].isalpha():
            place += 1  # the sign that IEC 81346 puts before a product's name
            continue
        token = _token(line, place)
        if token is not None:
            if token.value or token.sort != "unread":
                found.append(token)
            place = token.end
    return found


def _token(line: str, at: int) -> Token:
    """The word that begins at `at`; an `unread` one without text is passed over."""
    for reader in (_remark, _arrow, _measure, _point, _meaning, _loose):
        token = reader(line, at)
        if token is not None:
            return token
    rest = _REST.match(line, at)
    assert rest is not None
    return Token("unread", rest[0].rstrip(",;"), at, at + max(1, len(rest[0].rstrip(",;"))))


def _remark(line: str, at: int) -> Token | None:
    if found := _NOTE.match(line, at):
        if re.fullmatch(_CAVITY, found[1] or ""):
            return None
        inside = (found[1] or found[2] or "").strip()
        words = tokens_of(inside)
        if len(words) == 1 and words[0].sort in ("colour", "size", "length", "amps"):
            return Token(words[0].sort, words[0].value, at, found.end())  # `(red)` is no mere remark
        return Token("note", inside, at, found.end())
    if found := _COMMENT.match(line, at):
        return Token("note", found[1].strip(), at, found.end())
    if found := _CIRCUIT.match(line, at):
        return Token("circuit", found[1].strip(), at, found.end())
    return None


def _arrow(line: str, at: int) -> Token | None:
    if found := _DITTO.match(line, at):
        return Token("ditto", found[0], at, found.end())
    if found := _ARROW_WORDS.match(line, at) or _ARROW.match(line, at):
        return Token("arrow", found[0], at, found.end())
    if found := _BACK.match(line, at):
        return Token("back", found[0], at, found.end())
    if line[at] in "+&" or re.match(r"and\b", line[at:], re.IGNORECASE):
        return Token("and", line[at], at, at + (1 if line[at] in "+&" else 3))
    return None


def _measure(line: str, at: int) -> Token | None:
    if found := _GAUGE.match(line, at):
        return Token("size", f"AWG {found[1] or found[2]}", at, found.end())
    if found := _SIZE.match(line, at):
        return Token("size", _number(found[1]), at, found.end())
    if found := _FEET_INCHES.match(line, at):
        return Token("length", f"{found[1]} ft {_number(found[2])} in", at, found.end())
    if found := _LENGTH.match(line, at):
        unit = next(unit for unit, text in zip(_LENGTH_UNITS, found.groups()[1:], strict=True) if text)
        number = _number(found[1])
        if unit == "mm" and float(number) < 20:  # said of a wire, it is more likely a size
            return Token("unread", found[0], at, found.end())
        return Token("length", f"{number} {unit}", at, found.end())
    if found := _AMPS.match(line, at):
        unit = "mA" if found[2].casefold() == "ma" else "A"
        return Token("amps", f"{_number(found[1])} {unit}", at, found.end())
    return None


def _number(text: str) -> str:
    return text.replace(",", ".")


def _point(line: str, at: int) -> Token | None:
    """A connector with its cavity, where the cavity is marked as one; a numbered ground or splice."""
    found = _PIN_OF.match(line, at)
    if found and not _is_word(found[2]) and (" of " in found[0] or re.search(r"\d", found[2])):
        return Token("point", f"{found[2]}:{found[1]}", at, found.end())
    if found := re.compile(r"(batt|battery) ?\+(?!\w)", re.IGNORECASE).match(line, at):
        return Token("name", found[1] + "+", at, found.end())
    found = _GLUED.match(line, at)
    if found and not SINGLE.fullmatch(found[1]) and not _is_word(found[1]):
        return Token("unread", found[0], at, found.end())
    if found := _SINGLE_NUMBER.match(line, at):
        return Token("name", found[1] + found[2], at, found.end())
    found = _POINT.match(line, at)
    if found and not _is_word(found[1]) and not SINGLE.fullmatch(found[1]):
        sign = line[found.end(1)]
        if sign not in "-./" or found[2][0].isdigit() or re.search(r"\d", found[1]):  # n/c is no point
            return Token("point", f"{found[1]}:{found[2]}", at, found.end())
    return None


def _meaning(line: str, at: int) -> Token | None:
    """A colour in one or more words, a part, or a word that says nothing."""
    word = _WORD.match(line, at)
    if word is None or re.match(r"[\d_:]", line[word.end() : word.end() + 1]):
        return None
    if word[0].casefold() in _KINDS:
        return Token("kind", _KINDS[word[0].casefold()], at, word.end())
    if _NOISE.match(line, at):
        return Token("unread", "", at, word.end())
    end = _colour_end(line, at)
    return Token("colour", colour_words(line[at:end]).replace("-", "/"), at, end) if end else None


def _colour_end(line: str, at: int) -> int:
    """Where the longest run of words that is a colour ends; 0 where there is none."""
    end, place = 0, at
    while found := re.compile(r"[^\W\d_]+").match(line, place):
        word = found[0].casefold()
        closes = end and word in ("stripe", "striped", "tracer", "trace")
        if closes or (_is_colour(line[at : found.end()]) and word not in FILLERS):
            end = found.end()
        elif word not in FILLERS and word not in SHADES:
            break
        between = re.compile(r"\s?[/+&-]?\s?").match(line, found.end())
        assert between is not None
        if between.end() == found.end():
            break
        place = between.end()
    follows = line[end : end + 1]
    return 0 if end and (follows == ":" and line[end + 1 : end + 2].strip()) else end


def _is_colour(text: str) -> bool:
    if len(text) == 1:
        return False
    try:
        return bool(colour_parts(text.replace("&", "/")))
    except ValueError:
        return False


def _is_word(name: str) -> bool:
    """True for what is a colour, a part or a filling word rather than a connector's name."""
    return name.casefold() in _KINDS or _is_colour(name) or bool(_NOISE.fullmatch(name))


def _is_named(line: str, found: re.Match[str]) -> bool:
    """True for `X1 A4`; not for `W3 X1 1`, `horn X4` or `X1:1 X4:3`, where the second is a connector."""
    return bool(re.search(r"\d", found[1])) and not (
        _POINT.match(line, found.start(2)) or re.match(r"\w+\s+\d", line[found.start(2) :])
    )


def _loose(line: str, at: int) -> Token | None:
    """A connector with a cavity behind a space; a cavity alone; a name alone."""
    found = _POINT_BY_SPACE.match(line, at)
    if found and not SINGLE.fullmatch(found[1]) and (found[2].isdigit() or _is_named(line, found)):
        return Token("point", f"{found[1]}:{found[2]}", at, found.end())
    if found := _CAVITY_ALONE.match(line, at):
        return Token("cavity", found[1] or found[2], at, found.end())
    if found := _NAME_ALONE.match(line, at):
        return Token("name", found[0], at, found.end())
    return None
