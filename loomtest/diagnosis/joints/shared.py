"""What all readings of a run share: leads and offset, estimated from the run itself and told to every net.

Nets are coupled by that one value only. It is a normal message between them (expectation propagation,
T. Minka, 2001): each net tells what it knows of it, sums over its own sets of bad joints included, and is
told what all the others know. The stated prior, rectangular or not, is one more party.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.joints.healthy import Gathered, Layout, Nets
from loomtest.diagnosis.joints.sparse import Slab, refine, search
from loomtest.diagnosis.numbers.statistics import normal_cdf
from loomtest.diagnosis.seen.budget import Shared
from loomtest.harness.model import FloatArray, IntArray

_ROUNDS = 4  # of messages
_OUTSIDE = 0.01  # weight of a shared value outside what was stated of it
Seen = tuple[IntArray, Gathered, FloatArray, FloatArray]  # nets, readings, sensitivities, loops


@dataclass(frozen=True)
class Healthy:
    """Mean, standard deviation and prior odds of a bad joint of every wire of a layout, (wires,) each;
    `excess_ohm`: a bad joint's excess is log-uniform between these two."""

    mean: FloatArray
    sd: FloatArray
    odds: FloatArray
    excess_ohm: tuple[float, float]


@dataclass(frozen=True)
class _Message:
    """A normal message in natural form, elementwise: precision and precision times mean."""

    precision: FloatArray
    pull: FloatArray

    def total(self) -> FloatArray:
        """(2,) sums."""
        return np.array([self.precision.sum(), self.pull.sum()])


def share(
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
    heard = [np.zeros(2) for _ in solved]
    for _ in range(_ROUNDS):
        fresh = []
        asked = [np.stack(_others(total, message, least)) for message in messages]
        if all(_alike(now, before) for now, before in zip(asked, heard, strict=True)):
            break
        heard = asked
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


def _alike(now: FloatArray, before: FloatArray) -> bool:
    """Means within a fiftieth of their standard deviation, variances within a hundredth."""
    if now.shape != before.shape:
        return False
    near = np.abs(now[0] - before[0]) <= 0.02 * np.sqrt(now[1])
    return bool(np.all(near & (np.abs(now[1] - before[1]) <= 0.01 * now[1])))


def _others(total: FloatArray, own: _Message, least: float) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of the shared value without a net's own message."""
    precision = np.maximum(total[0] - own.precision, least)
    return (total[1] - own.pull) / precision, 1 / precision


def first_guess(layout: Layout, wires: Healthy, shared: Shared, seen: Sequence[Seen]) -> tuple[float, float]:
    """Robust mean and variance of the shared value: every reading by itself is healthy, or high by anything.

    A reading less what its wires should be is the shared value plus noise, or that plus a bad joint's
    excess, spread as 1/x. Readings of one net are not independent, hence only a guess.
    """
    carries = layout.shared > 0
    if not carries.any() or shared.sd == 0:
        return shared.mean, max(shared.sd, 1e-9) ** 2
    excess, spread, odds = (column[carries] for column in _by_itself(layout, wires, seen))
    low, high = shared.bounds
    c = np.linspace(low, high, 401)
    chosen = np.linspace(0, excess.size - 1, min(excess.size, 1000)).astype(np.int64)
    z = excess[chosen, None] - c
    sd = np.hypot(spread[chosen, None], (c[1] - c[0]) / 2)
    healthy = np.exp(-0.5 * (z / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
    least, most = wires.excess_ohm
    beyond = np.maximum(z, least) * math.log(most / least)
    high_by = normal_cdf((z - least) / sd) / beyond
    p = (odds / (1 + odds))[chosen, None]
    log_p = np.sum(np.log((1 - p) * healthy + p * high_by + 1e-6), axis=0) + np.log(shared_density(shared, c))
    weight = np.exp(log_p - log_p.max())
    mean = float(weight @ c / weight.sum())
    var = float(weight @ (c - mean) ** 2 / weight.sum())
    return mean, max(4 * var, (c[1] - c[0]) ** 2)


def _by_itself(
    layout: Layout, prior: Healthy, seen: Sequence[Seen]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(pairs,) each: value less its expectation, standard deviation, prior odds of a bad joint on its way."""
    excess, variance, odds = (np.zeros(layout.value.size) for _ in range(3))
    for nets, got, a, _ in seen:
        row = np.arange(got.value.shape[1])
        real = row < layout.pair_count[nets][:, None]
        at = (layout.pair_from[nets][:, None] + row)[real]
        excess[at] = (got.value - np.einsum("bnm,bm->bn", a, prior.mean[got.wire]))[real]
        variance[at] = np.einsum("bnm,bm->bn", a * a, prior.sd[got.wire] ** 2)[real]
        odds[at] = np.einsum("bnm,bm->bn", (a > 1e-3).astype(np.float64), prior.odds[got.wire])[real]
    return excess, np.sqrt(variance + 1 / layout.weight), odds


def _told_by(nets: Nets, slab: Slab, mean: FloatArray, var: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(B,) mean and variance of the shared value, from the readings of each net and N(mean, var)."""
    given = nets.given_shared(mean, var)
    sets = refine(given, slab, search(given, slab), 2)
    count, m = given.b.shape
    own = np.exp(-np.logaddexp(0.0, -sets.own_log_odds))
    at, which = np.nonzero(own > 1e-9)
    row = sets.row[at]
    t = slab.tilt(nets.loop, row, which, sets.b[at, which], sets.q[at, which])
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
