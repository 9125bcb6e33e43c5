"""Cavities written together, each with its device: `X1 1-3 to X2 4-6`, `terminals 8 to 10 of TB1`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.lists import MOST_MEMBERS, NO_DEVICES, OF, designators, is_designator, one_of
from loomtest.harness.notes.scan import Token

_TIGHT = re.compile(r"\d{1,2}(?:[-/&]\d{1,2})+")


def with_devices(tokens: Sequence[Token]) -> Sequence[Token]:
    """The tokens with numbers that are written in one taken apart, and cavities of a device with its name."""
    one_by_one = ("respectively", "resp", "resp.", "in that order")
    tokens = [token for i, token in enumerate(tokens) if not i or token.text.casefold() not in one_by_one]
    return _of_a_device(_apart(_both_sides(_without_kinds(tokens))))


def _without_kinds(tokens: Sequence[Token]) -> list[Token]:
    """`X1 pins 1, 2 and 3` as `X1 1, 2 and 3`."""
    found: list[Token] = []
    for index, token in enumerate(tokens):
        kind = token.sort == "word" and token.text.casefold() in NO_DEVICES
        named = bool(found) and found[-1].sort == "word" and not trade.is_odd(found[-1].text)
        if not (kind and named and index + 1 < len(tokens) and is_designator(tokens[index + 1])):
            found.append(token)
    return found


def _of_a_device(tokens: Sequence[Token]) -> Sequence[Token]:
    """`terminals 8 to 10 of TB1`: each with the device's name before it."""
    for index, token in enumerate(tokens[:-3]):
        if token.text.casefold() not in NO_DEVICES or token.sort != "word":
            continue
        taken, between, numbers = designators(tokens, index + 1)
        at = index + 1 + taken
        if len(numbers) < 2 or at + 1 >= len(tokens) or tokens[at].text.casefold() not in OF[:4]:
            continue
        begin = at + 1 + (tokens[at + 1].text.casefold() in ("the", "my", "that"))
        end = begin
        while end < len(tokens) and tokens[end].sort == "word" and not trade.is_odd(tokens[end].text):
            end += 1
            more = end < len(tokens) and trade.is_noun(tokens[end].text)
            noun = trade.is_noun(tokens[end - 1].text) and not more
            if noun or re.fullmatch(r"[A-Z]{1,3}\d{0,2}", tokens[end - 1].text):
                break
        name = tokens[begin:end]
        if not name:
            continue
        found = list(tokens[:index])
        for separator, own in zip([None, *between], numbers, strict=True):
            found += [separator] if separator is not None else []
            found += [replace(t, start=own.start, end=own.end) for t in (*name, own)]
        return _of_a_device([*found, *tokens[end:]])
    return tokens


_PAIRED = re.compile(r"(\d{1,2})-(\d{1,2})|\d{1,2}(?:/\d{1,2})+")


def _both_sides(tokens: Sequence[Token]) -> list[Token]:
    """`X1 1-3 to X2 4-6`, `switch 1/2/3 to relay 86/87/30`: as many numbers at both ends, each by itself."""
    at = [i for i, t in enumerate(tokens) if i and t.sort == "word" and _PAIRED.fullmatch(t.text)]
    sets = [_numbers(tokens[i].text) for i in at]
    joined = len(at) == 2 and any(token.sort in ("to", "arrow", "from") for token in tokens[at[0] : at[1]])
    if not joined or len(sets[0]) != len(sets[1]) or len(sets[0]) < 2:
        return list(tokens)
    found: list[Token] = []
    for index, token in enumerate(tokens):
        if index not in at:
            found.append(token)
            continue
        for place, number in enumerate(sets[at.index(index)]):
            found += [Token("comma", ",", ",", token.end, token.end)] if place else []
            found.append(replace(token, sort="number", text=number, value=number))
    return found


def _numbers(text: str) -> list[str]:
    """The numbers that `1-3` and `86/87/30` stand for; [] for a range that goes down or is too long."""
    match = _PAIRED.fullmatch(text)
    if match is None or match[1] is None:
        return text.split("/")
    first, last = int(match[1]), int(match[2])
    return [str(n) for n in range(first, last + 1)] if first < last <= first + MOST_MEMBERS else []


def _apart(tokens: Sequence[Token]) -> Sequence[Token]:
    """`lamps 1/2/3`, `plugs 1-4`: the numbers behind a plural, each a token of its own."""
    if not any(_TIGHT.fullmatch(token.text) for token in tokens):
        return tokens
    among = any(token.text.casefold() in trade.words("joins", "among") for token in tokens)
    found: list[Token] = []
    for token in tokens:
        behind = found[-1] if found else None
        named = behind is not None and (one_of(behind.text) or behind.text.casefold() in NO_DEVICES or among)
        if behind is None or token.sort != "word" or not _TIGHT.fullmatch(token.text) or not named:
            found.append(token)
            continue
        sorts = {"-": "dash", "/": "slash", "&": "and"}
        for text in re.findall(r"\d+|\D", token.text):
            at = found[-1].end if found[-1] is not behind else token.start
            found.append(Token(sorts.get(text, "number"), text, text, at, at + len(text)))
    return found
