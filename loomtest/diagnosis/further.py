"""How likely a further bad joint is, once there is one in the loom.

`[expect]` states the share of bad joints, not whether they come singly. Most looms of a few dozen wires have
one or none, and where one is plainly bad, a doubtful reading elsewhere is more often just that. The prior of
a set of k ≥ 1 bad joints is therefore that of independent joints times τ^(k − 1), in all nets of the loom
together: τ = 1 is independence, τ = 0 "at most one". τ is below 1 where few are expected; in large looms, of
which several joints are expected to be bad, it is near 1. The odds of each joint are raised so that the
expected number of bad joints stays what `[expect]` says.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loomtest.diagnosis.sparse import Sets, weights
from loomtest.harness.model import FloatArray

SINGLE = 0.1  # τ of a loom in which less than one bad joint is expected
_DOUBLINGS = 60  # of precision, in the search for the odds


def further_factor(expected_bad: float) -> float:
    """τ for a loom in which so many bad joints are expected."""
    return max(SINGLE, 1 - 1 / max(expected_bad, 1e-9))


def prior_odds(odds: FloatArray, tau: float) -> FloatArray:
    """(L,) odds under which as many bad joints are expected, with τ, as under independent `odds` (L,)."""
    wanted = float(np.sum(odds / (1 + odds)))
    if tau == 1 or wanted == 0:
        return odds
    low, high = np.log(1e-3), np.log(1e6)
    for _ in range(_DOUBLINGS):
        middle = (low + high) / 2
        p = tau * np.exp(middle) * odds
        none = float(np.exp(-np.sum(np.log1p(p))))
        expected = float(np.sum(p / (1 + p))) / (tau * none + 1 - none)
        low, high = (middle, high) if expected < wanted else (low, middle)
    return np.asarray(odds * np.exp((low + high) / 2), dtype=np.float64)


def rarer(found: list[Sets], counts: list[int], tau: float) -> list[Sets]:
    """The sets of all nets of a loom, weighted with τ; those given are of independent joints.

    `found`, `counts`: sets and number of nets of every chunk of nets. What the other nets hold enters a
    net as θ = τ/(τ·N + 1 − N), N the probability that all others are without: the weight of its sets is
    θ·τ^(k − 1) times that of independent joints, and 1 for none.
    """
    if tau == 1:
        return found
    log_none = [_log_none(sets, count, tau) for sets, count in zip(found, counts, strict=True)]
    all_none = float(sum(none.sum() for none in log_none))
    out = []
    for sets, none in zip(found, log_none, strict=True):
        others = np.exp(np.minimum(all_none - none, 0.0))
        out.append(_reweighted(sets, tau / (tau * others + 1 - others), tau))
    return out


def _log_none(sets: Sets, count: int, tau: float) -> FloatArray:
    """(B,) log probability that a net has no bad link, were the odds of each τ times what they are."""
    size = sets.member.sum(axis=1)
    log_weight = sets.log_z + size * np.log(tau) + _companions(sets.own_log_odds + np.log(tau))
    top = np.full(count, -np.inf)
    np.maximum.at(top, sets.row, log_weight)
    total = top + np.log(np.bincount(sets.row, np.exp(log_weight - top[sets.row]), count))
    empty = np.bincount(sets.row, size == 0, count) > 0
    return np.asarray(np.where(empty, np.minimum(-total, 0.0), -700.0), dtype=np.float64)


def _companions(own_log_odds: FloatArray) -> FloatArray:
    return np.asarray(np.sum(np.logaddexp(0.0, own_log_odds), axis=1), dtype=np.float64)


def _reweighted(sets: Sets, theta: FloatArray, tau: float) -> Sets:
    """`theta`: (B,). A set with members has companions at τ times their odds. Companions of the empty set
    are no longer independent of each other: their probabilities are kept, and its weight."""
    size = sets.member.sum(axis=1)
    log_theta = np.log(theta)[sets.row]
    own = sets.own_log_odds + np.log(tau)
    log_z = sets.log_z + log_theta + (size - 1) * np.log(tau)

    none = np.flatnonzero(size == 0)
    each = own[none]
    product = np.sum(np.logaddexp(0.0, each), axis=1)
    ratio = np.exp(log_theta[none] - np.log(tau))  # θ/τ
    whole = 1 + ratio * np.expm1(product)
    with_it = ratio[:, None] * np.exp(each + product[:, None] - np.logaddexp(0.0, each))
    with np.errstate(divide="ignore"):
        own[none] = np.log(with_it) - np.log(whole[:, None] - with_it)
    log_z[none] = np.log(whole) - _companions(own[none])
    weight = weights(sets.row, log_z, own, theta.size)
    return replace(sets, log_z=log_z, own_log_odds=own, weight=weight)
