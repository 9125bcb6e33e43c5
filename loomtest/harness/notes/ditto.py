"""Ditto marks: each stands for what the line above has in the same place.

The place is counted in words where both lines have as many; else it is the column, as on a page written by
hand; marks at the beginning repeat the first end, marks at the end what was said of the wire.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, takewhile

from loomtest.harness.notes.items import ABOUT, JOINS
from loomtest.harness.notes.scan import Token

_PASSED = ("gap", "comma", "note", "semi")
_NAMES = ("word", "number", "dash", "plus", "hash")


def written_out(tokens: Sequence[Token], above: Sequence[Token]) -> list[Token] | None:
    """The tokens with every ditto mark replaced; None where it cannot be told what a mark stands for."""
    said = [token for token in tokens if token.sort != "gap"]
    if not above or any(b.text.casefold() == "same" and a.sort == "colon" for a, b in pairwise(said)):
        return None
    part = next((i for i, token in enumerate(tokens) if token.text.casefold() == "for"), len(tokens))
    if part < len(tokens):  # `" " 3 for indicator`: what the circuit is for is said anew in each line
        spelled = written_out(tokens[:part], above)
        return None if spelled is None else [*spelled, *tokens[part:]]
    cut = next((i for i, token in enumerate(above) if token.text.casefold() == "for"), len(above))
    above = above[:cut]
    if all(
        any(t.sort == "gap" and ("\t" in t.text or "|" in t.text) for t in line) for line in (tokens, above)
    ):
        return _by_cells(tokens, above)
    line = [token for token in tokens if token.sort not in ("gap", "comma", "semi")]
    model = [token for token in above if token.sort not in _PASSED]
    counted = [token for token in line if token.sort != "note"]
    if len(counted) == len(model) and all(map(_agree, counted, model)):
        own = iter(counted)
        spelled = []
        for token in above:
            if token.sort in _PASSED:
                spelled += [] if token.sort == "note" else [token]
            else:
                spelled.append(_stands(next(own), token))
        return spelled + [token for token in tokens if token.sort == "note"]
    first = next(
        (i for i, token in enumerate(tokens) if token.sort != "ditto" and token.sort != "gap"), len(tokens)
    )
    marks = [token for token in tokens[:first] if token.sort == "ditto"]
    if marks and not any(token.sort == "ditto" for token in tokens[first:]):
        return _at_the_start(tokens, first, marks, above)
    last = max(i for i, token in enumerate(tokens) if token.sort not in ("ditto", "gap", "note"))
    if last >= 0 and not any(token.sort == "ditto" for token in tokens[:last]):
        tail = [token for token in tokens[last + 1 :] if token.sort == "ditto"]
        about = [token for token in above if token.sort in (*ABOUT, "decimal")]
        if len(tail) == 1 and tail[0].text.isalpha() and about:  # `same`: all that was said
            return [
                piece
                for token in tokens
                for piece in (
                    [replace(a, start=token.start, end=token.end) for a in about]
                    if token.sort == "ditto"
                    else [token]
                )
            ]
        if len(tail) <= len(about) and any(token.sort in JOINS for token in tokens[:last]):
            put = iter(about)
            return [_stands(token, next(put)) if token.sort == "ditto" else token for token in tokens]
    return _by_columns(tokens, above)


def named_again(tokens: Sequence[Token]) -> list[Token]:
    """`o/s sidelamp to n/s ditto`: the last word of the name before it in the same line."""
    found: list[Token] = []
    for token in tokens:
        beside = found[-1] if found else None
        inside = token.sort == "ditto" and token.text.isalpha() and beside is not None
        if not inside or beside is None or beside.sort != "word":
            found.append(token)
            continue
        joins = [place for place, other in enumerate(found) if other.sort in JOINS]
        before = found[: joins[-1]] if joins else []
        while before and before[-1].sort == "number":
            before = before[:-1]
        name = before[-1] if before else None
        if name is None or name.sort != "word" or joins[-1] != len(found) - 2:
            found.append(token)
        else:
            found.append(replace(name, start=token.start, end=token.end))
    return found


def _at_the_start(
    tokens: Sequence[Token], first: int, marks: Sequence[Token], above: Sequence[Token]
) -> list[Token] | None:
    """`Ditto to ign switch A`, `" " 53a to ...`: the first end of the line above, or its first words."""
    end = next((i for i, token in enumerate(above) if token.sort not in _NAMES), len(above))
    name = list(above[:end])
    rest = list(tokens[first:])
    about = list(takewhile(lambda token: token.sort in (*ABOUT, "decimal"), above))
    if not name and about and rest and rest[0].sort != "gap" and tokens[first - 1].sort == "gap":
        return [*about, *rest]  # `same   horn 2 - frame`: the colour of the row above
    while rest and rest[0].sort == "gap":
        rest = rest[1:]
    if not name:
        return None
    if rest and rest[0].sort in ("number", "word") and not (rest[0].sort == "word" and len(rest[0].text) > 3):
        words = [token for token in name if token.sort == "word" and not token.text[:1].isdigit()]
        if len(marks) > len(words):
            return None
        return [*words[: len(marks) if len(marks) > 1 else len(words)], *rest]
    return [*name, *rest]


def _by_cells(tokens: Sequence[Token], above: Sequence[Token]) -> list[Token]:
    """In a table with tabs or strokes: the cell above."""
    model: list[list[Token]] = [[]]
    for token in above:
        if token.sort == "gap":
            model += [[] for _ in range(max(1, token.text.count("\t") + token.text.count("|")))]
        else:
            model[-1].append(token)
    place, found = 0, list[Token]()
    for token in tokens:
        if token.sort == "gap":
            place += max(1, token.text.count("\t") + token.text.count("|"))
        if token.sort == "ditto" and place < len(model):
            found += [replace(piece, start=token.start, end=token.end) for piece in model[place]]
        else:
            found.append(token)
    return found


def _by_columns(tokens: Sequence[Token], above: Sequence[Token]) -> list[Token] | None:
    if all(
        any(t.sort == "gap" and ("\t" in t.text or "|" in t.text) for t in line) for line in (tokens, above)
    ):
        return _by_cells(tokens, above)
    cells: list[list[Token]] = [[]]
    for token in above:
        if token.sort in ("gap", "note", "comma"):
            cells.append([])
        elif token.sort in ABOUT and cells[-1]:
            cells.append([token])
        else:
            if cells[-1] and cells[-1][-1].sort in ABOUT:
                cells.append([])
            cells[-1].append(token)
    cells = [cell for cell in cells if cell]
    found: list[Token] = []
    used: list[int] = []
    glue = False
    for token in tokens:
        if token.sort != "ditto":
            if not (glue and token.sort == "gap"):
                found.append(token)
            glue = False
            continue
        under = [
            i
            for i, cell in enumerate(cells)
            if cell[0].start - 1 <= token.start < max(cell[-1].end, _next(cells, i) - 2)
        ]
        if len(under) != 1:
            return None
        if under[0] in used:
            continue
        used.append(under[0])
        cell = cells[under[0]]
        behind = next((other for other in tokens if other.start >= token.end and other.sort != "gap"), None)
        if behind is not None and behind.sort == "number" and cell[-1].sort == "number" and len(cell) > 1:
            cell, glue = cell[:-1], True  # `"  13`: the connector of the line above, with a cavity of its own
        found += [replace(piece, start=token.start, end=token.end) for piece in cell]
    return found


def _next(cells: Sequence[Sequence[Token]], index: int) -> int:
    return cells[index + 1][0].start if index + 1 < len(cells) else 10_000


def _agree(token: Token, other: Token) -> bool:
    if token.sort == "ditto":
        return True
    for sorts in (_NAMES, (*ABOUT, "decimal"), JOINS):
        if token.sort in sorts:
            return other.sort in sorts and ("size" not in sorts or token.sort == other.sort)
    return token.sort == other.sort


def _stands(token: Token, other: Token) -> Token:
    if token.sort != "ditto":
        return token
    return replace(other, start=token.start, end=max(token.end, token.start + other.end - other.start))
