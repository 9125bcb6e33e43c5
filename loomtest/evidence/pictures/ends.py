"""What stands at the ends of a loom's branches: connector faces, ring terminals, and the tags of faults."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.pictures.drawing import Box, Dot, Item, Shape, Words, visible
from loomtest.evidence.pictures.letters import cut, text_width
from loomtest.evidence.pictures.look import MARKS, WIRE_COLOURS
from loomtest.evidence.pictures.spots import CELL, Label, Spot, Tag
from loomtest.harness.colours import colour_parts, colour_words
from loomtest.harness.model import Wire


def draw_face(
    items: list[Item], spot: Spot, top: float, marked: Mapping[str, str], at: Mapping[str, Sequence[Wire]]
) -> None:
    """A connector's face with its cavities; those that a fault concerns are framed in the tone `marked`."""
    w, h = spot.face
    items.append(Box(spot.x - w / 2, top, w, h, 7, "body", "ink", 1.6))
    for cell in spot.cells:
        point = f"{spot.hub}:{cell.cavity}"
        x = spot.x - w / 2 + 6 + (cell.column + 0.5) * spot.cell
        y = top + 6 + (cell.row + 0.5) * CELL
        if point in marked:
            items.append(frame(x, y, spot.cell / 2 - 0.5, 12, marked[point]))
        items.extend(cavity(x, y, point, cell.cavity, at.get(point, []), spot.cell))


def frame(x: float, y: float, half_w: float, half_h: float, tone: str) -> Box:
    """Square about what is round, so that it shows on a wire of any colour; broken where it is a doubt."""
    dash = (4.0, 3.0) if tone == "doubt" else ()
    return Box(x - half_w, y - half_h, 2 * half_w, 2 * half_h, 3, "card", tone, 2.8, dash)


def cavity(
    x: float, y: float, point: str, name: str, wires: Sequence[Wire], cell: float = CELL
) -> list[Item]:
    """A cavity with its name in a ring of the wire's colour, a dot in the stripe's; empty, a thin ring."""
    told = ", ".join(w for wire in wires for w in (wire.name, colour_words(wire.colour), wire.circuit) if w)
    title = f"{point}: {told or 'empty'}"
    size = 10.0 if len(name) < 3 else 7.0
    text = cut(visible(name), cell - 6, size)
    if not wires:
        return [
            Dot(x, y, 9.5, "card", "line", 1.2, title),
            Words(x, y + size * 0.36, text, size, "soft", "middle"),
        ]
    paints = paints_of(wires[0].colour)
    names = tuple(wire.name for wire in wires)
    items: list[Item] = [Dot(x, y, 10.2, paints[0] if paints else "sleeve", "soft", 0.8, title, names)]
    inner = 7.0
    if len(paints) > 1:
        items.append(Dot(x, y - 8.6, 2.4, paints[1], "soft", 0.6))
    if cell > CELL:  # a long name is written across the ring
        half = text_width(text, size) / 2 + 2
        items.append(Box(x - half, y - 5.5, 2 * half, 11, 4, "card"))
    else:
        items.append(Dot(x, y, inner, "card", title=title, wires=names))
    items.append(Words(x, y + size * 0.36, text, size, "ink", "middle"))
    return items


def paints_of(colour: str) -> list[str]:
    """The one or two paints of an insulation colour; none where it is not known."""
    if not colour:
        return []
    try:
        return [WIRE_COLOURS[part] for part in colour_parts(colour) if part in WIRE_COLOURS]
    except ValueError:
        return []


def draw_terminal(items: list[Item], spot: Spot, y: float, marked: str, wires: Sequence[Wire]) -> None:
    """A ring terminal; framed in the tone `marked` where a fault concerns it."""
    told = ", ".join(w for wire in wires for w in (wire.name, colour_words(wire.colour)) if w)
    names = tuple(wire.name for wire in wires)
    if marked:
        items.append(frame(spot.x, y, 18, 18, marked))
    items.append(Dot(spot.x, y, 14, "body", "ink", 1.6, f"{spot.hub}: {told or 'no wire'}", names))
    items.append(Dot(spot.x, y, 5.5, "card", "ink", 1.6))


def draw_tag(items: list[Item], tag: Tag, x: float, y: float) -> None:
    """A fault's tag, centred on x, y: its mark, its number and its word; hollow where it is a doubt."""
    w = tag.width
    solid = tag.tone != "doubt"
    ink = "mark" if solid else tag.tone
    items.append(
        Box(
            x - w / 2, y - 10, w, 20, 4, tag.tone if solid else "card", tag.tone if not solid else "none", 2.0
        )
    )
    items.extend(mark_shapes(tag.finding, x - w / 2 + 16, y, 6.6, ink))
    items.append(Words(x - w / 2 + 29, y + 4.4, tag.words, 12.5, ink, bold=True))


def draw_label(items: list[Item], label: Label, x: float, y: float) -> None:
    """The label at a wire's end, centred on x, y."""
    w = label.width
    dash = (4.0, 3.0) if label.tone == "doubt" else ()
    items.append(Box(x - w / 2, y - 8, w, 16, 3, "card", label.tone, 1.2, dash))
    items.append(Words(x, y + 4, label.words, 11, "ink", "middle"))


def mark_shapes(finding: Finding, x: float, y: float, size: float, fill: str) -> list[Item]:
    """The mark of a fault, centred on x, y; `size` is half its width."""
    return [
        Shape(tuple((x + size * px, y + size * py) for px, py in outline), fill)
        for outline in MARKS[finding.fault].outlines
    ]
