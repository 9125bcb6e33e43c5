"""Readings along copper: what the wires as estimated give, and whether any wires that pass give it.

A reading is first held against the network of the estimated wires. Where it does not fit, the wires of its
net are fitted anew to all its readings (the estimate is one linear step from the expectation, and a ring
bends), no passing wire above its limit: what still does not fit comes from no loom that passes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.joints.report import JointReport
from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.diagnosis.numbers.network import inverse_laplacian, squared_currents
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray

_UNKNOWN_OHM, _LEAST_OHM, _OPEN_OHM = 0.1, 1e-6, 1e6
_FREE_OHM = 1e3  # uncertainty of a wire that no reading tells
_MOST_CELLS = 4_000_000  # readings times wires of a net that is fitted anew
_ROUNDS = 40
_SETTLED = 1e-4  # of a standard uncertainty
_FLOOR_OHM = 1e-6


@dataclass(frozen=True)
class CopperEdges:
    """The wires and shorts that stand, (E,) each: ends, estimated ohms and their standard uncertainty, and
    the most each may have (a wire that does not pass may have anything). `wire`: index into the wire list,
    -1 for a short."""

    wire: IntArray

    start: IntArray
    end: IntArray
    ohm: FloatArray
    uncertainty: FloatArray
    most: FloatArray


@dataclass(frozen=True)
class CopperReadings:
    """Numbers read along copper, (k,) each: `ohm` without the leads, `spread` its standard uncertainty."""

    start: IntArray
    end: IntArray
    ohm: FloatArray
    spread: FloatArray


def edges_as_found(harness: Harness, wiring: Wiring, joints: JointReport) -> CopperEdges:
    """Every conductor that is joined, where it sits, and every short."""
    rows = {row.wire: row for row in joints.rows}
    of_wire, start, end, ohm, spread, most = [], [], [], [], [], []
    for index, wire in enumerate(harness.wires):
        row = rows.get(wire.name)
        if row is None or not wiring.joined[index] or wiring.start[index] == wiring.end[index]:
            continue
        share = 1.0 / (1 + len(row.group))
        of_wire.append(index)
        start.append(int(wiring.start[index]))
        end.append(int(wiring.end[index]))
        known = row.ohms is not None
        typical = row.expected_ohms if row.expected_ohms is not None else _UNKNOWN_OHM
        ohm.append(min(max((row.ohms if row.ohms is not None else typical) * share, _LEAST_OHM), _OPEN_OHM))
        u = row.uncertainty_ohms if known and row.uncertainty_ohms is not None else _FREE_OHM
        spread.append(u * share)
        passing = row.verdict == "pass" and row.limit_ohms is not None
        most.append(row.limit_ohms if passing and row.limit_ohms is not None else math.inf)
    for a, b in wiring.shorts.tolist():
        for column, value in ((of_wire, -1), (start, a), (end, b)):
            column.append(value)
        for column_of_floats, number in ((ohm, 0.05), (spread, _FREE_OHM), (most, math.inf)):
            column_of_floats.append(number)
    return CopperEdges(
        np.array(of_wire, dtype=np.int64),
        np.array(start, dtype=np.int64),
        np.array(end, dtype=np.int64),
        np.array(ohm, dtype=np.float64),
        np.array(spread, dtype=np.float64),
        np.array(most, dtype=np.float64),
    )


def misfits(
    edges: CopperEdges, labels: IntArray, readings: CopperReadings, sigmas: float
) -> tuple[BoolArray, FloatArray]:
    """((k,) readings further than `sigmas` from what the wires give, (k,) what they give).

    `labels`: (P,) of the points, one for each net as found; each reading lies within one.
    """
    given, spread = _single_wires(edges, labels, readings)
    off = np.zeros(len(readings.ohm), dtype=np.bool_)
    several = np.isnan(given)
    by_edge = labels[edges.start]
    by_reading = labels[readings.start]
    for label in distinct(by_reading[several]).tolist():
        rows = np.flatnonzero(by_reading == label)
        own = np.flatnonzero(by_edge == label)
        net = _CopperNet(edges, own, readings, rows)
        given[rows], spread[rows] = net.at(edges.ohm[own])
    below = readings.ohm < given  # by no more than all there is: no wire has less than nothing
    spread = np.where(below, np.minimum(spread, given**2), spread)
    wide = np.sqrt(readings.spread**2 + spread + _FLOOR_OHM**2)
    off = ~(np.abs(readings.ohm - given) <= sigmas * wide)
    for label in distinct(by_reading[off]).tolist():
        rows = np.flatnonzero(by_reading == label)
        own = np.flatnonzero(by_edge == label)
        if len(rows) * max(1, len(own)) > _MOST_CELLS or not len(own):
            continue
        fitted = _CopperNet(edges, own, readings, rows).fitted()
        given[rows] = fitted
        own_spread = np.maximum(readings.spread[rows], _FLOOR_OHM)
        off[rows] = ~(np.abs(readings.ohm[rows] - fitted) <= sigmas * own_spread)
    return off, given


def _single_wires(
    edges: CopperEdges, labels: IntArray, readings: CopperReadings
) -> tuple[FloatArray, FloatArray]:
    """(ohms, variance) of readings in nets of one wire; NaN elsewhere: most nets, without a loop."""
    size = len(labels)
    by_edge = labels[edges.start]
    count = np.bincount(by_edge, minlength=size)
    only = np.zeros(size, dtype=np.int64)
    only[by_edge] = np.arange(len(by_edge))
    label = labels[readings.start]
    single = count[label] == 1
    edge = only[label]
    given = np.full(len(label), np.nan)
    spread = np.zeros(len(label))
    given[single] = edges.ohm[edge[single]]
    spread[single] = edges.uncertainty[edge[single]] ** 2
    return given, spread


class _CopperNet:
    """One net: its wires and its readings in local points."""

    def __init__(self, edges: CopperEdges, own: IntArray, readings: CopperReadings, rows: IntArray) -> None:
        ends = np.stack([edges.start[own], edges.end[own]])
        pairs = np.stack([readings.start[rows], readings.end[rows]])
        self._codes = distinct(np.concatenate([ends.ravel(), pairs.ravel()]))
        self._ends = np.searchsorted(self._codes, ends)[:, None, :]
        self._pairs = np.searchsorted(self._codes, pairs)[:, None, :]
        self._uncertainty, self._most = edges.uncertainty[own], edges.most[own]
        self._start = edges.ohm[own]
        self._ohm = readings.ohm[rows]
        self._spread = np.maximum(readings.spread[rows], _FLOOR_OHM)

    def _solve(self, ohm: FloatArray) -> tuple[FloatArray, FloatArray]:
        r = np.maximum(ohm, _LEAST_OHM)[None, :]
        inverse = inverse_laplacian(len(self._codes), self._ends, r)
        squared = squared_currents(self._ends, r, inverse, self._pairs)[0]
        return np.asarray(squared @ r[0]), squared

    def at(self, ohm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(resistances, variances that the wires' own uncertainties give them)."""
        given, squared = self._solve(ohm)
        return given, np.asarray(squared**2 @ self._uncertainty**2)

    def fitted(self) -> FloatArray:
        """What the wires give that fit the readings best, each between nothing and the most it may have.

        Reweighted Gauss-Newton steps with a soft loss, so that one wild reading does not bend the others;
        each step is kept within the bounds and halved until it is one.
        """
        most = np.minimum(self._most, 1e5)
        ohm = np.minimum(self._start, most)
        given, squared = self._solve(ohm)
        cost = self._cost(given)
        damping = 1e-3
        for _ in range(_ROUNDS):
            z = (self._ohm - given) / self._spread
            weight = 1.0 / np.sqrt(1.0 + (z / 3.0) ** 2)
            scaled = squared / self._spread[:, None]
            normal = (scaled * weight[:, None]).T @ scaled
            slope = scaled.T @ (weight * z)
            step = np.linalg.lstsq(normal + damping * np.diag(np.diag(normal) + 1e-9), slope, rcond=None)[0]
            fresh = np.clip(ohm + step, _LEAST_OHM, most)
            now, turned = self._solve(fresh)
            if (reached := self._cost(now)) < cost:
                moved = np.max(np.abs(now - given) / self._spread)
                ohm, given, squared, cost, damping = fresh, now, turned, reached, damping / 5
                if moved < _SETTLED:
                    break
            else:
                damping *= 10
                if damping > 1e8:
                    break
        return given

    def _cost(self, given: FloatArray) -> float:
        z = (self._ohm - given) / self._spread
        return float(np.sum(np.sqrt(1.0 + (z / 3.0) ** 2) - 1.0))
