"""The page pass: what the lines of a page are, and what things on it are called.

The first pass finds headings, tables, colour keys and names; the second (reader.py) reads the statements.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.bare import size_columns
from loomtest.harness.notes.blocks import place_blocks
from loomtest.harness.notes.cavities import is_row, pins_of
from loomtest.harness.notes.columns import Column, cells_of
from loomtest.harness.notes.corrections import correct
from loomtest.harness.notes.figured import with_figures
from loomtest.harness.notes.headings import ALIASES, find_roles
from loomtest.harness.notes.infer import find_tables
from loomtest.harness.notes.items import JOINS, Item, items_of
from loomtest.harness.notes.lists import written_out_lists
from loomtest.harness.notes.manner import without_manner
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.outline import find_outlines
from loomtest.harness.notes.owned import with_own_terminals
from loomtest.harness.notes.phrases import plain
from loomtest.harness.notes.ranges import with_devices
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.sections import find_sections, find_titles
from loomtest.harness.notes.shortcolours import short_colours
from loomtest.harness.notes.struck import taken_back
from loomtest.harness.notes.tokens import colour_letters, tokens_of

_BULLET = re.compile(
    r"\s*(?:>>|[*•·‣▪☐☑✓]|-(?=\s)(?!\s+(?:to\b|from\b|[-=]*>|[-–—:=]\s))|\[[ xX]?\]"
    r"|(?:\d{1,3}|[A-Z])\)(?=\s))\s*"
)
_WITH = re.compile(r"(?<!\S)(?:w/ ?(?=\d|[a-z]{2})|[Ww]/ (?=\w))")
_WITH_FUSE = re.compile(
    r"(?<!\S)(?:w/|with)\s*(?:an?\s+)?(?=\d+(?:\.\d+)?\s*a(?:mps?)?\s+(?:in-?line\s+)?(?:fuse|breaker)\b)",
    re.IGNORECASE,
)
_QUOTED = re.compile(r"(?<!\S)[\"“](\w{1,8})[\"”](?![\w\"])")  # `key switch "I"`
_CROSSED = re.compile(
    r"XX[^X]+XX|~~[^~]+~~|--[^-]+--\s*\(crossed out\)|XX\w+(?:\s+\w+)?|(?<=\s)\w+XX", re.IGNORECASE
)

_UNIT = re.compile(
    r"\b(?:lengths?|len|lgth)\b[\s.,(\[/]+(?:(?:are|all|is)\s+)*(?:in\s+)?"
    r"(cm|mm|metres|meters|m|inches|in|feet|ft)\b",
    re.IGNORECASE,
)


def read_page(lines: Sequence[tuple[int, str]]) -> Page:
    """The page pass over numbered lines."""
    text = "\n".join(line for _, line in lines)
    letters: dict[str, str] = {}
    for _, line in lines:
        letters |= colour_letters(line)
    letters = {**short_colours(text), **letters}
    names = Names()
    _declared(text, names)
    page = Page(
        [],
        names,
        letters,
        bool(
            re.search(
                r"(?i)\bawg\b|\d\s*ga(?:uge)?\b|\bgauge,? (?:is|then|first|before|after|behind)\b", text
            )
        ),
    )
    if said := _UNIT.search(text):
        page.unit = {"metre": "m", "meter": "m", "inche": "in", "feet": "ft"}.get(
            said[1][:5].casefold(), said[1]
        )
    remarks = bool(re.search(r"(?m)^\s*>>", text))  # `>>` begins a remark; else it is an arrow
    ways = _ways(text)
    for number, line in lines:
        tokens = with_devices(_cavity_codes(taken_back(tokens_of(_bare(line, remarks), letters)), ways))
        tokens = without_manner(plain(tokens))
        tokens = written_out_lists(tokens, names.several)
        while tokens and tokens[0].sort == "gap":
            tokens = tokens[1:]
        page.lines.append(PageLine(number, line, tokens))
    _without_list_numbers(page)
    correct(page)
    with_figures(page.lines)
    size_columns(page.lines, page.gauge)
    names.gauge = page.gauge
    names.twin = all(re.search(rf"(?i)\b{colour}s\b", text) for colour in ("red", "black"))
    _cavity_pairs(page, text)
    with_own_terminals(page.lines)
    find_roles(page)
    find_titles(page)
    find_outlines(page)
    find_tables(page)
    find_sections(page)
    written = [line.number for line in page.lines if line.role is not Role.BLANK]
    page.title = written[0] if len(written) > 4 else 0
    declared = deepcopy(names)
    _named(page)
    if place_blocks(page):  # rows have become wires or cavities: what things are called is told again
        page.names = declared
        _named(page)
    return page


def _bare(line: str, remarks: bool) -> str:
    """A line without what is crossed out, a bullet, quotation marks; what is left keeps its place."""
    bare = _CROSSED.sub(lambda m: " " * len(m[0]), line)
    bare = re.sub(r"\s>>", "   ", bare) if remarks else bare
    bare = _WITH.sub("with ", _WITH_FUSE.sub("via ", bare))
    bare = _QUOTED.sub(r"\1", bare)
    bullet = _BULLET.match(bare)
    if bullet and bullet.end() < len(bare):
        kept = bullet[0].replace(")", ".") if bullet[0].strip()[0].isalnum() else " " * bullet.end()
        bare = kept + bare[bullet.end() :]
    return bare.rstrip()


_SHAPED = re.compile(r"[A-Z]\d+[A-Z]\d+|\d{2,3}[A-Z]|[A-Z]{1,2}\d{3,4}")
FEWEST_LABELS = 3


def _labels(page: Page) -> set[str]:
    """Words in letters and figures that are of one shape: what the wires are numbered with."""
    shapes: dict[str, set[str]] = {}
    for line in page.lines:
        for token in line.tokens:
            if token.sort == "word" and _SHAPED.fullmatch(token.text):
                shape = re.sub(r"\d", "9", re.sub("[A-Z]", "A", token.text))
                shapes.setdefault(shape, set()).add(token.text)
    return {word for words in shapes.values() if len(words) >= FEWEST_LABELS for word in words}


def _named(page: Page) -> None:
    page.names.labels = _labels(page)
    _collect(page)
    page.names.settle()


def _declared(text: str, names: Names) -> None:
    """Short names that the page says in full: `KS = key switch`, `(pump relay, PR)`."""
    for short, long in ALIASES.findall(text):
        if not trade.is_colour(long):
            names.aliases[trade.long_form(short)] = " ".join(trade.long_form(word) for word in long.split())
            if len(short) > 1:
                names.spelled.setdefault(names.aliases[trade.long_form(short)], (short,))
    for device, short in re.findall(r"\(([a-z]+ [a-z]+),\s*([A-Z]/?[A-Z]{1,3})\)", text):
        names.aliases.setdefault(short.casefold(), " ".join(trade.long_form(word) for word in device.split()))


_PAIR = re.compile(r"([A-Za-z]+\d+)-([A-Za-z]\d+)")


def _cavity_pairs(page: Page, text: str) -> None:
    """`A1-B1`: a cavity of A1, or a wire from A1 to B1 where both stand alone in other lines."""
    written = re.findall(rf"\b{_PAIR.pattern}\b", text)
    alone = set(re.findall(r"(?<![\w-])[A-Za-z]+\d+(?![\w-])", text))
    wires = {f"{a}-{b}" for a, b in written if {a, b} <= alone}
    page.names.hyphens = len(written) >= 6 and len(wires) * 2 < len(written)
    if page.names.hyphens or not wires:
        return
    for line in page.lines:
        found: list[Token] = []
        for token in line.tokens:
            pair = _PAIR.fullmatch(token.text) if token.text in wires else None
            if pair is None:
                found.append(token)
                continue
            middle = token.start + len(pair[1])
            found.append(replace(token, text=pair[1], value=pair[1], end=middle))
            found.append(Token("to", "-", "to", middle, middle + 1))
            found.append(replace(token, text=pair[2], value=pair[2], start=middle + 1))
        line.tokens = _cavity_codes(found, _ways(text))


_WAYS = re.compile(r"\b([A-Z]{1,3}) \((\d{1,3})(?:[ -]?(?:ways?|pins?))?\)")
_CODE = re.compile(r"([A-Z]{1,3})(\d{1,3})")


def _ways(text: str) -> dict[str, int]:
    """`console plug CP (12)`: connectors by their letters with how many ways they have.

    Only those whose cavities are written in one word (`CP1`, `CP11`), none beyond the last.
    """
    found = {}
    for code, ways in _WAYS.findall(text):
        written = {int(number) for number in re.findall(rf"\b{code}(\d{{1,3}})\b", text)}
        if written and max(written) <= int(ways):
            found[code] = int(ways)
    return found


def _cavity_codes(tokens: list[Token], ways: Mapping[str, int]) -> list[Token]:
    """`CP11` as the eleventh cavity of CP, where the page says that CP is a connector."""
    if not ways:
        return tokens
    found: list[Token] = []
    for token in tokens:
        code = _CODE.fullmatch(token.text) if token.sort == "word" else None
        if code is None or code[1] not in ways:
            found.append(token)
            continue
        middle = token.start + len(code[1])
        found.append(replace(token, text=code[1], value="", end=middle))
        found.append(Token("number", code[2], "", middle, token.end))
    return found


_NUMBER = re.compile(r"\s*(\d{1,3})\s*[.)]\s+\S")


def _without_list_numbers(page: Page) -> None:
    """Take the numbers off a list of statements: `4. X1 pin 4 goes to lamp pin 2`."""
    listed = [line for line in page.lines if _NUMBER.match(line.text)]
    whole = [line for line in listed if _is_statement(line.tokens[2:], page)]
    if len(whole) < 3 or len(whole) * 2 < len(listed):
        return
    for line in listed:
        line.listed = line.tokens[0].text
        line.tokens = line.tokens[2:]
        while line.tokens and line.tokens[0].sort == "gap":
            line.tokens = line.tokens[1:]


def _is_statement(tokens: list[Token], page: Page) -> bool:
    """Whether the words begin with a point that has a name and a terminal, and a sign of joining follows."""
    joins = [place for place, token in enumerate(tokens) if token.sort in (*JOINS, "dash")]
    first = items_of(tokens[: joins[0]], page.names, page.letters)[:1] if joins else []
    mention = first[0].mention if first else None
    return mention is not None and bool(mention.words and mention.terminal)


def _collect(page: Page) -> None:
    """Count every mention that stands where an end can stand."""
    names = page.names
    for line in page.lines:
        if line.device is not None and line.role in (Role.HEADING, Role.TABLE):
            names.add(line.device, line.number)
            names.headed.add(names.alias(line.device.key))
            if re.search(r"\b(?:fuse|breaker)\b", line.device.key):
                names.fuses = names.alias(line.device.key)
    for line in page.lines:
        for named in (line.device, line.opens):
            words = named.words if named is not None and not named.terminal else ()
            if len(words) == 2 and trade.long_form(words[0]) in ("connector", "plug", "socket"):
                names.connectors.setdefault(words[1], words)
    device: Mention | None = None
    columns: list[Column] = []
    seen: list[tuple[list[Token], int]] = []
    for line in page.lines:
        if line.role in (Role.HEADING, Role.TABLE):
            device, columns = line.device, line.columns
        if line.role not in (Role.LINE,):
            continue
        tokens = line.tokens
        if device is not None and is_row(tokens):
            pins, tokens = pins_of(tokens)
            for pin in pins:
                names.add(Mention(device.words, pin), line.number)
        if any(token.sort in (*JOINS, "dash") for token in line.tokens):
            seen.append((line.tokens, line.number))
        cells = cells_of(line.tokens, columns, line.text, exact=True) if columns else None
        for cell, (role, *_) in zip(cells or [], columns, strict=False):
            if role in ("from", "to") and cell and (named := mention_of(cell)) is not None:
                names.add(named, line.number)
        for item in items_of(tokens, names, page.letters):
            if (
                item.mention is not None
                and (item.mention.sort or item.mention.terminal)
                and item.mention.words
            ):
                names.add(item.mention, line.number)
        _kinds(line.tokens, names)
    for tokens, number in seen:  # names that only the joins beside them show
        _beside_joins(items_of(tokens, names, page.letters), names, number)


def _kinds(tokens: list[Token], names: Names) -> None:
    """Note that `distribution box clamp 1` gives the box clamps."""
    for index in range(1, len(tokens) - 1):
        kind, number = tokens[index], tokens[index + 1]
        if kind.text.casefold() in ("clamp", "screw", "stud") and number.sort == "number":
            start = index
            while start and tokens[start - 1].sort == "word":
                start -= 1
            device = mention_of(tokens[start:index])
            if device is not None and device.sort == "contact" and not device.terminal:
                names.kinds.setdefault(kind.text.casefold(), set()).add(names.alias(device.key))


def _beside_joins(items: list[Item], names: Names, line: int) -> None:
    for index, item in enumerate(items):
        mention = item.mention
        if mention is None or mention.sort or mention.terminal or len(mention.words) > 4:
            continue
        beside = items[max(0, index - 1) : index] + items[index + 1 : index + 2]
        if any(other.sort == "join" and other.value != "dash" for other in beside):
            names.add(mention, line)
