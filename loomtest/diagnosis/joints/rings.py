"""Small rings and parallel wires in the full network: no linear step, every wire's removal looked at.

For one bad wire its resistance is fixed at nodes, from almost nothing to 100 Ω and open; the nodes crowd
where the readings are likely. At each node the healthy wires go to their mode (Gauss–Newton in the whole
network) and are summed out there (Laplace). For two bad wires one stands on nodes and the other goes to its
mode on a logarithmic scale, or is open. What the readings alone say of a wire, without a prior on itself, is
its profile: Φ(±√(2·Δ)), Δ what the log likelihood loses from its best to the best on the other side of the
limit. In a tree that is Φ((T − y)/u).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from loomtest.diagnosis.joints.healthy import Gathered, Nets
from loomtest.diagnosis.joints.marginals import Mixture
from loomtest.diagnosis.joints.settle import LOG_SD, RingNetwork, Settled, settle
from loomtest.diagnosis.joints.sparse import OPEN_OHM, OPEN_SHARE, Sets, Slab
from loomtest.diagnosis.numbers.statistics import normal_cdf
from loomtest.harness.model import BoolArray, FloatArray, IntArray

MOST_LINKS, MOST_READINGS = 8, 40  # of a ring that is solved in full
_COARSE, _FINE = 28, 28  # nodes of one wire, and those added in each refinement
_PAIR_NODES = 16  # of one of two, and added in each refinement
_SPREAD = 7  # normal components that stand for one on a logarithmic scale
_SHARES = (0.15, 0.4, 0.7)  # of the log evidence that each refinement goes by
_WORTH = 9.0  # pairs of bad wires are looked at where they could gain this (natural logarithm)
_HERMITE = ((-(3**0.5), 1 / 6), (0.0, 2 / 3), (3**0.5, 1 / 6))  # three points of a normal distribution


@dataclass(frozen=True)
class Profile:
    """Log likelihood of one link at resistances (k,) ascending, without a prior on itself, and beside it what
    other sets of bad links give."""

    ohm: FloatArray
    log: FloatArray
    other_ohm: FloatArray
    other_log: FloatArray

    def within(self, limit: float) -> float:
        """Probability of lying within the limit."""
        at = float(np.interp(limit, self.ohm, self.log))
        every, log = np.append(self.ohm, self.other_ohm), np.append(self.log, self.other_log)
        below = max(float(np.max(log[every <= limit], initial=-np.inf)), at)
        above = max(float(np.max(log[every > limit], initial=-np.inf)), at)
        if not np.isfinite(max(below, above)):
            return 0.0
        root = math.sqrt(2 * min(abs(below - above), 600.0))
        return float(normal_cdf(np.array(root if below >= above else -root)))

    @property
    def estimate(self) -> tuple[float, float]:
        """Likeliest resistance and its standard uncertainty upwards; inf where an open wire is as likely."""
        top = int(np.argmax(self.log))
        high = np.flatnonzero(self.log[top:] < self.log[top] - 0.5)
        if not high.size or self.ohm[top] > OPEN_OHM / 10:
            return float(self.ohm[top]), math.inf
        end = top + int(high[0])
        drop = np.array([self.log[end], self.log[end - 1]])
        reach = float(np.interp(self.log[top] - 0.5, drop, [self.ohm[end], self.ohm[end - 1]]))
        return float(self.ohm[top]), max(reach - float(self.ohm[top]), 1e-7)


@dataclass(frozen=True)
class Ring:
    """One net in full. `sets`: none, single bad links, pairs; for each the components of every link: weights
    (k,) that sum to 1, means and standard deviations (k, L). `profiles`: one a link."""

    nets: Nets
    slab: Slab
    sets: Sets
    components: tuple[Settled, ...]
    profiles: tuple[Profile, ...]
    log_none: float

    def mixture(self, sets: Sets) -> tuple[Mixture, FloatArray]:
        """Mixture of every link, with the sets' own weights, and (L,) the probability that it is bad."""
        pieces = []
        for weight, part in zip(sets.weight.tolist(), self.components, strict=True):
            if weight > 1e-7:
                share = weight * np.exp(part.log_evidence)
                pieces.append((share, part.ohm, part.sd))
        share, ohm, sd = (np.concatenate(column) for column in zip(*pieces, strict=True))
        k, m = ohm.shape
        link = np.tile(np.arange(m), (k, 1)).T.ravel()
        every = np.tile(share / share.sum(), (m, 1)).ravel()
        mixture = Mixture(link, every, ohm.T.ravel(), np.maximum(sd.T.ravel(), 1e-7))
        return mixture, np.asarray(sets.weight @ sets.member, dtype=np.float64)

    def above(self, sets: Sets, allowed: FloatArray, limit: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(L,) probabilities of a bad joint beyond what is allowed or the limit, and of a link above its
        limit without one."""
        mean = self.nets.prior_mean[0]
        beyond, healthy = np.zeros(mean.size), np.zeros(mean.size)
        for weight, member, part in zip(sets.weight, sets.member, self.components, strict=True):
            share = weight * np.exp(part.log_evidence)
            sd = np.maximum(part.sd, 1e-7)
            over = share @ normal_cdf((part.ohm - np.minimum(limit, mean + allowed)) / sd)
            high = share @ normal_cdf((part.ohm - limit) / sd)
            beyond += np.where(member, over, 0.0)
            healthy += np.where(member, 0.0, high)
        return beyond, healthy


def solvable(nets: Nets, got: Gathered) -> BoolArray:
    """(B,) nets with a loop that are small enough."""
    looped = np.any(np.isfinite(nets.loop), axis=1)
    small = nets.link.shape[1] <= MOST_LINKS
    read = np.sum(got.weight > 0, axis=1)
    return np.asarray(looped & small & (read > 0) & (read <= MOST_READINGS), dtype=np.bool_)


def _fresh(u: FloatArray, log_evidence: FloatArray, share: float, count: int) -> FloatArray:
    """(R, count) more nodes beside u (R, k), where exp(share · log evidence) says, equally distributed."""
    log = share * log_evidence
    log = np.maximum(log - log.max(axis=1, keepdims=True), -40.0)
    density = np.exp(np.maximum(log[:, 1:], log[:, :-1])) + 1e-4
    total = np.concatenate([np.zeros((len(u), 1)), np.cumsum(density * np.diff(u, axis=1), axis=1)], axis=1)
    wanted = (np.arange(count) + 0.5) / count
    return np.stack([np.interp(wanted * t[-1], t, own) for t, own in zip(total, u, strict=True)])


def _merged(u: FloatArray, fresh: FloatArray, old: Settled, new: Settled) -> tuple[FloatArray, Settled]:
    """Nodes (R, k) and what was found there, with the fresh ones, ascending."""
    both = np.concatenate([u, fresh], axis=1)
    order = np.argsort(both, axis=1, kind="stable")
    wide = order[:, :, None]
    return np.take_along_axis(both, order, axis=1), Settled(
        np.take_along_axis(np.concatenate([old.ohm, new.ohm], axis=1), wide, axis=1),
        np.take_along_axis(np.concatenate([old.sd, new.sd], axis=1), wide, axis=1),
        np.take_along_axis(np.concatenate([old.log_evidence, new.log_evidence], axis=1), order, axis=1),
    )


class _Nodes:
    """One bad link at nodes of its resistance, for every link at once: (L, k) ohms ascending, and open."""

    def __init__(self, net: RingNetwork, mean: FloatArray, var: FloatArray, most: FloatArray) -> None:
        self.net, self.mean, self.var = net, mean, var
        m = mean.size
        self.scale = np.maximum(mean / 4, 1e-3)
        low = np.log1p(0.05 * mean / self.scale)
        top = np.log1p((mean + most) / self.scale)
        u = low[:, None] + (top - low)[:, None] * np.linspace(0, 1, _COARSE)
        u = np.sort(np.concatenate([u, np.log1p(mean / self.scale)[:, None]], axis=1), axis=1)
        self.u, self.at = u, self._settle(u)
        for share in _SHARES:
            self._refine(share)
        self.open = self._settle(np.full((m, 1), np.inf))

    def ohm(self, u: FloatArray) -> FloatArray:
        return np.where(np.isinf(u), OPEN_OHM, self.scale[:, None] * np.expm1(np.minimum(u, 50.0)))

    def _settle(self, u: FloatArray) -> Settled:
        """(L, k, L) modes and so on, with link l at its nodes."""
        m, k = u.shape
        mean, var = np.tile(self.mean, (m * k, 1)), np.tile(self.var, (m * k, 1))
        which = np.repeat(np.arange(m), k)
        mean[np.arange(m * k), which] = self.ohm(u).ravel()
        var[np.arange(m * k), which] = 0.0
        got = settle(self.net, mean, var, mean)
        return Settled(got.ohm.reshape(m, k, m), got.sd.reshape(m, k, m), got.log_evidence.reshape(m, k))

    def _refine(self, share: float) -> None:
        fresh = _fresh(self.u, self.at.log_evidence, share, _FINE)
        self.u, self.at = _merged(self.u, fresh, self.at, self._settle(fresh))

    def cells(self) -> FloatArray:
        """(L, k + 1) borders of the nodes' cells in ohms."""
        middle = (self.u[:, 1:] + self.u[:, :-1]) / 2
        u = np.concatenate([self.u[:, :1], middle, self.u[:, -1:]], axis=1)
        return self.ohm(u)


def _slab_mass(
    borders: FloatArray, mean: FloatArray, sd: FloatArray, least: FloatArray, most: FloatArray
) -> FloatArray:
    """(L, k) prior probability of a bad link's resistance in each cell: healthy plus a log-uniform excess."""
    out = np.zeros(borders.shape)
    for point, weight in _HERMITE:
        x = borders - (mean + point * sd)[:, None]
        low, high = least[:, None], most[:, None]
        out += weight * np.log(np.clip(x, low, high) / low) / np.log(high / low)
    return np.diff(out, axis=1)


def ring_of(net: RingNetwork, nets: Nets, slab: Slab, row: int) -> Ring:
    """Solve one net of a chunk in full."""
    mean, var = nets.prior_mean[row], nets.prior_var[row]
    odds, density, least, most = (c[row] for c in (slab.odds, slab.density, slab.least, slab.most))
    m = mean.size
    none = settle(net, mean[None, :], var[None, :], mean[None, :])
    nodes = _Nodes(net, mean, var, most)
    borders = nodes.cells()
    mass = _slab_mass(borders, mean, np.sqrt(var), least, most)
    # odds of a bad joint within the bounds; a continuity reading may have lowered the upper one
    within = density * np.log(most / least)
    with np.errstate(divide="ignore"):
        log_mass = np.log(within[:, None] * mass)
    log_single = log_mass + nodes.at.log_evidence
    open_odds = np.log(odds * OPEN_SHARE)
    log_open = open_odds + nodes.open.log_evidence[:, 0]
    spread = np.diff(borders, axis=1) / math.sqrt(12)
    members, logs, components = [np.zeros(m, dtype=np.bool_)], [float(none.log_evidence[0])], [_part(none)]
    for k in range(m):
        log = np.append(log_single[k], log_open[k])
        ohm = np.concatenate([nodes.at.ohm[k], nodes.open.ohm[k]])
        sd = np.concatenate([nodes.at.sd[k], nodes.open.sd[k]])
        sd[:-1, k] = spread[k]
        whole = float(np.logaddexp.reduce(log))
        members.append(np.arange(m) == k)
        logs.append(whole)
        components.append(_part(Settled(ohm, sd, log - whole)))
    best = max(logs)
    perfect = -0.5 * (np.linalg.slogdet(net.covariance)[1] + net.value.size * math.log(2 * math.pi))
    pairs: dict[tuple[int, int], Settled] = {}
    if perfect + 2 * float(np.log(odds.max())) > best - _WORTH:
        prior = _Priors(mean, var, np.log(within), np.log(odds * OPEN_SHARE), least, most)
        every = list(combinations(range(m), 2))
        for (one, other), part in zip(every, _both_bad(net, prior, every) if every else [], strict=True):
            whole = float(np.logaddexp.reduce(part.log_evidence))
            if whole > best - 2 * _WORTH:
                pairs[one, other] = part
                members.append((np.arange(m) == one) | (np.arange(m) == other))
                logs.append(whole)
                components.append(_part(part))
    log_none = logs[0]
    log_z = np.array(logs) - log_none
    count = len(logs)
    weight = np.exp(log_z - np.logaddexp.reduce(log_z))
    empty = np.zeros((count, m))
    sets = Sets(
        np.zeros(count, dtype=np.int64), np.array(members), log_z, weight, empty, empty,
        np.zeros((count, m + 1)), np.ones((count, m + 1)), np.full((count, m), -np.inf),
    )  # fmt: skip
    profiles = tuple(_profile(k, nodes, (members, logs, components), pairs, np.log(odds)) for k in range(m))
    one_net = Nets(*(getattr(nets, name)[row : row + 1] for name in Nets.__dataclass_fields__))
    one_slab = Slab(*(getattr(slab, name)[row : row + 1] for name in Slab.__dataclass_fields__))
    return Ring(one_net, one_slab, sets, tuple(components), profiles, log_none)


def _part(settled: Settled) -> Settled:
    log = settled.log_evidence
    return replace_log(settled, log - np.logaddexp.reduce(log))


def replace_log(settled: Settled, log: FloatArray) -> Settled:
    """The same with other weights."""
    return Settled(settled.ohm, settled.sd, np.asarray(log, dtype=np.float64))


@dataclass(frozen=True)
class _Priors:
    """Of every link (L,): mean, variance, log odds of a bad joint and of an open wire, excess."""

    mean: FloatArray
    var: FloatArray
    log_bad: FloatArray
    log_open: FloatArray
    least: FloatArray
    most: FloatArray


def _both_bad(net: RingNetwork, prior: _Priors, pairs: list[tuple[int, int]]) -> list[Settled]:
    """Both of each pair bad: components with log weights, prior odds included. One stands on nodes of the
    logarithm of its excess, or is open; the other goes to its mode. And the other open, the one at its mode.
    """
    one, other = np.array(pairs, dtype=np.int64).T

    def at(fixed: IntArray, free: IntArray, ohm: FloatArray) -> Settled:
        count, k = ohm.shape
        rows = np.arange(count * k)
        mean, var = np.tile(prior.mean, (rows.size, 1)), np.tile(prior.var, (rows.size, 1))
        base = mean.copy()
        fixed, free = np.repeat(fixed, k), np.repeat(free, k)
        mean[rows, fixed], var[rows, fixed] = ohm.ravel(), 0.0
        mean[rows, free], var[rows, free] = 0.0, LOG_SD**2
        got = settle(net, mean, var, base, free)
        shape = (count, k, prior.mean.size)
        log = got.log_evidence + prior.log_bad[free]
        return Settled(got.ohm.reshape(shape), got.sd.reshape(shape), log.reshape(count, k))

    def nodes(u: FloatArray) -> Settled:
        return at(one, other, prior.mean[one][:, None] + np.exp(u))

    low, high = np.log(prior.least[one]), np.log(prior.most[one])
    u = low[:, None] + (high - low)[:, None] * (np.arange(_PAIR_NODES) + 0.5) / _PAIR_NODES
    found = nodes(u)
    for share in _SHARES:
        fresh = _fresh(u, found.log_evidence, share, _PAIR_NODES)
        u, found = _merged(u, fresh, found, nodes(fresh))
    borders = np.concatenate([low[:, None], (u[:, 1:] + u[:, :-1]) / 2, high[:, None]], axis=1)
    with np.errstate(divide="ignore"):
        share_of = np.log(np.diff(borders, axis=1) / (high - low)[:, None])
    log = found.log_evidence + share_of + prior.log_bad[one][:, None]
    sd = found.sd.copy()
    width = np.diff(np.exp(borders), axis=1) / math.sqrt(12)
    sd[np.arange(one.size), :, one] = width
    opened = np.full((one.size, 1), OPEN_OHM)
    first, second = at(one, other, opened), at(other, one, opened)
    out = []
    for p in range(one.size):
        own = Settled(found.ohm[p], sd[p], log[p])
        open_one, open_other = (Settled(s.ohm[p], s.sd[p], s.log_evidence[p]) for s in (first, second))
        parts = [
            _spread(own, int(other[p]), prior.mean, 0.0),
            _spread(open_one, int(other[p]), prior.mean, float(prior.log_open[one[p]])),
            _spread(open_other, int(one[p]), prior.mean, float(prior.log_open[other[p]])),
        ]
        names = ("ohm", "sd", "log_evidence")
        out.append(Settled(*(np.concatenate([getattr(part, name) for part in parts]) for name in names)))
    return out


def _spread(part: Settled, free: int, mean: FloatArray, log_odds: float) -> Settled:
    """Components with a link whose excess is normal on a logarithmic scale, as several that are normal."""
    excess = np.maximum(part.ohm[:, free] - mean[free], 1e-9)
    wide = np.minimum(part.sd[:, free] / excess, LOG_SD)
    z = np.linspace(-2.4, 2.4, _SPREAD)
    weight = np.exp(-0.5 * z**2)
    ohm, sd = np.repeat(part.ohm, _SPREAD, axis=0), np.repeat(part.sd, _SPREAD, axis=0)
    spread = excess[:, None] * np.exp(wide[:, None] * z)
    ohm[:, free] = mean[free] + spread.ravel()
    sd[:, free] = (spread * wide[:, None] * (z[1] - z[0]) / 2).ravel()
    log = part.log_evidence[:, None] + np.log(weight / weight.sum()) + log_odds
    return Settled(ohm, sd, log.ravel())


def _profile(
    k: int,
    nodes: _Nodes,
    found: tuple[list[BoolArray], list[float], list[Settled]],
    pairs: dict[tuple[int, int], Settled],
    log_odds: FloatArray,
) -> Profile:
    ohm = np.append(nodes.ohm(nodes.u)[k], OPEN_OHM)
    log = np.append(nodes.at.log_evidence[k], nodes.open.log_evidence[k])
    other_ohm, other_log = [], []
    for member, whole, part in zip(*found, strict=True):
        if not member[k]:
            top = int(np.argmax(part.log_evidence))
            other_ohm.append(float(part.ohm[top, k]))
            other_log.append(whole)
    for pair, part in pairs.items():
        if k in pair:
            other_ohm += part.ohm[:, k].tolist()
            # the whole of the pair at its best place: what is summed over the other one counts
            whole = np.logaddexp.reduce(part.log_evidence) - log_odds[k]
            other_log += (part.log_evidence - part.log_evidence.max() + whole).tolist()
    return Profile(ohm, log, np.array(other_ohm), np.array(other_log))
