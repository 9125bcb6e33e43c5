"""The whole estimate in numbers: every wire's resistance from all readings of a run at once."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from loomtest.diagnosis.joints.further import prior_odds, several_rare, several_weight
from loomtest.diagnosis.joints.healthy import (
    Gathered,
    Given,
    Nets,
    Sight,
    bound,
    chunks,
    look,
    merged,
    nudged,
    sensitivities,
    series,
    solve,
)
from loomtest.diagnosis.joints.layout import Arranged
from loomtest.diagnosis.joints.loops import Bent, bent, relinearised, without
from loomtest.diagnosis.joints.marginals import Mixture, joined, marginals
from loomtest.diagnosis.joints.rings import Profile, Ring, ring_of, solvable
from loomtest.diagnosis.joints.settle import network_of
from loomtest.diagnosis.joints.shared import Healthy, Seen, first_guess, share
from loomtest.diagnosis.joints.sparse import Sets, Slab, log_sum, log_weights, refine, search
from loomtest.diagnosis.joints.unknown import Unknown, bad_beyond, moments
from loomtest.diagnosis.seen.budget import Shared
from loomtest.harness.copper import Expectation
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray

_LEAST_OHM, _LEAST_SD_OHM = 1e-5, 1e-5  # a wire has some resistance, and no expectation is exact


@dataclass(frozen=True)
class Prior:
    """What each wire of the harness should be, (W,) each: mean and standard deviation with healthy joints,
    the expectation that people are shown, the limit, the most excess that is no fault, and the prior odds of
    a bad joint. `known`: size and length are. `excess_ohm`: a bad joint's excess is log-uniform between these
    two. `unknown_to_ohm`: up to where a wire of unknown size or length is healthy."""

    mean: FloatArray
    sd: FloatArray
    expected: FloatArray
    limit: FloatArray
    allowed: FloatArray
    odds: FloatArray
    known: BoolArray
    excess_ohm: tuple[float, float]
    unknown_to_ohm: float


def prior_of(harness: Harness, expectation: Expectation) -> Prior:
    """Prior of every wire from the expectation; a joint's mean is that of its cut-off distribution."""
    known = np.isfinite(expectation.expected_ohm)
    most, fine = harness.expect.unknown_wire_to_ohms, harness.limits.bad_joint_milliohms / 1e3
    usual, wide = moments(most)
    mean = np.where(known, expectation.copper_ohm + 2 * expectation.joint_mean_ohm, usual)
    sd = np.where(known, np.maximum(expectation.spread_ohm, _LEAST_SD_OHM), wide)
    unlisted = min(most + fine, harness.limits.continuity_ohms)
    limit = np.where(np.isfinite(expectation.limit_ohm), expectation.limit_ohm, unlisted)
    rate = min(max(harness.expect.bad_joint_rate, 1e-9), 1 - 1e-9)
    expected = np.where(known, expectation.expected_ohm, usual)
    allowed = np.where(known, limit - expected, fine)
    odds = np.full(mean.size, rate / (1 - rate))
    excess = harness.expect.bad_joint_from_milliohms / 1e3, harness.expect.bad_joint_to_ohms
    return Prior(np.maximum(mean, _LEAST_OHM), sd, expected, limit, allowed, odds, known, excess, most)


@dataclass(frozen=True)
class Solution:
    """Every link (a wire, or wires in series that no reading can tell apart), (L,) each unless said.

    `link`: (W,) link of every wire, −1 where it was left out; `size`: wires in it; `prior_mean`,
    `prior_sd`, `limit`: sums over its wires. `above`: probability of being bad (`_judged_bad`, `further`);
    `bad`: of any bad joint; `free`: the mixture without a prior on the link itself, `profiles`: the
    same of links in small rings; `estimate`,
    `uncertainty`: the same as y ± u; `measured`: the estimate with the shared value as it was stated, not as
    the other wires have it; `opening`:
    largest change of a reading, in uncertainties, were it open; `loop`: resistance of the loop through it.
    `nets`, `sets`: the solved chunks. `shared_mean`, `shared_sd`: the run's shared value. `evidence`: (nets,)
    log probability of the readings.
    """

    link: IntArray
    size: IntArray
    prior_mean: FloatArray
    prior_sd: FloatArray
    limit: FloatArray
    above: FloatArray
    bad: FloatArray
    free: Mixture
    profiles: dict[int, Profile]
    estimate: FloatArray
    uncertainty: FloatArray
    measured: FloatArray
    opening: FloatArray
    loop: FloatArray
    mixture: Mixture
    nets: tuple[Nets, ...]
    sets: tuple[Sets, ...]
    shared_mean: float
    shared_sd: float
    evidence: FloatArray

    def within(self, limit: FloatArray) -> FloatArray:
        """(L,) probability of lying within a limit (L,), without a prior on the link itself."""
        out = self.free.within(limit)
        for link, profile in self.profiles.items():
            out[link] = profile.within(float(limit[link]))
        return out

    @cached_property
    def quantiles(self) -> FloatArray:
        """(3, L) lower end, median and upper end of the central 95 % of the posterior mixture; no wire has
        less than nothing."""
        low, median, high = self.mixture.quantiles((0.025, 0.5, 0.975), self.limit.size)
        return np.stack([np.maximum(low, 0.0), median, np.maximum(high, 0.0)])


@dataclass(frozen=True)
class _Links:
    of_wire: IntArray  # (layout wires,)
    mean: FloatArray
    var: FloatArray
    limit: FloatArray
    allowed: FloatArray
    odds: FloatArray
    most: FloatArray
    size: IntArray
    independent_odds: FloatArray
    excess_ohm: tuple[float, float]

    def slab(self, nets: Nets) -> Slab:
        """What may be wrong with the links of a chunk."""
        shape, (least, most) = nets.link.shape, self.excess_ohm
        odds = self.odds[nets.link]
        low = np.full(shape, least)
        return Slab(odds, odds / math.log(most / least), low, self.most[nets.link], np.zeros(shape))


@dataclass(frozen=True)
class _Part:
    """A chunk as it was solved, and the readings it came from."""

    readings: Gathered
    points: int
    nets: Nets
    slab: Slab


def solve_run(arranged: Arranged, prior: Prior, shared: Shared, continuity_ohm: float) -> Solution:
    """Solve every net of a run. `continuity_ohm`: most that a path with a wire of unknown size may have."""
    layout = arranged.layout
    at = layout.wire
    ohm = nudged(prior.mean[at])
    sight = Sight(np.zeros(at.size), np.zeros(at.size))
    most = np.full(at.size, prior.excess_ohm[1])
    seen: list[Seen] = []
    for nets in chunks(layout):
        got, a, loop = sensitivities(layout, nets, ohm)
        look(got, a, loop, shared.sd**2, sight)
        bound(got, a, prior.mean[at], most, prior.excess_ohm[0])
        seen.append((nets, got, a, loop))
    net_of_wire = np.repeat(np.arange(layout.wire_count.size), layout.wire_count)
    links = _links(arranged, prior, continuity_ohm, series(sight.column, net_of_wire), most)
    tau = several_weight(float(np.sum(links.odds / (1 + links.odds))))
    links = replace(links, odds=prior_odds(links.odds, tau), independent_odds=links.odds)
    parts = []
    for nets, got, a, loop in seen:
        for rows, columns, loop_of, label in merged(a, loop, links.of_wire[got.wire]):
            part = got.rows(rows)
            solved = solve(part, columns, loop_of, (links.mean[label], links.var[label]), nets[rows], label)
            parts.append(_Part(part, int(layout.point_count[nets[0]]), solved, links.slab(solved)))
    wires = Healthy(prior.mean[at], prior.sd[at], prior.odds[at], prior.excess_ohm)
    told, value = share(
        [p.nets for p in parts], [p.slab for p in parts], shared, first_guess(layout, wires, shared, seen)
    )
    solution = _posterior(arranged, (links, tau, shared.mean), parts, (told, value), sight.opening)
    return replace(solution, above=_told_unknown(solution, prior, links))


def _links(
    arranged: Arranged, prior: Prior, continuity_ohm: float, label: IntArray, most: FloatArray
) -> _Links:
    at = arranged.layout.wire
    count = int(label.max(initial=-1)) + 1

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(label, values[at], count), dtype=np.float64)

    unknown = np.bincount(label, ~prior.known[at], count) > 0
    limit = total(prior.limit)
    largest = np.full(count, -np.inf)
    np.maximum.at(largest, label, prior.limit[at])
    size = np.bincount(label, minlength=count)
    limit = np.where(unknown, np.minimum(limit, np.maximum(largest, continuity_ohm)), limit)
    highest = np.full(count, prior.excess_ohm[1])
    np.minimum.at(highest, label, most)
    return _Links(
        label,
        total(prior.mean),
        total(prior.sd**2),
        limit,
        np.maximum(total(prior.allowed), prior.excess_ohm[0]),
        total(prior.odds),
        highest,
        size,
        total(prior.odds),
        prior.excess_ohm,
    )


def _posterior(
    arranged: Arranged,
    prior: tuple[_Links, float, float],
    parts: list[_Part],
    shared: tuple[list[tuple[FloatArray, FloatArray]], tuple[float, float]],
    wire_opening: FloatArray,
) -> Solution:
    links, tau, stated = prior
    count = links.mean.size
    told, (mean, var) = shared
    evidence, loops = np.zeros(arranged.layout.wire_count.size), np.full(count, np.inf)
    solved: list[tuple[Given, Slab, Sets]] = []
    rings: list[Ring] = []
    for part, (cavity_mean, cavity_var) in zip(parts, told, strict=True):
        given = part.nets.given_shared(cavity_mean, cavity_var)
        sets = refine(given, part.slab, search(given, part.slab))
        evidence[part.nets.net] = given.evidence + _log_sets(sets, links, given.nets.link)
        loops[part.nets.link] = part.nets.loop
        whole = solvable(part.nets, part.readings)
        for at_row in np.flatnonzero(whole).tolist():
            ring = _ring(part, at_row, links, (float(cavity_mean[at_row]), float(cavity_var[at_row])))
            rings.append(ring)
            net = part.nets.net[at_row]
            evidence[net] = ring.log_none + _log_sets(ring.sets, links, ring.nets.link)[0]
        sure = bent(part.nets, sets) & ~whole[:, None]
        again = np.any(sure, axis=1)
        for row in np.flatnonzero(again):
            cavity = cavity_mean[row : row + 1], cavity_var[row : row + 1]
            own = Bent(part.readings.rows(np.arange(again.size) == row), part.points, links.of_wire)
            solved.append(relinearised(own, (part.nets, part.slab, sets), int(row), cavity, sure[row]))
        gone = again | whole
        if not gone.all():
            solved.append(without(given, part.slab, sets, gone))

    every = [*(sets for _, _, sets in solved), *(ring.sets for ring in rings)]
    counts = [*(given.nets.net.size for given, _, _ in solved), *(1 for _ in rings)]
    weighted = several_rare(every, counts, tau)
    likely, bad = np.zeros(count), np.zeros(count)
    estimate, uncertainty, measured = np.zeros(count), np.full(count, np.inf), np.zeros(count)
    pieces: list[Mixture] = []
    free: list[Mixture] = []
    for (given, slab, _), sets in zip(solved, weighted[: len(solved)], strict=True):
        link = given.nets.link
        result = marginals(given, slab, sets, links.allowed[link], links.limit[link])
        flat = link.ravel()
        likely[flat] = _judged_bad(result.beyond, result.healthy_above).ravel()
        bad[flat] = result.bad.ravel()
        estimate[flat], uncertainty[flat] = result.estimate.ravel(), result.uncertainty.ravel()
        corrected = result.estimate + result.lever * (result.told[:, None] - stated)
        measured[flat] = corrected.ravel()
        for m, told_of in ((result.mixture, pieces), (result.free, free)):
            told_of.append(Mixture(flat[m.link], m.weight, m.mean, m.sd))
    profiles: dict[int, Profile] = {}
    for ring, sets in zip(rings, weighted[len(solved) :], strict=True):
        at = ring.nets.link[0]
        m, bad[at] = ring.mixture(sets)
        beyond, healthy_above = ring.above(sets, links.allowed[at], links.limit[at])
        likely[at] = _judged_bad(beyond, healthy_above)
        pieces.append(Mixture(at[m.link], m.weight, m.mean, m.sd))
        profiles |= dict(zip(at.tolist(), ring.profiles, strict=True))
        told_of_each = np.array([profile.estimate for profile in ring.profiles])
        estimate[at], uncertainty[at] = told_of_each.T
        measured[at] = estimate[at]
    mixture = joined(pieces)
    opening = np.zeros(count)
    np.maximum.at(opening, links.of_wire, wire_opening)
    of_wire = np.where(arranged.place >= 0, links.of_wire[arranged.place], -1) if count else arranged.place
    return Solution(
        of_wire,
        links.size,
        links.mean,
        np.sqrt(links.var),
        links.limit,
        likely,
        bad,
        joined(free),
        profiles,
        estimate,
        uncertainty,
        measured,
        opening,
        loops,
        mixture,
        (*(given.nets for given, _, _ in solved), *(ring.nets for ring in rings)),
        tuple(weighted),
        mean,
        math.sqrt(var),
        evidence,
    )


def _told_unknown(s: Solution, prior: Prior, links: _Links) -> FloatArray:
    """(L,) `above`, for links with a wire of unknown size or length that are a net of their own from what
    such wires are; elsewhere the healthy ones are taken as normal."""
    there = s.link >= 0
    unknown: FloatArray = np.asarray(
        np.bincount(s.link[there & ~prior.known], minlength=s.above.size), dtype=np.float64
    )
    if not unknown.any():
        return s.above
    alone = np.zeros(s.above.size, dtype=np.bool_)
    for nets in s.nets:
        if nets.link.shape[1] == 1:
            alone[nets.link[:, 0]] = True
    at = np.flatnonzero(alone & (unknown > 0) & np.isfinite(s.uncertainty))
    if not at.size:
        return s.above
    of_known = np.where(prior.known, prior.mean, 0.0)[there]
    known: FloatArray = np.asarray(np.bincount(s.link[there], of_known, s.above.size), dtype=np.float64)
    asked = Unknown(
        s.estimate[at],
        s.uncertainty[at],
        known[at],
        unknown[at],
        links.independent_odds[at],
        links.allowed[at],
    )
    out = s.above.copy()
    out[at] = bad_beyond(asked, prior.unknown_to_ohm, prior.excess_ohm)
    return out


def _judged_bad(beyond: FloatArray, healthy_above: FloatArray) -> FloatArray:
    """Probability of being bad: a joint beyond what is allowed, or, where that is likelier than not, a wire
    that is above its limit whatever the cause (a far tail of healthy copper is no sign of a bad joint)."""
    return np.minimum(beyond + np.where(healthy_above > 0.5, healthy_above, 0.0), 1.0)


def _ring(part: _Part, row: int, links: _Links, told: tuple[float, float]) -> Ring:
    got = part.readings.rows(np.arange(part.nets.net.size) == row)
    net = network_of(got, part.points, part.nets.link[row], links.of_wire, told)
    return ring_of(net, part.nets, part.slab, row)


def _log_sets(sets: Sets, links: _Links, link: IntArray) -> FloatArray:
    """(B,) log of what the sets of each net make of its evidence with no bad link, joints independent (what
    other nets hold, or how many there are, is no evidence for a net)."""
    count = link.shape[0]
    raised = np.log(links.odds[0] / links.independent_odds[0])  # the same for all
    log_z = sets.log_z - raised * sets.member.sum(axis=1)
    none = -np.sum(np.log1p(links.independent_odds[link]), axis=1)
    summed = log_sum(sets.row, log_weights(log_z, sets.own_log_odds - raised), count)
    return np.asarray(none + summed, dtype=np.float64)
