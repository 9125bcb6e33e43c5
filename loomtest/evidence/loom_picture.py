"""The picture of a loom as it lies on a board: trunk, branches, faces, and the faults where they are.

Drawn in the order along the trunk, not to scale. A fault is a numbered tag with its shape and its word on
the branch where it sits, the wire concerned runs through the trunk as a broken line, and the cavities
concerned are framed.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.drawing import XY, Box, Dot, Drawing, Item, Line, Shape, Words
from loomtest.evidence.faces import Cell, cells_of
from loomtest.evidence.layout import Board, lay_out
from loomtest.evidence.look import FAULT_WORD, MARKS, WIRE_COLOURS
from loomtest.harness.colours import colour_parts, colour_words
from loomtest.harness.model import Harness, Wire, connector_of

WIDTH = 1040.0
EDGE = 34.0
CELL = 25.0
BRANCH = 46.0
TAG = 24.0
GAP = 20.0
MOST_WIRES_SHOWN = 4  # of one finding, as broken lines


@dataclass(frozen=True)
class Tag:
    """A fault to mark: its number in the list of findings, how it is painted, where it sits."""

    number: int
    finding: Finding
    tone: str  # "bad" for a finding, "doubt" for what is undecided
    hub: str

    @property
    def words(self) -> str:
        """The text on the tag."""
        return f"{self.number} {FAULT_WORD[self.finding.fault]}"

    @property
    def width(self) -> float:
        """Pixels that the tag needs."""
        return _text_width(self.words, 12.5) + 38


@dataclass
class Spot:
    """A hub in its place: `x` on the trunk of board row `row`, above (`up`) or below it."""

    hub: str
    cells: tuple[Cell, ...]
    tags: tuple[Tag, ...]
    place: str
    splice: bool
    x: float = 0.0
    row: int = 0
    up: bool = True
    width: float = 0.0

    @property
    def face(self) -> XY:
        """Width and height of the connector's face, or of the symbol of a single terminal."""
        if not self.cells:
            return (30.0, 30.0)
        columns = max(cell.column for cell in self.cells) + 1
        rows = max(cell.row for cell in self.cells) + 1
        return (columns * CELL + 12, rows * CELL + 12)

    @property
    def branch(self) -> float:
        """Pixels from the trunk to the face."""
        return max(BRANCH, 22 + TAG * len(self.tags) + (8 if self.tags else 0))

    @property
    def reach(self) -> float:
        """Pixels from the trunk to the far end of the words."""
        return self.branch + self.face[1] + 24 + 14 * len(wrapped(self.place, self.width))


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
    board = lay_out(harness)
    tags = [
        Tag(number, finding, "bad" if number <= len(findings) else "doubt", _home(finding, harness, board))
        for number, finding in enumerate([*findings, *undecided], 1)
    ]
    spots = [_spot(harness, hub, tags) for hub in board.hubs]
    rows, width = _place(spots)
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
    return Drawing(
        width, y, title, f"{len(board.hubs)} connectors and terminals. Faults: {told}.", picture.items
    )


def wrapped(text: str, width: float, size: float = 11.0, most: int = 3) -> list[str]:
    """`text` in lines of at most `width` pixels; what does not fit in `most` lines ends in an ellipsis."""
    lines: list[str] = []
    for word in text.split():
        if lines and _text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1] + " …"]
    return lines


def _text_width(text: str, size: float) -> float:
    return 0.57 * size * len(text)


def _home(finding: Finding, harness: Harness, board: Board) -> str:
    """The hub where a finding is marked: the suspect's end where it is known, else its first point."""
    ends = [suspect.end for suspect in finding.suspects[:1] if suspect.end]
    wires = [w for s in finding.suspects[:1] for w in harness.wires if w.name == s.wire]
    candidates = [*ends, *finding.points, *(wire.start for wire in wires)]
    hubs = [connector_of(point) or point for point in candidates]
    return next((hub for hub in hubs if hub in board.hubs), board.hubs[0] if board.hubs else "")


def _wires_at(harness: Harness) -> dict[str, list[Wire]]:
    at: dict[str, list[Wire]] = {}
    for wire in harness.wires:
        for point in {wire.start, wire.end}:
            at.setdefault(point, []).append(wire)
    return at


def _spot(harness: Harness, hub: str, tags: Sequence[Tag]) -> Spot:
    single = hub in harness.code_of
    cells = () if single else cells_of(harness, hub)
    joins = sum(hub in (wire.start, wire.end) for wire in harness.wires)
    splice = single and (hub in harness.unreachable or hub.upper().startswith("SP")) and joins > 1
    mine = tuple(tag for tag in tags if tag.hub == hub)
    spot = Spot(hub, cells, mine, harness.places.get(hub, ""), splice)
    words = min(_text_width(spot.place, 11), 112.0)
    spot.width = max(spot.face[0], _text_width(hub, 14), words, *(tag.width for tag in mine), 44.0)
    return spot


def _place(spots: Sequence[Spot]) -> tuple[int, float]:
    """Give every spot its row, its side and its x, in order; the number of rows and the drawing's width."""
    rows, needed = _place_within(spots, WIDTH)
    if rows == 1:
        return rows, max(min(needed + EDGE, WIDTH), 560.0)
    width = WIDTH  # even out the rows: the narrowest width that needs no further row
    while width > 400 and _place_within(spots, width - 40)[0] == rows:
        width -= 40
    _place_within(spots, width)
    far = 0.0
    for row in range(rows):
        here = [spot for spot in spots if spot.row == row]
        start, end = here[0].x, max(spot.x + spot.width / 2 for spot in here)
        factor = min((WIDTH - EDGE - end) / max(here[-1].x - start, 1.0), 0.6) + 1
        for spot in here[1:]:
            spot.x = start + (spot.x - start) * factor
        far = max(far, *(spot.x + spot.width / 2 for spot in here))
    return rows, far + EDGE


def _place_within(spots: Sequence[Spot], width: float) -> tuple[int, float]:
    row, number_in_row, far = 0, 0, 0.0
    ends, last = [EDGE, EDGE], EDGE
    for spot in spots:
        side = int(ends[1] < ends[0])
        x = max(ends[side] + spot.width / 2, last + 24)
        if x + spot.width / 2 > width - EDGE and number_in_row:
            row, number_in_row, ends, last, side = row + 1, 0, [EDGE, EDGE], EDGE, 0
            x = EDGE + spot.width / 2
        spot.x, spot.row, spot.up = x, row, side == 0
        ends[side] = x + spot.width / 2 + GAP
        last = x
        number_in_row += 1
        far = max(far, x + spot.width / 2)
    return row + 1, far


def _draw_trunk(picture: _Picture, rows: int) -> None:
    spots, hubs = picture.spots, picture.board.wire_hubs
    low, high = hubs.min(axis=1), hubs.max(axis=1)
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
        _draw_face(picture, spot, top, tags)
    elif spot.splice:
        picture.items.append(Box(spot.x - 11, trunk - 7, 22, 14, 7, "body", "ink", 1.6))
    else:
        marked = next((tag.tone for tag in tags if spot.hub in (tag.hub, *tag.finding.points)), "")
        _draw_terminal(picture.items, spot.x, top + h / 2, marked)
    name_y = (
        (top - 8 if spot.up else top + h + 17) if not spot.splice else (edge - 4 if spot.up else edge + 12)
    )
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
        _draw_tag(picture.items, tag, spot.x, centre)


def _draw_face(picture: _Picture, spot: Spot, top: float, tags: Sequence[Tag]) -> None:
    w, h = spot.face
    picture.items.append(Box(spot.x - w / 2, top, w, h, 7, "body", "ink", 1.6))
    marked = {point: tag.tone for tag in reversed(tags) for point in tag.finding.points}
    for cell in spot.cells:
        point = f"{spot.hub}:{cell.cavity}"
        x = spot.x - w / 2 + 6 + (cell.column + 0.5) * CELL
        y = top + 6 + (cell.row + 0.5) * CELL
        wires = picture.at.get(point, [])
        if point in marked:
            # square about what is round: it shows on a wire of any colour
            picture.items.append(Box(x - 12, y - 12, 24, 24, 3, "card", marked[point], 2.8))
        picture.items.extend(_cavity(x, y, point, cell.cavity, wires))


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


def _draw_terminal(items: list[Item], x: float, y: float, marked: str) -> None:
    """A ring terminal; framed in the tone `marked` where a fault concerns it."""
    if marked:
        items.append(Box(x - 18, y - 18, 36, 36, 4, "card", marked, 2.8))
    items.append(Dot(x, y, 14, "body", "ink", 1.6))
    items.append(Dot(x, y, 5.5, "card", "ink", 1.6))


def _draw_tag(items: list[Item], tag: Tag, x: float, y: float) -> None:
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
