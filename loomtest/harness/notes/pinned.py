"""The cavities that a line begins with, of the connector whose heading stands above it."""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.block import Ends
from loomtest.harness.notes.cavities import is_pin, is_row, pins_of, without_lead
from loomtest.harness.notes.cells import behind_the_pin
from loomtest.harness.notes.items import JOINS
from loomtest.harness.notes.mentions import Mention, lettered
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.sofar import ReadSoFar

_HYPHENED = re.compile(r"([A-Za-z]+\d*)-(\d{1,3})")
_CODED = re.compile(r"[A-Z]{1,3}\d{1,3}")
Row = tuple[list[Mention], list[Token]]


def pins_known(state: ReadSoFar, tokens: list[Token]) -> bool:
    """Whether the row's cavity stands in another line too, to which `see above` points."""
    pinned = row_of(state, tokens)
    if pinned is None:
        return False
    return all(state.page.names.points[state.page.names.point(pin).casefold()] > 1 for pin in pinned[0])


def row_of(state: ReadSoFar, tokens: list[Token]) -> Row | None:
    """The pins of a row and the rest of it; None where the line is no row."""
    if not tokens:
        return None
    own = _named_range(tokens) or _hyphened(state, tokens)
    if own is not None:
        return own
    device = state.scene.device
    if device is None:
        return None
    tokens = _pin_first(without_lead(tokens))
    if (span := _range_in_one(device, tokens)) is not None:
        return span
    if not is_row(tokens, spoken=not state.soft) or not _of_the_block(state, device, tokens):
        return None
    first = tokens[0]
    others = any(token.sort == "colour" for token in tokens[1:])
    if first.sort == "colour" and re.fullmatch("[A-Z]{2}", first.text) and others:
        return [Mention(device.words, first.text)], behind_the_pin(tokens[1:])  # `GD -> bar, wht`: no gold
    if first.sort == "colour":
        return [Mention(device.words, first.text.replace(" ", "_").replace("/", "_"))], list(tokens)
    pins, rest = pins_of(tokens)
    code = device.words[-1]
    if code.isalpha() and code.isupper():  # `CB3` below the heading of connector CB
        pins = [pin.removeprefix(code) if pin[len(code) :].isdigit() else pin for pin in pins]
    apart = [lettered(pin) for pin in pins]
    if any(found and trade.long_form(found[0]) == state.page.names.alias(device.key) for found in apart):
        pins = [found[1] if found else pin for found, pin in zip(apart, pins, strict=True)]
    return [Mention(device.words, pin) for pin in pins], behind_the_pin(rest)


def _hyphened(state: ReadSoFar, tokens: list[Token]) -> Row | None:
    """`C30-1   R   4.0   fuse 21`: a connector, its cavity, and the connector of the rows below."""
    match = _HYPHENED.fullmatch(tokens[0].text)
    columns = len(tokens) > 1 and tokens[1].sort in ("gap", "arrow")
    if not match or not columns or tokens[0].sort != "word" or trade.is_noun(tokens[0].text):
        return None
    scene = state.scene
    scene.device, scene.other, state.soft = Mention((match[1],)), None, False
    scene.columns, state.style = Ends.FIRST, "number"
    pins, rest = pins_of([replace(tokens[0], text=match[2], sort="number"), *tokens[1:]])
    return [Mention(scene.device.words, pin) for pin in pins], behind_the_pin(rest)


def _pin_first(tokens: list[Token]) -> list[Token]:
    """`yellow  pin 1 to …` with the cavity first."""
    if not tokens or tokens[0].sort != "colour":
        return tokens
    behind = [token for token in tokens[1:] if token.sort != "gap"]
    own = without_lead(behind)
    lettered = len(own) > 1 and is_pin(own[0], strict=True) and own[1].sort in (*JOINS, "dash", "colon")
    return [own[0], tokens[0], *own[1:]] if len(own) < len(behind) or lettered else tokens


def _of_the_block(state: ReadSoFar, device: Mention, tokens: list[Token]) -> bool:
    """Whether a line that begins like a row goes on with the block's cavities, and is no device's own."""
    first = tokens[0]
    follows = first.text.isdecimal() and int(first.text) == state.last + 1
    if state.soft and not follows:  # behind a blank line only the next cavity is sure to be of the same plug
        return False
    if first.sort in ("colour", "pin"):
        return True
    if state.style == "letter" and first.sort == "number" and state.begun:
        return False  # `14. Tachometer G …` behind cavities A to D
    word = first.sort == "word" and len(first.text) > 1 and first.text.isalpha()
    if word and state.style in ("number", "letter"):
        return False
    coded = first.sort == "word" and _CODED.fullmatch(first.text)
    numbered = state.style == "number" or not device.sort
    if coded and state.style == "number" and state.begun and not _lettered_cavity(state, device):
        return False  # `K1 coil a: …` below `1  white …`
    if coded and numbered and state.page.names.stands_elsewhere(first.text):
        return False
    state.style = state.style or ("word" if word else "number" if first.sort != "word" else "letter")
    return not (word and _names_a_device(state, tokens))


def _lettered_cavity(state: ReadSoFar, device: Mention) -> bool:
    """Whether cavities of this connector are called `A1` or by its own letters in other lines."""
    names = state.page.names
    have = names.terminals.get(names.alias(device.key), set())
    return sum(bool(_CODED.fullmatch(cavity)) for cavity in have) > 1


def _named_range(tokens: list[Token]) -> tuple[list[Mention], list[Token]] | None:
    """`P2-7 thru P2-9 not pinned`."""
    if len(tokens) < 4 or tokens[1].sort not in ("via", "arrow", "to", "dash"):
        return None
    first = re.fullmatch(r"([A-Za-z]+\d*)-(\d{1,3})", tokens[0].text)
    last = re.fullmatch(r"(?:([A-Za-z]+\d*)-)?(\d{1,3})", tokens[2].text)
    rest = tokens[4:] if tokens[3].sort == "gap" else tokens[3:]
    if not first or not last or (last[1] or first[1]) != first[1] or int(first[2]) >= int(last[2]):
        return None
    if not rest or rest[0].sort != "word" or (last[1] is None and tokens[1].sort == "arrow"):
        return None
    return [Mention((first[1],), str(n)) for n in range(int(first[2]), int(last[2]) + 1)], rest


def _range_in_one(device: Mention | None, tokens: list[Token]) -> tuple[list[Mention], list[Token]] | None:
    """`C2-C4 empty holes`, `7-9 not used` below a heading."""
    match = re.fullmatch(r"([A-Za-z]?)(\d{1,3})[-–]\1(\d{1,3})", tokens[0].text)
    if device is None or match is None or len(tokens) < 2 or int(match[2]) >= int(match[3]):
        return None
    rest = behind_the_pin(list(tokens[1:]))
    if not rest or rest[0].sort not in ("word", "dash", "note"):
        return None
    span = range(int(match[2]), int(match[3]) + 1)
    return [Mention(device.words, f"{match[1]}{n}") for n in span], rest


def _names_a_device(state: ReadSoFar, tokens: list[Token]) -> bool:
    """`HORN - fuse 3` below a heading: another device of the page and no cavity of the heading's."""
    mention = Mention((tokens[0].text,))
    names = state.page.names
    if trade.long_form(tokens[0].text) in names.aliases:
        return True
    if len(tokens[0].text) < 4 or tokens[1].sort not in ("dash", "arrow"):
        return False
    return names.stands(mention.key) > 1 and bool(mention.sort)
