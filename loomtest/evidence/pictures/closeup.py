"""Close-ups of what a fault concerns: a connector's face, its wires led out to labels, and where to probe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Item, Polyline, Words, visible
from loomtest.evidence.pictures.ends import cavity, frame, paints_of
from loomtest.evidence.pictures.faces import FaceCavity
from loomtest.evidence.pictures.letters import cut, text_width, wrapped
from loomtest.evidence.pictures.spots import CELL, Spot, spot_of
from loomtest.harness.model import Harness, Wire, cavity_of, connector_of
from loomtest.words.where import Probes, probes_for, wire_words

MOST_FACES = 3
LEAST = 330.0  # fits a phone at its natural size
EDGE = 12.0
STEP = 21.0
SEEN = {
    "mating": "mating side, where the other connector goes on",
    "wire": "wire side, where the wires go in",
}
NOT_KNOWN = "plain rows: go by the numbers on the housing"


@dataclass(frozen=True)
class _Label:
    """A label led out of a cavity: the lines on it, and where its wire leaves the face."""

    x: float
    y: float
    lines: tuple[str, ...]
    paints: tuple[str, ...]
    probe: bool


def closeups(
    harness: Harness, finding: Finding, tone: str, at: Mapping[str, Sequence[Wire]]
) -> list[Drawing]:
    """At most `MOST_FACES` drawings: the hubs of the fault's points and of the probes, in that order.

    `at`: the wires that end at each point.
    """
    probes = probes_for(finding, harness)
    leads = (probes.red, probes.black) if probes else ()
    points = dict.fromkeys([*finding.moves, *finding.moves.values(), *finding.points, *leads])
    by_hub: dict[str, list[str]] = {}
    for point in points:
        by_hub.setdefault(connector_of(point) or point, []).append(point)
    shown = list(by_hub.items())[:MOST_FACES]
    return [_closeup(harness, hub, own, finding, probes, tone, at) for hub, own in shown]


def _closeup(
    harness: Harness, hub: str, points: Sequence[str], finding: Finding, probes: Probes | None,
    tone: str, at: Mapping[str, Sequence[Wire]],
) -> Drawing:  # fmt: skip
    joins = sum(len(at.get(point, ())) for point in points)
    spot = spot_of(harness, hub, (), (), joins)
    face_w, face_h = spot.face
    width = max(LEAST, face_w + 2 * EDGE)
    items: list[Item] = []
    heads = _heads(harness, spot, width - 2 * EDGE)
    y = 8.0
    for text, size, fill, bold in heads:
        y += size + 5
        items.append(Words(EDGE, y, text, size, fill, bold=bold))
    top = y + 12
    spot.x = EDGE + face_w / 2
    labels = [
        label
        for point in points
        if (label := _label(harness, spot, top, point, finding, probes, at)) is not None
    ]
    bottom = _draw_labels(items, labels, top + face_h + 14, width, tone)
    face: list[Item] = []
    _draw_face(face, spot, top, set(points) & {*finding.points, *finding.moves.values()}, tone, at)
    told = "; ".join(" ".join(label.lines) for label in labels)
    title = f"Close-up of {visible(hub)}"
    text = ", ".join(head[0] for head in heads[1:]) + (f". {told}." if told else ".")
    return Drawing(width, bottom + 8, title, text, [*items[: len(heads)], *face, *items[len(heads) :]])


def _heads(harness: Harness, spot: Spot, width: float) -> list[tuple[str, float, str, bool]]:
    name = cut(visible(spot.hub), width, 15, bold=True)
    side = ""
    if spot.cells:
        known = harness.faces.get(spot.hub)
        side = SEEN[known.seen_from] if known else NOT_KNOWN
    elif spot.splice:
        side = "a splice: no probe reaches it" if spot.hub in harness.unreachable else "a splice"
    lines = [*wrapped(side, width, 11, 2), *wrapped(spot.place.removesuffix("wire side"), width, 11, 2)]
    return [(name, 15.0, "ink", True), *((line, 11.0, "soft", False) for line in lines)]


def _place(spot: Spot, top: float, point: str) -> tuple[float, float] | None:
    if not spot.cells:
        return spot.x, top + spot.face[1] / 2
    for cell in spot.cells:
        if cell.cavity == cavity_of(point):
            return _middle(spot, top, cell)
    return None


def _middle(spot: Spot, top: float, cell: FaceCavity) -> tuple[float, float]:
    left = spot.x - spot.face[0] / 2 + 6
    return left + (cell.column + 0.5) * spot.cell, top + 6 + (cell.row + 0.5) * CELL


def _label(
    harness: Harness, spot: Spot, top: float, point: str, finding: Finding, probes: Probes | None,
    at: Mapping[str, Sequence[Wire]],
) -> _Label | None:  # fmt: skip
    place = _place(spot, top, point)
    if place is None:
        return None
    own = at.get(point, ())
    suspects = {suspect.wire for suspect in finding.suspects}
    wires = sorted(own, key=lambda wire: wire.name not in suspects)
    name = cavity_of(point) if spot.cells else spot.hub
    lines = [f"{name}: stays empty" if not wires else ""]
    for wire in wires[:3]:
        other = wire.end if wire.start == point else wire.start
        lines.append(f"{name}: {wire_words(wire)}, {wire.name} to {other}")
    lines += [f"and {len(wires) - 3} more wires"] if len(wires) > 3 else []
    if point in finding.moves:
        lines.append(f"found in {cavity_of(finding.moves[point]) or finding.moves[point]} instead")
    lead = ""
    if probes:
        lead = "Red lead here" if point == probes.red else "Black lead here" if point == probes.black else ""
    lines += [lead] if lead else []
    paints = tuple(paints_of(wires[0].colour)) if wires else ()
    return _Label(*place, tuple(visible(line) for line in lines if line), paints, bool(lead))


def _draw_labels(items: list[Item], labels: Sequence[_Label], y: float, width: float, tone: str) -> float:
    """Wires from the cavities down to their labels, the rightmost first; where the last label ends."""
    lines: list[Item] = []
    flags: list[Item] = []
    for label in sorted(labels, key=lambda one: (-one.x, one.y)):
        x = label.x + CELL / 2
        lines += _lead(label, x, y + 8)
        texts = [cut(line, width - 2 * EDGE - 14, 11.5) for line in label.lines]
        wide = max(text_width(line, 11.5, bold=True) for line in texts) + 14
        left = max(EDGE, min(x - 14, width - EDGE - wide))
        tall = 15.0 * len(texts) + 7
        flags.append(Box(left, y, min(wide, width - 2 * EDGE), tall, 3, "card", tone, 1.3))
        for number, line in enumerate(texts):
            bold = label.probe and number == len(texts) - 1
            flags.append(Words(left + 7, y + 15 + 15 * number, line, 11.5, "ink", bold=bold))
        y += tall + 6
    items += [*lines, *flags]
    return y


def _lead(label: _Label, x: float, y: float) -> list[Item]:
    """The wire, in its colours; a stripe as a broken line along it."""
    ring = 7.2 if x > label.x else 0.0  # it leaves at the ring's edge, clear of the cavity's name
    path = ((label.x + ring, label.y + ring), (x, label.y + CELL / 2), (x, y))
    paints = label.paints or ("sleeve",)
    lead: list[Item] = [Polyline(path, "soft", 5.4), Polyline(path, paints[0], 4.0)]
    return lead + ([Polyline(path, paints[1], 1.6, (5, 5))] if paints[1:] else [])


def _draw_face(
    items: list[Item], spot: Spot, top: float, marked: set[str], tone: str, at: Mapping[str, Sequence[Wire]]
) -> None:
    w, h = spot.face
    if not spot.cells:
        if spot.splice:
            items.append(Box(spot.x - 15, top + h / 2 - 9, 30, 18, 9, "body", "ink", 1.6))
        else:
            items.append(Dot(spot.x, top + h / 2, 15, "body", "ink", 1.6))
            items.append(Dot(spot.x, top + h / 2, 6, "card", "ink", 1.6))
        return
    items.append(Box(spot.x - w / 2, top, w, h, 8, "body", "ink", 1.8))
    for cell in spot.cells:
        point = f"{spot.hub}:{cell.cavity}"
        place = _middle(spot, top, cell)
        if point in marked:
            items.append(frame(*place, spot.cell / 2 - 0.5, 12, tone))
        items.extend(cavity(*place, point, cell.cavity, at.get(point, ()), spot.cell))
