"""What stands at the ends of a loom's branches: connector faces, ring terminals, and the tags of faults."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.drawing import Box, Dot, Item, Shape, Words
from loomtest.evidence.look import MARKS, WIRE_COLOURS
from loomtest.evidence.loom_spots import CELL, Spot, Tag
from loomtest.harness.colours import colour_parts, colour_words
from loomtest.harness.model import Wire


def draw_face(
    items: list[Item], spot: Spot, top: float, tags: Sequence[Tag], at: Mapping[str, Sequence[Wire]]
) -> None:
    """A connector's face with its cavities; those that a fault concerns are framed."""
    w, h = spot.face
    items.append(Box(spot.x - w / 2, top, w, h, 7, "body", "ink", 1.6))
    marked = {point: tag.tone for tag in reversed(tags) for point in tag.finding.points}
    for cell in spot.cells:
        point = f"{spot.hub}:{cell.cavity}"
        x = spot.x - w / 2 + 6 + (cell.column + 0.5) * CELL
        y = top + 6 + (cell.row + 0.5) * CELL
        wires = at.get(point, [])
        if point in marked:
            # square about what is round: it shows on a wire of any colour
            items.append(Box(x - 12, y - 12, 24, 24, 3, "card", marked[point], 2.8))
        items.extend(_cavity(x, y, point, cell.cavity, wires))


def _cavity(x: float, y: float, point: str, name: str, wires: Sequence[Wire]) -> list[Item]:
    told = ", ".join(w for wire in wires for w in (wire.name, colour_words(wire.colour), wire.circuit) if w)
    title = f"{point}: {told or 'empty'}"
    size = 9.5 if len(name) < 3 else 7.0
    if not wires:
        return [
            Dot(x, y, 9.5, "card", "line", 1.2, title),
            Words(x, y + size * 0.36, name, size, "soft", "middle"),
        ]
    paints = _paints(wires[0].colour)
    items: list[Item] = [Dot(x, y, 10.2, paints[0] if paints else "sleeve", "soft", 0.8, title)]
    items.append(Dot(x, y, 7.0, "card", title=title))
    if len(paints) > 1:
        items.append(Dot(x, y - 8.6, 2.4, paints[1], "soft", 0.6))
    items.append(Words(x, y + size * 0.36, name, size, "ink", "middle"))
    return items


def _paints(colour: str) -> list[str]:
    if not colour:
        return []
    try:
        return [WIRE_COLOURS[part] for part in colour_parts(colour) if part in WIRE_COLOURS]
    except ValueError:
        return []


def draw_terminal(items: list[Item], x: float, y: float, marked: str) -> None:
    """A ring terminal; framed in the tone `marked` where a fault concerns it."""
    if marked:
        items.append(Box(x - 18, y - 18, 36, 36, 4, "card", marked, 2.8))
    items.append(Dot(x, y, 14, "body", "ink", 1.6))
    items.append(Dot(x, y, 5.5, "card", "ink", 1.6))


def draw_tag(items: list[Item], tag: Tag, x: float, y: float) -> None:
    """A fault's tag, centred on x, y: its mark, its number and its word."""
    w = tag.width
    items.append(Box(x - w / 2, y - 10, w, 20, 4, tag.tone))
    items.extend(mark_shapes(tag.finding, x - w / 2 + 16, y, 6.6, "mark"))
    items.append(Words(x - w / 2 + 29, y + 4.4, tag.words, 12.5, "mark", bold=True))


def mark_shapes(finding: Finding, x: float, y: float, size: float, fill: str) -> list[Item]:
    """The mark of a fault, centred on x, y; `size` is half its width."""
    return [
        Shape(tuple((x + size * px, y + size * py) for px, py in outline), fill)
        for outline in MARKS[finding.fault].outlines
    ]
