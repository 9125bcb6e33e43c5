"""Rows that begin with a terminal of their block's device."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.weighed.cuts import Cut, CutPiece
from loomtest.harness.notes.weighed.lexicon import said
from loomtest.harness.notes.weighed.pairing import LineReading, Pair, bare, chained, groups_of, joined, paired


def rows_of(cut: Cut, core: Sequence[CutPiece], device: Mention) -> Iterator[LineReading]:
    """`4 green horn`, `85, 86: …`, `+ to HB 9`: the device's terminals first, then where they go."""
    pins: list[Mention] = []
    rest = list(core)
    while rest and rest[0].sort in ("pin", "list"):
        piece = rest.pop(0)
        if piece.sort == "pin":
            pins.append(_pin(device, piece.text))
    rest = bare(rest, joins=True)
    more = 1.5 if any(_is_sibling(pin.terminal, device) for pin in pins) else 0.0
    if any(piece.sort == "join" for piece in rest):
        yield from _with_joins(cut, pins, rest, device, more)
    else:
        yield from _in_cells(cut, pins, rest, more)
    if (pinned := _ends(cut, pins, rest, device, more)) is not None:
        yield pinned


def _pin(device: Mention, pin: str) -> Mention:
    """The terminal of a device; `C7` below the heading of connector C is its 7."""
    code = device.words[-1]
    rest = pin[len(code) :]
    own = rest if len(code) < 4 and pin.upper().startswith(code.upper()) and rest.isdigit() else pin
    return replace(device, terminal=own, many="")


def _is_sibling(pin: str, device: Mention) -> bool:
    """`F6` below a heading `F5`: another of the same sort, and no cavity of it."""
    one, two = re.fullmatch(r"([A-Za-z]+)\d+", pin), re.fullmatch(r"([A-Za-z]+)\d+", device.words[-1])
    return bool(one and two and one[1].upper() == two[1].upper())


def _ends(
    cut: Cut, pins: list[Mention], rest: Sequence[CutPiece], device: Mention, more: float
) -> LineReading | None:
    """A wire from the terminal to each end, and on along the joins."""
    groups = groups_of(rest, device)
    if groups is None:
        return None
    first = groups.ends[0]
    pairs, cost = paired(pins, first)
    chain, on = chained(groups.ends)
    passes = any(not end.terminal and end.sort not in ("joint", "ground") for end in first)
    on += 0.4 if len(groups.ends) > 1 and passes else 0.0
    between = [{piece.text for piece in gap} for gap in _gaps(rest)]
    apart = any("gap" in signs and "comma" not in signs for signs in between)
    two_sided = said("two_sided") & {trade.long_form(word) for word in device.words}
    each = (0.2 if two_sided else 1.0 if apart else 0.25) * max(0, len(first) - len(pins))
    if not pairs:
        return None
    return joined([*pairs, *chain], cut, groups.cost + cost + more + on + each, "pin")


def _gaps(pieces: Sequence[CutPiece]) -> list[list[CutPiece]]:
    """The signs between each two points that stand one behind the other."""
    places = [place for place, piece in enumerate(pieces) if piece.sort == "point"]
    return [list(pieces[one + 1 : two]) for one, two in pairwise(places)]


def _with_joins(
    cut: Cut, pins: list[Mention], rest: Sequence[CutPiece], device: Mention, more: float
) -> Iterator[LineReading]:
    """All ends at the terminal (`C  key switch 50 -> starter`), or what it is for and where it goes."""
    groups = groups_of(rest, device)
    if groups is None or len(groups.ends) < 2:
        return
    if len(pins) == 1:
        star = [(pins[0], end) for group in groups.ends for end in group]
        yield joined(star, cut, groups.cost + 0.3, "pin")
    if len(groups.ends) == 2 and len(groups.ends[0]) == 1:  # `F2 anchor light -> anchor switch 1`
        pairs, cost = paired(pins, groups.ends[1])
        own = 0.4 if groups.ends[0][0].terminal else 0.2
        yield joined(pairs, cut, groups.cost + cost + more + own, "label")


def _in_cells(cut: Cut, pins: list[Mention], rest: Sequence[CutPiece], more: float) -> Iterator[LineReading]:
    """Columns behind the terminal: the first is the end and the others remarks, or it says what for."""
    cells: list[list[CutPiece]] = [[]]
    for piece in rest:
        if piece.sort == "list" and piece.text == "gap":
            cells.append([])
        else:
            cells[-1].append(piece)
    cells = [cell for cell in cells if cell]
    if len(cells) < 2:
        return
    first, second = groups_of(cells[0], None), groups_of(cells[1], None)
    if first is None:
        return
    named = not any(end.terminal for end in first.ends[0])
    if len(cells) == 2 and second is not None and named:  # `3 | water pump | 15 A | pump switch 1`
        pairs, cost = paired(pins, second.ends[0])
        own = 0.7 + 0.2 * len(first.ends[0])
        yield joined(pairs, cut, first.cost + cost + more + own, "label")
    pairs, cost = paired(pins, first.ends[0])
    dropped = sum(_dropping(piece) for cell in cells[1:] for piece in cell)
    yield joined(pairs, cut, first.cost + cost + more + dropped, "cell")


def _dropping(piece: CutPiece) -> float:
    """What it costs to take a point in a further column for a remark."""
    if piece.mention is None:
        return 0.3 if piece.sort == "pin" else 0.0
    return 0.2 + (0.5 if piece.mention.terminal else 0.0) + (0.4 if piece.mention.sort else 0.0)


def several_rows(cut: Cut, core: Sequence[CutPiece], device: Mention) -> LineReading | None:
    """`1 - key 2, purple / 2 - controller 2`, `one side to S1, other side to …`: its rows in one line."""
    rows: list[list[CutPiece]] = []
    for place, piece in enumerate(core):
        begins = piece.sort == "pin" and (not place or core[place - 1].sort == "list")
        if begins and (not rows or any(other.sort == "point" for other in rows[-1])):
            rows.append([])
        if not rows:
            return None
        rows[-1].append(piece)
    found: list[Pair] = []
    cost = -0.45 * (len(rows) - 1)
    for row in rows if len(rows) > 1 else []:
        rest = bare(row[1:], joins=True)
        groups = groups_of(rest, None)
        if not rest:
            continue  # `pin 4 empty`
        if groups is None or rest[0].sort == "pin":
            return None
        chain, on = chained(groups.ends)
        found += [(_pin(device, row[0].text), end) for end in groups.ends[0]] + chain
        cost += groups.cost + on
    return joined(found, cut, cost, "pin") if found else None
