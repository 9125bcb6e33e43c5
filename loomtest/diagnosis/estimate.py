"""The whole estimate in numbers: every wire's resistance from all readings of a run at once.

Nets are coupled by what all readings of the run share (leads, the offset of a range). That one value is a
normal message between the nets (expectation propagation): each net tells what it knows of it, sums over its
own sets of bad joints included, and is told what all the others know.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.budget import Shared
from loomtest.diagnosis.healthy import (
    Gathered,
    Nets,
    Sight,
    chunks,
    look,
    merged,
    nudged,
    sensitivities,
    series,
    solve,
)
from loomtest.diagnosis.layout import Arranged
from loomtest.diagnosis.marginals import Mixture, marginals
from loomtest.diagnosis.sparse import EXCESS_HIGH_OHM, EXCESS_LOW_OHM, Sets, Slab, refine, search, tilt
from loomtest.diagnosis.statistics import normal_cdf
from loomtest.harness.copper import Expectation
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray

# A wire of unknown size or length: what vehicle wires have (common practice: 0.3 to 6 m of 0.35 to 6 mm²
# is 1 to 300 mΩ); wide, so that it decides nothing.
UNKNOWN_MEAN_OHM, UNKNOWN_SD_OHM = 0.1, 0.15
_LEAST_OHM, _LEAST_SD_OHM = 1e-5, 1e-5  # a wire has some resistance, and no expectation is exact
_ROUNDS = 4  # of messages about the shared value
_OUTSIDE = 0.01  # weight of a shared value outside what was stated of it


@dataclass(frozen=True)
class Prior:
    """What each wire of the harness should be, (W,) each: mean and standard deviation with healthy joints,
    the limit for one that is judged bad, and the prior odds of a bad joint. `known`: size and length are."""

    mean: FloatArray
    sd: FloatArray
    limit: FloatArray
    odds: FloatArray
    known: BoolArray


def prior_of(harness: Harness, expectation: Expectation) -> Prior:
    """Prior of every wire from the expectation; a joint's mean is that of its cut-off distribution."""
    known = np.isfinite(expectation.expected_ohm)
    mean = np.where(known, expectation.copper_ohm + 2 * expectation.joint_mean_ohm, UNKNOWN_MEAN_OHM)
    sd = np.where(known, np.maximum(expectation.spread_ohm, _LEAST_SD_OHM), UNKNOWN_SD_OHM)
    limit = np.where(
        np.isfinite(expectation.limit_ohm), expectation.limit_ohm, harness.limits.continuity_ohms
    )
    rate = min(max(harness.expect.bad_joint_rate, 1e-9), 1 - 1e-9)
    return Prior(np.maximum(mean, _LEAST_OHM), sd, limit, np.full(mean.size, rate / (1 - rate)), known)


@dataclass(frozen=True)
class Solution:
    """Every link (a wire, or wires in series that no reading can tell apart), (L,) each unless said.

    `link`: (W,) link of every wire, −1 where it was left out; `size`: wires in it; `prior_mean`,
    `prior_sd`, `limit`: sums over its wires. `median`, `low`, `high`: of the posterior mixture, with the
    central 95 %; `above`: probability of lying above the limit; `bad`: of a bad joint; `within`: probability
    of lying within `coarse` (first column) or `limit` (second), without a prior on itself, (L, 2);
    `estimate`, `uncertainty`: the same as y ± u; `opening`: largest change of a reading, in uncertainties,
    were it open; `loop`: resistance of the loop through it. `nets`, `sets`, `slabs`: the solved chunks.
    `shared_mean`, `shared_sd`: the run's shared value. `evidence`: (nets,) log probability of the readings.
    """

    link: IntArray
    size: IntArray
    prior_mean: FloatArray
    prior_sd: FloatArray
    limit: FloatArray
    median: FloatArray
    low: FloatArray
    high: FloatArray
    above: FloatArray
    bad: FloatArray
    within: FloatArray
    estimate: FloatArray
    uncertainty: FloatArray
    opening: FloatArray
    loop: FloatArray
    mixture: Mixture
    nets: tuple[Nets, ...]
    sets: tuple[Sets, ...]
    slabs: tuple[Slab, ...]
    shared_mean: float
    shared_sd: float
    evidence: FloatArray


_Seen = tuple[IntArray, Gathered, FloatArray, FloatArray]  # nets, readings, sensitivities, loops


@dataclass(frozen=True)
class _Links:
    of_wire: IntArray  # (layout wires,)
    mean: FloatArray
    var: FloatArray
    limit: FloatArray
    coarse: FloatArray
    odds: FloatArray
    most: FloatArray
    size: IntArray


def solve_run(arranged: Arranged, prior: Prior, coarse: FloatArray, shared: Shared) -> Solution:
    """Solve every net of a run. `coarse`: (W,) the coarser limit of every wire."""
    layout = arranged.layout
    at = layout.wire
    ohm = nudged(prior.mean[at])
    sight = Sight(np.zeros(at.size), np.zeros(at.size))
    parts = chunks(layout)
    seen: list[_Seen] = []
    for nets in parts:
        got, a, loop = sensitivities(layout, nets, ohm)
        look(got, a, loop, shared.sd**2, sight)
        seen.append((nets, got, a, loop))
    net_of_wire = np.repeat(np.arange(layout.wire_count.size), layout.wire_count)
    links = _links(arranged, prior, coarse, series(sight.column, net_of_wire), sight)
    loops = np.full(links.mean.size, np.inf)
    solved: list[Nets] = []
    for nets, got, a, loop in seen:
        for rows, columns, loop_of, label in merged(a, loop, links.of_wire[got.wire]):
            part = got.rows(rows)
            loops[label] = loop_of
            solved.append(
                solve(part, columns, loop_of, (links.mean[label], links.var[label]), nets[rows], label)
            )
    slabs = [_slab(links, nets) for nets in solved]
    return _posterior(
        arranged, links, solved, slabs, shared, (sight, loops), first_guess(arranged, prior, shared, seen)
    )


def _links(arranged: Arranged, prior: Prior, coarse: FloatArray, label: IntArray, sight: Sight) -> _Links:
    at = arranged.layout.wire
    count = int(label.max(initial=-1)) + 1

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(label, values[at], count), dtype=np.float64)

    unknown = np.bincount(label, ~prior.known[at], count) > 0
    limit, rough = total(prior.limit), total(coarse)
    most_limit = np.full(count, -np.inf)
    np.maximum.at(most_limit, label, prior.limit[at])
    size = np.bincount(label, minlength=count)
    limit = np.where(
        unknown & (size > 1), most_limit, limit
    )  # a path that holds an unknown wire has one limit
    return _Links(
        label,
        total(prior.mean),
        total(prior.sd**2),
        limit,
        np.maximum(rough, limit),
        total(prior.odds),
        np.full(count, EXCESS_HIGH_OHM),
        size,
    )


def _slab(links: _Links, nets: Nets) -> Slab:
    shape = nets.link.shape
    return Slab(links.odds[nets.link], np.full(shape, EXCESS_LOW_OHM), links.most[nets.link])


def _posterior(
    arranged: Arranged,
    links: _Links,
    solved: list[Nets],
    slabs: list[Slab],
    shared: Shared,
    seen: tuple[Sight, FloatArray],
    guess: tuple[float, float],
) -> Solution:
    count = links.mean.size
    cavities, (mean, var) = _share(solved, slabs, shared, guess)
    median, within = np.zeros(count), np.zeros((count, 2))
    estimate, uncertainty, bad = np.zeros(count), np.full(count, np.inf), np.zeros(count)
    evidence = np.zeros(arranged.layout.wire_count.size)
    pieces, all_sets = [], []
    for nets, slab, (cavity_mean, cavity_var) in zip(solved, slabs, cavities, strict=True):
        given = nets.given_shared(cavity_mean, cavity_var)
        sets = refine(given, slab, search(given, slab))
        result = marginals(given, slab, sets, links.limit[nets.link], links.coarse[nets.link])
        flat = nets.link.ravel()
        bad[flat] = result.bad.ravel()
        within[flat] = result.within.reshape(-1, 2)
        estimate[flat], uncertainty[flat] = result.estimate.ravel(), result.uncertainty.ravel()
        m = result.mixture
        pieces.append(Mixture(flat[m.link], m.weight, m.mean, m.sd))
        all_sets.append(sets)
        evidence[nets.net] = (
            given.evidence
            + _log_sum(sets, nets.net.size)
            + np.sum(np.log1p(-slab.odds / (1 + slab.odds)), axis=1)
        )
    mixture = _joined(pieces)
    low, median, high = (mixture.quantile(p, count) for p in (0.025, 0.5, 0.975))
    sight, loops = seen
    opening = np.zeros(count)
    np.maximum.at(opening, links.of_wire, sight.opening)
    of_wire = np.where(arranged.place >= 0, links.of_wire[arranged.place], -1) if count else arranged.place
    return Solution(
        of_wire,
        links.size,
        links.mean,
        np.sqrt(links.var),
        links.limit,
        median,
        np.maximum(low, 0.0),
        np.maximum(high, 0.0),
        mixture.above(links.limit),
        bad,
        within,
        estimate,
        uncertainty,
        opening,
        loops,
        mixture,
        tuple(solved),
        tuple(all_sets),
        tuple(slabs),
        mean,
        math.sqrt(var),
        evidence,
    )


def _log_sum(sets: Sets, count: int) -> FloatArray:
    """(B,) log of the summed odds of all sets of each net against no bad link."""
    own = sets.log_z + np.sum(np.logaddexp(0.0, sets.own_log_odds), axis=1)
    top = np.full(count, -np.inf)
    np.maximum.at(top, sets.row, own)
    return np.asarray(top + np.log(np.bincount(sets.row, np.exp(own - top[sets.row]), count)))


def _joined(pieces: list[Mixture]) -> Mixture:
    if not pieces:
        empty = np.empty(0)
        return Mixture(np.empty(0, dtype=np.int64), empty, empty, empty)
    return Mixture(
        np.concatenate([p.link for p in pieces]),
        np.concatenate([p.weight for p in pieces]),
        np.concatenate([p.mean for p in pieces]),
        np.concatenate([p.sd for p in pieces]),
    )


@dataclass(frozen=True)
class _Message:
    """A normal message in natural form, elementwise: precision and precision times mean."""

    precision: FloatArray
    pull: FloatArray

    def total(self) -> FloatArray:
        """(2,) sums."""
        return np.array([self.precision.sum(), self.pull.sum()])


def _share(
    solved: list[Nets], slabs: list[Slab], shared: Shared, start: tuple[float, float]
) -> tuple[list[tuple[FloatArray, FloatArray]], tuple[float, float]]:
    """(what each net is told of the shared value by all others, (mean, variance) of the value itself).

    `start`: mean and variance of a first robust guess; it directs the first round only.
    """
    if shared.sd == 0 or not any((nets.aa > 0).any() for nets in solved):
        told = [(np.full(n.net.size, shared.mean), np.full(n.net.size, shared.sd**2)) for n in solved]
        return told, (shared.mean, shared.sd**2)
    least = 1e-3 / shared.sd**2
    messages = [_Message(np.zeros(nets.net.size), np.zeros(nets.net.size)) for nets in solved]
    total = np.array([1 / start[1], start[0] / start[1]])
    for _ in range(_ROUNDS):
        fresh = []
        for nets, slab, message in zip(solved, slabs, messages, strict=True):
            mean, var = _others(total, message, least)
            middle, spread = _told_by(nets, slab, mean, var)
            gained = np.maximum(1 / spread - 1 / var, 0.0)
            fresh.append(_Message(gained, np.where(gained > 0, middle / spread - mean / var, 0.0)))
        messages = fresh
        others = np.sum([message.total() for message in messages], axis=0)
        total = others + _prior_message(shared, others)
    return [_others(total, message, least) for message in messages], (
        float(total[1] / total[0]),
        float(1 / total[0]),
    )


def _others(total: FloatArray, own: _Message, least: float) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of the shared value without a net's own message."""
    precision = np.maximum(total[0] - own.precision, least)
    return (total[1] - own.pull) / precision, 1 / precision


def first_guess(
    arranged: Arranged, prior: Prior, shared: Shared, seen: Sequence[_Seen]
) -> tuple[float, float]:
    """Robust mean and variance of the shared value: every reading by itself is healthy, or high by anything.

    A reading less what its wires should be is the shared value plus noise, or that plus a bad joint's
    excess, spread as 1/x from 10 mΩ to 100 Ω. Readings of one net are not independent, hence only a guess.
    """
    layout = arranged.layout
    carries = layout.shared > 0
    if not carries.any() or shared.sd == 0:
        return shared.mean, max(shared.sd, 1e-9) ** 2
    excess, spread, odds = (column[carries] for column in _by_itself(arranged, prior, seen))
    low, high = shared.bounds
    c = np.linspace(low, high, 401)
    chosen = np.linspace(0, excess.size - 1, min(excess.size, 1000)).astype(np.int64)
    z = excess[chosen, None] - c
    sd = np.hypot(spread[chosen, None], (c[1] - c[0]) / 2)
    healthy = np.exp(-0.5 * (z / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
    beyond = np.maximum(z, EXCESS_LOW_OHM) * math.log(EXCESS_HIGH_OHM / EXCESS_LOW_OHM)
    high_by = normal_cdf((z - EXCESS_LOW_OHM) / sd) / beyond
    p = (odds / (1 + odds))[chosen, None]
    log_p = np.sum(np.log((1 - p) * healthy + p * high_by + 1e-6), axis=0) + np.log(shared_density(shared, c))
    weight = np.exp(log_p - log_p.max())
    mean = float(weight @ c / weight.sum())
    var = float(weight @ (c - mean) ** 2 / weight.sum())
    return mean, max(4 * var, (c[1] - c[0]) ** 2)


def _by_itself(
    arranged: Arranged, prior: Prior, seen: Sequence[_Seen]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(pairs,) each: value less its expectation, standard deviation, prior odds of a bad joint on its way."""
    layout = arranged.layout
    excess, variance, odds = (np.zeros(layout.value.size) for _ in range(3))
    for nets, got, a, _ in seen:
        wires = layout.wire[got.wire]
        row = np.arange(got.value.shape[1])
        real = row < layout.pair_count[nets][:, None]
        at = (layout.pair_from[nets][:, None] + row)[real]
        excess[at] = (got.value - np.einsum("bnm,bm->bn", a, prior.mean[wires]))[real]
        variance[at] = np.einsum("bnm,bm->bn", a * a, prior.sd[wires] ** 2)[real]
        odds[at] = np.einsum("bnm,bm->bn", (a > 1e-3).astype(np.float64), prior.odds[wires])[real]
    return excess, np.sqrt(variance + 1 / layout.weight), odds


def _told_by(nets: Nets, slab: Slab, mean: FloatArray, var: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(B,) mean and variance of the shared value, from the readings of each net and N(mean, var)."""
    given = nets.given_shared(mean, var)
    sets = search(given, slab)
    count, m = given.b.shape
    own = np.exp(-np.logaddexp(0.0, -sets.own_log_odds))
    at, which = np.nonzero(own > 1e-9)
    row = sets.row[at]
    t = tilt(
        sets.b[at, which], sets.q[at, which], nets.loop[row, which],
        slab.odds[row, which], slab.least[row, which], slab.most[row, which],
    )  # fmt: skip
    lever = given.shared_var[row] * nets.shared_b[row, which]
    p = own[at, which]
    shift = np.bincount(at, -lever * p * t.mean, sets.row.size)
    widen = np.bincount(at, lever**2 * p * (t.var + (1 - p) * t.mean**2), sets.row.size)
    middle, spread = sets.mean[:, m] + shift, sets.var[:, m] + widen
    mean_all = np.bincount(sets.row, sets.weight * middle, count)
    var_all = np.bincount(sets.row, sets.weight * (spread + (middle - mean_all[sets.row]) ** 2), count)
    return np.asarray(mean_all, dtype=np.float64), np.asarray(var_all, dtype=np.float64)


def _prior_message(shared: Shared, others: FloatArray) -> FloatArray:
    """What the stated prior of the shared value adds to N(others), as (precision, precision·mean)."""
    start = np.array([1 / shared.sd**2, shared.mean / shared.sd**2])
    if others[0] <= 1e-6 * start[0]:
        return start
    mean, sd = float(others[1] / others[0]), 1 / math.sqrt(float(others[0]))
    low, high = shared.bounds
    c = np.linspace(max(mean - 8 * sd, low - 2), min(mean + 8 * sd, high + 2), 2001)
    if c[-1] <= c[0]:
        return start
    log_weight = -0.5 * ((c - mean) / sd) ** 2 + np.log(shared_density(shared, c))
    weight = np.exp(log_weight - log_weight.max())
    middle = float(np.sum(weight * c) / weight.sum())
    var = float(np.sum(weight * (c - middle) ** 2) / weight.sum())
    gained = max(1 / max(var, 1e-18) - others[0], 0.0)
    return np.array([gained, middle * (others[0] + gained) - others[1]])


def shared_density(shared: Shared, c: FloatArray) -> FloatArray:
    """Prior density of the shared value: leads (rectangular or normal) plus offset (rectangular).

    One part in a hundred is spread widely, so that leads longer than stated are found and not believed away.
    """
    half = max(shared.offset_half, 1e-9)
    if shared.lead_high > shared.lead_low:
        inner = _ramp(c + half, shared) - _ramp(c - half, shared)
        density = inner / (2 * half * (shared.lead_high - shared.lead_low))
    else:
        sd = max(shared.lead_sd, 1e-9)
        middle = shared.lead_low
        density = (normal_cdf((c + half - middle) / sd) - normal_cdf((c - half - middle) / sd)) / (2 * half)
    wide = max(1.0, 4 * shared.sd)
    far = np.exp(-0.5 * ((c - shared.mean) / wide) ** 2) / (wide * math.sqrt(2 * math.pi))
    return np.asarray((1 - _OUTSIDE) * density + _OUTSIDE * far, dtype=np.float64)


def _ramp(c: FloatArray, shared: Shared) -> FloatArray:
    return np.clip(c, shared.lead_low, shared.lead_high)
