"""What the lines of a page are: headings, tables, keys, comments; the rest are lines to read."""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_pin, is_row, without_lead
from loomtest.harness.notes.columns import by_content, header
from loomtest.harness.notes.items import ABOUT, JOINS, items_of
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.titles import COUNT, both_named, device_named, has_cavities, undecorated
from loomtest.harness.notes.tokens import colour_letters, tokens_of
from loomtest.harness.notes.twosided import by_connector, two_sided

_KEYED = re.compile(r"(?<![\w-])[A-Z]{1,3}\s*=\s*[A-Za-z]{3,}")  # `S = switch  DS = lamp  K = relay`
_RULE = re.compile(r"[\s\-=_*~#.+|:]*")
_COMMENT = re.compile(r"\s*(?:#(?!\d)|//)")
LISTED = re.compile(r"\s*(?:>>|[*•·‣▪☐☑✓+]|-(?=\s))\s*\S|\s{2,}\S|\t\S")  # a line of a list below its heading
ALIASES = re.compile(r"(?<![\w])([A-Z][A-Z0-9]{0,5})\s*=\s*([a-z][a-z ]{2,40}?)(?=[,;.)\n]|$)")


def find_roles(page: Page) -> None:
    """Set the role of each line of the page, a heading's device, a table's columns."""
    lines = page.lines
    for index, line in enumerate(lines):
        text = line.text.strip()
        if not text:
            line.role = Role.BLANK
        elif _RULE.fullmatch(text) and not (text.strip("- ") == "" and len(text) < 2):
            line.role = Role.RULE
        elif _COMMENT.match(line.text) and not header(line.text):
            line.role = Role.COMMENT
            below = _below(lines, index)[0]
            if text.startswith("#") and below is not None and is_row(below.tokens):
                _heading(page, index)  # `## Dash plug` above its rows
        elif (
            len(_KEYED.findall(text)) > 2
            or (
                colour_letters(text) and not any(t.sort in JOINS for t in line.tokens if t.text not in ("=",))
            )
            or (ALIASES.search(text) and len(ALIASES.findall(text)) >= 2)
        ):
            line.role = Role.KEY
        elif _heads_a_change(lines, index):
            line.role = Role.CHANGE_HEADING
        elif (sided := two_sided(line.text))[0]:
            line.role, line.columns = Role.TABLE, sided[0]
            line.device = device_named(sided[1]) if sided[1] else _sided_device(lines[:index])
        elif columns := by_connector(line.text):
            line.role, line.columns = Role.TABLE, columns
        elif columns := by_content(header(line.text), [row.tokens for row in lines[index + 1 : index + 6]]):
            line.role, line.columns = Role.TABLE, columns
            line.device = _in_the_header(line) or _title_device(lines[:index])
        else:
            _heading(page, index)


_OLD_AND_NEW = re.compile(r"(?i)\bold\b.*\b(?:new|to)\b|\bnew\b.*\b(?:old|was)\b")
_CAVITY_FOR_CAVITY = re.compile(r"\w{1,3}\s*(?:->|→|=+>?|>|-|to|is now|becomes)\s*\w{1,3}\b(?!\s+\w{4})")


def _heads_a_change(lines: Sequence[PageLine], index: int) -> bool:
    """`old plug to new plug:`, or `old | new` right above rows of a cavity for a cavity."""
    text = lines[index].text.strip()
    if not _OLD_AND_NEW.search(text) or re.search(r"\d\s*(?:->|=)", text):
        return False
    below = lines[index + 1].text.strip() if index + 1 < len(lines) else ""
    return text.endswith(":") or bool(_CAVITY_FOR_CAVITY.match(below))


def _in_the_header(line: PageLine) -> Mention | None:
    """The connector of `Plug A pin | colour | to`, `pin (dash plug)   wire   where to`; None for `pin`."""
    sort, start, end = line.columns[0]
    cell = line.text[start:end].strip(" |\t")
    within = re.match(r"\s*\(([^()]*)\)", line.text[end:])
    for said in (
        within[1] if within else "",
        re.sub(r"(?i)\s*\b(?:pins?|no\.?|nr\.?|clamp|screw|terminal|way|cavity|tag)$", "", cell),
    ):
        device = device_named(said) if said and sort == "pin" else None
        if device is not None and (COUNT.search(said) or device.sort in ("contact", "code")):
            return device
    return None


def _title_device(lines: Sequence[PageLine]) -> Mention | None:
    """The connector that a table without a heading belongs to: the last plug that stands above it."""
    above = next((line for line in reversed(lines) if line.text.strip()), None)
    if above is not None and above.role is Role.HEADING and above.device is not None:
        return above.device
    for line in reversed(lines):
        named = re.search(r"(?i)\b(?:plug|connector|socket|strip|box|block)\b", line.text)
        if (
            named
            and line.role in (Role.HEADING, Role.LINE)
            and (device := device_named(line.text)) is not None
        ):
            line.role = Role.HEADING
            return device
    return None


def _sided_device(lines: Sequence[PageLine]) -> Mention | None:
    """The connector whose heading stands right above a table of its two sides."""
    above = next((line for line in reversed(lines) if line.text.strip()), None)
    if above is None:
        return None
    device = above.device or device_named(above.text)
    if device is not None and above.role is Role.LINE:
        if not device.sort and not COUNT.search(above.text):
            return None
        above.role, above.device = Role.HEADING, device
    return device


def _below(lines: Sequence[PageLine], index: int) -> tuple[PageLine | None, bool]:
    """The line below a heading, past the rule and the blank line between; whether a rule underlines it."""
    ruled = False
    for other in lines[index + 1 : index + 4]:
        text = other.text.strip()
        if text and _RULE.fullmatch(text):
            ruled = True
        elif text:
            return other, ruled
    return None, ruled


def _goes_on(page: Page, index: int) -> bool:
    """Whether a line begins with the number behind that of the line above, or before that of the next."""
    around = [*page.lines[max(0, index - 1) : index], *page.lines[index + 1 : index + 2]]
    own = next(iter(page.lines[index].tokens), None)
    if own is None or own.sort not in ("number", "word") or len(own.text) > 2:
        return False
    steps = [(other.number - page.lines[index].number, next(iter(other.tokens), None)) for other in around]
    return any(token is not None and _order(token.text) - _order(own.text) == step for step, token in steps)


def _order(text: str) -> int:
    return int(text) if text.isdecimal() else ord(text) + 1000 if len(text) == 1 else -10


def _words(page: Page, index: int) -> tuple[str, bool]:
    """A line's text without what marks it as a heading, and whether anything does."""
    text, marked = undecorated(page.lines[index].text)
    written = page.lines[index].text.strip()
    single = [token for token in tokens_of(text, {}) if token.sort != "note"]
    bare = len(single) == 1 and is_pin(single[0], strict=True) and written[0] == text[0]
    if text != written and ((bare and not written.endswith(":")) or _goes_on(page, index)):
        return written, False  # `B6  ---`, and `5. Horn` between a 4 and a 6
    return text, marked


def _heading(page: Page, index: int) -> None:
    """Make the line a heading where it names a device and the lines below begin with its cavities."""
    line = page.lines[index]
    below, underlined = _below(page.lines, index)
    text, marked = _words(page, index)
    whole = line.tokens if text == line.text.strip() else tokens_of(text, page.letters)
    tokens = [token for token in whole if token.sort not in ("note", "gap")]
    if not tokens or tokens[0].sort in ABOUT:
        return
    two = both_named(re.sub(r"\s*\([^()]*\)", "", text))
    pair = len(line.tokens) > 1 and (line.tokens[1].sort, line.tokens[1].text) == ("to", "-")
    if two is not None and not pair:  # `A1-B1`: a wire between two cavities
        line.role, line.device, line.other = Role.HEADING, two[0], two[1]
        return
    table = below is not None and bool(header(below.text))
    rows = below is not None and (table or (bool(COUNT.search(text)) and is_row(below.tokens)))
    if rows and (device := _coded(page, line)) is not None:
        line.role, line.device = Role.HEADING, device
        return
    line.opens = _opened(page, index)
    if (device := _introduced(page, index)) is not None:
        line.role, line.device = Role.HEADING, device
        return
    if (hub := _hub(page.lines, index)) is not None:
        line.role, line.device, line.hub = Role.HEADING, hub, hub
        return
    if (fuse := _fuse(page, index)) is not None:
        line.role, line.hub = Role.HEADING, fuse
        return
    if (any(token.sort in ABOUT for token in tokens) and not COUNT.search(text)) or "?" in text:
        return
    if not _is_no_heading(page, index, whole, text, marked or underlined):
        _above_rows(page, index, below, text, tokens, marked or underlined)


def _above_rows(
    page: Page, index: int, below: PageLine | None, text: str, tokens: Sequence[Token], marked: bool
) -> None:
    """Make the line the heading of the rows below it, if these begin with cavities of what it names."""
    line = page.lines[index]
    first = trade.long_form(below.tokens[0].text) if below is not None and below.tokens else ""
    if below is None or not is_row(below.tokens) or page.names.alias(first) != first:
        signs = (*JOINS, "comma", "semi", "number")
        if line.text.rstrip().endswith(":") and len(tokens) <= 8:
            line.role, line.device = Role.HEADING, device_named(text)
        elif text.isupper() and len(tokens) <= 4 and not any(token.sort in signs for token in tokens):
            line.role = Role.HEADING
        return
    told = marked or bool(COUNT.search(text))
    if not told and any(token.sort == "to" for token in tokens[1:-1]):
        beside = [other for other in page.lines[index + 1 : index + 4] if other.tokens]
        apart = below.number > line.number + 1
        if apart or sum(is_row(other.tokens) for other in beside) < 2:
            return  # a statement, and one row is no evidence
    device = device_named(text)
    outside = re.split(r"[,;:]|\s[-–]\s", re.sub(r"\([^()]*\)", " ", text))[0].split()
    if device is None or (not told and any(trade.is_prose(word.strip(".,;")) for word in outside)):
        return
    coded = re.fullmatch(r"([A-Z]{1,3})\d{1,3}", below.tokens[0].text)
    nameless = not device.sort and not COUNT.search(text)
    if coded and nameless and device.words[-1].upper() != coded[1]:
        return  # `LOOSE PARTS` above `K1 …`, `F1 …`: these are devices, and no cavities of it
    if told or len(tokens) <= 8 or "," in text:
        line.role, line.device = Role.HEADING, device
        line.weak = not has_cavities(device, text)
        line.star = any(token.sort == "to" for token in tokens)


_INTRODUCES = re.compile(r"(?i)^(?:the\s+)?([\w/'-]+(?:\s[\w/'-]+){0,3}?)\s*(?:\bis\b|\bhas\b|=|:)\s+")


def _introduced(page: Page, index: int) -> Mention | None:
    """The connector of `Firewall connector is an 8 cavity …`, `BH = plug in the bulkhead, 12 holes`."""
    text = page.lines[index].text.strip()
    match = _INTRODUCES.match(text)
    if match is None or not COUNT.search(text) or is_pin(page.lines[index].tokens[0], strict=True):
        return None
    below = [other for other in page.lines[index + 1 : index + 6] if other.text.strip()]
    if sum(bool(other.tokens) and is_pin(other.tokens[0], strict=True) for other in below) < 2:
        return None
    words = tuple(match[1].split())
    kind = len(words) == 1 and trade.long_form(words[0]) in trade.words("nouns", "numbered")
    if any(trade.is_odd(word) for word in words) or (kind and ":" in match[0]):
        return None  # behind `Plug:` stands its name
    named = Mention(words)
    return named if named.sort or (len(words) == 1 and words[0].isupper()) else None


def _opened(page: Page, index: int) -> Mention | None:
    """The box of `key 2 feeds the little fuse box, 4 ways`, where its ways stand in the lines below."""
    line = page.lines[index]
    count = COUNT.search(line.text)
    below = [without_lead(other.tokens) for other in page.lines[index + 1 : index + 4] if other.tokens]
    if count is None or sum(bool(tokens) and is_pin(tokens[0], strict=True) for tokens in below) < 2:
        return None
    tokens = [token for token in line.tokens if token.end <= count.start()]
    named = [item.mention for item in items_of(tokens, page.names, page.letters) if item.mention is not None]
    return named[-1] if named and named[-1].sort in ("contact", "code") and not named[-1].terminal else None


def _is_no_heading(page: Page, index: int, whole: Sequence[Token], text: str, marked: bool) -> bool:
    """Whether the line is a statement or a row: a colon or arrow inside, a ditto mark, columns."""
    tokens = [token for token in whole if token.sort not in ("note", "gap")]
    inner = [token for token in tokens[:-1] if token.sort == "colon"]
    joins = [token for token in tokens if token.sort in ("arrow", "back", "feeds", "via")]
    if (inner and not COUNT.search(text)) or (joins and not (len(joins) == 1 and joins[0].text == "=")):
        return True
    first = next((token for token in whole if token.sort not in ("dash", "hash", "gap")), whole[0])
    if (is_row(whole) and is_pin(first, strict=True) and not marked) or any(
        t.sort == "ditto" for t in tokens
    ):
        return True
    above = page.lines[index - 1] if index else None
    if (
        above is not None
        and is_row(whole)
        and (above.device is not None or (above.role is Role.LINE and is_row(above.tokens)))
    ):
        return True
    inside = [i for i, token in enumerate(whole) if token.sort == "gap"]
    columns = inside and any(t.sort in ("word", "number") for t in whole[inside[0] + 1 :])
    return bool(columns) and not marked and not COUNT.search(text)


def _coded(page: Page, line: PageLine) -> Mention | None:
    """`C3  CDI unit, 6 way`: a connector by its code, which the words behind it name too."""
    bare = re.sub(r"\([^()]*\)", " ", line.text).strip(" =*_:")
    match = re.fullmatch(r"([A-Z]{1,4}\d{1,3})\s*[-–:=]?\s+(\D.*)", bare)
    if match is None or ":" in match[2]:
        return None
    rest = COUNT.split(match[2])[0].strip(" ,-–.;")
    words = re.split(r"[,;(]|\s(?:in|on|under|behind|at|by)\s", rest)[0].split()
    if words and len(words) <= 4 and not any(trade.is_prose(word) for word in words):
        named = Mention(tuple(words))
        if named.sort in ("load", "contact") and len(words) > 1:
            page.names.aliases.setdefault(named.key, match[1].casefold())
            page.names.spelled.setdefault(match[1].casefold(), (match[1],))
    return Mention((match[1],))


_IS_A_FUSE = re.compile(r"(?:circuit )?breaker|fuse|(?:f|cb|fs)\d{1,2}|(?:fuse|breaker) \w{1,3}|f|cb")


def _fuse(page: Page, index: int) -> Mention | None:
    """The fuse of `FUSE 1  20A  HEADLIGHTS`, where the line below begins with the colour of its wire."""
    tokens, below = page.lines[index].tokens, page.lines[index + 1 : index + 2]
    begins = [token.sort for other in below for token in other.tokens if token.sort != "note"]
    if not begins or begins[0] not in ("colour", "size", "letters", *JOINS) or not set(begins) & set(JOINS):
        return None
    signs = [token.sort for token in tokens if token.text not in ("=", ":")]
    if {"colour", "letters", "via", "ditto", "quest", *JOINS} & set(signs):
        return None
    ends = [item.mention for item in items_of(tokens, page.names, page.letters) if item.mention is not None]
    numbered = bool(ends) and (ends[0].terminal or re.search(r"\d", ends[0].key))
    return ends[0] if numbered and _IS_A_FUSE.fullmatch(ends[0].key) else None


def _hub(lines: Sequence[PageLine], index: int) -> Mention | None:
    """`Negative bus bar` above a list: a joint or ground that every line of the list ends at."""
    line = lines[index]
    tokens = [token for token in line.tokens if token.sort not in ("note", "gap", "colon")]
    below = lines[index + 1 : index + 3]
    bare = line.text.strip(" =*_:-\t")
    if (
        not tokens
        or any(token.sort not in ("word", "number", "plus", "dash") for token in tokens)
        or len(tokens) > 5
        or not below
        or not below[0].text.strip()
        or line.text[:1].isspace()
    ):
        return None
    mention = mention_of(tokens)
    if (
        mention is None
        or not mention.words
        or not (mention.sort in ("joint", "ground") or "bus" in bare.casefold())
    ):
        return None
    listed = [bool(LISTED.match(other.text)) for other in below if other.text.strip()]
    if not all(listed) and not (line.text.rstrip().endswith(":") and len(listed) > 1):
        return None
    return mention if len(listed) > 1 or bool(LISTED.match(below[0].text)) else None
