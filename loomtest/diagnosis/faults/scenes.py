"""Parts the loom into scenes: the nets that some unexpected reading ties together."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from loomtest.diagnosis.faults.moves import Likeliness
from loomtest.diagnosis.faults.scene import FAR_BELOW, PartPaths, Scene
from loomtest.diagnosis.seen.observe import APART, JOINED, Observations
from loomtest.harness.copper import part_ohms
from loomtest.harness.forest import components
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray, Wire, cavity_of, connector_of
from loomtest.harness.points import natural


def net_codes(harness: Harness, point_count: int) -> IntArray:
    """(P,) net of every point of the readings; an undeclared cavity is a net of its own after the others."""
    extra = np.arange(point_count - len(harness.points), dtype=np.int64) + len(harness.nets)
    return np.concatenate([harness.net_of, extra])


def scenes_of(harness: Harness, points: Sequence[str], seen: Observations) -> list[Scene]:
    """One scene for each cluster of nets with an unexpected reading; an empty list when all is as drawn."""
    nets = net_codes(harness, len(points))
    net_count = int(nets.max()) + 1 if len(nets) else 0
    a, b = nets[seen.pair_start], nets[seen.pair_end]
    joined, apart = seen.pair_state == JOINED, seen.pair_state == APART
    odd = (joined & (a != b)) | (apart & (a == b))
    links = _part_links(harness, nets)
    parts = PartPaths(net_count, ((x, y, *short_and_most_ohm(harness.wires[w])) for x, y, w in links))
    through = components(net_count, ((x, y) for x, y, _ in links))
    group = np.array(through, dtype=np.int64)
    across = np.flatnonzero((a != b) & (group[a] == group[b]) & (joined | seen.pair_over))
    ties: list[tuple[int, int]] = []
    for pair in across.tolist():
        x, y, ohm = int(a[pair]), int(b[pair]), float(seen.pair_low_ohm[pair])
        bounds = parts.between(x, y)
        if bounds is None:
            continue
        if joined[pair]:
            odd[pair] = ohm < bounds[0]
        elif ohm > bounds[1]:
            odd[pair] = True
            ties.extend(_way(links, x, y))
    tied = [*zip(a[odd].tolist(), b[odd].tolist(), strict=True), *ties]
    for _, one, other in seen.clipped_joins:
        pairs = [(int(nets[p]), int(nets[q])) for p in one for q in other]
        if not any(x == y or parts.between(x, y) for x, y in pairs):
            tied.extend(pairs)
    clusters: dict[int, set[int]] = {}
    labels = components(net_count, tied)
    for net in {net for pair in tied for net in pair}:
        clusters.setdefault(labels[net], set()).add(net)
    told = [_with_hubs(members, links) for _, members in sorted(clusters.items())]
    some = _between(nets, seen, set().union(*told))
    return [_scene(harness, points, nets, some, members) for members in told]


def _between(nets: IntArray, seen: Observations, members: set[int]) -> Observations:
    """The pairs between points of these nets: few of a large scan, and each scene looks through them."""
    inside: BoolArray = np.isin(nets, sorted(members))
    kept = np.flatnonzero(inside[seen.pair_start] & inside[seen.pair_end])
    return replace(
        seen,
        pair_start=seen.pair_start[kept],
        pair_end=seen.pair_end[kept],
        pair_state=seen.pair_state[kept],
        pair_low_ohm=seen.pair_low_ohm[kept],
        pair_over=seen.pair_over[kept],
    )


def likeliness_of(harness: Harness, points: Sequence[str], scene: Scene) -> Likeliness:
    """What the weights of misplaced terminals need to know about the scene's points."""
    names = [points[code] for code in scene.codes]
    order: dict[str, int] = {}
    members: dict[str, list[str]] = {}
    for name in points:
        members.setdefault(connector_of(name), []).append(name)
    for connector in {connector_of(name) for name in names}:
        listed = {cavity: i for i, cavity in enumerate(harness.cavities.get(connector, ()))}
        ranked = sorted(
            members[connector],
            key=lambda name: (listed.get(cavity_of(name), len(listed)), natural(cavity_of(name))),
        )
        order.update((name, i) for i, name in enumerate(ranked))
    worked = tuple(bool({name, connector_of(name)} & harness.worked_on) for name in names)
    return Likeliness(
        tuple(connector_of(name) for name in names),
        tuple(order[name] for name in names),
        worked,
        bool(harness.worked_on),
    )


def _part_links(harness: Harness, nets: IntArray) -> list[tuple[int, int, int]]:
    """(net, net, wire) of every part between two nets."""
    return [
        (int(nets[harness.start[w]]), int(nets[harness.end[w]]), w)
        for w in np.flatnonzero(harness.parts).tolist()
        if nets[harness.start[w]] != nets[harness.end[w]]
    ]


def short_and_most_ohm(wire: Wire) -> tuple[float, float]:
    """(short, most) ohms: a reading through the part under the first is a short, over the second an open.

    A part with a range of its own that reads somewhat under it is a wrong part; one without is wanted to
    read 0.1 Ω at least, and what reads under that is no part. A diode promises no most, a switch nothing.
    """
    if wire.kind == "switch":
        return 0.0, math.inf
    least, most = part_ohms(wire)
    short = least if wire.ohms_min is None else least * FAR_BELOW
    return short, math.inf if wire.kind == "diode" else most


def _way(links: Iterable[tuple[int, int, int]], a: int, b: int) -> list[tuple[int, int]]:
    """Pairs of nets along a shortest way through parts."""
    neighbours: dict[int, list[int]] = {}
    for x, y, _ in links:
        neighbours.setdefault(x, []).append(y)
        neighbours.setdefault(y, []).append(x)
    came = {a: a}
    queue = deque([a])
    while queue and b not in came:
        net = queue.popleft()
        for other in neighbours.get(net, ()):
            if other not in came:
                came[other] = net
                queue.append(other)
    out = []
    while b in came and b != a:
        out.append((came[b], b))
        b = came[b]
    return out


def _with_hubs(members: set[int], links: Sequence[tuple[int, int, int]]) -> set[int]:
    """The nets and those that parts reach them through: a reading through a hub is then no surprise."""
    degree: dict[int, set[int]] = {}
    for a, b, _ in links:
        degree.setdefault(a, set()).add(b)
        degree.setdefault(b, set()).add(a)
    out, edge = set(members), set(members)
    while edge:
        edge = {other for net in edge for other in degree.get(net, ()) if len(degree[other]) > 1} - out
        out |= edge
    return out


def _scene(
    harness: Harness, points: Sequence[str], nets: IntArray, seen: Observations, members: set[int]
) -> Scene:
    inside: BoolArray = np.isin(nets, sorted(members))
    codes = np.flatnonzero(inside)
    local = np.full(len(nets), -1, dtype=np.int64)
    local[codes] = np.arange(len(codes))
    wires = np.flatnonzero(inside[harness.start] & inside[harness.end]).tolist()
    rows = [harness.wires[w] for w in wires]
    ranges = [(0.0, 0.0) if row.conducts else short_and_most_ohm(row) for row in rows]

    def pairs(state: int, *columns: IntArray | FloatArray | BoolArray) -> list[tuple[Any, ...]]:
        kept = inside[seen.pair_start] & inside[seen.pair_end] & (seen.pair_state == state)
        ends = local[seen.pair_start[kept]].tolist(), local[seen.pair_end[kept]].tolist()
        return list(zip(*ends, *(column[kept].tolist() for column in columns), strict=True))

    return Scene(
        codes=tuple(codes.tolist()),
        wire=tuple(wires),
        home=tuple((int(local[harness.start[w]]), int(local[harness.end[w]])) for w in wires),
        terminal=tuple(row.kind == "wire" for row in rows),
        part=tuple(not row.conducts for row in rows),
        low_ohm=tuple(low for low, _ in ranges),
        high_ohm=tuple(high for _, high in ranges),
        joined=tuple(sorted(pairs(JOINED, seen.pair_low_ohm), key=lambda row: (row[2], row[0], row[1]))),
        apart=tuple(pairs(APART, seen.pair_low_ohm, seen.pair_over)),
        clipped=tuple(
            (tuple(local[list(one)].tolist()), tuple(local[list(other)].tolist()))
            for _, one, other in seen.clipped_joins
            if inside[list(one)].all() and inside[list(other)].all()
        ),
        cavity=tuple(bool(connector_of(points[code])) for code in codes.tolist()),
    )
