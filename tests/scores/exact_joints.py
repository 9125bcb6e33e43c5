"""The exact posterior of "at most one bad joint", by brute force, to hold the estimate against.

Nothing of the diagnosis is used: a dense solve of the whole network gives the readings that every wire with
every excess would give, a finite difference gives how healthy spread enters them, and the Gaussian density
of the readings is evaluated anew for each (wire, excess) on a fine grid. O(wires · grid · readings³).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from loomtest.harness.model import Harness
from tests.looms.solve import FloatArray, IntArray, resistances

GRID = 61


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
    log_ratio = np.full(len(harness.wires), -np.inf)
    excess = np.exp(np.linspace(np.log(prior.low_ohm), np.log(prior.high_ohm), GRID))
    weight = np.full(GRID, 1.0 / (GRID - 1))
    weight[[0, -1]] /= 2
    for index in np.unique(net[a]):
        own = np.flatnonzero(net[a] == index)
        wires = list(harness.nets[index].conductors)
        nets = _Net(harness, h, wires, a[own], b[own], value[own], noise)
        base = nets.log_density(None, 0.0)
        for wire in wires:
            logs = np.array([nets.log_density(wire, float(x)) for x in excess]) - base
            log_ratio[wire] = np.log(weight @ np.exp(logs - logs.max())) + logs.max()
    seen = harness.conducts
    unread = seen & ~np.isfinite(log_ratio)
    log_ratio[unread] = 0.0
    share = prior.harness_bad / seen.sum()
    odds = np.where(seen, share * np.exp(np.minimum(log_ratio, 600.0)), 0.0)
    return np.asarray(odds / (odds.sum() + 1 - prior.harness_bad))


@dataclass(frozen=True)
class Prior:
    """One harness in `harness_bad` has one bad joint, its excess log-uniform between the two."""

    low_ohm: float = 0.02
    high_ohm: float = 0.2
    harness_bad: float = 0.5


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

    def _predicted(self, ohm: FloatArray) -> FloatArray:
        edges = [(s, t, float(r)) for (s, t), r in zip(self.ends, ohm, strict=True)]
        return np.asarray(resistances(self.points, edges)[self.at])

    def _moments(self, ohm: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """Mean of the readings, slopes, inverse and log determinant of their covariance."""
        columns = []
        for wire in range(ohm.size):
            step = 1e-4 * ohm[wire]
            up, down = ohm.copy(), ohm.copy()
            up[wire] += step
            down[wire] -= step
            columns.append((self._predicted(up) - self._predicted(down)) / (2 * step))
        slope = np.column_stack(columns)
        cov = self.noise**2 * np.eye(self.value.size) + (slope * self.sd**2) @ slope.T
        return self._predicted(ohm), slope, np.linalg.inv(cov), float(np.linalg.slogdet(cov)[1])

    def log_density(self, bad: int | None, excess: float) -> float:
        middle, slope, inverse, log_det = self.healthy
        if bad is not None:
            at = self.wires.index(bad)
            if self.tree:  # then every reading is a sum of wires: the slopes are exact and never change
                middle = middle + slope[:, at] * excess
            else:
                ohm = self.mean.copy()
                ohm[at] += excess
                middle, slope, inverse, log_det = self._moments(ohm)
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
