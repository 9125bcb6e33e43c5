"""Leakage: nets that should be apart and read between the short limit and the isolation limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.seen.isolation import side_by_side
from loomtest.diagnosis.seen.observe import APART, Observations
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.why import DryAndClean, Leaks, UnclipOneByOne
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.forest import components, join
from loomtest.harness.model import Harness, IntArray, connector_of

_EXPLAINED = 0.7  # a value above this share of what the leaks found already let through is their doing


@dataclass(frozen=True)
class FoundLabels:
    """(P,) labels of what is joined as found.

    `copper`: by wires and fuses alone; `through`: by shorts and parts as well; `unbroken`: by wires, fuses
    and shorts before the opens (what reads between two pieces of one broken wire is told with the open).
    """

    copper: IntArray
    through: IntArray
    unbroken: IntArray


def leakage_findings(
    harness: Harness, points: Sequence[str], seen: Observations, labels: FoundLabels, telling: float
) -> list[Finding]:
    """One finding for each leak: the fewest that tie together what reads leaky.

    Pairs are taken from the lowest ohms up (Kruskal): a path over a leak already found explains the rest,
    unless it would let through much less than was read. Among readings that do not differ by more than the
    share `telling`, or that touch the same copper, the nearest cavities are named.
    """
    a, b = seen.pair_start, seen.pair_end
    leaky = (
        (seen.pair_state == APART)
        & ~seen.pair_over
        & (seen.pair_low_ohm < harness.limits.isolation_ohms)
        & (labels.through[a] != labels.through[b])
        & (labels.unbroken[a] != labels.unbroken[b])
    )
    if not leaky.any() and not seen.clipped_numbers:
        return []
    order = np.flatnonzero(leaky)[np.argsort(seen.pair_low_ohm[leaky], kind="stable")]
    forest = list(range(len(points)))
    found: list[tuple[int, int, float]] = []
    for leak in _lowest(harness, points, seen, labels, order, telling):
        x, y = int(labels.through[leak[0]]), int(labels.through[leak[1]])
        if join(forest, x, y) or leak[2] < _EXPLAINED * _series_ohm(found, labels.through, x, y):
            found.append(leak)
    plain = [_finding(points, *leak) for leak in found]
    return plain + _through_clips(harness, points, seen, labels, found)


def _through_clips(
    harness: Harness,
    points: Sequence[str],
    seen: Observations,
    labels: FoundLabels,
    found: Sequence[tuple[int, int, float]],
) -> list[Finding]:
    """Leaks that only readings with clips show: one of the clipped points leaks, and nobody knows which."""
    out = []
    leaking = {frozenset((int(labels.through[a]), int(labels.through[b]))) for a, b, _ in found}
    for index, one, other in seen.clipped_numbers:
        ohm = float(seen.low_ohm[index])
        ways = [(a, b) for a in one for b in other if labels.unbroken[a] != labels.unbroken[b]]
        across = {frozenset((int(labels.through[a]), int(labels.through[b]))) for a, b in ways}
        if ohm >= harness.limits.isolation_ohms or not ways or across & leaking:
            continue
        if any(len(pair) == 1 for pair in across):
            continue  # a part leads across: it is what was read
        leaking |= across
        out.append(replace(_finding(points, *ways[0], ohm), todo=UnclipOneByOne()))
    return out


def _lowest(
    harness: Harness,
    points: Sequence[str],
    seen: Observations,
    labels: FoundLabels,
    order: IntArray,
    telling: float,
) -> list[tuple[int, int, float]]:
    """(point, point, ohm) for every two labels with a leaky reading, the lowest first."""
    beside = {frozenset(pair) for pair in side_by_side(harness)}
    lowest: dict[tuple[int, int], tuple[int, int, float]] = {}
    for pair in order.tolist():
        a, b, ohm = int(seen.pair_start[pair]), int(seen.pair_end[pair]), float(seen.pair_low_ohm[pair])
        x, y = int(labels.through[a]), int(labels.through[b])
        key = (min(x, y), max(x, y))
        p, q, least = lowest.setdefault(key, (a, b, ohm))
        copper = {labels.copper[a], labels.copper[b]} == {labels.copper[p], labels.copper[q]}
        if (copper or ohm <= least * (1 + telling)) and _nearness(points, beside, a, b) > _nearness(
            points, beside, p, q
        ):
            lowest[key] = (a, b, least)
    return list(lowest.values())


def _nearness(points: Sequence[str], beside: set[frozenset[int]], a: int, b: int) -> int:
    """2 for cavities side by side, 1 for cavities of one connector, 0 for others."""
    if frozenset((a, b)) in beside:
        return 2
    return int(connector_of(points[a]) == connector_of(points[b]) != "")


def _series_ohm(found: Sequence[tuple[int, int, float]], labels: IntArray, x: int, y: int) -> float:
    """Ohms of the way from x to y over the leaks found (a tree, or nearly: the least of the ways)."""
    nodes = {x: 0.0}
    for _ in found:
        for a, b, ohm in found:
            p, q = int(labels[a]), int(labels[b])
            for here, there in ((p, q), (q, p)):
                if here in nodes and nodes[here] + ohm < nodes.get(there, float("inf")):
                    nodes[there] = nodes[here] + ohm
    return nodes.get(y, float("inf"))


def _finding(points: Sequence[str], a: int, b: int, ohm: float) -> Finding:
    names = (points[a], points[b])
    return Finding("leakage", names, probability=0.99, why=Leaks(ohm), todo=DryAndClean())


def with_parts_joined(harness: Harness, labels: IntArray, wiring: Wiring) -> IntArray:
    """(P,) labels when every part counts as a join: a leak seen through a lamp is the same leak."""
    parts = np.flatnonzero(harness.parts)
    pairs = zip(labels[wiring.start[parts]].tolist(), labels[wiring.end[parts]].tolist(), strict=True)
    merged = np.array(components(len(labels), pairs), dtype=np.int64)
    return np.asarray(merged[labels])
