"""The picture of a loom as it lies on a board: trunk, branches, faces, and the faults where they are.

Drawn in the order along the trunk, not to scale. A fault is a numbered tag with its shape and its word on
the branch where it sits, the wire concerned runs through the trunk as a broken line, and the cavities
concerned are framed.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.drawing import XY, Box, Drawing, Item, Line, Words
from loomtest.evidence.layout import Board, lay_out
from loomtest.evidence.loom_faces import draw_face, draw_tag, draw_terminal
from loomtest.evidence.loom_spots import EDGE, TAG, Spot, Tag, home_of, place, spot_of, wrapped
from loomtest.harness.model import Harness, Wire, connector_of

MOST_HUBS = 240  # connectors and terminals in one picture
MOST_WIRES_SHOWN = 4  # of one finding, as broken lines


@dataclass
class _Picture:
    harness: Harness
    board: Board
    spots: list[Spot]
    width: float
    at: dict[str, list[Wire]]
    trunk_y: list[float] = field(default_factory=list)
    items: list[Item] = field(default_factory=list)


def loom_picture(
    harness: Harness, findings: Sequence[Finding] = (), undecided: Sequence[Finding] = ()
) -> Drawing:
    """The whole loom with the faults in it; numbers run through `findings`, then `undecided`."""
    whole = len({connector_of(point) or point for point in harness.points})
    harness = _concerned(harness, [*findings, *undecided]) if whole > MOST_HUBS else harness
    board = lay_out(harness)
    tags = [
        Tag(number, finding, "bad" if number <= len(findings) else "doubt", home_of(finding, harness, board))
        for number, finding in enumerate([*findings, *undecided], 1)
    ]
    tags = [tag for tag in tags if tag.hub]
    spots = [spot_of(harness, hub, tags) for hub in board.hubs]
    rows, width = place(spots)
    picture = _Picture(harness, board, spots, width, _wires_at(harness))
    y = 16.0
    for row in range(rows):
        here = [spot for spot in spots if spot.row == row]
        y += max((spot.reach for spot in here if spot.up), default=20.0)
        picture.trunk_y.append(y)
        y += max((spot.reach for spot in here if not spot.up), default=20.0) + 26
    _draw_trunk(picture, rows)
    for spot in spots:
        _draw_branch(picture, spot)
    for lane, (tag, wire) in enumerate(_routes(harness, tags)):
        _draw_route(picture, tag, wire, lane)
    for spot in spots:
        _draw_hub(picture, spot, tags)
    told = "; ".join(f"{tag.words} at {tag.hub}" for tag in tags) or "no fault marked"
    title = f"{harness.name}: the loom on the board"
    shown = f"{len(board.hubs)} connectors and terminals" + (
        f" of {whole}" if whole > len(board.hubs) else ""
    )
    if whole > len(board.hubs):
        picture.items.append(Words(EDGE, 12, f"{shown}: those that a fault concerns, and more", 11, "soft"))
    return Drawing(width, y, title, f"{shown}. Faults: {told}.", picture.items)


def _concerned(harness: Harness, findings: Sequence[Finding]) -> Harness:
    """The part of a very large loom that is drawn: what the findings speak of, then the rest in order."""
    suspects = {suspect.wire for finding in findings for suspect in finding.suspects}
    first = [point for finding in findings for point in finding.points if point in harness.code_of]
    first += [p for wire in harness.wires if wire.name in suspects for p in (wire.start, wire.end)]
    hubs = list(dict.fromkeys(connector_of(point) or point for point in (*first, *harness.points)))
    kept = set(hubs[:MOST_HUBS])
    inside = {point for point in harness.points if (connector_of(point) or point) in kept}
    wires = tuple(wire for wire in harness.wires if wire.start in inside and wire.end in inside)
    return replace(harness, wires=wires, points=tuple(p for p in harness.points if p in inside))


def _wires_at(harness: Harness) -> dict[str, list[Wire]]:
    at: dict[str, list[Wire]] = {}
    for wire in harness.wires:
        for point in {wire.start, wire.end}:
            at.setdefault(point, []).append(wire)
    return at


def _draw_trunk(picture: _Picture, rows: int) -> None:
    spots, hubs = picture.spots, picture.board.wire_hubs
    low, high = hubs.min(axis=1, initial=len(spots)), hubs.max(axis=1, initial=-1)
    crossing = [int(np.sum((low <= i) & (high > i))) for i in range(len(spots) - 1)]
    for i, (spot, after) in enumerate(itertools.pairwise(spots)):
        if not crossing[i]:
            continue
        width, y = _sleeve(crossing[i]), picture.trunk_y[spot.row]
        if spot.row == after.row:
            picture.items.append(Line(((spot.x, y), (after.x, y)), "sleeve", width))
            continue
        below = picture.trunk_y[after.row]
        picture.items.append(Line(((spot.x, y), (picture.width - 12, y)), "sleeve", width))
        picture.items.append(Line(((12, below), (after.x, below)), "sleeve", width))
        picture.items.append(
            Words(picture.width - 8, y - width / 2 - 6, f"on to row {after.row + 1}", 11, "soft", "end")
        )
        picture.items.append(Words(8, below - width / 2 - 6, f"from row {spot.row + 1}", 11, "soft"))


def _sleeve(wires: int) -> float:
    return float(min(5 + 3.2 * np.sqrt(wires), 30.0))


def _draw_branch(picture: _Picture, spot: Spot) -> None:
    y = picture.trunk_y[spot.row]
    if spot.splice:
        picture.items.append(Line(((spot.x, y), (spot.x, _face_y(picture, spot))), "soft", 1.0, (2, 3)))
        return
    index = picture.board.hubs.index(spot.hub)
    wires = int(np.sum((picture.board.wire_hubs == index).any(axis=1)))
    if wires:
        picture.items.append(Line(((spot.x, y), (spot.x, _face_y(picture, spot))), "sleeve", _sleeve(wires)))


def _face_y(picture: _Picture, spot: Spot) -> float:
    """Where the branch meets the face."""
    return picture.trunk_y[spot.row] + (-spot.branch if spot.up else spot.branch)


def _routes(harness: Harness, tags: Sequence[Tag]) -> list[tuple[Tag, Wire]]:
    by_name = {wire.name: wire for wire in harness.wires}
    return [
        (tag, by_name[suspect.wire])
        for tag in tags
        for suspect in tag.finding.suspects[:MOST_WIRES_SHOWN]
        if suspect.wire in by_name
    ]


def _draw_route(picture: _Picture, tag: Tag, wire: Wire, lane: int) -> None:
    """The wire concerned, from face to face through the sleeve, as a broken line."""
    a, b = (picture.spots[picture.board.hubs.index(connector_of(p) or p)] for p in (wire.start, wire.end))
    if a is b:
        return
    if (a.row, a.x) > (b.row, b.x):
        a, b = b, a
    shift = (lane % 5 - 2) * 3.4
    path: list[XY] = [] if a.splice else [(a.x + shift, _face_y(picture, a))]
    for row in range(a.row, b.row + 1):
        y = picture.trunk_y[row] + shift
        path.append((a.x + shift if row == a.row else 12.0, y))
        path.append((b.x + shift if row == b.row else picture.width - 12, y))
        if row < b.row:
            picture.items.append(Line(tuple(path), tag.tone, 2.4, (7, 4)))
            path = []
    if not b.splice:
        path.append((b.x + shift, _face_y(picture, b)))
    picture.items.append(Line(tuple(path), tag.tone, 2.4, (7, 4)))


def _draw_hub(picture: _Picture, spot: Spot, tags: Sequence[Tag]) -> None:
    edge, trunk = _face_y(picture, spot), picture.trunk_y[spot.row]
    h = spot.face[1]
    top = edge - h if spot.up else edge
    if spot.cells:
        draw_face(picture.items, spot, top, tags, picture.at)
    elif spot.splice:
        picture.items.append(Box(spot.x - 11, trunk - 7, 22, 14, 7, "body", "ink", 1.6))
    else:
        marked = next((tag.tone for tag in tags if spot.hub in (tag.hub, *tag.finding.points)), "")
        draw_terminal(picture.items, spot.x, top + h / 2, marked)
    room = 0 if spot.cells else 4  # for the frame of a terminal
    name_y = top - 8 - room if spot.up else top + h + 17 + room
    if spot.splice:
        name_y = edge - 4 if spot.up else edge + 12
    lines = wrapped(spot.place, spot.width)
    if spot.up:
        for i, line in enumerate(reversed(lines)):
            picture.items.append(Words(spot.x, name_y - 14 * i, line, 11, "soft", "middle"))
        name_y -= 14 * len(lines) + (2 if lines else 0)
    else:
        for i, line in enumerate(lines):
            picture.items.append(Words(spot.x, name_y + 14 * (i + 1), line, 11, "soft", "middle"))
    picture.items.append(Words(spot.x, name_y, spot.hub, 14, "ink", "middle", bold=True))
    for i, tag in enumerate(spot.tags):
        centre = trunk + (-1 if spot.up else 1) * (30 + TAG * i)
        draw_tag(picture.items, tag, spot.x, centre)
