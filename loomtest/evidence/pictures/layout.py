"""Where the parts of a loom lie on the board: a trunk, and branches in their order along it.

A wire list says what is joined and perhaps how long each wire is, not how the loom lies. In a loom that
branches like a tree, the distances between its ends place every end exactly: with A and B the two ends
farthest apart, an end i leaves the trunk (d(A,i) + d(A,B) - d(B,i))/2 from A. Where the lengths do not
quite fit a tree, the same sum is the best single place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.harness.model import FloatArray, Harness, IntArray, connector_of

USUAL_LENGTH_M = 1.0  # stands in for a length that the wire list leaves out


@dataclass(frozen=True)
class HubLayout:
    """The hubs of a loom in their order along the trunk.

    A hub is a connector or a single-terminal point. `hubs`: their names. `along_m`, `away_m`: (H,) where a
    hub's branch leaves the trunk, and how long the branch is. `wire_hubs`: (W, 2) hub indices of every row
    of the wire list.
    """

    hubs: tuple[str, ...]
    along_m: FloatArray
    away_m: FloatArray
    wire_hubs: IntArray


def lay_out(harness: Harness) -> HubLayout:
    """Place every hub of the harness along one trunk; separate looms follow one another."""
    names = dict.fromkeys(connector_of(point) or point for point in harness.points)
    index = {name: i for i, name in enumerate(names)}
    ends = np.array(
        [[index[connector_of(p) or p] for p in (wire.start, wire.end)] for wire in harness.wires],
        dtype=np.int64,
    ).reshape(-1, 2)
    distance = _distances(harness, ends, len(index))
    along = np.zeros(len(index))
    away = np.zeros(len(index))
    offset = 0.0
    seen: set[int] = set()
    for hub in range(len(index)):
        if hub in seen:
            continue
        group = np.flatnonzero(np.isfinite(distance[hub]))
        seen.update(group.tolist())
        part = distance[np.ix_(group, group)]
        a, b = np.unravel_index(int(part.argmax()), part.shape)
        along[group] = offset + (part[a] + part[a, b] - part[b]) / 2
        away[group] = np.maximum((part[a] + part[b] - part[a, b]) / 2, 0.0)
        offset = along[group].max() + USUAL_LENGTH_M
    order = np.lexsort((np.arange(len(index)), np.round(along, 6)))
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    hubs = list(names)
    return HubLayout(tuple(hubs[i] for i in order), along[order], away[order], place[ends].astype(np.int64))


def _distances(harness: Harness, ends: IntArray, count: int) -> FloatArray:
    """(H, H) shortest way between hubs along wires, in metres; infinite where nothing leads there."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import shortest_path

    shortest: dict[tuple[int, int], float] = {}
    for wire, (a, b) in zip(harness.wires, ends.tolist(), strict=True):
        if a != b:
            pair = (min(a, b), max(a, b))
            length = wire.length_m if wire.length_m else USUAL_LENGTH_M
            shortest[pair] = min(length, shortest.get(pair, np.inf))
    pairs = np.array(list(shortest), dtype=np.int64).reshape(-1, 2)
    lengths = np.array(list(shortest.values()), dtype=np.float64)
    graph = csr_array((lengths, (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(shortest_path(graph, directed=False), dtype=np.float64)
