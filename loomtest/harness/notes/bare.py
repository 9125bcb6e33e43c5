"""Bare numbers beside the colours of a page: in a column of their own they are the sizes of the wires.

`1  18  tan  fuse 4`, `red 12  battery +`: one row alone cannot tell a size from a cavity. The page can: sizes
come from the few that are sold, and the same ones come again; cavities count on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token

_AWG = {str(n) for n in range(0, 27, 2)} | {"1", "00", "000", "0000"}
_ONLY_AWG = {"12", "14", "18", "20", "22", "24", "26"}
_MM2 = {"1", "2", "3", "4", "6", "10", "16", "25", "35", "50", "70", "95"}
FEWEST = 3
Place = tuple[PageLine, int]


def size_columns(lines: Sequence[PageLine], gauge: bool) -> None:
    """Make the numbers of such a column sizes. `gauge`: the page speaks of AWG."""
    for line in lines:
        _sharps(line)
    for side in (-1, 1):
        places = [(line, at) for line in lines for at in _beside_colours(line.tokens, side)]
        behind = [
            (line, at)
            for line, at in places
            if at > 1 or (at and (_leads(line.tokens[0]) or _coloured(line.tokens[0])))
        ]
        unit = (
            _unit([line.tokens[at] for line, at in behind], gauge)
            or (side < 0 and _of_one_size(behind))
            or ""
        )
        if not unit:
            continue
        sizes = {line.tokens[at].text for line, at in behind}
        for line, at in places:
            token = line.tokens[at]
            leads = (line, at) not in behind and (at > 0 or _counts_on(line, lines))
            if token.text in sizes and token.sort == "number" and not leads:
                value = f"AWG {token.text}" if unit == "AWG" else token.text
                size = replace(token, sort="size?" if unit == "?" else "size", value=value)
                line.tokens = [*line.tokens[:at], size, *line.tokens[at + 1 :]]


def _sharps(line: PageLine) -> None:
    """`S1: #16 white to …`: behind a sharp inside the line, and before a colour, a number is a gauge."""
    for at in reversed(_beside_colours(line.tokens, 1)):
        sharp, token = line.tokens[at - 1], line.tokens[at]
        if at > 1 and sharp.sort == "hash" and token.text in _AWG and line.tokens[at + 1].sort != "gap":
            size = replace(token, sort="size", value=f"AWG {token.text}", start=sharp.start)
            line.tokens = [*line.tokens[: at - 1], size, *line.tokens[at + 1 :]]


def _beside_colours(tokens: Sequence[Token], side: int) -> list[int]:
    """Where bare numbers have a colour right before (-1) or right behind them (1), or a column away."""
    found = []
    for at, token in enumerate(tokens):
        named = at > 0 and tokens[at - 1].sort == "word" and not _leads(tokens[0])
        if token.sort not in ("number", "decimal") or (named and len(token.text) == 1):
            continue  # `dimmer sw 1 light green`: the terminal of what stands before it
        near = at + side
        closes = at + 1 == len(tokens) or tokens[at + 1].sort in ("comma", "semi", "stop", "note", "gap")
        listed = ("gap", "comma", "semi") if side < 0 and closes else ("gap",)  # and not `…, red, 85 to …`
        if 0 <= near < len(tokens) and tokens[near].sort in listed:
            near += side
        if 0 <= near < len(tokens) and _coloured(tokens[near]):
            found.append(at)
    return found


def _leads(token: Token) -> bool:
    """Whether a line begins with its cavity or a sign before a size, and with no word such as `pin`."""
    return token.sort in ("number", "hash") or (len(token.text) == 1 and token.text.isupper())


def _coloured(token: Token) -> bool:
    return token.sort in ("colour", "letters")


def _unit(numbers: Sequence[Token], gauge: bool) -> str:
    """`AWG`, `mm²`, `?` (sizes of which unit is not said), or "" for numbers that are no sizes."""
    texts = [token.text for token in numbers]
    whole = [token.text for token in numbers if token.sort == "number"]
    if len(texts) < FEWEST or len(set(texts)) * 2 > len(texts) + 1:
        return ""
    if len(whole) < len(texts):
        return "mm²" if set(whole) <= _MM2 else ""
    if set(texts) <= _AWG and (gauge or set(texts) & _ONLY_AWG):
        return "AWG"
    return "?" if set(texts) <= _MM2 - {"1", "2", "3"} else ""


def _of_one_size(places: Sequence[Place]) -> str:
    """`?` for `1  brn 1   dynamo D`, where all rows have the same figure between the colour and a column."""
    texts = {line.tokens[at].text for line, at in places}
    rows = all(
        line.tokens[0].sort == "number" and at + 1 < len(line.tokens) and line.tokens[at + 1].sort == "gap"
        for line, at in places
    )
    return "?" if len(places) >= FEWEST and len(texts) == 1 and texts <= _MM2 and rows else ""


def _counts_on(line: PageLine, lines: Sequence[PageLine]) -> bool:
    """Whether a line's first number is one more or less than that of the line beside it."""
    own = line.tokens[0].text
    near = [
        other.tokens[0].text for other in lines[max(0, line.number - 2) : line.number + 1] if other.tokens
    ]
    return own.isdecimal() and any(n.isdecimal() and abs(int(n) - int(own)) == 1 for n in near)
