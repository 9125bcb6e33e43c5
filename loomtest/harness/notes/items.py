"""A statement's items: ends, joins, and what is said of the wire; prose apart."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import CODE, WHERE, Mention, lettered, mention_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.pairs import with_one_noun
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.signs import ABOUT as ABOUT
from loomtest.harness.notes.signs import JOINS as JOINS
from loomtest.harness.notes.signs import SIDE_WORDS, sign_role
from loomtest.harness.notes.tokens import bare_size, tokens_of

KINDS = {kind: kind for kind in ("fuse", "diode", "coil", "lamp", "resistor")} | {"bulb": "lamp"}
_CODE = re.compile(r"[A-Za-z]{1,4}_?\d{1,3}")
_CAVITY = re.compile(r"[A-Z]?\d{1,3}[a-z]?")
_ENDS_A_NAME = re.compile(r"\d+[a-z]|[A-Z]\d?[+-]?|[A-Za-z]+\d*-\d+[a-z]?")
_HYPHENED = re.compile(r"[A-Za-z]+\d*-\d+[a-z]?")
_GLUED = re.compile(r"([A-Za-z]+\d+)-([A-Za-z]\d+)")
_BOTH_SIDES = re.compile(r"(L|LH|left)\s*(?:&|\+|and|/)\s*(R|RH|right)", re.IGNORECASE)
_CONTACT = re.compile(r"[A-Z]\d")
_LARGE = (10, 16, 25, 35, 50, 70)  # sizes in mm² that are seldom a cavity behind a colour
_GAUGES = range(0, 27, 2)
_HAVE = re.compile(
    r"(?:have|has|had|get|gets|got|take|takes)(?: (?:a|an|its|their|own|one|separate|single))*"
)
_FUSE = re.compile(r"\b(?:fuse|breaker|fusible|inline|in-line)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Item:
    """`end` (a mention), `join`, `via`, `about` (a token), `list`, `note` or `prose` (text)."""

    sort: str
    value: str
    start: int
    mention: Mention | None = None
    token: Token | None = None


def items_of(tokens: Sequence[Token], names: Names, letters: Mapping[str, str]) -> list[Item]:
    """The items, in order; signs are told apart by what stands around them."""
    key = tuple(tokens)
    known = names.read.get(key)
    if known is None:
        known = names.read[key] = _items(key, names, letters)
    return list(known)


def _items(tokens: Sequence[Token], names: Names, letters: Mapping[str, str]) -> list[Item]:
    found: list[Item] = []
    run: list[Token] = []

    def flush() -> None:
        if run:
            found.extend(_run_items(list(run), names))
            run.clear()

    for index, token in enumerate(tokens):
        before = tokens[index - 1] if index else None
        after = tokens[index + 1] if index + 1 < len(tokens) else None
        sort = _role(token, before, after, run, names)
        if sort == "word" and names.gauge and not run and _behind_a_colour(tokens, index):
            sort = "about"
        if sort == "word":
            run.append(token)
            continue
        if sort == "glue":  # a note between a name and its cavity: X1(3)
            sign = {"+": "plus", "-": "dash"}.get(token.value, "number" if token.value.isdigit() else "word")
            run.append(replace(token, sort=sign, text=token.value))
            continue
        flush()
        if sort == "note" and token.sort == "remark":
            found.append(Item("note", token.value, token.start))
        elif sort == "note":
            found += _note_items(token, names, letters)
        elif sort in ("end", "sign"):
            continue
        elif sort == "about":
            if token.sort == "number" and not names.gauge:
                token = replace(token, sort="size", value=token.text)
            found.append(Item("about", token.sort, token.start, token=token))
        else:
            found.append(Item(sort, token.text if sort == "prose" else token.sort, token.start, token=token))
    flush()
    return _with_shared_nouns(found)


def _behind_a_colour(tokens: Sequence[Token], index: int) -> bool:
    """`…, red, 16` on a page that gives gauges."""
    sign = index > 1 and tokens[index - 1].sort == "comma" and tokens[index - 2].sort == "colour"
    closes = index + 1 == len(tokens) or tokens[index + 1].sort in ("gap", "comma", "stop", "note", "semi")
    return sign and closes and tokens[index].sort == "number" and _whole(tokens[index]) in _GAUGES


def _whole(token: Token) -> int:
    """The whole number that a token is; -1 for a letter in a number's place, as a cavity's name can be."""
    return int(token.text) if token.text.isdecimal() else -1


def _role(token: Token, before: Token | None, after: Token | None, run: list[Token], names: Names) -> str:
    sort = token.sort
    if sort == "number" and names.gauge and _whole(token) in _GAUGES and _is_gauge(before, after, run):
        return "about"
    if sort == "number" and before is not None and before.sort == "letters" and bare_size(token):
        return "about"
    closes = after is None or after.sort in ("gap", "comma", "stop", "note", "semi")
    behind = before is not None and before.sort == "colour" and not run and closes
    if sort == "number" and behind and _whole(token) in _LARGE:
        return "about"  # `brown 16`
    volts = sort == "measure" and run and re.fullmatch(r"\d{1,2} ?[Vv]", token.text)
    if sort in ("word", "number", "hash", "pin") or volts:
        return "word"
    if sort == "remark":
        return "note"
    if sort == "decimal":
        return "about" if bare_size(token) or not run else "sign"
    if sort in ABOUT:
        return "about"
    if sort == "note":
        if run and trade.long_form(token.value) in ("positive", "negative", "+", "-"):
            return "glue"  # `number lamp (minus)`
        glued = before is not None and before.end == token.start and _CAVITY.fullmatch(token.value)
        return "glue" if glued and run else "note"
    if sort == "colon":
        tight = (
            before is not None
            and after is not None
            and before.end == token.start
            and after.start == token.end
            and after.sort != "gap"
        )
        return "word" if tight and run else "colon"
    if sort in JOINS:
        return "join"
    if sort == "via":
        return "via"
    if sort in ("dash", "plus"):
        return sign_role(token, before, after, run, names)
    if sort in ("comma", "and", "slash", "gap", "semi"):
        return "list"
    if sort == "measure":
        return "prose"
    return "sign"  # a full stop, a question mark: dealt with before


def _is_gauge(before: Token | None, after: Token | None, run: list[Token]) -> bool:
    """`red 16`, `18 tan`, `ground bus 10 black`: a number beside a colour on a page that gives gauges."""
    ends = after is None or after.sort in ("gap", "comma", "stop", "note", "semi")
    if before is not None and before.sort == "colour" and not run and ends:
        return True
    ground = bool(run) and trade.is_ground(_text(run))
    return after is not None and after.sort == "colour" and (not run or ground)


def _run_items(run: list[Token], names: Names) -> list[Item]:
    """A run of words as mentions: `wiper motor 31 cab earth` is two, `dash 9 temp` one and its label."""
    low = [token.text.casefold() for token in run]
    if "for" in low[1:]:
        place = low.index("for", 1)
        return [*_run_items(run[:place], names), Item("prose", _text(run[place:]), run[place].start)]
    if said := _passed_fuse(low):
        return [Item("via", "via", run[0].start), Item("prose", said, run[0].start)]
    if (count := _count(low)) is not None:
        return [Item("count", count, run[0].start)]
    if all(word in SIDE_WORDS or trade.is_filler(word) for word in low):
        return [Item("side", " ".join(low), run[0].start)]
    while len(run) > 1 and low[-1] in ("both", "all", "each", "also", "then"):
        run, low = run[:-1], low[:-1]
    if low[0] in ("its", "their") and len(run) > 1:
        return [Item("prose", _text(run), run[0].start)]
    if low[0] in ("also", "then", "and") and len(run) > 1:
        return _run_items(run[1:], names)
    if low[0] in KINDS and len(run) > 1 and low[0] != "fuse" and _CODE.fullmatch(run[1].text):
        return [Item("kind", KINDS[low[0]], run[0].start), *_run_items(run[1:], names)]
    return _two_names(run, names) or _one_name(run, names)


_IN_THE_RUN = re.compile(
    r"((?:[a-z-]+ )?(?:fuse|breaker|fuselink|fusible link|fuse link))"
    r" (?:(?:in|on|inside) )+(?:(?:it|line|series)|(?:the|its|this|that)(?: \w+)? "
    r"(?:wire|lead|line|run|cable|feed|supply|tail|circuit|loom|leg|way))"
)


def _passed_fuse(low: Sequence[str]) -> str:
    """`fuse in it`, `blade fuse in the lead`, `fused at`: what the wire passes on its way; else ""."""
    text = " ".join(low)
    if low[0] == "fused" and set(low[1:]) <= {"at", "with", "by", "for", "a", "to"}:
        return "fuse"
    match = _IN_THE_RUN.fullmatch(text)
    return match[1] if match else ""


def _count(low: Sequence[str]) -> str | None:
    """How many wires a run of words says there are: `five`, `two wires`; None for other words."""
    said = [word for word in low if not trade.is_filler(word) and word not in SIDE_WORDS]
    numbers = trade.ordered("english", "numbers")
    return str(numbers.index(said[0])) if len(said) == 1 and said[0] in numbers[2:] else None


def _two_names(run: list[Token], names: Names) -> list[Item]:
    """A run of words that holds a name with its terminal and more behind it; [] for any other."""
    for place in range(1, len(run)):
        token, after = run[place - 1], run[place]
        if place == 1 and (own := _code_and_more(run, names)):
            return own
        ends = (
            token.sort in ("number", "plus", "dash")
            or lettered(token.text)
            or _ENDS_A_NAME.fullmatch(token.text)
        )
        if not ends or after.sort not in ("word",) or after.text == ":" or token.text == ":":
            continue
        if (
            place == 1
            and not lettered(token.text)
            and token.sort in ("number", "word")
            and not _HYPHENED.fullmatch(token.text)
        ):
            continue
        left, right = mention_of(run[:place]), mention_of(run[place:])
        if left is None or not left.words or not (left.terminal or left.sort in ("contact", "joint")):
            continue
        if not left.sort and names.stands(left.key) < 2:
            continue  # `tank 2 sender`
        rest = run[place:]
        if len(rest) == 1 and trade.long_form(after.text) in ("positive", "negative") and left.terminal:
            continue  # `battery 1 neg`
        ending = len(rest) == 1 and after.text.casefold() in trade.words("terminals", "words")
        if ending and left.terminal and (right is None or not right.sort):
            whole = Mention((*left.words, left.terminal), after.text, left.many, start=left.start)
            return [Item("end", "", run[0].start, mention=whole)]  # `toggle 1 up`
        if (
            right is not None
            and right.words
            and (names.knows(right) or right.sort in ("ground", "joint", "load", "contact", "code"))
        ):
            if _is_one(left, right, names):
                continue
            return [Item("end", "", run[0].start, mention=left), *_run_items(rest, names)]
        if len(rest) > 2 and rest[0].text.casefold() in KINDS and _CODE.fullmatch(rest[1].text):
            kind = Item("kind", KINDS[rest[0].text.casefold()], rest[0].start)
            return [Item("end", "", run[0].start, mention=left), kind, *_run_items(rest[1:], names)]
        if len(rest) == 1 and rest[0].text.casefold() in KINDS:
            kind = Item("kind", KINDS[rest[0].text.casefold()], rest[0].start)
            return [Item("end", "", run[0].start, mention=left), kind]
        if _is_qualifier(rest) or _is_side(rest):
            continue
        return [Item("end", "", run[0].start, mention=left), Item("label", _text(rest), rest[0].start)]
    return []


def _code_and_more(run: list[Token], names: Names) -> list[Item]:
    """`GS2 bond strap`: a code that the page has elsewhere, and what is said of it."""
    code, low = run[0].text, run[1].text.casefold()
    if not code[-1].isdigit() or (len(run) == 2 and _CONTACT.fullmatch(run[1].text)):
        return []  # `K1 A2`: a contact of the relay
    told = (
        trade.words("terminals", "words")
        | trade.words("terminals", "before")
        | trade.words("terminals", "sides")
    )
    if not CODE.fullmatch(code) or names.stands(code.casefold()) < 2 or run[1].sort != "word" or low in told:
        return []
    right = mention_of(run[1:])
    if right is not None and (names.knows(right) or not right.words):
        return []
    named = Item("end", "", run[0].start, mention=Mention((code,), start=run[0].start))
    return [named, Item("label", _text(run[1:]), run[1].start)]


def _one_name(run: list[Token], names: Names) -> list[Item]:
    """A run of words as one mention, or as a remark."""
    match = _GLUED.fullmatch(run[0].text) if len(run) == 1 else None
    if names.hyphens and match:
        return [Item("end", "", run[0].start, mention=Mention((match[1],), match[2], start=run[0].start))]
    low = [token.text.casefold() for token in run]
    each = next((i for i, word in enumerate(low) if i and word in ("each", "both", "all")), 0)
    if each and _HAVE.fullmatch(" ".join(low[each + 1 :])) and (own := mention_of(run[:each])) is not None:
        side = Item("side", " ".join(low[each:]), run[each].start)
        return [Item("end", _text(run[:each]), run[0].start, mention=own), side]
    mention = mention_of(run)
    if mention is None:
        for place in range(1, len(run)):
            if trade.is_prose(run[place].text) or (trade.is_odd(run[place].text) and run[place].text != "of"):
                cut = (
                    place - 1 if place > 1 and run[place - 1].text.casefold() in ("in", "on", "at") else place
                )
                left = mention_of(run[:cut])
                if left is not None and left.words and (left.sort or names.knows(left)):
                    return [
                        Item("end", "", run[0].start, mention=left),
                        Item("prose", _text(run[place:]), run[place].start),
                    ]
                break
        last = max((i for i, token in enumerate(run) if trade.is_odd(token.text)), default=-1)
        before = [token.text.casefold() for token in run[: last + 1]]
        told = not set(before) & trade.words("english", "turning") and before[-1:] != ["other"]
        told = told and not set(before) & (set(WHERE) - {"at", "on"})  # `near the gearbox`
        right = mention_of(run[last + 1 :]) if told and 0 <= last < len(run) - 1 else None
        if right is not None and right.words and (right.terminal or right.sort):
            said = Item("prose", _text(run[: last + 1]), run[0].start)
            return [said, Item("end", _text(run[last + 1 :]), run[last + 1].start, mention=right)]
        return [Item("prose", _text(run), run[0].start)]
    return [Item("end", _text(run), run[0].start, mention=mention)]


def _is_one(left: Mention, right: Mention, names: Names) -> bool:
    """`horn L -`, `start solenoid S terminal`: what follows only says more of the first."""
    whole = Mention((*left.words, left.terminal, *right.words))
    if names.knows(whole):
        return True
    return len(right.words) == 1 and right.words[0].casefold() in trade.words(
        "terminals", "sides"
    ) | trade.words("terminals", "before")


def _is_qualifier(rest: Sequence[Token]) -> bool:
    return rest[-1].text.casefold() in trade.words("terminals", "sides") | trade.words("terminals", "before")


def _is_side(rest: Sequence[Token]) -> bool:
    """`fuse 1 top`, `F1 load side`, `post 2 in`: which of a device's two."""
    words = trade.words("english", "sizes") | trade.words("english", "sides") | {"in", "out", "line", "load"}
    return len(rest) < 3 and all(token.text.casefold() in words for token in rest)


def _text(run: Sequence[Token]) -> str:
    return " ".join(token.text for token in run)


def _note_items(token: Token, names: Names, letters: Mapping[str, str]) -> list[Item]:
    """What stands in brackets: colours and sizes as such, a fuse in the run, else a note."""
    inner = tokens_of("  " + token.value + "  ", letters)
    about = [t for t in inner if t.sort in ABOUT or (t.sort == "decimal" and bare_size(t))]
    others = [t for t in inner if t not in about and t.sort not in ("comma", "gap", "and", "plus", "slash")]
    if about and all(t.text.casefold() in SIDE_WORDS or trade.is_filler(t.text) for t in others):
        return [Item("about", t.sort, token.start, token=t) for t in about]
    if _FUSE.search(token.value) and any(t.sort == "amps" for t in inner):
        return [
            Item("via", "via", token.start),
            Item("prose", token.value, token.start),
            Item("note", token.value, token.start),
        ]
    sides = _BOTH_SIDES.fullmatch(token.value)
    return [Item("pair" if sides else "note", token.value, token.start)]


def _with_shared_nouns(items: list[Item]) -> list[Item]:
    """The items with the noun that two of them share given to both."""
    found = list(items)
    for index in range(len(found) - 2):
        first, between, second = found[index : index + 3]
        if first.mention is None or second.mention is None or between.sort != "list":
            continue
        if (both := with_one_noun(first.mention, second.mention)) is not None:
            found[index] = replace(first, mention=both[0])
            found[index + 2] = replace(second, mention=both[1])
    return found
