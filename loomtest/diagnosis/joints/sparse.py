"""The sparse-fault posterior: which wires of a net have a bad joint, and how bad.

Spike and slab (T. J. Mitchell, J. J. Beauchamp, J. Am. Stat. Assoc. 83, 1988): a joint is healthy, or bad
with an excess x that is log-uniform. For one bad wire w the likelihood ratio against none is
∫ p(x)·exp(φ·b_w − φ²·Q_ww/2) dx with φ = x·Z/(x + Z) what x does to the readings (Z the loop through the
wire, inf in a tree: φ = x); it is integrated on nodes that follow its peak. A set of bad wires is reached by
adding one wire at a time (best sets first, several at once); what was added is carried as a Gaussian with
the mean and variance of its own posterior, which are then refined until they agree with one another
(expectation propagation, T. Minka, 2001). Wires too unlikely to be added stay independent of one another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.joints.healthy import Given
from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.harness.model import BoolArray, FloatArray, IntArray

OPEN_OHM = 1e9  # stands for an open wire in a loop, where it is no infinite reading
OPEN_SHARE = 1.0  # odds of an open behind a redundant path against a bad joint (common practice: no figure)
STRONG = 0.1  # odds from which a wire is added to a set instead of standing by itself
WIDTH = 10  # sets of one size that are kept per net
FORGET = 14.0  # sets less likely than the best by this (natural logarithm) are dropped
_LEAST = 1e-6  # sets of less weight within their net are dropped
_NODES = 40
_REACH = 7.0  # standard deviations on either side of the peak
_NARROWER = 0.999


@dataclass(frozen=True)
class Tilt:
    """One bad wire: `log_odds` of it against a healthy one, mean and variance of φ, nodes and weights of x.

    Shapes: (...,) and (..., k); `phi` are the nodes' effects, `bandwidth` (...,) their spacing in x.
    """

    log_odds: FloatArray
    mean: FloatArray
    var: FloatArray
    x: FloatArray
    phi: FloatArray
    weight: FloatArray
    bandwidth: FloatArray


def effect(x: FloatArray, loop: FloatArray) -> FloatArray:
    """φ = x·Z/(x + Z): what an excess does where a loop of resistance Z goes round it (Z may be inf)."""
    return np.asarray(x / (1 + x / loop), dtype=np.float64)


def _cause(effect_ohm: FloatArray, loop: FloatArray) -> FloatArray:
    """The excess that has this effect."""
    return np.asarray(effect_ohm / np.maximum(1 - effect_ohm / loop, 1e-12), dtype=np.float64)


def tilt(
    b: FloatArray,
    q: FloatArray,
    loop: FloatArray,
    density: FloatArray,
    odds: FloatArray,
    least: FloatArray,
    most: FloatArray,
    origin: FloatArray | float = 0.0,
) -> Tilt:
    """Integrate the slab against exp(φb − φ²q/2), element by element; x lies in [least, most].

    `density`: prior odds of a bad joint for each unit of log x; `odds`: those of any.
    `origin`: the excess at which the net was linearised: φ = origin + the effect of x − origin.
    """
    base = np.asarray(origin, dtype=np.float64)
    low, high = base + effect(least - base, loop), base + effect(most - base, loop)
    sd = 1 / np.sqrt(np.maximum(q, 1e-12))
    peak = np.where(q > 0, b * sd * sd, 0.0)
    first = np.clip(peak - _REACH * sd, low, high)
    last = np.clip(peak + _REACH * sd, low, high)
    flat = last - first <= 1e-9 * high
    first = np.where(flat & (peak > low), np.maximum(low, high - _REACH * sd), first)
    last = np.where(flat & (peak <= low), np.minimum(high, low + _REACH * sd), last)
    x_first = np.maximum(_cause(first - base, loop) + base, least)
    x_last = np.maximum(np.minimum(_cause(last - base, loop) + base, most), x_first * (1 + 1e-9))
    step = np.log(x_last / x_first) / (_NODES - 1)
    x = x_first[..., None] * np.exp(step[..., None] * np.arange(_NODES))
    share = np.full(_NODES, 1.0)
    share[[0, -1]] = 0.5
    log_weight = np.log(density * step)[..., None] + np.log(share)
    looped = np.isfinite(loop)
    if looped.any():
        x = np.concatenate([x, np.full((*x.shape[:-1], 1), OPEN_OHM)], axis=-1)
        opens = np.where(looped, np.log(odds * OPEN_SHARE), -np.inf)
        log_weight = np.concatenate([log_weight, opens[..., None]], axis=-1)
    phi = base[..., None] + effect(x - base[..., None], loop[..., None])
    if looped.any():
        phi[..., -1] = np.where(looped, phi[..., -1], 0.0)
    log_weight = log_weight + phi * b[..., None] - 0.5 * phi * phi * q[..., None]
    top = np.max(log_weight, axis=-1)
    weight = np.exp(log_weight - top[..., None])
    total = np.sum(weight, axis=-1)
    weight /= total[..., None]
    mean = np.sum(weight * phi, axis=-1)
    var = np.sum(weight * (phi - mean[..., None]) ** 2, axis=-1)
    bandwidth = step[..., None] * x / np.sqrt(12)
    if looped.any():
        bandwidth[..., -1] = 0.0
    return Tilt(top + np.log(total), mean, var, x, phi, weight, bandwidth)


@dataclass(frozen=True)
class Slab:
    """What may be wrong with the links of B nets, (B, m) each: prior odds of a bad joint, those for each unit
    of log x, bounds of x, and the excess at which each link stood when the net was linearised."""

    odds: FloatArray
    density: FloatArray
    least: FloatArray
    most: FloatArray
    origin: FloatArray

    def tilt(self, loop: FloatArray, net: IntArray, link: IntArray, b: FloatArray, q: FloatArray) -> Tilt:
        """`tilt` of chosen links of chosen nets (index arrays of one shape)."""
        at = net, link
        return tilt(
            b, q, loop[at], self.density[at], self.odds[at], self.least[at], self.most[at], self.origin[at]
        )


@dataclass
class Sets:
    """Sets of bad links, R of them over all nets given, with what follows if exactly those are bad.

    `row`: (R,) which net; `member`: (R, m); `log_z`: (R,) log of prior odds times likelihood ratio of the set
    against no bad link; `weight`: (R,) posterior probability within the net, the set's independent
    companions included; b (R, m), q (R, m): of a member with its own site taken out; `mean`, `var`:
    (R, m + 1) posterior of the links' resistances and, last, of the shared value; `own_log_odds`: (R, m) of a
    further single bad link that stands by itself; −inf where that is a set of its own, or a member.
    """

    row: IntArray
    member: BoolArray
    log_z: FloatArray
    weight: FloatArray
    b: FloatArray
    q: FloatArray
    mean: FloatArray
    var: FloatArray
    own_log_odds: FloatArray

    def rows(self, kept: BoolArray) -> Sets:
        """The sets that are kept."""
        return Sets(*(getattr(self, name)[kept] for name in Sets.__dataclass_fields__))


@dataclass
class _Level:
    """Sets of one size. What a member's uncertain excess takes from q is kept as its column and variance:
    `column` (R, d, m), `spread` (R, d), so that q itself, (m, m) per set, is never made."""

    row: IntArray
    key: IntArray
    member: BoolArray
    log_z: FloatArray
    b: FloatArray
    diagonal: FloatArray
    column: FloatArray
    spread: FloatArray


def search(given: Given, slab: Slab, known_bad: Sequence[int] = ()) -> Sets:
    """Sets of bad links of every net, the likely ones, by growing them one link at a time.

    `known_bad`: links that every set must hold.
    """
    count, m = given.b.shape
    start = np.einsum("bii->bi", given.q)
    level = _Level(
        np.arange(count),
        np.zeros(count, dtype=np.int64),
        np.zeros((count, m), dtype=np.bool_),
        np.zeros(count),
        given.b,
        start,
        np.zeros((count, 0, m)),
        np.zeros((count, 0)),
    )
    best = np.zeros(count)
    names = _names(m)
    for forced in known_bad:
        t = slab.tilt(given.nets.loop, level.row[:, None], np.arange(m), level.b, level.diagonal)
        level = _grown(given, level, (level.row, np.full(count, forced)), names, t)
        best = level.log_z.copy()
    found: list[tuple[_Level, FloatArray]] = []
    for _ in range(m + 1):
        pick = level.row[:, None]
        t = slab.tilt(given.nets.loop, pick, np.arange(m), level.b, level.diagonal)
        own = np.where(level.member, -np.inf, t.log_odds)
        at, link = np.nonzero((own > np.log(STRONG)) & (level.diagonal > 0))
        chosen, known = _choose(level, own, at, link, names, best)
        # what is a set of its own does not stand by itself, nor what should be one and was too unlikely
        gone = known | (own[at, link] > 0)
        own[at[gone], link[gone]] = -np.inf
        found.append((level, own))
        if chosen.size == 0:
            break
        at, link = at[chosen], link[chosen]
        level = _grown(given, level, (at, link), names, t)
    return _collected(found, given)


def _choose(
    level: _Level, own: FloatArray, at: IntArray, link: IntArray, names: IntArray, best: FloatArray
) -> tuple[IntArray, BoolArray]:
    """Which candidates to grow (one each, the likeliest per net), and which candidates are thereby sets."""
    if at.size == 0:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.bool_)
    row, key = level.row[at], level.key[at] ^ names[link]
    log_z = level.log_z[at] + own[at, link]
    order = np.lexsort((-log_z, key, row))
    new = np.concatenate([[True], (row[order][1:] != row[order][:-1]) | (key[order][1:] != key[order][:-1])])
    distinct = order[new]
    ranked = distinct[np.lexsort((-log_z[distinct], row[distinct]))]
    first = np.concatenate([[True], row[ranked][1:] != row[ranked][:-1]])
    begin = np.maximum.accumulate(np.where(first, np.arange(ranked.size), 0))
    place = np.arange(ranked.size) - begin
    top = log_z[ranked][begin]
    before = best[row[ranked]].copy()
    np.maximum.at(best, row, log_z)
    kept = (place < WIDTH) & (top > before - FORGET)
    chosen = ranked[kept]
    names_of = set(zip(row[chosen].tolist(), key[chosen].tolist(), strict=True))
    known = np.array(
        [pair in names_of for pair in zip(row.tolist(), key.tolist(), strict=True)], dtype=np.bool_
    )
    return chosen, known


def _grown(
    given: Given, level: _Level, chosen: tuple[IntArray, IntArray], names: IntArray, t: Tilt
) -> _Level:
    """The sets `chosen` (index of the set it grows from, link that is added)."""
    at, link = chosen
    each = np.arange(at.size)
    taken = level.spread[at] * level.column[at, :, link]
    column = given.q[level.row[at], :, link] - np.einsum("rd,rdm->rm", taken, level.column[at])
    # the slab falls as 1/x, so that its posterior can be wider than the likelihood alone; a Gaussian that is
    # wider would leave the other wires less than no knowledge
    spread = np.minimum(t.var[at, link], _NARROWER / level.diagonal[at, link])
    member = level.member[at]
    member[each, link] = True
    return _Level(
        level.row[at],
        level.key[at] ^ names[link],
        member,
        level.log_z[at] + t.log_odds[at, link],
        level.b[at] - t.mean[at, link][:, None] * column,
        level.diagonal[at] - spread[:, None] * column**2,
        np.concatenate([level.column[at], column[:, None, :]], axis=1),
        np.column_stack([level.spread[at], spread]),
    )


def log_sum(row: IntArray, log_weight: FloatArray, count: int) -> FloatArray:
    """(B,) log of the summed weights of every net's sets; −inf where it has none. `log_weight`: (R,)."""
    top = np.full(count, -np.inf)
    np.maximum.at(top, row, log_weight)
    safe = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        summed = safe + np.log(np.bincount(row, np.exp(log_weight - safe[row]), count))
    return np.asarray(summed, dtype=np.float64)


def log_weights(log_z: FloatArray, own_log_odds: FloatArray) -> FloatArray:
    """(R,) log weight of every set, its independent companions included."""
    return np.asarray(log_z + np.sum(np.logaddexp(0.0, own_log_odds), axis=1), dtype=np.float64)


def weights(row: IntArray, log_z: FloatArray, own_log_odds: FloatArray, count: int) -> FloatArray:
    """(R,) posterior probability of every set within its net."""
    log_weight = log_weights(log_z, own_log_odds)
    return np.asarray(np.exp(log_weight - log_sum(row, log_weight, count)[row]), dtype=np.float64)


def _names(count: int) -> IntArray:
    """(count,) scattered numbers below 2⁶², the same each time; a set is known by those of its links, XORed.

    splitmix64 (G. Steele, D. Lea, C. Flood, OOPSLA 2014), because numpy's generators are slow to import.
    """
    z = np.arange(1, count + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return ((z ^ (z >> np.uint64(31))) >> np.uint64(2)).astype(np.int64)


def _collected(found: list[tuple[_Level, FloatArray]], given: Given) -> Sets:
    """Every set that was found: what its evidence is worth shows only once its members agree."""
    count = given.b.shape[0]
    row = np.concatenate([level.row for level, _ in found])
    own = np.concatenate([log_odds for _, log_odds in found])
    log_z = np.concatenate([level.log_z for level, _ in found])
    nets = given.nets
    diagonal = np.einsum("bii->bi", given.q)
    mean = np.column_stack([nets.prior_mean + nets.prior_var * given.b, given.shared_mean])
    var = np.column_stack([nets.prior_var - nets.prior_var**2 * diagonal, given.shared_var])
    return Sets(
        row,
        np.concatenate([level.member for level, _ in found]),
        log_z,
        weights(row, log_z, own, count),
        np.concatenate([level.b for level, _ in found]),
        np.concatenate([level.diagonal for level, _ in found]),
        mean[row],
        np.maximum(var, 1e-18)[row],
        own,
    )


def refine(given: Given, slab: Slab, sets: Sets, sweeps: int = 4) -> Sets:
    """Let the members of every set agree: expectation propagation over their excesses, and its evidence.

    Exact for sets of one. Returns new `Sets` with the members' b, q (their own site taken out), the means,
    variances and weights that follow, without those that then weigh next to nothing.
    """
    log_z, b, q = sets.log_z.copy(), sets.b.copy(), sets.q.copy()
    mean, var = sets.mean.copy(), sets.var.copy()
    nets = given.nets
    sizes = sets.member.sum(axis=1)
    for size in distinct(sizes[sizes > 0]):
        rows = np.flatnonzero(sizes == size)
        link = np.nonzero(sets.member[rows])[1].reshape(-1, size)
        net = sets.row[rows]
        done = _agree(given, slab, net, link, sweeps)
        log_z[rows] = done.log_z
        b[rows[:, None], link], q[rows[:, None], link] = done.b, done.q
        # how the posterior means, and last the shared value's, follow an effect in each member
        gain = (
            -nets.prior_var[net][:, :, None]
            * given.q[net[:, None, None], np.arange(b.shape[1])[:, None], link[:, None, :]]
        )
        gain[np.arange(rows.size)[:, None], link, np.arange(size)] += 1
        shared = -given.shared_var[net][:, None] * nets.shared_b[net[:, None], link]
        gain = np.concatenate([gain, shared[:, None, :]], axis=1)
        mean[rows] += np.einsum("rmk,rk->rm", gain, done.mean)
        var[rows] += np.einsum("rmk,rkl,rml->rm", gain, done.cov, gain)
    weight = weights(sets.row, log_z, sets.own_log_odds, given.b.shape[0])
    var = np.maximum(var, 1e-18)
    refined = replace(sets, log_z=log_z, weight=weight, b=b, q=q, mean=mean, var=var)
    return refined.rows(weight > _LEAST)


@dataclass(frozen=True)
class _Agreed:
    log_z: FloatArray  # (R,)
    b: FloatArray  # (R, k) without the member's own site
    q: FloatArray
    mean: FloatArray  # (R, k) of the effects
    cov: FloatArray  # (R, k, k)


def _agree(given: Given, slab: Slab, net: IntArray, link: IntArray, sweeps: int) -> _Agreed:
    size = link.shape[1]
    at = net[:, None]
    b, q = given.b[at, link], given.q[at[:, :, None], link[:, :, None], link[:, None, :]]
    diagonal = np.arange(size)
    site_q, site_b = np.full(b.shape, 1.0), np.zeros(b.shape)
    cavity_b, cavity_q, log_z = b.copy(), q[:, diagonal, diagonal].copy(), np.zeros(b.shape)
    for _ in range(sweeps if size > 1 else 1):
        for k in range(size):
            if size > 1:
                cov = np.linalg.inv(q + site_q[:, :, None] * np.eye(size))
                mean = np.einsum("rkl,rl->rk", cov, b + site_b)
                own = cov[:, k, k]
                cavity_q[:, k] = np.maximum(1 / own - site_q[:, k], 1e-9)
                cavity_b[:, k] = mean[:, k] / own - site_b[:, k]
            t = slab.tilt(given.nets.loop, net, link[:, k], cavity_b[:, k], cavity_q[:, k])
            log_z[:, k] = t.log_odds
            var = np.maximum(t.var, 1e-16)
            site_q[:, k] = np.maximum(1 / var - cavity_q[:, k], (1 - _NARROWER) * cavity_q[:, k])
            site_b[:, k] = t.mean * (site_q[:, k] + cavity_q[:, k]) - cavity_b[:, k]
    precision = q + site_q[:, :, None] * np.eye(size)
    final = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    total = b + site_b
    mean = np.einsum("rkl,rl->rk", final, total)
    log_2pi = np.log(2 * np.pi)
    joint = 0.5 * np.sum(total * mean, axis=1) - 0.5 * np.linalg.slogdet(precision)[1] + 0.5 * size * log_2pi
    own_b, own_q = cavity_b + site_b, cavity_q + site_q
    alone = 0.5 * own_b**2 / own_q + 0.5 * (log_2pi - np.log(own_q))
    return _Agreed(
        np.asarray(joint + np.sum(log_z - alone, axis=1), dtype=np.float64), cavity_b, cavity_q, mean, final
    )
