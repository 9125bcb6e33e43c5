"""The picture of a loom drawn as it lies, where branches.csv says how: to scale, connectors turned outward.

Each connector's block (face or name, tags of faults, ends of the wires concerned) stands at the end of its
branch, or beside it on a leader where other things lie there. Nothing covers another.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from loomtest.evidence.pictures.drawing import XY, Box, Dot, Drawing, Item, Polyline, Way, Words, visible
from loomtest.evidence.pictures.ends import draw_face, draw_label, draw_tag, draw_terminal
from loomtest.evidence.pictures.formboard import FormBoard
from loomtest.evidence.pictures.letters import text_width
from loomtest.evidence.pictures.polylines import PlaceMark, curve_of, half_of, is_near, meets, moved, place_at
from loomtest.evidence.pictures.spots import LABEL, TAG, BlockAt, Spot, Tag
from loomtest.harness.lie import Lie, WireWay
from loomtest.harness.model import FloatArray, Harness, Wire
from loomtest.words.lying import aside_text, lying_text, scale_text, untrue_text
from loomtest.words.numbers import counted
from loomtest.words.places import name_text, wire_text

MOST_FACES = 30  # connectors that are drawn with all their cavities
WIDTHS = (
    (16, 720.0),
    (45, 1080.0),
    (10_000, 1500.0),
)  # of the board; the last fills an A3 sheet
TALLEST = 0.6  # of the width, as the sheet lies
MARGIN = 24.0
_TURNS = (0, 25, -25, 50, -50, 80, -80, 120, -120, 160, -160)  # degrees off outward
_STEP = 12.0
MORE_STEPS = 4  # that are tried for a leader which crosses less
MOST_WAYS = 1000


@dataclass
class _Sheet:
    harness: Harness
    lie: Lie
    board: FormBoard
    at: dict[str, XY]  # of each node, pixels
    curves: list[tuple[XY, ...]]  # of each branch: straight, or a bow where it closes a ring
    lines: FloatArray  # (L, 4) all pieces of the curves
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    leaders: list[tuple[float, float, float, float]] = field(default_factory=list)
    items: list[Item] = field(default_factory=list)


def _to_pixels(lie: Lie, board: FormBoard, hubs: int) -> tuple[dict[str, XY], float]:
    """Where each node lies on the sheet, and pixels a metre."""
    width = next(width for most, width in WIDTHS if hubs <= most)
    xs, ys = ([place[axis] for place in board.at_m.values()] for axis in (0, 1))
    wide, high = max(max(xs) - min(xs), 1e-3), max(max(ys) - min(ys), 1e-3)
    scale = min((width - 240) / wide, width * TALLEST / high)
    return {
        name: ((x - min(xs)) * scale, (y - min(ys)) * scale) for name, (x, y) in board.at_m.items()
    }, scale


def lying_picture(
    harness: Harness,
    board: FormBoard,
    tags: Sequence[Tag],
    routes: Sequence[tuple[Tag, Wire]],
    spots: Mapping[str, Spot],
    places: Sequence[PlaceMark] = (),
) -> Drawing:
    """The whole loom with the faults in it. `spots`: every connector and terminal, by its name, with what is
    written on it; `places` along wires are marked."""
    lie = harness.lie
    assert lie is not None
    placed, scale = _to_pixels(lie, board, len(spots))
    curves = [
        curve_of(placed[b.start], placed[b.end], i in board.closing) for i, b in enumerate(lie.branches)
    ]
    lines = np.array([[*a, *b] for curve in curves for a, b in pairwise(curve)])
    sheet = _Sheet(harness, lie, board, placed, curves, lines)
    faces = sum(not spot.splice for spot in spots.values()) <= MOST_FACES
    at: dict[str, list[Wire]] = {}
    for wire in harness.wires:
        for point in {wire.start, wire.end}:
            at.setdefault(point, []).append(wire)
    blocks = {name: _block(spot, faces) for name, spot in spots.items()}
    nodes = {name: _node_of(lie, harness, name) for name in spots}
    _sleeves(sheet)
    for name in sorted((n for n in blocks if nodes[n]), key=lambda n: _order(sheet, blocks[n], nodes[n])):
        _set(sheet, blocks[name], nodes[name])
    for lane, (tag, wire) in enumerate(routes):
        _route(sheet, tag, wire, lane)
    _own_names(sheet, set(nodes.values()))
    _ways(sheet)
    aside = [name for name in blocks if not nodes[name]]
    bottom = _aside(sheet, [blocks[name] for name in aside])
    for place in places:
        _mark(sheet, place)
    marked = {point: tag.tone for tag in reversed(tags) for point in tag.finding.points}
    for name, block in blocks.items():
        _draw(sheet, block, marked, at, faces or (not nodes[name] and len(aside) < MOST_FACES))
    told = "; ".join(f"{tag.words} at {tag.hub}" for tag in tags) or "no fault marked"
    text = lying_text(
        drawn=len(blocks) - len(aside), aside=len(aside), faults=told, flattened=board.flattened
    )
    return _finished(sheet, scale, bottom, f"{harness.name}: the loom as it lies", text)


def _node_of(lie: Lie, harness: Harness, hub: str) -> str:
    if hub in lie.nodes:
        return hub
    return next((p for p in harness.points if p.startswith(f"{hub}:") and p in lie.nodes), "")


def _block(spot: Spot, faces: bool) -> BlockAt:
    """The room that a connector needs, with or without its cavities."""
    written = TAG * len(spot.tags) + LABEL * len(spot.labels)
    names = [text_width(name, 13, bold=True) for name in spot.names]
    extras = [tag.width for tag in spot.tags] + [label.width for label in spot.labels]
    if spot.cells and faces:
        wide, high = spot.face[0], spot.face[1] + 17.0 * len(spot.names)
    elif spot.splice:
        wide, high = 26.0 + max(names), 18.0
    elif spot.cells:
        note = text_width(counted(len(spot.cells), "cavity", "cavities"), 9)
        wide, high = max(*names, note) + 14, 30.0
    else:
        wide, high = 34.0 + max(names), 30.0
    width = max([wide, *(names if faces and spot.cells else []), *extras])
    return BlockAt(spot, len(spot.cells), width, high + written, head=written, body=high)


def _order(sheet: _Sheet, block: BlockAt, node: str) -> tuple[bool, float, float]:
    """Splices on the way last, ends first, large before small."""
    ends = sum(node in (branch.start, branch.end) for branch in sheet.lie.branches)
    return ends > 1, -block.width * block.height, sheet.at[node][0]


def _outward(sheet: _Sheet, node: str) -> float:
    """Away from the branches at the node: the middle of the widest angle between them."""
    x, y = sheet.at[node]
    angles = []
    for branch in sheet.lie.branches:
        if node in (branch.start, branch.end):
            ox, oy = sheet.at[branch.end if node == branch.start else branch.start]
            if (ox, oy) != (x, y):
                angles.append(math.atan2(oy - y, ox - x))
    if not angles:
        return -math.pi / 2
    angles.sort()
    gaps = [(b - a, a) for a, b in zip(angles, [*angles[1:], angles[0] + 2 * math.pi], strict=True)]
    width, begin = max(gaps)
    return begin + width / 2


def _set(sheet: _Sheet, block: BlockAt, node: str) -> None:
    """Give a block the nearest free place beside its node, outward first; a leader leads there."""
    x, y = sheet.at[node]
    out = _outward(sheet, node)
    best: tuple[float, float, float] | None = None  # what it costs, x, y
    first = 0
    for step in range(400):
        if best is not None and (step > first + MORE_STEPS or best[0] < 0.15 * (step + 1)):
            break
        for turn in _TURNS:
            angle = out + math.radians(turn)
            cos, sin = math.cos(angle), math.sin(angle)
            reach = 9 + step * _STEP + half_of(block.width, block.height, cos, sin)
            block.x = x + reach * cos - block.width / 2
            block.y = y + reach * sin - block.height / 2
            if _is_free(sheet, block.corners):
                cost = 0.15 * step + _crossed(sheet, (x, y), _end(block, x, y))
                first = step if best is None else first
                if best is None or cost < best[0]:
                    best = (cost, block.x, block.y)
    if best is not None:
        _, block.x, block.y = best
    left, top, right, bottom = block.corners
    sheet.taken.append((left - 4, top - 4, right + 4, bottom + 4))
    end = _end(block, x, y)
    sheet.leaders.append((x, y, *end))
    sheet.items.append(Polyline(((x, y), end), "soft", 1.2))


def _end(block: BlockAt, x: float, y: float) -> XY:
    """Where a leader from x, y meets the block."""
    left, top, right, bottom = block.corners
    return min(max(x, left), right), min(max(y, top), bottom)


def _crossed(sheet: _Sheet, begin: XY, end: XY) -> int:
    """How many branches, leaders and blocks a leader would run across."""
    (x, y), (dx, dy) = begin, (end[0] - begin[0], end[1] - begin[1])
    far = math.hypot(dx, dy)
    if far < 12:
        return 0
    x, y = x + dx * 6 / far, y + dy * 6 / far  # beyond the branch that it leaves
    other = np.array(sheet.leaders) if sheet.leaders else np.empty((0, 4))
    lines = np.vstack([sheet.lines, other])
    along = lines[:, 2:] - lines[:, :2]
    a = dx * (lines[:, 1] - y) - dy * (lines[:, 0] - x)
    b = dx * (lines[:, 3] - y) - dy * (lines[:, 2] - x)
    c = along[:, 0] * (y - lines[:, 1]) - along[:, 1] * (x - lines[:, 0])
    d = along[:, 0] * (end[1] - lines[:, 1]) - along[:, 1] * (end[0] - lines[:, 0])
    crossed = int(((a * b < 0) & (c * d < 0)).sum())
    leader = np.array([[x, y, *end]])
    blocks = sum(meets(leader, *box) for box in sheet.taken if is_near(box, x, y, end))
    return crossed + 2 * blocks


def _is_free(sheet: _Sheet, box: tuple[float, float, float, float], room: float = 3.0) -> bool:
    left, top, right, bottom = box
    if any(left < x1 and x0 < right and top < y1 and y0 < bottom for x0, y0, x1, y1 in sheet.taken):
        return False
    return not meets(sheet.lines, left - room, top - room, right + room, bottom + room)


def _sleeves(sheet: _Sheet) -> None:
    """The branches, as thick as the wires in them ask for."""
    wires = np.zeros(len(sheet.lie.branches))
    for way in sheet.harness.ways:
        for index in way.branches if way is not None else ():
            wires[index] += 1
    most = 16.0 if len(sheet.at) < 60 else 9.0
    sleeves = [
        Polyline(
            sheet.curves[i],
            "sleeve",
            float(min(3 + 1.6 * math.sqrt(count), most)),
            () if b.length_m is not None else (9.0, 4.0),
        )
        for i, (b, count) in enumerate(zip(sheet.lie.branches, wires, strict=True))
    ]
    sheet.items += [replace(s, stroke="soft", width=s.width + 2, dash=()) for s in sleeves if not s.dash]
    sheet.items += sleeves


def _path(sheet: _Sheet, wire: Wire, shift: float = 0.0) -> tuple[XY, ...]:
    index = {w.name: i for i, w in enumerate(sheet.harness.wires)}.get(wire.name)
    way = sheet.harness.ways[index] if index is not None else None
    if way is None or not way.branches:
        return ()
    return tuple((x + shift, y + shift) for x, y in _along(sheet, way))


def _along(sheet: _Sheet, way: WireWay) -> list[XY]:
    """The points of a way through the curves of its branches."""
    points: list[XY] = []
    for index, start in zip(way.branches, way.nodes, strict=False):
        curve = sheet.curves[index]
        points += curve if sheet.lie.branches[index].start == start else curve[::-1]
    return points


def _route(sheet: _Sheet, tag: Tag, wire: Wire, lane: int) -> None:
    path = _path(sheet, wire, (lane % 5 - 2) * 1.6)
    if path:
        dash = (7.0, 4.0) if tag.tone == "bad" else (2.5, 3.5)
        sheet.items.append(Polyline(path, tag.tone, 2.4, dash))


def _mark(sheet: _Sheet, place: PlaceMark) -> None:
    at = place_at(sheet.harness, sheet.curves, place.wire, place.along_m)
    if at is None:
        return
    (x, y), width = at, text_width(place.words, 11, bold=True)
    sheet.items.append(Dot(x, y, 6.5, "card", place.tone, 2.6, place.words))
    for dx, dy in ((-width / 2, -24), (-width / 2, 11), (11, -7), (-11 - width, -7), (14, -26), (14, 14)):
        box = (x + dx, y + dy, x + dx + width, y + dy + 13)
        if _is_free(sheet, box, 0.0):
            break
    sheet.taken.append(box)
    sheet.items.append(Words(box[0], box[3] - 2, place.words, 11, place.tone, bold=True))


def _ways(sheet: _Sheet) -> None:
    """What a page can show: the way of each wire."""
    shown = zip(sheet.harness.wires[:MOST_WAYS], sheet.harness.ways, strict=False)
    for wire, way in shown:
        if way is None or not way.branches:
            continue
        circuit = f", {wire.circuit}" if wire.circuit else ""
        told = f"{wire_text(wire)}: {name_text(wire.start)} to {name_text(wire.end)}{circuit}"
        sheet.items.append(Way(tuple(_along(sheet, way)), wire.name, told))


def _own_names(sheet: _Sheet, taken: set[str]) -> None:
    """The names that the person gave to branchings, small, where there is room."""
    for name, (x, y) in sheet.at.items():
        if name in taken:
            continue
        text = visible(name)
        width = text_width(text, 9)
        for dx, dy in ((-width / 2, -19), (-width / 2, 9), (9, -5), (-9 - width, -5)):
            box = (x + dx, y + dy, x + dx + width, y + dy + 10)
            if _is_free(sheet, box, 0.0):
                sheet.taken.append(box)
                sheet.items.append(Words(box[0], box[3] - 1, text, 9, "soft"))
                break


def _edges(sheet: _Sheet) -> list[tuple[float, float, float, float]]:
    """The boxes of all that is set so far."""
    lines = ((min(a, c), min(b, d), max(a, c), max(b, d)) for a, b, c, d in sheet.lines.tolist())
    return [*sheet.taken, *lines]


def _aside(sheet: _Sheet, blocks: Sequence[BlockAt]) -> float:
    """Set the blocks that no branch leads to in rows below; the lower end of all."""
    edges = _edges(sheet)
    left, right = min(e[0] for e in edges), max(e[2] for e in edges)
    y = max(e[3] for e in edges) + 20
    if not blocks:
        return y
    sheet.items.append(Words(left, y + 10, aside_text(), 11, "soft"))
    y, x, deepest = y + 22, left, 0.0
    for block in blocks:
        if x > left and x + block.width > max(right, left + 600):
            x, y, deepest = left, y + deepest + 10, 0.0
        block.x, block.y = x, y
        sheet.taken.append(block.corners)
        x += block.width + 12
        deepest = max(deepest, block.height)
    return y + deepest + 20


def _draw(
    sheet: _Sheet, block: BlockAt, marked: Mapping[str, str], at: Mapping[str, list[Wire]], faces: bool
) -> None:
    spot, items = block.spot, sheet.items
    spot.x = block.x + block.width / 2
    y = block.y
    for tag in spot.tags:
        draw_tag(items, tag, spot.x, y + TAG / 2)
        y += TAG
    for label in spot.labels:
        draw_label(items, label, spot.x, y + LABEL / 2)
        y += LABEL
    tone = spot.tags[0].tone if spot.tags else marked.get(spot.hub, "")
    if spot.cells and faces:
        draw_face(items, spot, y, marked, at)
        y += spot.face[1]
        for name in spot.names:
            y += 15
            items.append(Words(spot.x, y - 1, name, 13, "ink", "middle", True))
    elif spot.cells:
        tone = tone or next((t for p, t in marked.items() if p.startswith(f"{spot.hub}:")), "")
        width = 2.4 if tone else 1.3
        items.append(Box(block.x, y, block.width, block.body, 5, "body", tone or "ink", width))
        note = counted(block.cavities, "cavity", "cavities")
        items.append(Words(spot.x, y + 14, " ".join(spot.names), 12, "ink", "middle", True))
        items.append(Words(spot.x, y + 25, note, 9, "soft", "middle"))
    elif spot.splice:
        items.append(Box(block.x + 2, y + 4, 18, 11, 5, "body", tone or "ink", 1.6))
        items.append(Words(block.x + 24, y + 14, " ".join(spot.names), 13, "ink", "start", True))
    else:
        spot.x = block.x + 15
        draw_terminal(items, spot, y + 15, tone, at.get(spot.hub, []))
        items.append(Words(block.x + 33, y + 19, " ".join(spot.names), 13, "ink", "start", True))


def _finished(sheet: _Sheet, scale: float, bottom: float, title: str, text: str) -> Drawing:
    """The drawing with its scale bar, moved so that it begins at the upper left corner."""
    edges = _edges(sheet)
    left, top, right = min(e[0] for e in edges), min(e[1] for e in edges), max(e[2] for e in edges)
    if sheet.board.untrue < len(sheet.lie.branches) or sheet.board.flattened:
        metres = next(m for m in (10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0) if m * scale <= 200)
        length = metres * scale
        bar = ((left, bottom), (left, bottom + 8), (left + length, bottom + 8), (left + length, bottom))
        note = untrue_text(sheet.board.untrue, len(sheet.board.closing))
        words = ". ".join(filter(None, (scale_text(metres), note)))
        sheet.items += [
            Polyline(bar, "ink", 1.4),
            Words(left + length + 8, bottom + 10, words, 11, "ink"),
        ]
        right = max(right, left + length + 8 + text_width(words, 11))
        bottom += 16
    dx, dy = MARGIN - left, MARGIN - top
    items = [moved(item, dx, dy) for item in sheet.items]
    return Drawing(right - left + 2 * MARGIN, bottom - top + 2 * MARGIN, title, text, items)
