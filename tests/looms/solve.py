"""Resistance between every pair of points, by a dense solve of the whole network.

Nodal analysis as in any circuits text: with the Laplacian L grounded at one node and G its inverse, the
resistance between i and j is G_ii + G_jj - 2 G_ij. One grounded inverse is made per cluster of low
resistance, so that milliohms are not lost beside the megohms of a leak in the same network.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Edge = tuple[int, int, float]


def components(count: int, edges: Sequence[tuple[int, int]]) -> IntArray:
    """(count,) label of each node's component, by flooding."""
    near: list[list[int]] = [[] for _ in range(count)]
    for a, b in edges:
        near[a].append(b)
        near[b].append(a)
    label = np.full(count, -1, dtype=np.int64)
    for seed in range(count):
        if label[seed] >= 0:
            continue
        label[seed], stack = seed, [seed]
        while stack:
            for other in near[stack.pop()]:
                if label[other] < 0:
                    label[other] = seed
                    stack.append(other)
    return label


def resistances(count: int, edges: Sequence[Edge]) -> FloatArray:
    """(count, count) ohms between every pair of nodes; +inf where nothing connects them.

    An edge of zero ohms stands for a microohm, below everything that is measured here.
    """
    out = np.full((count, count), np.inf)
    np.fill_diagonal(out, 0.0)
    whole = components(count, [(a, b) for a, b, _ in edges])
    for label in np.unique(whole):
        nodes = np.flatnonzero(whole == label)
        if len(nodes) > 1:
            place = {int(node): i for i, node in enumerate(nodes)}
            own = [(place[a], place[b], ohms) for a, b, ohms in edges if a in place and b in place]
            out[np.ix_(nodes, nodes)] = _connected(len(nodes), own)
    return out


def _connected(count: int, edges: Sequence[Edge]) -> FloatArray:
    laplacian = np.zeros((count, count))
    for a, b, ohms in edges:
        g = 1.0 / max(ohms, 1e-6)
        if a != b:
            laplacian[[a, b, a, b], [a, b, b, a]] += (g, g, -g, -g)
    out = np.zeros((count, count))
    low = components(count, [(a, b) for a, b, ohms in edges if ohms < 1.0])
    for label in np.unique(low):
        ground = int(label)
        kept = np.flatnonzero(np.arange(count) != ground)
        inverse = np.zeros((count, count))
        inverse[np.ix_(kept, kept)] = np.linalg.inv(laplacian[np.ix_(kept, kept)])
        own = np.diag(inverse)
        members = np.flatnonzero(low == label)
        out[members] = (own[None, :] + own[:, None] - inverse - inverse.T)[members]
    out = np.maximum(out, 0.0)
    np.fill_diagonal(out, 0.0)
    return out
