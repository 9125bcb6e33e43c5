"""The limit that joints are judged at: the finest that the readings can show, and what it allows each wire.

`bad_joint_milliohms` where it is written or where most wires can be decided at it. Else the smallest of a few
round limits at which every wire can be decided: there a healthy wire passes and one beyond it does not, each
with the confidence asked for, which takes 2·Φ⁻¹(c)·u. A wire that carries amperes never passes at a limit
that would lose more volts than its lamp or motor can spare.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.joints.decide import SUSPECT
from loomtest.diagnosis.joints.estimate import Prior, Solution
from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.diagnosis.numbers.statistics import normal_quantile
from loomtest.harness.copper import Expectation
from loomtest.harness.model import BoolArray, FloatArray, Harness
from loomtest.harness.survey import is_ground

COARSER_OHM = (0.05, 0.1, 0.2, 0.5)  # contract; the coarsest is `continuity_ohms`
DROP_VOLTS, GROUND_DROP_VOLTS = 0.5, 0.1  # contract: most lost in a wire with amps (common practice)


@dataclass(frozen=True)
class JudgedAt:
    """`ohm`: the limit of the excess; `fine`: it is `bad_joint_milliohms`. `limit`: (W,) the most each wire
    may have there, `link_limit`: (L,) each link. `held`: (W,) wires that their amperes hold to less than
    `ohm`."""

    ohm: float
    fine: bool
    limit: FloatArray
    link_limit: FloatArray
    held: BoolArray


def judged_at(
    harness: Harness, expectation: Expectation, prior: Prior, solution: Solution, seen: BoolArray
) -> JudgedAt:
    """Choose the limit. `seen`: (W,) wires that the readings test."""
    limits, s = harness.limits, solution
    fine = limits.bad_joint_milliohms / 1e3
    z = normal_quantile(limits.confidence)
    tested = np.flatnonzero(seen & (s.link >= 0))
    tested = tested[s.above[s.link[tested]] < SUSPECT]
    u = s.uncertainty[s.link[tested]]
    if limits.bad_joint_written or (u.size and np.mean(u <= prior.allowed[tested] / z) > 0.5):
        none = np.zeros(prior.limit.size, dtype=np.bool_)
        return JudgedAt(fine, True, prior.limit, s.limit, none)
    most = _most_by_amps(harness)
    coarser = [*(ohm for ohm in COARSER_OHM if fine < ohm < limits.continuity_ohms), limits.continuity_ohms]
    u = u[most[tested] >= coarser[0]]
    u = u[2 * z * u <= coarser[-1]]
    ohm = next((ohm for ohm in coarser if not u.size or np.all(2 * z * u <= ohm)), coarser[-1])
    ohm = ohm if u.size else coarser[-1]
    limit = _limit_at(harness, expectation, prior, np.minimum(ohm, most))
    return JudgedAt(ohm, False, limit, _of_links(harness, prior, s, limit), most < ohm)


def _most_by_amps(harness: Harness) -> FloatArray:
    """(W,) most ohms that a wire's amperes allow, inf where they are not known."""
    out = np.full(len(harness.wires), np.inf)
    for index, wire in enumerate(harness.wires):
        if wire.amps:
            to_ground = is_ground(wire.start) or is_ground(wire.end)
            out[index] = (GROUND_DROP_VOLTS if to_ground else DROP_VOLTS) / wire.amps
    return out


def _limit_at(harness: Harness, expectation: Expectation, prior: Prior, excess: FloatArray) -> FloatArray:
    """(W,) limit of each wire with so much excess allowed; what the list itself limits stays there."""
    written = np.array([w.kind != "wire" or w.ohms_max is not None for w in harness.wires], dtype=np.bool_)
    most = harness.limits.continuity_ohms
    unknown = np.minimum(harness.expect.unknown_wire_to_ohms + excess, most)
    known = expectation.expected_ohm + np.maximum(excess, 2 * expectation.spread_ohm)
    return np.where(written, prior.limit, np.where(prior.known, known, unknown))


def _of_links(harness: Harness, prior: Prior, s: Solution, limit: FloatArray) -> FloatArray:
    """(L,) sums over the wires of each link; a path that holds a wire of unknown size has no more than
    `continuity_ohms`."""
    there = s.link >= 0
    count = s.limit.size
    total = np.bincount(s.link[there], limit[there], count)
    highest = np.zeros(count)
    np.maximum.at(highest, s.link[there], limit[there])
    unknown = np.zeros(count, dtype=np.bool_)
    unknown[distinct(s.link[there & ~prior.known])] = True
    most = np.maximum(harness.limits.continuity_ohms, highest)
    return np.where(unknown, np.minimum(total, most), total)
