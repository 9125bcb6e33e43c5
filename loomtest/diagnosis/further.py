"""How likely a further bad joint is, once one is found in the loom.

`[expect]` states the share of bad joints, not whether they come singly. Most looms of a few dozen wires have
one or none, and where one is plainly bad, a doubtful reading elsewhere is more often just that. The odds of
a bad joint are therefore scaled by 1 − q + τ·q, q the probability that some other joint of the loom is bad
and τ below 1 where few are expected. In large looms, of which several joints are expected to be bad, τ is
near 1 and joints are independent. Two plainly bad joints are both found: odds of a million stay large.
"""

from __future__ import annotations

import numpy as np

from loomtest.diagnosis.healthy import Nets
from loomtest.diagnosis.sparse import Sets
from loomtest.harness.model import FloatArray

SINGLE = 0.1  # τ of a loom in which less than one bad joint is expected


def further_factor(expected_bad: float) -> float:
    """τ for a loom in which so many bad joints are expected."""
    return max(SINGLE, 1 - 1 / max(expected_bad, 1e-9))


def scaled(probability: FloatArray, solved: list[tuple[Nets, Sets]], expected_bad: float) -> FloatArray:
    """(L,) probabilities of being bad with the odds scaled; `probability` (L,) is of independent joints."""
    tau = further_factor(expected_bad)
    same_net = np.zeros(probability.size)
    elsewhere = np.zeros(probability.size)
    none_in = [_none(nets, sets) for nets, sets in solved]
    log_none = float(sum(np.log(none).sum() for none in none_in))
    for (nets, sets), none in zip(solved, none_in, strict=True):
        same_net[nets.link] = _another(nets, sets)
        others = -np.expm1(np.minimum(log_none - np.log(none), 0.0))
        elsewhere[nets.link] = others[:, None]
    q = 1 - (1 - same_net) * (1 - elsewhere)
    factor = 1 - q + tau * q
    return np.asarray(probability * factor / (1 - probability + probability * factor), dtype=np.float64)


def _none(nets: Nets, sets: Sets) -> FloatArray:
    """(B,) probability that a net has no bad link that the readings speak for, never quite 0."""
    empty = ~np.any(sets.member, axis=1)
    none = np.bincount(sets.row, sets.weight * empty, nets.net.size)
    return np.clip(none, 1e-12, 1.0)


def _another(nets: Nets, sets: Sets) -> FloatArray:
    """(B, m) probability that a further link of the net is bad, given that this one is."""
    own = np.where(sets.member, 1.0, np.exp(-np.logaddexp(0.0, -sets.own_log_odds)))
    weight = sets.weight[:, None] * own
    others = sets.member.sum(axis=1)[:, None] - sets.member
    position = (sets.row[:, None] * nets.link.shape[1] + np.arange(nets.link.shape[1])).ravel()
    whole = np.bincount(position, weight.ravel(), nets.link.size)
    both = np.bincount(position, (weight * (others > 0)).ravel(), nets.link.size)
    share = np.divide(both, whole, out=np.zeros_like(both), where=whole > 0)
    return np.asarray(share.reshape(nets.link.shape), dtype=np.float64)
