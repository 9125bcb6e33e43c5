"""A connector change on paper: pinout cards in plain text, and the list to tick at the bench."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from loomtest.evidence.pictures.drawing import visible
from loomtest.evidence.pictures.faces import cavities_of
from loomtest.evidence.pictures.pinout import NOT_KNOWN, SEEN, Card, Cavity, wire_lines
from loomtest.harness.model import Wire, connector_of
from loomtest.harness.swap.swap import Move, Swapped
from loomtest.words.cautions import CAUTIONS

WIDTH = 80
CELL, GAP = 14, 2  # columns of text for a cavity


def card_lines(card: Card) -> list[str]:
    """The card as text: cavities where they are, five side by side; a wider face goes on below."""
    place = f" ({card.place})" if card.place else ""
    lines = [visible(card.title + place), *textwrap.wrap(SEEN[card.side], WIDTH)]
    if not card.known:
        lines += textwrap.wrap(NOT_KNOWN, WIDTH)
    across = WIDTH // (CELL + GAP)
    for first in range(0, card.columns, across):
        last = min(first + across, card.columns)
        if card.columns > across:
            lines += ["", f"  Columns {first + 1} to {last} of {card.columns}, from the left"]
        for row in range(card.rows):
            here = [c for c in card.cavities if c.row == row and first <= c.column < last]
            if here:
                lines += ["", *_beside(here, first)]
    return lines


def _beside(cavities: Sequence[Cavity], first: int) -> list[str]:
    cells = {cavity.column - first: _cell(cavity) for cavity in cavities}
    tall = max(map(len, cells.values()))
    out = []
    for line in range(tall):
        text = ""
        for column in range(max(cells) + 1):
            cell = cells.get(column, [])
            words = cell[line] if line < len(cell) else ""
            text += "  " + (words if len(words) <= CELL else words[: CELL - 1] + "…").ljust(CELL)
        out.append(text.rstrip())
    return out


def _cell(cavity: Cavity) -> list[str]:
    if not cavity.wires:
        return [f"[{visible(cavity.cavity)}]", "empty"]
    lines = [f"[{cavity.cavity}]", *wire_lines(cavity, CELL)]
    lines += ["was " + ", ".join(cavity.was)] if cavity.was else []
    return [visible(line) for line in lines if line]


def check_list_lines(swapped: Swapped) -> list[str]:
    """One line a terminal, to tick when it is in and holds; then what stays empty and what to do after."""
    harness = swapped.harness
    old = " and ".join(swapped.old_connectors) or "the old connector"
    lines = [visible(f"{harness.name}: {old} to {_into(swapped)}"), ""]
    for caution in CAUTIONS[:3]:
        lines += textwrap.wrap(caution, WIDTH)
    lines += ["", "Tick a line when the terminal has clicked in and holds a pull by hand.", ""]
    lines += _rows(swapped.moves)
    if swapped.unused:
        lines += ["", "Not used any more: tick when the end is insulated and tied back, or pulled out.", ""]
        lines += _rows(swapped.unused)
    for connector in dict.fromkeys(name for move in swapped.moves if (name := connector_of(move.new))):
        used = {move.new for move in swapped.moves} | {p for w in harness.wires for p in (w.start, w.end)}
        empty = [name for name in cavities_of(harness, connector) if f"{connector}:{name}" not in used]
        if empty:
            words = f"Stays empty in {connector}: {', '.join(empty)}. On a sealed connector it gets a plug."
            lines += ["", *textwrap.wrap(visible(words), WIDTH, subsequent_indent="  ")]
    for words in (*swapped.joined, *swapped.parted, *swapped.notes):
        lines += ["", *textwrap.wrap(visible(words), WIDTH, subsequent_indent="  ")]
    return lines


def _into(swapped: Swapped) -> str:
    names = dict.fromkeys(connector_of(move.new) or move.new for move in swapped.moves)
    return " and ".join(names) or "nothing"


def _rows(moves: Sequence[Move]) -> list[str]:
    """`[ ]  X5:2 → X5N:1  BK/WH 1.5 mm²  W2  from X1:2  nav lights`, in columns."""
    rows = [
        [
            f"{move.old} → {move.new}" if move.new else move.old,
            _kind(move.wire),
            move.wire.name,
            f"to {move.other}",
            move.wire.circuit,
        ]
        for move in moves
    ]
    rows = [[visible(cell) for cell in row] for row in rows]
    widths = [max(len(row[column]) for row in rows) for column in range(5)] if rows else []
    lines = []
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True) if width]
        line = "[ ]  " + "  ".join(cells).rstrip()
        lines += (
            textwrap.wrap(line, WIDTH, subsequent_indent=" " * 9, drop_whitespace=True)
            if len(line) > WIDTH
            else [line]
        )
    return lines


def _kind(wire: Wire) -> str:
    if wire.kind != "wire":
        return wire.kind
    size = f"{wire.size_mm2:.3g} mm²" if wire.size_mm2 is not None else ""
    return f"{wire.colour} {size}".strip()
