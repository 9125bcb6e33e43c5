"""Effective resistance of a network of wires, and how it depends on each wire.

With G = L⁻¹ the inverse of the weighted graph Laplacian (one point of every component grounded) and one
ampere from a to b, the current in wire e from s to t is i = g_e·(G_sa − G_sb − G_ta + G_tb), the effective
resistance is Σ i²·r (Thomson) and ∂R/∂r_e = i² (Tellegen; the squared current for one ampere).
D. J. Klein, M. Randić, J. Math. Chem. 12 (1993) 81; P. G. Doyle, J. L. Snell, Random Walks and Electric
Networks, 1984. Σ i²·r has no cancellation, and an error in the currents enters it only squared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.harness.model import FloatArray, IntArray

BRIDGE_TOLERANCE = 1e-9  # a wire whose both ends are joined by nothing else carries its current to this share


@dataclass(frozen=True)
class Solved:
    """Effective resistances of pairs, and their sensitivities.

    `resistance_ohm`: (n,) 0 for a point with itself or a zero-ohm path, +inf where no path is.
    `sensitivity`: (n, m) ∂R/∂r, the squared current in each wire for one ampere; 0 where no path is.
    Wires of zero ohms, and those of infinite ohms (open), have sensitivity 0 here.
    """

    resistance_ohm: FloatArray
    sensitivity: FloatArray


def component_labels(points: int, start: ArrayLike, end: ArrayLike) -> IntArray:
    """(points,) label of the component of every point: the smallest code in it.

    Hooking and pointer jumping (Shiloach and Vishkin, J. Algorithms 3, 57, 1982), with minima: a few passes
    in practice, and done before scipy's graph routines are imported.
    """
    a, b = np.asarray(start, dtype=np.int64), np.asarray(end, dtype=np.int64)
    label = np.arange(points, dtype=np.int64)
    while True:
        x, y = label[a], label[b]
        apart = x != y
        if not apart.any():
            return label
        low, high = np.minimum(x[apart], y[apart]), np.maximum(x[apart], y[apart])
        np.minimum.at(label, high, low)
        while True:
            jumped = label[label]
            if np.array_equal(jumped, label):
                break
            label = jumped


def effective_resistance(
    points: int, start: ArrayLike, end: ArrayLike, ohm: ArrayLike, pair_start: ArrayLike, pair_end: ArrayLike
) -> Solved:
    """Effective resistance between pairs of points of a network.

    `start`, `end`, `ohm`: (m,) the wires; 0 Ω joins its points outright, +inf is an open wire.
    `pair_start`, `pair_end`: (n,) points. All codes lie in 0 … points − 1; a negative resistance or NaN is
    a ValueError.
    """
    s, t = np.asarray(start, dtype=np.int64), np.asarray(end, dtype=np.int64)
    r = np.asarray(ohm, dtype=np.float64)
    a, b = np.asarray(pair_start, dtype=np.int64), np.asarray(pair_end, dtype=np.int64)
    if not np.all(r >= 0):
        raise ValueError("a resistance is negative or not a number")
    node = component_labels(points, s[r == 0], t[r == 0])  # zero-ohm wires make one node of their points
    live = np.flatnonzero((r > 0) & np.isfinite(r) & (node[s] != node[t]))
    net = component_labels(points, node[s[live]], node[t[live]])[node]
    resistance = np.where(net[a] == net[b], 0.0, np.inf)
    sensitivity = np.zeros((a.size, r.size))
    for label in distinct(net[s[live]]):
        wires = live[net[s[live]] == label]
        rows = np.flatnonzero((net[a] == label) & (net[b] == label) & (node[a] != node[b]))
        if rows.size == 0:
            continue
        codes, local = np.unique(np.concatenate([node[s[wires]], node[t[wires]]]), return_inverse=True)
        ends = local.reshape(2, 1, -1)
        pairs = np.searchsorted(codes, np.stack([node[a[rows]], node[b[rows]]]))[:, None, :]
        squared = squared_currents(
            ends, r[wires][None, :], inverse_laplacian(len(codes), ends, r[None, wires]), pairs
        )
        sensitivity[np.ix_(rows, wires)] = squared[0]
        resistance[rows] = squared[0] @ r[wires]
    return Solved(resistance, sensitivity)


def inverse_laplacian(points: int, ends: IntArray, ohm: FloatArray) -> FloatArray:
    """(B, p, p) inverse Laplacians of B connected networks of p points, the last point grounded.

    `ends`: (2, B, m) local codes; `ohm`: (B, m) > 0.
    """
    batch = ohm.shape[0]
    start, end = ends
    conductance = 1.0 / ohm
    laplacian = np.zeros((batch, points, points))
    at = np.arange(batch)[:, None]
    np.add.at(laplacian, (at, start, start), conductance)
    np.add.at(laplacian, (at, end, end), conductance)
    np.add.at(laplacian, (at, start, end), -conductance)
    np.add.at(laplacian, (at, end, start), -conductance)
    out = np.zeros_like(laplacian)
    out[:, :-1, :-1] = np.linalg.inv(laplacian[:, :-1, :-1])
    return out


def effective_ohms(size: int, ends: Sequence[tuple[int, int]], ohms: Sequence[float]) -> FloatArray:
    """(size, size) effective resistance between all points of a small network; inf where no way leads.

    R_ij = G_ii + G_jj - 2 G_ij (Klein and Randic). An infinite resistance is no link, none is below 1 µΩ.
    """
    every, ohm = np.array(ends, dtype=np.int64).reshape(-1, 2), np.array(ohms, dtype=np.float64)
    start, end = every[np.isfinite(ohm)].T
    ohm = np.maximum(ohm[np.isfinite(ohm)], 1e-6)
    net = component_labels(size, start, end)
    out = np.full((size, size), np.inf)
    for label in distinct(net):
        points, links = np.flatnonzero(net == label), net[start] == label
        local = np.searchsorted(points, np.stack([start[links], end[links]]))
        inverse = inverse_laplacian(len(points), local[:, None, :], ohm[None, links])[0]
        own = np.diag(inverse)
        between = own[:, None] + own[None, :] - inverse - inverse.T
        out[np.ix_(points, points)] = np.maximum(between, 0.0)
    return out


def squared_currents(ends: IntArray, ohm: FloatArray, inverse: FloatArray, pairs: IntArray) -> FloatArray:
    """(B, n, m) squared current in every wire for one ampere from pairs[0] to pairs[1], each (B, n)."""
    at = np.arange(ohm.shape[0])[:, None]
    volts = inverse[at, pairs[0]] - inverse[at, pairs[1]]  # (B, n, p)
    if ohm.shape[0] == 1:  # one large net: plain columns are quicker to gather
        current: FloatArray = (np.take(volts[0], ends[0][0], axis=1) - np.take(volts[0], ends[1][0], axis=1))[
            None
        ]
    else:
        current = np.take_along_axis(volts, ends[0][:, None, :], axis=2)
        current -= np.take_along_axis(volts, ends[1][:, None, :], axis=2)
    current /= ohm[:, None, :]
    np.square(current, out=current)
    current[current < BRIDGE_TOLERANCE**2] = 0.0
    return current


def loop_resistance(ends: IntArray, ohm: FloatArray, inverse: FloatArray) -> FloatArray:
    """(B, m) resistance of the loop each wire closes: its own plus what else joins its ends; inf for none.

    An excess x in the wire then raises a reading by i²·x·Z/(x + Z), with i² the sensitivity and Z this loop
    (Thévenin; the Sherman–Morrison formula on the Laplacian), and its opening by i²·Z.
    """
    at = np.arange(ohm.shape[0])[:, None]
    across = inverse[at, ends[0], ends[0]] + inverse[at, ends[1], ends[1]] - 2 * inverse[at, ends[0], ends[1]]
    spare = 1.0 - across / ohm
    out = np.full(ohm.shape, np.inf)
    loop = spare > BRIDGE_TOLERANCE
    out[loop] = ohm[loop] / spare[loop]
    return out
