"""Leakage: nets that should be apart and read between the short limit and the isolation limit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loomtest.diagnosis.observe import APART, Observations
from loomtest.diagnosis.scene import components, find
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.wording import capital, ohms_text, point_text
from loomtest.harness.model import Harness, IntArray

_EXPLAINED = 0.7  # a value above this share of what the leaks found already let through is their doing


def leakage_findings(
    harness: Harness, points: Sequence[str], seen: Observations, nets: IntArray, labels: IntArray
) -> list[Finding]:
    """One finding for each leak: the fewest that tie together what reads leaky.

    `nets`: (P,) net of every point as drawn; `labels`: (P,) what is joined as found, parts counted as joins.
    Pairs are taken from the lowest ohms up (Kruskal): a path over a leak already found explains the rest,
    unless it would let through much less than was read.
    """
    leaky = (
        (seen.pair_state == APART)
        & ~seen.pair_over
        & (seen.pair_low_ohm < harness.limits.isolation_ohms)
        & (labels[seen.pair_start] != labels[seen.pair_end])
        & (nets[seen.pair_start] != nets[seen.pair_end])
    )
    order = np.flatnonzero(leaky)[np.argsort(seen.pair_low_ohm[leaky], kind="stable")]
    size = int(labels.max()) + 1 if len(labels) else 0
    parent = list(range(size))
    found: list[tuple[int, int, float]] = []
    first: dict[tuple[int, int], tuple[int, int, float]] = {}
    for pair in order.tolist():
        a, b = int(seen.pair_start[pair]), int(seen.pair_end[pair])
        x, y = int(labels[a]), int(labels[b])
        first.setdefault((min(x, y), max(x, y)), (a, b, float(seen.pair_low_ohm[pair])))
    for (x, y), (a, b, ohm) in first.items():
        one, other = find(parent, x), find(parent, y)
        if one != other:
            parent[max(one, other)] = min(one, other)
            found.append((a, b, ohm))
        elif ohm < _EXPLAINED * _series_ohm(found, labels, x, y):
            found.append((a, b, ohm))
    return [_finding(harness, points, a, b, ohm) for a, b, ohm in found]


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


def _finding(harness: Harness, points: Sequence[str], a: int, b: int, ohm: float) -> Finding:
    names = (points[a], points[b])
    one, other = (point_text(harness, name) for name in names)
    return Finding(
        "leakage",
        names,
        probability=0.99,
        text=(
            f"{capital(one)} and {other} should be apart and leak: {ohms_text(ohm)}, where more than "
            f"{ohms_text(harness.limits.isolation_ohms)} is wanted."
        ),
        next=(
            "Keep the fingers off the tips and measure again; if it stays, dry and clean the connectors of "
            "both, then look for damaged insulation."
        ),
    )


def with_parts_joined(harness: Harness, labels: IntArray, start: IntArray, end: IntArray) -> IntArray:
    """(P,) labels when every part counts as a join: a leak seen through a lamp is the same leak."""
    parts = np.flatnonzero(~harness.conducts)
    pairs = zip(labels[start[parts]].tolist(), labels[end[parts]].tolist(), strict=True)
    merged = np.array(components(int(labels.max()) + 1, pairs), dtype=np.int64)
    return np.asarray(merged[labels])
