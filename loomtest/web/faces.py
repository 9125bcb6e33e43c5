"""The faces that a prompt is about: a circle around the red lead's cavity, a square around the black's."""

from __future__ import annotations

from typing import TYPE_CHECKING

from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Item, Words, to_svg
from loomtest.evidence.pictures.ends import draw_face, draw_terminal
from loomtest.evidence.pictures.spots import CELL, spot_of
from loomtest.harness.model import cavity_of, connector_of

if TYPE_CHECKING:
    from loomtest.evidence.pictures.spots import Spot
    from loomtest.harness.model import Harness, Wire

MARGIN = 8.0
RED = "#c8102e"
HEAD = 22.0


def prompt_faces(harness: Harness, red: str, black: str) -> dict[str, str]:
    """SVG of the face under each lead; of one where both touch the same connector."""
    at: dict[str, list[Wire]] = {}
    for wire in harness.wires:
        for point in {wire.start, wire.end}:
            at.setdefault(point, []).append(wire)
    leads = {lead: point for lead, point in (("red", red), ("black", black)) if point in harness.code_of}
    hubs: dict[str, dict[str, str]] = {}
    for lead, point in leads.items():
        hubs.setdefault(connector_of(point) or point, {})[lead] = point
    return {
        "-".join(own): to_svg(_face(harness, hub, own, at), alone=False, ident="face-" + "-".join(own))
        for hub, own in hubs.items()
    }


def _face(harness: Harness, hub: str, leads: dict[str, str], at: dict[str, list[Wire]]) -> Drawing:
    spot = spot_of(harness, hub, (), (), sum(len(at.get(point, ())) for point in leads.values()))
    w, h = (spot.face[0], spot.face[1]) if spot.cells else (40.0, 40.0)
    width, top = max(w + 2 * MARGIN, 96.0), HEAD
    spot.x = width / 2
    items: list[Item] = [Words(width / 2, 15, hub, 14, "ink", "middle", True)]
    if spot.cells:
        draw_face(items, spot, top, {}, at)
    else:
        draw_terminal(items, spot, top + h / 2, "", at.get(hub, []))
    for lead, point in leads.items():
        items += _ring(lead, *_middle(spot, top, h, point), 13.5 if spot.cells else 18.0)
    told = " and ".join(f"{lead} lead on {point}" for lead, point in leads.items())
    return Drawing(width, top + h + MARGIN, f"{hub}: {told}", told, items)


def _middle(spot: Spot, top: float, height: float, point: str) -> tuple[float, float]:
    for cell in spot.cells:
        if cell.cavity == cavity_of(point):
            left = spot.x - spot.face[0] / 2 + 6
            return left + (cell.column + 0.5) * spot.cell, top + 6 + (cell.row + 0.5) * CELL
    return spot.x, top + height / 2


def _ring(lead: str, x: float, y: float, r: float) -> list[Item]:
    if lead == "red":
        return [Dot(x, y, r, "none", "card", 7.0), Dot(x, y, r, "none", RED, 4.0)]
    outer, inner = (
        Box(x - r, y - r, 2 * r, 2 * r, 2, "none", tone, width)
        for tone, width in (("card", 7.0), ("ink", 4.0))
    )
    return [outer, inner]
