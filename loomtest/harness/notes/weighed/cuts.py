"""The ways to cut a statement into points, terminals, signs and words left over, the cheapest first."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import CODE, Mention, mention_of
from loomtest.harness.notes.pairs import with_one_noun
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.weighed.lexicon import Lexicon, said, says_nothing, weigh_left, weigh_point
from loomtest.harness.notes.weighed.signs import signs_of, without_fuses

MOST_CUTS = 8
LONGEST_NAME = 6
KNOWN = 0.3  # what a name that the page has elsewhere costs at most
_PIN = re.compile(r"\d{1,3}[A-Za-z]?|[A-Z]\d{0,2}|[A-Za-z]{1,3}[+-]|[+-]")
_SIGN_WORDS = {"pos": "+", "positive": "+", "plus": "+", "neg": "-", "negative": "-", "minus": "-"}
_SIDES = re.compile(
    r"(?:(?:the|its|their)\s+)?(one|other|second|first|another|opposite)\s+"
    r"(?:side|end|wire|lead|terminal|tag|one|leg|pole)(?:\s+of(?:\s+(?:it|the))?)?"
)
_SECOND = ("other", "second", "another", "opposite")
_COSTS = {"quest": 0.8, "measure": 0.5, "pin": 0.0}


@dataclass(frozen=True, slots=True)
class CutPiece:
    """A part of a statement: `point`, `pin`, `join`, `list`, `about`, `colon`, `note`, or `left` over."""

    sort: str
    mention: Mention | None = None
    text: str = ""
    token: Token | None = None


@dataclass(frozen=True, slots=True)
class Cut:
    """A statement cut into pieces, and what the cut costs."""

    cost: float
    pieces: tuple[CutPiece, ...]


def pin_of(part: Sequence[Token]) -> str:
    """The terminal that words name by themselves: `3`, `pin 3`, `+`, `tail`, `other side`; else ""."""
    texts = [token.text.rstrip(".") for token in part if token.sort != "hash"]
    low = " ".join(texts).casefold()
    if not texts or len(texts) > 4:
        return ""
    if side := _SIDES.fullmatch(low):
        return "2" if side[1] in _SECOND else "1"
    sign = {"plus": "+", "dash": "-"}.get(part[-1].sort, "")
    if len(texts) == 1:
        if sign or _PIN.fullmatch(texts[0]):
            return sign or texts[0]
        alone = low in said("terminals") or (low in said("trailer") and texts[0].isupper())
        return _SIGN_WORDS.get(low, texts[0]) if alone else ""
    if len(texts) > 2:
        return ""
    first, second = (text.casefold() for text in texts)
    if first in said("leads") and _PIN.fullmatch(texts[1]):
        return texts[1]
    if part[0].sort == "dash" and second.isdigit():
        return second
    if sign and (first in ("in", "out", "input", "output") or re.fullmatch("[A-Z]{1,2}", texts[0])):
        return texts[0] + sign
    both = {first, second} <= said("terminals") | {"side", "wire", "lead", "beam"}
    return "_".join(texts) if both else ""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a run stands: at the beginning of its statement, or behind a comma."""

    first: bool
    listed: bool


def _options(
    run: Sequence[Token], at: int, lexicon: Lexicon, place: _Place
) -> list[tuple[int, float, CutPiece]]:
    """What can begin in a run: (where it ends, its cost, the piece)."""
    found = [(at + 1, weigh_left(run[at]), CutPiece("left", text=run[at].text))]
    pins: list[tuple[int, float, str]] = []
    dearer = 0.0
    for end in range(at + 1, min(len(run), at + LONGEST_NAME) + 1):
        part = run[at:end]
        label = len(part) == 2 and part[0].text.casefold() in lexicon.labels and part[1].sort == "number"
        if pin := (part[1].text if label else pin_of(part)):
            pins.append((end, _weigh_pin(part, at, end == len(run), place), pin))
        mention = _named(part)
        if mention is not None:
            cost = weigh_point(mention, lexicon)
            led = len(part) > 2 and part[0].text.casefold() in said("leads") and mention.terminal
            cost += 0.6 if led and part[2].text.casefold() != "of" else 0.0  # `pin 3 chassis`
            if len(part) > 1 and cost < KNOWN:
                dearer = 0.4  # `stop button 2` begins with no terminal called stop
            found.append((end, cost, CutPiece("point", mention)))
    for end, cost, pin in pins:
        worded = pin.isalpha() and len(pin) > 1
        code = CODE.fullmatch(pin) and lexicon.known(lexicon.names.alias(pin.casefold()))
        more = (dearer if worded else 0.0) + (0.5 if code else 0.0)
        found.append((end, cost + more, CutPiece("pin", text=pin)))
    return found


def _weigh_pin(part: Sequence[Token], at: int, ends: bool, place: _Place) -> float:
    if len(part) == 2 and part[0].text.casefold() in said("leads"):
        return 0.2 if not at else 0.9  # `pin 3`
    worded = not _PIN.fullmatch(part[-1].text) and part[-1].sort not in ("plus", "dash")
    if place.first and not at:
        return 0.4 if worded else 0.2
    if place.listed and not at and ends:
        return 0.4
    return 0.9 if at or worded else 0.45


def _named(part: Sequence[Token]) -> Mention | None:
    """The mention that all of the words are; None where they begin or end with words that say nothing."""
    first, last = part[0].text.casefold(), part[-1].text.casefold()
    if trade.is_filler(first) and first not in said("which"):
        return None
    if trade.is_filler(last) and last not in ("small", "big", "in"):
        return None
    if len(part) == 1 and part[0].sort == "number":
        return None
    mention = mention_of(part)
    lettered = mention is not None and mention.words and re.search(r"[A-Za-z]", mention.words[0])
    return mention if lettered else None


def _cuts_of_run(run: Sequence[Token], lexicon: Lexicon, place: _Place) -> list[Cut]:
    key = (tuple((token.sort, token.text) for token in run), place)
    if key not in lexicon.cuts:
        lexicon.cuts[key] = _cut(run, lexicon, place)
    kept: list[Cut] = lexicon.cuts[key]
    return kept


def _cut(run: Sequence[Token], lexicon: Lexicon, place: _Place) -> list[Cut]:
    """The cheapest cuts of a run, place by place: none is kept that costs more than the best few there."""
    best: list[list[Cut]] = [[] for _ in range(len(run) + 1)]
    best[0] = [Cut(0.0, ())]
    for at in range(len(run)):
        options = _options(run, at, lexicon, place)
        for cut in sorted(best[at], key=lambda cut: cut.cost)[:MOST_CUTS]:
            for end, cost, piece in options:
                more, pieces = _beside(piece, cut.pieces)
                best[end].append(Cut(cut.cost + cost + more, pieces))
    return sorted(best[len(run)], key=lambda cut: cut.cost)[:MOST_CUTS]


def _beside(piece: CutPiece, before: tuple[CutPiece, ...]) -> tuple[float, tuple[CutPiece, ...]]:
    """What it costs that a piece stands right behind others; a side of the point before is its terminal."""
    last = next((other for other in reversed(before) if other.sort != "left"), None)
    if piece.sort == "point" and before and before[-1].sort == "left" and not says_nothing(before[-1].text):
        return (1.0 if last is not None and last.sort == "point" else 0.5), (*before, piece)
    if last is None or piece.sort == "left":
        return 0.0, (*before, piece)
    if piece.sort == "point":
        return (0.15 if last.sort == "pin" else 0.5), (*before, piece)
    own = last.mention
    if own is None or before[-1] is not last:
        return 1.2, (*before, piece)
    if trade.long_form(piece.text) in ("lh", "rh", "front", "rear") and own.sort == "load":
        return 0.6, (*before, piece)
    if (
        own.terminal
        and own.terminal.isalnum()
        and piece.text.casefold() in said("telling") | said("terminals")
    ):
        own = replace(own, words=(*own.words, own.terminal), terminal="")  # `toggle 1 lower`
    if own.terminal:
        return 1.2, (*before, piece)
    return -0.6, (*before[:-1], CutPiece("point", replace(own, terminal=piece.text)))


def cuts_of(tokens: Sequence[Token], lexicon: Lexicon) -> list[Cut]:
    """The cheapest ways to cut a statement into pieces."""
    found = [Cut(0.0, ())]
    first, last = True, ""
    for sort, part in signs_of(without_fuses(tokens), lexicon.names):
        if sort == "run":
            ways = _cuts_of_run(part, lexicon, _Place(first, last == "comma"))
        else:
            ways = [_sign(sort, part[0])]
        first = first and sort not in ("run", "join", "colon")
        last = part[0].sort
        found = [Cut(a.cost + b.cost, a.pieces + b.pieces) for a, b in product(found, ways)]
        found = sorted(found, key=lambda cut: cut.cost)[:MOST_CUTS]
    return [Cut(cut.cost, _with_shared_nouns(cut.pieces)) for cut in found]


def _sign(sort: str, token: Token) -> Cut:
    text = token.sort
    if sort == "pin":
        plain = re.sub(r"[\s.]+", "_", token.text).strip("_")
        text = _SIGN_WORDS.get(token.text.casefold(), plain)
    cost = _COSTS.get(token.sort, 0.3 if sort == "left" else 0.0)
    return Cut(cost, (CutPiece(sort, text=text, token=token),))


def _with_shared_nouns(pieces: tuple[CutPiece, ...]) -> tuple[CutPiece, ...]:
    """`LH & RH stop lamps`: the noun that two of them share given to both."""
    found = list(pieces)
    for place in range(len(found) - 2):
        first, between, second = found[place : place + 3]
        own = first.mention
        if first.sort == "pin" and first.text in ("L", "R", "LH", "RH"):
            own = Mention((), first.text) if len(first.text) == 1 else Mention((first.text,))
        if own is None or second.mention is None or between.sort != "list":
            continue
        if both := with_one_noun(own, second.mention):
            found[place], found[place + 2] = CutPiece("point", both[0]), replace(second, mention=both[1])
    return tuple(found)
