"""The exact posterior of "at most one bad joint" for an ordinary two-wire meter with unknown leads.

Nothing of the diagnosis is used. A reading is what the display rounds to: its probability, given the leads,
is that of a normal touch falling into the display step (an interval, not a density). The leads are summed
out on a grid over the whole harness, the excess on another, and every wire is tried as the bad one by a
dense solve. What healthy wires spread (some milliohms, beside steps of a hundred) enters each reading by
itself, and the gain (0.8 % of half an ohm) the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, logsumexp

from loomtest.harness.model import Harness
from tests.looms.measure import Handheld
from tests.looms.solve import FloatArray, IntArray, resistances
from tests.scores.exact_joints import Healthy, healthy

STEP_OHM = 0.1  # of a display of 2000 counts at 200 Ω


@dataclass(frozen=True)
class OrdinaryPrior:
    """One harness in `harness_bad` has one bad joint, its excess log-uniform; leads are equally likely
    anywhere between the two."""

    low_ohm: float = 0.02
    high_ohm: float = 2.0
    harness_bad: float = 0.5
    lead_low_ohm: float = 0.05
    lead_high_ohm: float = 0.45


@dataclass(frozen=True)
class Answer:
    """`bad`: (W,) probability that a wire is the bad one; they and that of none sum to 1."""

    bad: FloatArray

    def suspects(self, confidence: float) -> list[int]:
        """The likeliest wires until they hold this share of the blame; empty when no alarm is raised."""
        total = float(self.bad.sum())
        if total < confidence:
            return []
        order = np.argsort(-self.bad, kind="stable")
        enough = np.cumsum(self.bad[order]) >= confidence * total
        return [int(w) for w in order[: int(np.argmax(enough)) + 1]]


def ordinary_posterior(
    harness: Harness,
    pairs: Sequence[tuple[int, int]],
    value: FloatArray,
    meter: Handheld,
    prior: OrdinaryPrior | None = None,
) -> Answer:
    """Posterior over "none" and every wire, for (n,) displayed values of pairs of points."""
    prior = prior or OrdinaryPrior()
    h = healthy(harness)
    lead = np.linspace(prior.lead_low_ohm, prior.lead_high_ohm, 161)
    excess = np.exp(np.linspace(np.log(prior.low_ohm), np.log(prior.high_ohm), 41))
    log_step = np.full(excess.size, -np.log(excess.size - 1.0))
    log_step[[0, -1]] -= np.log(2.0)
    a, b = (np.array(side, dtype=np.int64) for side in zip(*pairs, strict=True))
    net_of = harness.net_of[a]
    logs = np.full(len(harness.wires), -np.inf)
    nets = [_Net(harness, int(n), a[net_of == n], b[net_of == n]) for n in np.unique(net_of)]
    healthy_logs = []
    for net in nets:
        base, spread = net.healthy(h)
        healthy_logs.append(_log_probability(value[net_of == net.index], base, spread, lead, meter))
    whole = np.sum(healthy_logs, axis=0)
    for net, own in zip(nets, healthy_logs, strict=True):
        _, spread = net.healthy(h)
        for wire in net.wires:
            per_excess = np.stack(
                [
                    _log_probability(
                        value[net_of == net.index], net.with_bad(h, wire, x), spread, lead, meter
                    )
                    for x in excess.tolist()
                ]
            )
            logs[wire] = logsumexp(per_excess - own + whole + log_step[:, None])
    unread = harness.conducts & np.isneginf(logs)
    logs[unread] = logsumexp(whole)
    share = prior.harness_bad / float(harness.conducts.sum())
    all_logs = np.append(logs + np.log(share), logsumexp(whole) + np.log(1 - prior.harness_bad))
    return Answer(np.exp(all_logs[:-1] - logsumexp(all_logs)))


class _Net:
    """One net, its wires (indices into the harness) and the readings in it."""

    def __init__(self, harness: Harness, index: int, a: IntArray, b: IntArray) -> None:
        self.index, self.wires = index, [int(w) for w in harness.nets[index].conductors]
        ends = [(int(harness.start[w]), int(harness.end[w])) for w in self.wires]
        place = {code: i for i, code in enumerate(sorted({code for pair in ends for code in pair}))}
        self.points, self.ends = len(place), [(place[s], place[t]) for s, t in ends]
        self.at = [place[int(p)] for p in a], [place[int(p)] for p in b]

    def _between(self, ohm: FloatArray) -> FloatArray:
        edges = [(s, t, float(r)) for (s, t), r in zip(self.ends, ohm, strict=True)]
        return np.asarray(resistances(self.points, edges)[self.at])

    def healthy(self, h: Healthy) -> tuple[FloatArray, FloatArray]:
        """((n,) ohms of the readings, (n,) standard deviation that healthy wires give them)."""
        ohm = h.mean[self.wires]
        base, variance = self._between(ohm), np.zeros(len(self.at[0]))
        for k, sd in enumerate(h.sd[self.wires]):
            step = 1e-3 * ohm[k] * np.eye(ohm.size)[k]
            variance += ((self._between(ohm + step) - base) / step[k] * sd) ** 2
        return base, np.sqrt(variance)

    def with_bad(self, h: Healthy, wire: int, excess: float) -> FloatArray:
        """(n,) ohms of the readings with an excess in one wire."""
        return self._between(h.mean[self.wires] + excess * (np.array(self.wires) == wire))


def _log_probability(
    value: FloatArray, ohm: FloatArray, spread: FloatArray, lead: FloatArray, meter: Handheld
) -> FloatArray:
    """(leads,) log probability of the displayed values of one net."""
    middle = ohm + lead[:, None]
    sd = np.sqrt(meter.touch_ohm**2 + spread**2 + (meter.percent / 100 * middle) ** 2 / 3)
    low, high = (value - STEP_OHM / 2 - middle) / sd, (value + STEP_OHM / 2 - middle) / sd
    low = np.where(value < STEP_OHM / 2, -np.inf, low)  # a display never shows less than nothing
    flip = low > 0  # the far tail is taken on the side where it keeps its digits
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    top = log_ndtr(b)
    log_p = top + np.log1p(-np.exp(np.minimum(log_ndtr(a) - top, -1e-15)))
    return np.asarray(log_p.sum(axis=1), dtype=np.float64)
