"""The picture of a loom as it lies on a board: trunk, branches, faces, and the faults where they are.

Drawn in the order along the trunk, not to scale. A fault is a numbered tag with its shape and its word on
the branch where it sits, the wire concerned runs through the trunk as a broken line with a label at each of
its ends, and the cavities concerned are framed. Of a large loom only what faults concern is drawn.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.pictures.drawing import XY, Box, Drawing, Item, Polyline, Way, Words, visible
from loomtest.evidence.pictures.ends import draw_face, draw_label, draw_tag, draw_terminal
from loomtest.evidence.pictures.formboard import form_board
from loomtest.evidence.pictures.layout import HubLayout, lay_out
from loomtest.evidence.pictures.letters import cut
from loomtest.evidence.pictures.lying import lying_picture
from loomtest.evidence.pictures.polylines import PlaceMark
from loomtest.evidence.pictures.spots import LABEL, TAG, Label, Spot, Tag, home_of, place, shown_hubs, spot_of
from loomtest.harness.model import Harness, IntArray, Wire, connector_of
from loomtest.words.lying import mark_text
from loomtest.words.numbers import counted
from loomtest.words.places import name_text, wire_text

MOST_HUBS = 90  # connectors and terminals that are all drawn
MOST_WIRES_SHOWN = 3  # of one finding, as broken lines
MOST_WAYS = 1000  # wires whose way a page can show


@dataclass
class _Picture:
    harness: Harness
    board: HubLayout
    spots: list[Spot]
    spot_of: IntArray  # (H,) which spot a hub of the board stands in
    width: float
    at: dict[str, list[Wire]]
    trunk_y: list[float] = field(default_factory=list)
    items: list[Item] = field(default_factory=list)
    sleeves: list[Polyline] = field(default_factory=list)
    signs: list[Words] = field(default_factory=list)  # from row to row

    def spot(self, point: str) -> Spot:
        """Where a point is drawn."""
        return self.spots[int(self.spot_of[self.hub_index[connector_of(point) or point]])]

    def __post_init__(self) -> None:
        self.hub_index = {hub: i for i, hub in enumerate(self.board.hubs)}


def loom_picture(
    harness: Harness,
    findings: Sequence[Finding] = (),
    undecided: Sequence[Finding] = (),
    places: Sequence[PlaceMark] = (),
    most_hubs: int = MOST_HUBS,
) -> Drawing:
    """The whole loom with the faults in it; numbers run through `findings`, then `undecided`.

    Of a loom of more than `most_hubs` connectors and terminals those that a fault concerns are drawn.
    `places` along wires are marked where it is known how the loom lies.
    """
    board = lay_out(harness)
    by_name = {wire.name: wire for wire in harness.wires}
    hubs = {hub: i for i, hub in enumerate(board.hubs)}
    tags = [
        Tag(number, finding, "bad" if number <= len(findings) else "doubt", home_of(finding, by_name, hubs))
        for number, finding in enumerate([*findings, *undecided], 1)
    ]
    tags = [tag for tag in tags if tag.hub]
    at: dict[str, list[Wire]] = {}
    for wire in harness.wires:
        for point in {wire.start, wire.end}:
            at.setdefault(point, []).append(wire)
    routes = [
        (tag, by_name[suspect.wire])
        for tag in tags
        for suspect in tag.finding.suspects[:MOST_WIRES_SHOWN]
        if suspect.wire in by_name
    ]
    if harness.lie is not None:
        return _as_it_lies(harness, board, tags, routes, places)
    spots, where = _spots(harness, board, tags, routes, most_hubs)
    rows, width = place(spots)
    picture = _Picture(harness, board, spots, where, width, at)
    *cuts, height = _rows(picture, rows)
    _draw_trunk(picture)
    for spot in spots:
        _draw_branch(picture, spot)
    # all outlines lie below all sleeves, so that a branch runs into the trunk without a seam
    picture.items += [replace(sleeve, stroke="soft", width=sleeve.width + 2) for sleeve in picture.sleeves]
    picture.items += picture.sleeves
    picture.items += picture.signs
    for lane, (tag, wire) in enumerate(routes):
        _draw_route(picture, tag, wire, lane)
    _draw_ways(picture)
    marked = {point: tag.tone for tag in reversed(tags) for point in tag.finding.points}
    for spot in spots:
        _draw_hub(picture, spot, marked)
    drawn = sum(not spot.more for spot in spots)
    of = f" of {len(board.hubs)}, those that a fault concerns among them" if drawn < len(board.hubs) else ""
    told = "; ".join(f"{tag.words} at {tag.hub}" for tag in tags) or "no fault marked"
    text = f"{drawn} connectors and terminals{of}. Faults: {told}."
    return Drawing(
        width, height, f"{harness.name}: the loom on the board", text, picture.items, cuts=tuple(cuts)
    )


def _as_it_lies(
    harness: Harness,
    board: HubLayout,
    tags: Sequence[Tag],
    routes: Sequence[tuple[Tag, Wire]],
    places: Sequence[PlaceMark],
) -> Drawing:
    """The picture where it is known how the loom lies: all of it, however large."""
    assert harness.lie is not None
    spots, _ = _spots(harness, board, tags, routes, len(board.hubs))
    by_name = {spot.hub: spot for spot in spots}
    places = [*places, *(mark for tag in tags if (mark := _mark_of(harness, tag)) is not None)]
    return lying_picture(harness, form_board(harness.lie), tags, routes, by_name, places)


def _mark_of(harness: Harness, tag: Tag) -> PlaceMark | None:
    """Where along its wire a fault is, to be marked; None where the readings do not tell."""
    place = tag.finding.place
    row = next((i for i, wire in enumerate(harness.wires) if place and wire.name == place.wire), -1)
    way = harness.ways[row] if row >= 0 else None
    if place is None or way is None or harness.lie is None:
        return None
    share = 1 - place.share if place.start == harness.wires[row].end else place.share
    along_m = share * sum(harness.lie.drawn_m[index] for index in way.branches)
    return PlaceMark(place.wire, along_m, mark_text(tag.number, place, harness.wires[row].inches), tag.tone)


def _spots(
    harness: Harness,
    board: HubLayout,
    tags: Sequence[Tag],
    routes: Sequence[tuple[Tag, Wire]],
    most: int,
) -> tuple[list[Spot], IntArray]:
    """Every hub that is drawn, and between them one spot for those that are not."""
    labels: dict[str, list[Label]] = {}
    concerned = [connector_of(p) or p for tag in tags for p in (tag.hub, *tag.finding.points)]
    for tag, wire in routes:
        for here, there in ((wire.start, wire.end), (wire.end, wire.start)):
            hub = connector_of(here) or here
            if hub != (connector_of(there) or there):
                concerned.append(hub)
                words = cut(f"{tag.number}: {visible(wire.name)} to {visible(there)}", 150, 11)
                labels.setdefault(hub, []).append(Label(words, tag.tone))
    joins = np.bincount(board.wire_hubs.ravel(), minlength=len(board.hubs))
    sizes = dict(zip(board.hubs, joins.tolist(), strict=True))
    shown = shown_hubs(board, concerned, sizes, most)
    spots: list[Spot] = []
    where = np.zeros(len(board.hubs), dtype=np.int64)
    for i, hub in enumerate(board.hubs):
        if hub in shown:
            mine = [tag for tag in tags if tag.hub == hub]
            spots.append(spot_of(harness, hub, mine, labels.get(hub, []), sizes[hub]))
        elif spots and spots[-1].more:
            spots[-1].more += 1
        else:
            spots.append(Spot("", more=1, width=74.0))
        where[i] = len(spots) - 1
    return spots, where


def _rows(picture: _Picture, rows: int) -> list[float]:
    """Set the trunk's y of each row; where each row ends."""
    ends, y = [], 16.0
    for row in range(rows):
        here = [spot for spot in picture.spots if spot.row == row]
        y += max((spot.reach for spot in here if spot.up), default=20.0)
        picture.trunk_y.append(y)
        y += max((spot.reach for spot in here if not spot.up), default=20.0) + 26
        ends.append(y)
    return ends


def _draw_trunk(picture: _Picture) -> None:
    spots, ends = picture.spots, picture.spot_of[picture.board.wire_hubs]
    low, high = ends.min(axis=1, initial=len(spots)), ends.max(axis=1, initial=-1)
    steps = np.zeros(
        len(spots) + 1, dtype=np.int64
    )  # wires begin at their low end and stop at their high one
    np.add.at(steps, low, 1)
    np.add.at(steps, high, -1)
    crossing = np.cumsum(steps)
    for i, (spot, after) in enumerate(itertools.pairwise(spots)):
        if not crossing[i]:
            continue
        width, y = _sleeve(int(crossing[i])), picture.trunk_y[spot.row]
        if spot.row == after.row:
            picture.sleeves.append(Polyline(((spot.x, y), (after.x, y)), "sleeve", width))
            continue
        below = picture.trunk_y[after.row]
        picture.sleeves.append(Polyline(((spot.x, y), (picture.width - 17, y)), "sleeve", width))
        picture.sleeves.append(Polyline(((17, below), (after.x, below)), "sleeve", width))
        onward, back = f"on to row {after.row + 1}", f"from row {spot.row + 1}"
        picture.signs.append(_say(picture, onward, spot.row, y, width, right=True))
        picture.signs.append(_say(picture, back, after.row, below, width, right=False))


def _say(picture: _Picture, words: str, row: int, y: float, sleeve: float, *, right: bool) -> Words:
    """Words at an end of a row, beside the trunk where nothing else stands; else short, on the trunk."""
    here = [spot for spot in picture.spots if spot.row == row]
    x, anchor = (picture.width - 8, "end") if right else (8.0, "start")
    for up in (True, False):
        side = [spot for spot in here if spot.up == up]
        if right:
            free = all(spot.x + spot.width / 2 < picture.width - 76 for spot in side)
        else:
            free = all(spot.x - spot.width / 2 > 76 for spot in side)
        if free:
            at = y - sleeve / 2 - 6 if up else y + sleeve / 2 + 14
            return Words(x, at, words, 11, "soft", anchor)
    short = "row " + words.rpartition(" ")[2]
    return Words(x, y + 3.5, short, 10, "ink", anchor)


def _sleeve(wires: int) -> float:
    return float(min(5 + 3.2 * np.sqrt(wires), 30.0))


def _joins(picture: _Picture, spot: Spot) -> int:
    index = picture.hub_index[spot.hub]
    return int(np.sum((picture.board.wire_hubs == index).any(axis=1)))


def _draw_branch(picture: _Picture, spot: Spot) -> None:
    y = picture.trunk_y[spot.row]
    if spot.more:
        return
    if spot.splice:
        picture.items.append(Polyline(((spot.x, y), (spot.x, _face_y(picture, spot))), "soft", 1.0, (2, 3)))
        return
    wires = _joins(picture, spot)
    if wires:
        picture.sleeves.append(
            Polyline(((spot.x, y), (spot.x, _face_y(picture, spot))), "sleeve", _sleeve(wires))
        )


def _face_y(picture: _Picture, spot: Spot) -> float:
    """Where the branch meets the face."""
    return picture.trunk_y[spot.row] + (-spot.branch if spot.up else spot.branch)


def _path(picture: _Picture, wire: Wire, shift: float) -> list[list[XY]]:
    """The way of a wire from face to face through the sleeve, a line for each row; none within one hub."""
    a, b = picture.spot(wire.start), picture.spot(wire.end)
    if a is b:
        return []
    if (a.row, a.x) > (b.row, b.x):
        a, b = b, a
    lines: list[list[XY]] = []
    for row in range(a.row, b.row + 1):
        y = picture.trunk_y[row] + shift
        start = a.x + _within(picture, a, shift) if row == a.row else 46.0
        stop = b.x + _within(picture, b, shift) if row == b.row else picture.width - 46
        path: list[XY] = [(start, y), (stop, y)]
        if row == a.row and not (a.splice or a.more):
            path.insert(0, (start, _face_y(picture, a)))
        if row == b.row and not (b.splice or b.more):
            path.append((stop, _face_y(picture, b)))
        lines.append(path)
    return lines


def _within(picture: _Picture, spot: Spot, shift: float) -> float:
    """`shift`, held inside the sleeve of the branch."""
    if spot.more or spot.splice:
        return 0.0
    room = _sleeve(_joins(picture, spot)) / 2 - 2
    return max(-room, min(room, shift))


def _draw_route(picture: _Picture, tag: Tag, wire: Wire, lane: int) -> None:
    """The wire concerned as a broken line: long strokes for a fault, dots for a doubt."""
    dash = (7.0, 4.0) if tag.tone == "bad" else (2.5, 3.5)
    for path in _path(picture, wire, (lane % 5 - 2) * 3.4):
        picture.items.append(Polyline(tuple(path), tag.tone, 2.4, dash))


def _draw_ways(picture: _Picture) -> None:
    """What a page can show: the way of each wire that has an end in the picture."""
    count = 0
    for wire in picture.harness.wires:
        paths = _path(picture, wire, 0.0)
        if not paths or count >= MOST_WAYS:
            continue
        count += 1
        circuit = f", {wire.circuit}" if wire.circuit else ""
        told = f"{wire_text(wire)}: {name_text(wire.start)} to {name_text(wire.end)}{circuit}"
        for number, path in enumerate(paths):
            picture.items.append(Way(tuple(path), wire.name, "" if number else told))


def _draw_hub(picture: _Picture, spot: Spot, marked: dict[str, str]) -> None:
    edge, trunk = _face_y(picture, spot), picture.trunk_y[spot.row]
    if spot.more:
        _draw_more(picture, spot, trunk)
        return
    h = spot.face[1]
    top = edge - h if spot.up else edge
    if spot.cells:
        draw_face(picture.items, spot, top, marked, picture.at)
    elif spot.splice:
        picture.items.append(Box(spot.x - 11, trunk - 7, 22, 14, 7, "body", "ink", 1.6))
    else:
        tone = spot.tags[0].tone if spot.tags else marked.get(spot.hub, "")
        draw_terminal(picture.items, spot, top + h / 2, tone, picture.at.get(spot.hub, []))
    _draw_names(picture, spot, top, edge)
    away = -1 if spot.up else 1
    for i, tag in enumerate(spot.tags):
        draw_tag(picture.items, tag, spot.x, trunk + away * (30 + TAG * i))
    first = 28 + TAG * len(spot.tags)
    for i, label in enumerate(spot.labels):
        draw_label(picture.items, label, spot.x, trunk + away * (first + LABEL * i))


def _draw_names(picture: _Picture, spot: Spot, top: float, edge: float) -> None:
    h = spot.face[1]
    room = 0 if spot.cells else 4  # for the frame of a terminal
    lines: list[tuple[str, float, str, bool]] = [(name, 14.0, "ink", True) for name in spot.names]
    lines += [(line, 11.0, "soft", False) for line in spot.place_lines]
    steps = [17.0 if bold else 14.0 for *_, bold in lines]
    if spot.up:
        y = (edge - 4 if spot.splice else top - 8 - room) - sum(steps[1:])
    else:
        y = edge + 12 if spot.splice else top + h + 17 + room
    for i, (text, size, tone, bold) in enumerate(lines):
        y += steps[i] if i else 0.0
        picture.items.append(Words(spot.x, y, text, size, tone, "middle", bold))


def _draw_more(picture: _Picture, spot: Spot, trunk: float) -> None:
    """Two strokes across the trunk: here the loom goes on, and so many hubs are not drawn."""
    picture.items.append(Polyline(((spot.x - 9, trunk - 19), (spot.x - 1, trunk + 19)), "paper", 7.0))
    for x in (spot.x - 13, spot.x - 5):
        picture.items.append(Polyline(((x, trunk - 19), (x + 8, trunk + 19)), "ink", 1.4))
    words = f"{counted(spot.more, 'more', 'more')}"
    y = trunk - 26 if spot.up else trunk + 36
    picture.items.append(Words(spot.x, y, words, 11, "soft", "middle"))
