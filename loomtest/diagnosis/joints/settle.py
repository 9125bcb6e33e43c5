"""The mode of healthy wires in the full network, with one or two others held or on a logarithmic scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.joints.healthy import Gathered
from loomtest.diagnosis.numbers.network import inverse_laplacian, squared_currents
from loomtest.harness.model import BoolArray, FloatArray, IntArray

LOG_SD = 2.66  # standard deviation of the logarithm of an excess between 10 mΩ and 100 Ω
_STEPS = 8  # of Gauss-Newton


@dataclass(frozen=True)
class RingNetwork:
    """One net: `ends` (2, wires) local points, `place` (wires,) the link of each, `first` (L,) a wire of each
    link, `share` (wires,) 1 / wires of its link; pairs (2, n); readings y (n,), their covariance (n, n)."""

    points: int
    ends: IntArray
    place: IntArray
    first: IntArray
    share: FloatArray
    pairs: IntArray
    value: FloatArray
    covariance: FloatArray

    def solved(self, ohm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """((B, n) readings, (B, n, L) sensitivities) with the links at `ohm` (B, L)."""
        r = ohm[:, self.place] * self.share
        ends = np.broadcast_to(self.ends[:, None, :], (2, *r.shape))
        pairs = np.broadcast_to(self.pairs[:, None, :], (2, r.shape[0], self.pairs.shape[1]))
        a = squared_currents(ends, r, inverse_laplacian(self.points, ends, r), pairs)[:, :, self.first]
        return np.einsum("bnl,bl->bn", a, ohm), a


@dataclass(frozen=True)
class Settled:
    """Modes of the free links, (B, L) with their standard deviations, and the log evidence (B,)."""

    ohm: FloatArray
    sd: FloatArray
    log_evidence: FloatArray


def settle(
    net: RingNetwork, mean: FloatArray, var: FloatArray, base: FloatArray, log_link: IntArray | None = None
) -> Settled:
    """Bring free links to their mode. `mean`, `var`: (B, L), var 0 where a link is fixed. `log_link`: (B,) a
    link that is `base` (B, L) plus exp of a normal variable with that mean and variance; −1 for none."""
    rows = np.arange(mean.shape[0])
    logs = np.zeros(mean.shape, dtype=np.bool_)
    if log_link is not None:
        logs[rows[log_link >= 0], log_link[log_link >= 0]] = True
    t = mean.copy()
    for step in range(_STEPS):
        ohm, slope = _ohms(t, base, logs)
        z, j, solved = _linear(net, t, ohm, slope, mean, var)
        new = mean + var * np.einsum("bnl,bn->bl", j, solved)
        new = np.where(logs, np.clip(new, t - 2, t + 2), np.maximum(new, 0.05 * np.abs(mean) + 1e-6))
        moved = np.max(np.abs(new - t) / (np.abs(t) + 1e-3), initial=0.0)
        t = new if step < 4 else t + 0.7 * (new - t)
        if moved < 1e-5:
            break
    ohm, slope = _ohms(t, base, logs)
    z, j, solved = _linear(net, t, ohm, slope, mean, var)
    s = net.covariance + np.einsum("bnl,bl,bml->bnm", j, var, j)
    log_evidence = -0.5 * (np.sum(z * solved, axis=1) + np.linalg.slogdet(s)[1])
    left = var - var**2 * np.einsum("bnl,bnl->bl", j, _solved_evenly(s, j))
    sd = np.sqrt(np.maximum(left, 0.0))
    # the excess of a bad wire is as likely anywhere on the logarithmic scale, not normal
    known = np.where(logs & (var > 0), 1 - left / np.where(var > 0, var, 1.0), 0.0)
    normal = -0.5 * ((t - mean) ** 2 / np.where(var > 0, var, 1.0)) - math.log(
        LOG_SD * math.sqrt(2 * math.pi)
    )
    flat = -math.log(LOG_SD * math.sqrt(12))
    log_evidence = log_evidence + np.sum(np.where(logs, known * (flat - normal), 0.0), axis=1)
    log_evidence -= 0.5 * net.value.size * math.log(2 * math.pi)
    return Settled(ohm, sd * slope, np.where(np.isfinite(log_evidence), log_evidence, -np.inf))


def _ohms(t: FloatArray, base: FloatArray, logs: BoolArray) -> tuple[FloatArray, FloatArray]:
    excess = np.exp(np.where(logs, np.clip(t, -12, 8), 0.0))
    return np.where(logs, base + excess, t), np.where(logs, excess, 1.0)


def _linear(
    net: RingNetwork, t: FloatArray, ohm: FloatArray, slope: FloatArray, mean: FloatArray, var: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Residuals of the linearised readings at the prior mean, (B, n); slopes; covariance⁻¹ residuals."""
    shown, a = net.solved(ohm)
    j = a * slope[:, None, :]
    free = np.where(var > 0, t - mean, 0.0)
    z = net.value - shown + np.einsum("bnl,bl->bn", j, free)
    s = net.covariance + np.einsum("bnl,bl,bml->bnm", j, var, j)
    return z, j, _solved_evenly(s, z[:, :, None])[:, :, 0]


def _solved_evenly(covariance: FloatArray, right: FloatArray) -> FloatArray:
    """covariance⁻¹ · right, (B, n, k): readings through megohms and through milliohms stand in one matrix,
    and are brought to one size first."""
    size = np.sqrt(np.maximum(np.einsum("bnn->bn", covariance), 1e-30))[:, :, None]
    even = covariance / (size * size.transpose(0, 2, 1)) + 1e-10 * np.eye(size.shape[1])
    return np.asarray(np.linalg.solve(even, right / size) / size)


def network_of(
    got: Gathered, points: int, link: IntArray, of_wire: IntArray, told: tuple[float, float]
) -> RingNetwork:
    """The net of a batch of one; `told`: mean and variance of the shared value."""
    at = np.flatnonzero(got.weight[0] > 0)
    order = np.argsort(link, kind="stable")
    place = order[np.searchsorted(link[order], of_wire[got.wire[0]])]
    first = np.full(link.size, place.size, dtype=np.int64)
    np.minimum.at(first, place, np.arange(place.size))
    common = got.common[0, at]
    shared = got.shared[0, at]
    covariance = np.diag(1 / got.weight[0, at]) + common @ common.T + told[1] * np.outer(shared, shared)
    return RingNetwork(
        points,
        got.ends[:, 0],
        place,
        first,
        1 / np.bincount(place, minlength=link.size)[place],
        got.pairs[:, 0, at],
        got.value[0, at] - told[0] * shared,
        covariance,
    )
