"""Pinout cards: a connector's face with what goes into each cavity, from the mating side or the wire side."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from loomtest.evidence.pictures.drawing import Box, Drawing, Item, Words, visible
from loomtest.evidence.pictures.faces import cells_of
from loomtest.evidence.pictures.look import WIRE_COLOURS
from loomtest.harness.colours import colour_parts
from loomtest.harness.model import Harness, Wire
from loomtest.harness.origin import former_points

Side = Literal["mating", "wire"]
SEEN = {
    "mating": "Seen from the front, where the other connector goes on. The wire side is the mirror image.",
    "wire": "Seen from the back, where the wires go in. The mating side is the mirror image.",
}
NOT_KNOWN = "How the cavities lie is not known: go by the numbers on the housing, not by this drawing."
NO_COLOUR = "#d9d5c9"

EDGE, PAD = 22.0, 12.0
TALL, WIDE, NARROW = 122.0, 132.0, 108.0
LETTER = 6.9  # width of a wide letter of 11 pixels


@dataclass(frozen=True)
class Cavity:
    """A cavity at its place on the side drawn (from 0 at the top left), its wires and what it was before."""

    cavity: str
    column: int
    row: int
    wires: tuple[Wire, ...]
    was: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """One side of a connector. `known` is False where nothing says how the cavities lie."""

    connector: str
    side: Side
    place: str
    cavities: tuple[Cavity, ...]
    columns: int
    rows: int
    known: bool

    @property
    def title(self) -> str:
        """What is drawn."""
        return f"{self.connector}, {self.side} side"


def card_of(harness: Harness, connector: str, side: Side) -> Card:
    """The card of a connector; the side that `[faces]` does not describe is mirrored left to right."""
    cells = cells_of(harness, connector)
    columns = max((cell.column for cell in cells), default=0) + 1
    face = harness.faces.get(connector)
    mirrored = side != (face.seen_from if face else "mating")
    was = former_points(harness)
    wires: dict[str, list[Wire]] = {}
    for wire in harness.wires:
        for point in (wire.start, wire.end):
            wires.setdefault(point, []).append(wire)
    cavities = [
        Cavity(
            cell.cavity,
            columns - 1 - cell.column if mirrored else cell.column,
            cell.row,
            tuple(wires.get(f"{connector}:{cell.cavity}", ())),
            was.get(f"{connector}:{cell.cavity}", ()),
        )
        for cell in cells
    ]
    return Card(
        connector,
        side,
        harness.places.get(connector, ""),
        tuple(sorted(cavities, key=lambda cavity: (cavity.row, cavity.column))),
        columns,
        max((cell.row for cell in cells), default=0) + 1,
        face is not None,
    )


def pinout_drawing(harness: Harness, cards: Sequence[Card]) -> Drawing:
    """All cards below each other, as one drawing to print."""
    items: list[Item] = []
    y, width = EDGE, 620.0
    for card in cards:
        width = max(width, 2 * EDGE + 2 * PAD + card.columns * _cell_width(card))
    for card in cards:
        y = _draw_card(items, card, y) + 2 * EDGE
    names = ", ".join(dict.fromkeys(card.connector for card in cards))
    told = "; ".join(
        f"{card.title}: "
        + ", ".join(
            f"{c.cavity} {' '.join(wire_lines(c, 99)) if c.wires else 'empty'}" for c in card.cavities
        )
        for card in cards
    )
    return Drawing(width, y - EDGE, f"{harness.name}: pinout of {names}", told, items)


def _cell_width(card: Card) -> float:
    return WIDE if card.columns <= 6 else NARROW


def _draw_card(items: list[Item], card: Card, y: float) -> float:
    """Draw one card from `y` down and return where it ends."""
    items.append(Words(EDGE, y + 16, card.title + (f"  ({card.place})" if card.place else ""), 18, bold=True))
    items.append(Words(EDGE, y + 38, SEEN[card.side], 12.5, "soft"))
    if not card.known:
        items.append(Words(EDGE, y + 56, NOT_KNOWN, 12.5, "doubt"))
    w = _cell_width(card)
    top = y + (58 if card.known else 76)
    wide, tall = card.columns * w + 2 * PAD, card.rows * TALL + 2 * PAD
    if card.side == "mating":  # the shell that the other connector goes into
        items.append(Box(EDGE - 6, top - 6, wide + 12, tall + 12, 18, "none", "sleeve", 3))
    items.append(Box(EDGE, top, wide, tall, 13, "body", "soft", 1.5))
    for cavity in card.cavities:
        x = EDGE + PAD + cavity.column * w
        _draw_cavity(items, cavity, x, top + PAD + cavity.row * TALL, w)
    return top + tall


def _draw_cavity(items: list[Item], cavity: Cavity, x: float, y: float, w: float) -> None:
    filled = bool(cavity.wires)
    items.append(
        Box(
            x + 3,
            y + 3,
            w - 6,
            TALL - 6,
            8,
            "card" if filled else "none",
            "line" if filled else "sleeve",
            1.2,
        )
    )
    items.append(Words(x + 12, y + 26, visible(cavity.cavity), 17, bold=True))
    if not filled:
        items.append(Words(x + 12, y + 46, "empty", 11, "soft"))
        return
    for number, wire in enumerate(cavity.wires[:2]):
        step = 13 if len(cavity.wires) == 1 else 9
        _draw_wire(items, wire, x + w - 58, y + step + 12 * number, 46.0)
    most = int((w - 22) / LETTER)
    lines = [(text, "ink") for text in wire_lines(cavity, most)]
    lines += [("was " + ", ".join(cavity.was), "soft")] if cavity.was else []
    lines += [(text, "soft") for text in textwrap.wrap(visible(_circuit(cavity)), most)]
    for number, (text, tone) in enumerate(lines[:5]):
        cut = _cut(text + " …" if number == 4 and lines[5:] else text, most)
        items.append(Words(x + 12, y + 46 + 15 * number, cut, 11, tone))


def _draw_wire(items: list[Item], wire: Wire, x: float, y: float, length: float) -> None:
    """A piece of the wire: base colour, and the stripe along it."""
    try:
        codes = colour_parts(wire.colour) if wire.colour else ()
    except ValueError:
        codes = ()
    colours = [WIRE_COLOURS.get(code, NO_COLOUR) for code in codes] or [NO_COLOUR]
    items.append(Box(x, y, length, 10, 5, colours[0], "soft", 0.8))
    if colours[1:]:
        items.append(Box(x + 1, y + 3.4, length - 2, 3.2, 0, colours[1]))


def wire_lines(cavity: Cavity, most: int) -> list[str]:
    """One wire in two lines, colour and size above its name; several wires in a line each."""
    if len(cavity.wires) == 1:
        (wire,) = cavity.wires
        return [_insulation(wire, most) or "no colour noted", wire.name]
    lines = [f"{wire.name} {_insulation(wire, most - len(wire.name) - 1)}".strip() for wire in cavity.wires]
    return lines if len(lines) <= 3 else [*lines[:2], f"and {len(lines) - 2} more"]


def _insulation(wire: Wire, most: int) -> str:
    """`BK/WH 1.5 mm²`, without the unit where that is too long."""
    if wire.kind != "wire":
        return wire.kind
    size = f"{wire.size_mm2:.3g}" if wire.size_mm2 is not None else ""
    long = f"{wire.colour} {size} mm²".strip() if size else wire.colour
    return long if len(long) <= most else f"{wire.colour} {size}".strip()


def _circuit(cavity: Cavity) -> str:
    return ", ".join(dict.fromkeys(wire.circuit for wire in cavity.wires if wire.circuit))


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
