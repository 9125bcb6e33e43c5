"""A wire with copper beside it passes only when the readings refute its being broken, or at its limit.

In a ring or beside another wire a broken wire still reads joined, and what it takes away others can make up
for: each unknown wire a little shorter, each known one at the edge of its spread. So each such wire is taken
out, and then set to its limit, and the others of its net are fitted anew to all readings, each as healthy
copper may be. What fits about as well as with the wire is not refuted.

The cost is −log of the likelihood times the healthy prior of the other wires (half the sum of squares of
both); a difference of ½·1.645² at the limit is the one-sided 95 % of JCGM 106, and a wire is taken to be
there from ½·3² on (the contract's three uncertainties).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.doubts.copper import CopperEdges, CopperReadings, edges_as_found
from loomtest.diagnosis.doubts.gate import AsFound, copper_readings
from loomtest.diagnosis.joints.estimate import Prior
from loomtest.diagnosis.joints.report import JointReport
from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.diagnosis.numbers.network import inverse_laplacian, loop_resistance, squared_currents
from loomtest.diagnosis.verdict import WireRow
from loomtest.diagnosis.why import UnplugOneEnd
from loomtest.harness.model import BoolArray, FloatArray, IntArray
from loomtest.readings.model import Readings

AT_LIMIT, OPEN = 0.5 * 1.645**2, 0.5 * 3.0**2
UNKNOWN_TO_OHM, UNKNOWN_FALL_OHM = 0.25, 0.05  # the contract's unknown_wire_to_ohms, and how it falls beyond
_BROKEN_OHM, _LEAST_OHM = 1e6, 1e-5
_MOST_CELLS = 400_000  # wires squared times readings of a net; above it the linear answer has to do
_ROUNDS = 25
_PLAIN = 2.0  # half the square of two standard deviations: a fit that bends no healthy wire
_SURE = 6.0  # linear standard uncertainties below the limit: no need to look closer


@dataclass(frozen=True)
class HealthyWires:
    """(E,) what each edge may be when nothing is wrong with it: normal where `known`, else anything up to
    UNKNOWN_TO_OHM; `free`: one that does not pass, and may have anything."""

    mean: FloatArray
    sd: FloatArray
    known: BoolArray
    free: BoolArray


def unrefuted(
    edges: CopperEdges, labels: IntArray, readings: CopperReadings, healthy: HealthyWires, asked: BoolArray
) -> BoolArray:
    """(E,) the edges among `asked` that could as well be broken, or beyond the most they may have."""
    out = np.zeros(len(edges.ohm), dtype=np.bool_)
    by_edge, by_reading = labels[edges.start], labels[readings.start]
    count = np.bincount(by_edge, minlength=len(labels))
    points = np.bincount(labels, minlength=len(labels))
    looped = asked & (count[by_edge] >= points[by_edge])
    for label in distinct(by_edge[looped]).tolist():
        own, rows = np.flatnonzero(by_edge == label), np.flatnonzero(by_reading == label)
        net = _HeldNet(edges, own, readings, rows, healthy)
        out[own] = net.unrefuted(asked[own])
    return out


class _HeldNet:
    """One net with loops, in local points."""

    def __init__(
        self,
        edges: CopperEdges,
        own: IntArray,
        readings: CopperReadings,
        rows: IntArray,
        healthy: HealthyWires,
    ) -> None:
        ends = np.stack([edges.start[own], edges.end[own]])
        pairs = np.stack([readings.start[rows], readings.end[rows]])
        codes = distinct(np.concatenate([ends.ravel(), pairs.ravel()]))
        self._points = len(codes)
        self._ends = np.searchsorted(codes, ends)[:, None, :]
        self._pairs = np.searchsorted(codes, pairs)[:, None, :]
        self._ohm = readings.ohm[rows]
        self._spread = np.maximum(readings.spread[rows], 1e-6)
        self._first = np.clip(edges.ohm[own], _LEAST_OHM, _BROKEN_OHM)
        self._most = edges.most[own]
        self._mean, self._sd = healthy.mean[own], np.maximum(healthy.sd[own], 1e-5)
        self._known, self._free = healthy.known[own] & ~healthy.free[own], healthy.free[own]

    def unrefuted(self, asked: BoolArray) -> BoolArray:
        """(m,) of this net's edges."""
        size = len(self._first)
        out = np.zeros(size, dtype=np.bool_)
        inverse = inverse_laplacian(self._points, self._ends, self._first[None, :])
        in_loop = np.isfinite(loop_resistance(self._ends, self._first[None, :], inverse)[0])
        nobody = np.zeros(size, dtype=np.bool_)
        best, cost = self._fit(self._first, nobody)
        spread = self._linear_spread(best)
        wanted = asked & in_loop
        if not self._free.any() and np.all(self._prior_cost(best)[in_loop] < _PLAIN):
            # the fit bends nobody, so that no other is near: only what is not far from its limit, or, as a
            # conductance, from none, wants a closer look
            wanted &= (self._most - best < _SURE * spread) | (best < _SURE * spread)
        if size * size * max(1, len(self._ohm)) > _MOST_CELLS:
            out[wanted] = (self._most - best < 1.645 * spread)[wanted]
            return out
        for edge in np.flatnonzero(wanted).tolist():
            held = nobody.copy()
            held[edge] = True
            for value, least in ((_BROKEN_OHM, OPEN), (self._most[edge], AT_LIMIT)):
                if not np.isfinite(value) or out[edge]:
                    continue
                at = best.copy()
                at[edge] = max(value, best[edge])
                _, without = self._fit(at, held)
                _, again = self._fit(np.where(held, at, np.clip(self._mean, _LEAST_OHM, None)), held)
                own = float(self._prior_cost(best)[edge])  # no prior on the wire that is asked about
                out[edge] = min(without, again) - (cost - own) < least
        return out

    def _solve(self, ohm: FloatArray) -> tuple[FloatArray, FloatArray]:
        inverse = inverse_laplacian(self._points, self._ends, ohm[None, :])
        squared = squared_currents(self._ends, ohm[None, :], inverse, self._pairs)[0]
        return np.asarray(squared @ ohm), squared

    def _prior_cost(self, ohm: FloatArray) -> FloatArray:
        known = 0.5 * ((ohm - self._mean) / self._sd) ** 2
        unknown = np.maximum(ohm - UNKNOWN_TO_OHM, 0.0) / UNKNOWN_FALL_OHM
        return np.where(self._free, 0.0, np.where(self._known, known, unknown))

    def _cost(self, ohm: FloatArray, given: FloatArray, held: BoolArray) -> float:
        z = (self._ohm - given) / self._spread
        return float(0.5 * np.sum(z**2) + np.sum(self._prior_cost(ohm)[~held]))

    def _curvature(self, ohm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(slope, second derivative) of the prior's cost."""
        beyond = ohm > UNKNOWN_TO_OHM
        slope = np.where(self._known, (ohm - self._mean) / self._sd**2, beyond / UNKNOWN_FALL_OHM)
        second = np.where(self._known, 1 / self._sd**2, 1e-6)
        return np.where(self._free, 0.0, slope), np.where(self._free, 1e-9, second)

    def _linear_spread(self, ohm: FloatArray) -> FloatArray:
        _, squared = self._solve(ohm)
        scaled = squared / self._spread[:, None]
        own = self._curvature(ohm)[1]
        normal = scaled.T @ scaled + np.diag(own)
        size = np.sqrt(np.diag(normal))  # wires of milliohms and broken ones stand in one matrix
        even = normal / np.outer(size, size) + 1e-12 * np.eye(size.size)
        told = size**2 / np.abs(np.diag(np.linalg.inv(even)))
        return np.asarray(
            1.0 / np.sqrt(np.maximum(told - own, 1e-12))
        )  # no prior on the wire that is asked about

    def _fit(self, start: FloatArray, held: BoolArray) -> tuple[FloatArray, float]:
        """(wires, cost) at the least cost, those `held` as they start; damped Gauss-Newton, none below 0."""
        ohm = start.copy()
        given, squared = self._solve(ohm)
        cost, damping, free = self._cost(ohm, given, held), 1e-3, ~held
        for _ in range(_ROUNDS):
            scaled = squared / self._spread[:, None]
            slope, second = self._curvature(ohm)
            gradient = scaled.T @ ((self._ohm - given) / self._spread) - slope
            stuck = free & (ohm <= _LEAST_OHM) & (gradient < 0)
            move = np.flatnonzero(free & ~stuck)
            if not len(move):
                break
            normal = scaled[:, move].T @ scaled[:, move] + np.diag(second[move])
            damped = normal + damping * np.diag(np.diag(normal))
            fresh = ohm.copy()
            fresh[move] = np.maximum(ohm[move] + np.linalg.solve(damped, gradient[move]), _LEAST_OHM)
            now, turned = self._solve(fresh)
            reached = self._cost(fresh, now, held)
            if reached < cost:
                gained, ohm, given, squared, cost = cost - reached, fresh, now, turned, reached
                damping = max(damping / 10, 1e-9)
                if gained < 1e-3:
                    break
            else:
                damping *= 10
                if damping > 1e9:
                    break
        return ohm, cost


def held_back(found: AsFound, readings: Readings, prior: Prior) -> JointReport:
    """The report in which a wire of a ring that the readings leave room to be broken passes no more."""
    edges = edges_as_found(found.harness, found.wiring, found.joints)
    rows = {row.wire: row for row in found.joints.rows}
    named = [found.harness.wires[w].name if w >= 0 else "" for w in edges.wire.tolist()]
    passing = np.array([name in rows and rows[name].verdict == "pass" for name in named], dtype=np.bool_)
    along = found.labels[readings.start] == found.labels[readings.end]
    _, told = copper_readings(found, readings, along)
    at, wire = np.maximum(edges.wire, 0), edges.wire >= 0
    free = np.array([name in rows and rows[name].verdict == "fail" for name in named], dtype=np.bool_)
    healthy = HealthyWires(prior.mean[at], prior.sd[at], prior.known[at] & wire, free | ~wire)
    doubtful = unrefuted(edges, found.labels, told, healthy, passing)
    if not doubtful.any():
        return found.joints
    left = {named[edge] for edge in np.flatnonzero(doubtful).tolist()}
    return replace(
        found.joints,
        rows=tuple(_undecided(row) if row.wire in left else row for row in found.joints.rows),
        outcome="not-proven" if found.joints.outcome == "pass" else found.joints.outcome,
    )


def _undecided(row: WireRow) -> WireRow:
    return replace(row, verdict="undecided", todo=UnplugOneEnd(row.wire))
