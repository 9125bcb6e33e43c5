"""The page pass: what the lines of a page are, and what things on it are called.

The first pass finds headings, tables, colour keys and names; the second (reader.py) reads the statements.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_row, pins_of
from loomtest.harness.notes.headings import ALIASES, find_roles
from loomtest.harness.notes.items import JOINS, Item, items_of
from loomtest.harness.notes.names import Mention, Names
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.tokens import Token, colour_letters, tokens_of

_BULLET = re.compile(r"\s*(?:>>|[*•·‣▪☐☑✓]|-(?=\s)|\[[ xX]?\]|\d{1,3}\)(?=\s))\s*")
_WITH = re.compile(r"(?<!\S)w/ ?(?=\w)", re.IGNORECASE)
_WITH_FUSE = re.compile(
    r"(?<!\S)(?:w/|with)\s*(?:an?\s+)?(?=\d+(?:\.\d+)?\s*a(?:mps?)?\s+(?:in-?line\s+)?(?:fuse|breaker)\b)",
    re.IGNORECASE,
)
_QUOTED = re.compile(r"(?<!\S)[\"“](\w{1,8})[\"”](?![\w\"])")  # `key switch "I"`
_CROSSED = re.compile(
    r"XX[^X]+XX|~~[^~]+~~|--[^-]+--\s*\(crossed out\)|XX\w+(?:\s+\w+)?|(?<=\s)\w+XX", re.IGNORECASE
)


def read_page(lines: Sequence[tuple[int, str]]) -> Page:
    """The page pass over numbered lines."""
    text = "\n".join(line for _, line in lines)
    letters: dict[str, str] = {}
    for _, line in lines:
        letters |= colour_letters(line)
    names = Names()
    for short, long in ALIASES.findall(text):
        if not trade.is_colour(long):
            names.aliases[trade.long_form(short)] = " ".join(trade.long_form(word) for word in long.split())
            names.spelled.setdefault(names.aliases[trade.long_form(short)], (short,))
    for device, short in re.findall(r"\(([a-z]+ [a-z]+),\s*([A-Z]/?[A-Z]{1,3})\)", text):
        names.aliases.setdefault(short.casefold(), " ".join(trade.long_form(word) for word in device.split()))
    page = Page([], names, letters, bool(re.search(r"(?i)\bawg\b|\d\s*ga(?:uge)?\b", text)))
    remarks = bool(re.search(r"(?m)^\s*>>", text))  # `>>` begins a remark; else it is an arrow
    for number, line in lines:
        bare = _CROSSED.sub(lambda m: " " * len(m[0]), line)
        bare = re.sub(r"\s>>", "   ", bare) if remarks else bare
        bare = _WITH.sub("with ", _WITH_FUSE.sub("via ", bare))
        bare = _QUOTED.sub(r"\1", bare)
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
    find_roles(page)
    written = [line.number for line in page.lines if line.role is not Role.BLANK]
    page.title = written[0] if len(written) > 4 else 0
    _collect(page)
    names.settle()
    return page


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
