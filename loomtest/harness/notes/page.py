"""The page pass: what the lines of a page are, and what things on it are called.

The first pass finds headings, tables, colour keys and names; the second (reader.py) reads the statements.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_pin, is_row, pins_of
from loomtest.harness.notes.items import ABOUT, JOINS, Item, items_of
from loomtest.harness.notes.names import CODE, Mention, Names
from loomtest.harness.notes.tokens import Token, colour_letters, tokens_of

_COUNT = re.compile(
    r"\b\d{1,3}[\s-]*(?:pins?|ways?|pos|positions?|terminals?|tags?|cores?|flat|cavit\w+)\b", re.IGNORECASE
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
_BULLET = re.compile(r"\s*(?:>>|[*•·‣▪☐☑✓]|-(?=\s)|\[[ xX]?\]|\d{1,3}\)(?=\s))\s*")
_RULE = re.compile(r"[\s\-=_*~#.+|:]*")
_COMMENT = re.compile(r"\s*(?:#(?!\d)|//)")
_CROSSED = re.compile(
    r"XX[^X]+XX|~~[^~]+~~|--[^-]+--\s*\(crossed out\)|XX\w+(?:\s+\w+)?|(?<=\s)\w+XX", re.IGNORECASE
)
_ALIASES = re.compile(r"(?<![\w])([A-Z][A-Z0-9]{0,5})\s*=\s*([a-z][a-z ]{2,40}?)(?=[,;.)\n]|$)")
HEADER = {
    "pin": "pin", "cavity": "pin", "cav": "pin", "way": "pin",
    "terminal": "pin", "term": "pin", "position": "pin",
    "from": "from", "start": "from", "to": "to", "goes to": "to", "destination": "to",
    "dest": "to", "end": "to",
    "colour": "colour", "color": "colour", "col": "colour", "wire colour": "colour", "wire color": "colour",
    "size": "size", "gauge": "gauge", "awg": "gauge", "mm2": "size", "csa": "size", "length": "length",
    "remarks": "note", "remark": "note", "note": "note",
    "notes": "note", "function": "note", "circuit": "note",
    "use": "note", "fuse": "note", "amps": "amps", "wire": "wire", "no": "wire", "connects to": "to",
    "where to": "to",
    "where it goes": "to", "for": "note", "what": "note", "comment": "note", "comments": "note",
}  # fmt: skip


class Role(StrEnum):
    """What a line of the page is."""

    BLANK = "blank"
    RULE = "rule"
    COMMENT = "comment"
    HEADING = "heading"
    TABLE = "table"
    KEY = "key"
    CHANGE_HEADING = "change heading"
    LINE = "line"


@dataclass
class PageLine:
    """A line with its role; a heading's device, a table's columns (what, where it begins)."""

    number: int
    text: str
    tokens: list[Token]
    role: Role = Role.LINE
    device: Mention | None = None
    other: Mention | None = None
    columns: list[tuple[str, int, int]] = field(default_factory=list)
    star: bool = False


@dataclass
class Page:
    """The lines of the notes and what holds on all of them."""

    lines: list[PageLine]
    names: Names
    letters: dict[str, str]
    gauge: bool = False


def read_page(lines: Sequence[tuple[int, str]]) -> Page:
    """The page pass over numbered lines."""
    text = "\n".join(line for _, line in lines)
    letters: dict[str, str] = {}
    for _, line in lines:
        letters |= colour_letters(line)
    names = Names()
    for short, long in _ALIASES.findall(text):
        if not trade.is_colour(long):
            names.aliases[trade.long_form(short)] = " ".join(trade.long_form(word) for word in long.split())
            names.spelled.setdefault(names.aliases[trade.long_form(short)], (short,))
    for device, short in re.findall(r"\(([a-z]+ [a-z]+),\s*([A-Z]/?[A-Z]{1,3})\)", text):
        names.aliases.setdefault(short.casefold(), " ".join(trade.long_form(word) for word in device.split()))
    page = Page([], names, letters, bool(re.search(r"(?i)\bawg\b|\d\s*ga(?:uge)?\b", text)))
    for number, line in lines:
        bare = _CROSSED.sub(lambda m: " " * len(m[0]), line)
        bare = re.sub(r"\s>>", "   ", bare)
        bullet = _BULLET.match(bare)
        if bullet and bullet.end() < len(bare):
            kept = bullet[0].replace(")", ".") if bullet[0].strip()[0].isdigit() else " " * bullet.end()
            bare = kept + bare[bullet.end() :]
        tokens = tokens_of(bare.rstrip(), letters)
        while tokens and tokens[0].sort == "gap":
            tokens = tokens[1:]
        page.lines.append(PageLine(number, line, tokens))
    names.gauge = page.gauge
    names.hyphens = len(re.findall(r"\b[A-Za-z]+\d+-[A-Za-z]\d+\b", text)) >= 6
    _roles(page)
    _collect(page)
    names.settle()
    return page


def _roles(page: Page) -> None:
    lines = page.lines
    for index, line in enumerate(lines):
        text = line.text.strip()
        if not text:
            line.role = Role.BLANK
        elif _RULE.fullmatch(text) and not (text.strip("- ") == "" and len(text) < 2):
            line.role = Role.RULE
        elif _COMMENT.match(line.text):
            line.role = Role.COMMENT
        elif (
            colour_letters(text) and not any(t.sort in JOINS for t in line.tokens if t.text not in ("=",))
        ) or (_ALIASES.search(text) and len(_ALIASES.findall(text)) >= 2):
            line.role = Role.KEY
        elif columns := _columns(line):
            line.role, line.columns = Role.TABLE, columns
            line.device = _title_device(lines[:index])
        elif re.search(r"(?i)\bold\b.*\b(?:new|to)\b", text) and (
            text.endswith(":") and not re.search(r"\d\s*(?:->|=)", text)
        ):
            line.role = Role.CHANGE_HEADING
        else:
            _heading(page, index)


def _columns(line: PageLine) -> list[tuple[str, int, int]]:
    """The columns of a table's header row: what each is, and from where to where it stands."""
    bare = re.sub(r"\([^()]*\)", lambda m: " " * len(m[0]), line.text)
    cells = (
        [(m[0].strip(), m.start(), m.end()) for m in re.finditer(r"[^\t|]+", bare)]
        if re.search(r"[\t|]", bare)
        else [(m[0], m.start(), m.end()) for m in re.finditer(r"\S+(?: \S+)*", bare)]
    )
    named = [(HEADER.get(text.casefold().rstrip(".:"), ""), start, end) for text, start, end in cells if text]
    codes = [text for text, *_ in cells if CODE.fullmatch(text)]
    if len(codes) == 2:  # a column for each of two connectors
        named = [
            (f"@{text}" if text in codes else sort, start, end)
            for (text, *_), (sort, start, end) in zip(cells, named, strict=True)
        ]
    known = [sort for sort, *_ in named if sort]
    ends = sum(sort in ("from", "to", "pin") or sort[0] == "@" for sort in known)
    return named if len(known) >= 2 and len(known) * 2 > len(named) and ends else []


def _title_device(lines: Sequence[PageLine]) -> Mention | None:
    """The connector that a table without a heading belongs to: the last plug that stands above it."""
    for line in reversed(lines):
        named = re.search(r"(?i)\b(?:plug|connector|socket|strip|box|block)\b", line.text)
        if named and line.role in (Role.HEADING, Role.LINE) and (device := _device(line.text)) is not None:
            line.role = Role.HEADING
            return device
    return None


def _heading(page: Page, index: int) -> None:
    """Make the line a heading where it names a device and the lines below begin with its cavities."""
    line = page.lines[index]
    below = next((other for other in page.lines[index + 1 : index + 3] if other.text.strip()), None)
    text = line.text.strip()
    tokens = [token for token in line.tokens if token.sort not in ("note", "gap")]
    marked = text.endswith(":") or bool(re.fullmatch(r"[=*_].*[=*_]", text))
    if not tokens or tokens[0].sort in ABOUT:
        return
    two = _both(text.strip("=*_ ").rstrip(":"))
    if two is not None:
        line.role, line.device, line.other = Role.HEADING, two[0], two[1]
        return
    if (any(token.sort in ABOUT for token in tokens) and not _COUNT.search(text)) or "?" in text:
        return
    inner = [token for token in tokens[:-1] if token.sort == "colon"]
    joins = [token for token in tokens if token.sort in ("arrow", "back", "feeds", "via")]
    if inner or (joins and not (len(joins) == 1 and joins[0].text == "=")):
        return
    first = next(
        (token for token in line.tokens if token.sort not in ("dash", "hash", "gap")), line.tokens[0]
    )
    if (is_row(line.tokens) and is_pin(first, strict=True) and not marked) or any(
        t.sort == "ditto" for t in tokens
    ):
        return
    above = page.lines[index - 1] if index else None
    if (
        above is not None
        and is_row(line.tokens)
        and (above.device is not None or (above.role is Role.LINE and is_row(above.tokens)))
    ):
        return
    inside = [i for i, token in enumerate(line.tokens) if token.sort == "gap"]
    if (
        inside
        and not marked
        and not _COUNT.search(text)
        and any(t.sort in ("word", "number") for t in line.tokens[inside[0] + 1 :])
    ):
        return
    if (
        below is None
        or not is_row(below.tokens)
        or page.names.alias(trade.long_form(below.tokens[0].text)) != trade.long_form(below.tokens[0].text)
    ):
        if marked and len(tokens) <= 8 and text.endswith(":"):
            line.role, line.device = Role.HEADING, _device(text)
        elif (
            text.isupper()
            and len(tokens) <= 4
            and not any(t.sort in (*JOINS, "comma", "semi", "number") for t in tokens)
        ):
            line.role = Role.HEADING
        return
    device = _device(text)
    outside = re.sub(r"\([^()]*\)", " ", text).split()
    if not marked and not _COUNT.search(text) and any(trade.is_prose(word.strip(".,;")) for word in outside):
        return
    if device is not None and (len(tokens) <= 8 or marked or _COUNT.search(text) or "," in text):
        line.role, line.device = Role.HEADING, device
        line.star = any(token.sort == "to" for token in tokens)


def _both(text: str) -> tuple[Mention, Mention | None] | None:
    """`X1 to X4`: the connectors of both columns; `X7` alone."""
    code = r"[A-Za-z]{1,6}_?\d{1,3}[A-Za-z]?"
    match = re.fullmatch(rf"({code})(?:(?:\s+(?:to|and)\s+|\s*[-–>]+\s*|\s*&\s*)({code}))?", text.strip())
    if match is None or re.match(r"(?i)(?:gnd|sp|spl|w|s|e)\d", match[1]):
        return None
    return Mention((match[1],)), Mention((match[2],)) if match[2] else None


def _device(text: str) -> Mention | None:
    """The name of the device that a heading names."""
    bare = re.split(r"\s{2,}|\t", re.sub(r"\([^()]*\)", "   ", text).strip(" =*_:"))[0].strip()
    quoted = re.search(r"[\"“]([A-Z]\w{0,5})[\"”]", bare)
    if quoted:
        return Mention((quoted[1],))
    bare = re.sub(r"(?i)^(?:from|at|the|back of)\s+(?:the\s+)?|\s+back$", "", bare).strip()
    words = _PLACE.split(bare, maxsplit=1)[0].split()
    count = _COUNT.search(" ".join(words))
    if count:
        before = " ".join(words)[: count.start()].split()
        after = " ".join(words)[count.end() :].split()
        if before and before[0].casefold() in _VEHICLE and after:
            words = [*count[0].split(), *after]
        else:
            words = (
                before
                if before and (trade.is_noun(before[-1]) or not after)
                else [*before, *after] or count[0].split()
            )
    words = [word.strip(",.;") for word in words if word.strip(",.;")]
    if words and words[-1].casefold() in ("cable", "side", "wires", "wiring", "lamps", "lights"):
        return None
    if not words or len(words) > 5 or any(trade.is_prose(word) for word in words):
        return None
    return Mention(tuple(words))


def _collect(page: Page) -> None:
    """Count every mention that stands where an end can stand."""
    names = page.names
    for line in page.lines:
        if line.device is not None and line.role in (Role.HEADING, Role.TABLE):
            names.add(line.device)
            names.headed.add(names.alias(line.device.key))
            if re.search(r"\b(?:fuse|breaker)\b", line.device.key):
                names.fuses = names.alias(line.device.key)
    device: Mention | None = None
    seen: list[list[Token]] = []
    for line in page.lines:
        if line.role in (Role.HEADING, Role.TABLE):
            device = line.device
        if line.role not in (Role.LINE,):
            continue
        tokens = line.tokens
        if device is not None and is_row(tokens):
            pins, tokens = pins_of(tokens)
            for pin in pins:
                names.add(Mention(device.words, pin))
        if any(token.sort in (*JOINS, "dash") for token in line.tokens):
            seen.append(line.tokens)
        for item in items_of(tokens, names, page.letters):
            if (
                item.mention is not None
                and (item.mention.sort or item.mention.terminal)
                and item.mention.words
            ):
                names.add(item.mention)
    for tokens in seen:  # names that only the joins beside them show
        _beside_joins(items_of(tokens, names, page.letters), names)


def _beside_joins(items: list[Item], names: Names) -> None:
    for index, item in enumerate(items):
        mention = item.mention
        if mention is None or mention.sort or mention.terminal or len(mention.words) > 4:
            continue
        beside = items[max(0, index - 1) : index] + items[index + 1 : index + 2]
        if any(other.sort == "join" and other.value != "dash" for other in beside):
            names.add(mention)
