"""A marker plug as a picture: which marker goes into which cavity."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.evidence.pictures.drawing import Box, Drawing, Item, Words, visible
from loomtest.evidence.pictures.faces import cells_of
from loomtest.harness.model import Harness
from loomtest.words.kit import MIRROR, PlugCavity

EDGE, PAD, WIDE, TALL = 22.0, 12.0, 108.0, 84.0
LEAST_WIDTH = 660.0
LETTERS = 14  # of a line in a cavity


def plug_drawing(harness: Harness, connector: str, rows: Sequence[PlugCavity]) -> Drawing:
    """The plug from its back, each cavity with its marker and resistor; `rows` as `words.kit` makes them."""
    cells = cells_of(harness, connector)
    columns = max((cell.column for cell in cells), default=0) + 1
    face = harness.faces.get(connector)
    mirrored = face is not None and face.seen_from == "wire"
    known = {row.cavity: row for row in rows}
    items: list[Item] = [
        Words(EDGE, EDGE + 16, visible(f"Marker plug {connector}"), 18, bold=True),
        Words(EDGE, EDGE + 38, MIRROR[0], 12.5, "soft"),
    ]
    top = EDGE + 58
    if face is None:
        items.append(Words(EDGE, EDGE + 56, MIRROR[1], 12.5, "doubt"))
        top += 18
    tall = (max((cell.row for cell in cells), default=0) + 1) * TALL + 2 * PAD
    items.append(Box(EDGE, top, columns * WIDE + 2 * PAD, tall, 13, "body", "soft", 1.5))
    for cell in cells:
        column = columns - 1 - cell.column if mirrored else cell.column
        x, y = EDGE + PAD + column * WIDE, top + PAD + cell.row * TALL
        _draw_cavity(items, known.get(cell.cavity), cell.cavity, x, y)
    width = max(LEAST_WIDTH, 2 * EDGE + 2 * PAD + columns * WIDE)
    told = ", ".join(f"cavity {row.cavity}: {row.marker or 'empty'} {row.value}" for row in rows)
    return Drawing(width, top + tall + EDGE, f"{harness.name}: marker plug {connector}", told, items)


def _draw_cavity(items: list[Item], row: PlugCavity | None, cavity: str, x: float, y: float) -> None:
    filled = row is not None and bool(row.marker)
    fill, line = ("card", "line") if filled else ("none", "sleeve")
    items.append(Box(x + 3, y + 3, WIDE - 6, TALL - 6, 8, fill, line, 1.2))
    items.append(Words(x + 12, y + 26, visible(cavity), 17, bold=True))
    if row is None or not row.marker:
        items.append(Words(x + 12, y + 46, "empty", 11, "soft"))
        return
    items.append(Words(x + 52, y + 26, visible(row.marker), 15))
    items.append(Words(x + 12, y + 48, row.value, 13))
    items.append(Words(x + 12, y + 66, visible(f"to {row.ends}")[:LETTERS], 10.5, "soft"))
