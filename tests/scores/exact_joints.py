"""The exact posterior of "at most one bad joint", by brute force, to hold the estimate against.

Nothing of the diagnosis is used: a dense solve of the whole network gives the readings that every wire with
every excess would give and how healthy spread enters them, and the Gaussian density of the readings is
evaluated for each (wire, excess) on a fine grid; in a loop, where that costs a solve each, on a third of it,
with a cubic spline between (the log density is smooth). O(wires · grid · readings³).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicSpline

from loomtest.harness.model import Harness
from tests.looms.solve import FloatArray, IntArray, resistances

PER_DECADE = 60  # nodes of the excess


@dataclass(frozen=True)
class Healthy:
    """Mean and standard deviation of every wire's resistance with healthy joints, (W,) ohms."""

    mean: FloatArray
    sd: FloatArray


def healthy(harness: Harness) -> Healthy:
    """Moments of copper and two cut-off joints by plain integration of the densities."""
    e = harness.expect
    joint = np.linspace(0.0, e.joint_milliohms + 12 * e.joint_spread_milliohms, 40001) / 1e3
    density = np.exp(-0.5 * ((joint - e.joint_milliohms / 1e3) / (e.joint_spread_milliohms / 1e3)) ** 2)
    density /= density.sum()
    mean = float(density @ joint)
    var = float(density @ (joint - mean) ** 2)
    size = np.array([w.size_mm2 for w in harness.wires], dtype=np.float64)
    length = np.array([w.length_m for w in harness.wires], dtype=np.float64)
    copper = e.copper_factor * length / (58.0 * size)
    share = (e.copper_spread_percent / 100) ** 2 + (e.length_spread_percent / 100) ** 2
    share += (e.temperature_spread_c * 0.00393) ** 2
    return Healthy(copper + 2 * mean, np.sqrt(copper**2 * share + 2 * var))


def bad_probabilities(
    harness: Harness, pairs: Sequence[tuple[int, int]], value: FloatArray, noise: float, prior: Prior
) -> FloatArray:
    """(W,) posterior probability that a wire is the bad one, for independent readings of known noise."""
    h = healthy(harness)
    a, b = (np.array(side, dtype=np.int64) for side in zip(*pairs, strict=True))
    net = harness.net_of
    all_log, counted_log = (np.full(len(harness.wires), -np.inf) for _ in range(2))
    nodes = 1 + round(PER_DECADE * float(np.log10(prior.high_ohm / prior.low_ohm)))
    excess = np.exp(np.linspace(np.log(prior.low_ohm), np.log(prior.high_ohm), nodes))
    weight = np.full(nodes, 1.0 / (nodes - 1))
    weight[[0, -1]] /= 2
    counted = weight * (excess >= prior.counted_from_ohm)
    for index in np.unique(net[a]):
        own = np.flatnonzero(net[a] == index)
        wires = list(harness.nets[index].conductors)
        nets = _Net(harness, h, wires, a[own], b[own], value[own], noise)
        for wire in wires:
            logs = nets.log_densities(wire, excess) - nets.log_healthy
            scaled = np.exp(logs - logs.max())
            with np.errstate(divide="ignore"):  # nothing of it is counted
                all_log[wire], counted_log[wire] = np.log([weight @ scaled, counted @ scaled]) + logs.max()
    seen = harness.conducts
    unread = seen & ~np.isfinite(all_log)
    all_log[unread] = 0.0
    counted_log[unread] = np.log(counted.sum())
    share = prior.harness_bad / seen.sum()
    whole = float(np.exp(np.minimum(all_log[seen], 600.0)).sum()) * share + 1 - prior.harness_bad
    return np.where(seen, share * np.exp(np.minimum(counted_log, 600.0)), 0.0) / whole


@dataclass(frozen=True)
class Prior:
    """A share `harness_bad` of harnesses has one bad joint, its excess log-uniform between the two; the
    probability is that of an excess of at least `counted_from_ohm`."""

    low_ohm: float = 0.02
    high_ohm: float = 0.2
    harness_bad: float = 0.5
    counted_from_ohm: float = 0.0


class _Net:
    """The readings of one net and their density for a given bad wire and excess."""

    def __init__(
        self,
        harness: Harness,
        h: Healthy,
        wires: list[int],
        a: IntArray,
        b: IntArray,
        value: FloatArray,
        noise: float,
    ) -> None:
        codes = sorted({int(harness.start[w]) for w in wires} | {int(harness.end[w]) for w in wires})
        place = {code: i for i, code in enumerate(codes)}
        self.ends = [(place[int(harness.start[w])], place[int(harness.end[w])]) for w in wires]
        self.at = [place[int(p)] for p in a], [place[int(p)] for p in b]
        self.wires, self.points, self.value, self.noise = wires, len(codes), value, noise
        self.mean, self.sd = h.mean[wires], h.sd[wires]
        self.tree = len(wires) == len(codes) - 1
        self.healthy = self._moments(self.mean)

    def _moments(self, ohm: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """Mean of the readings, slopes, inverse and log determinant of their covariance.

        The slope by a wire from s to t is the squared current in it for one ampere from a to b, which the
        resistances R between points give: (R_at + R_bs - R_as - R_bt) / 2r (Doyle, Snell 1984).
        """
        between = resistances(
            self.points, [(s, t, float(r)) for (s, t), r in zip(self.ends, ohm, strict=True)]
        )
        a, b = (np.array(side)[:, None] for side in self.at)
        s, t = np.array(self.ends).T
        slope = ((between[a, t] + between[b, s] - between[a, s] - between[b, t]) / (2 * ohm)) ** 2
        cov = self.noise**2 * np.eye(self.value.size) + (slope * self.sd**2) @ slope.T
        return between[self.at], slope, np.linalg.inv(cov), float(np.linalg.slogdet(cov)[1])

    @property
    def log_healthy(self) -> float:
        return self._log_density(self.healthy)

    def log_densities(self, bad: int, excess: FloatArray) -> FloatArray:
        """(k,) log density of the readings with each excess in wire `bad`."""
        at = self.wires.index(bad)
        if not self.tree:
            raised = np.eye(self.mean.size)[at]
            some = np.geomspace(excess[0], excess[-1], 1 + (excess.size - 1) // 3)
            logs = [self._log_density(self._moments(self.mean + x * raised)) for x in some]
            return np.asarray(CubicSpline(np.log(some), logs)(np.log(excess)), dtype=np.float64)
        # every reading is a sum of wires: slopes are exact and never change
        middle, slope, inverse, log_det = self.healthy
        z, s = self.value - middle, slope[:, at]
        square = z @ inverse @ z - 2 * excess * (s @ inverse @ z) + excess**2 * (s @ inverse @ s)
        return np.asarray(-0.5 * (square + log_det), dtype=np.float64)

    def _log_density(self, moments: tuple[FloatArray, FloatArray, FloatArray, float]) -> float:
        middle, _, inverse, log_det = moments
        z = self.value - middle
        return float(-0.5 * (z @ inverse @ z + log_det))


def area_above(score: FloatArray, label: FloatArray) -> float:
    """1 − area under the receiver operating characteristic, ties counted half (Mann–Whitney)."""
    order = np.argsort(score, kind="stable")
    ranked = score[order]
    rank = np.empty(score.size)
    first = np.concatenate([[0], np.flatnonzero(np.diff(ranked)) + 1, [score.size]]).astype(np.int64)
    for begin, end in pairwise(first.tolist()):
        rank[order[begin:end]] = (begin + end + 1) / 2
    positive = label.astype(bool)
    count = int(positive.sum())
    u = rank[positive].sum() - count * (count + 1) / 2
    return float(1 - u / (count * (score.size - count)))
