"""How likely a second bad joint is, once there is one in the loom.

`[expect]` states the share of bad joints, not whether they come singly. Most looms of a few dozen wires have
one or none, and where one is plainly bad, a doubtful reading elsewhere is more often just that; a loom with
two has been badly made or has rotted, and any number more may be bad. The prior of two or more bad joints
anywhere in the loom is therefore that of independent joints times τ: with weight τ the joints are
independent, with weight 1 − τ at most one is bad. τ is small where few are expected and near 1 in large
looms, of which several joints are expected to be bad. The odds of each joint are raised so that the expected
number of bad ones stays what `[expect]` says.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loomtest.diagnosis.joints.sparse import Sets, log_sum, log_weights, weights
from loomtest.harness.model import FloatArray

SEVERAL = 0.02  # τ of a loom in which less than one bad joint is expected (our choice: docs/mathematics.md)
_DOUBLINGS = 60  # of precision, in the search for the odds


def several_weight(expected_bad: float) -> float:
    """τ for a loom in which so many bad joints are expected."""
    return max(SEVERAL, 1 - 1 / max(expected_bad, 1e-9))


def prior_odds(odds: FloatArray, tau: float) -> FloatArray:
    """(L,) odds under which as many bad joints are expected, with τ, as under independent `odds` (L,)."""
    wanted = float(np.sum(odds / (1 + odds)))
    if tau == 1 or wanted == 0:
        return odds
    low, high = np.log(1e-3), np.log(1e6)
    for _ in range(_DOUBLINGS):
        middle = (low + high) / 2
        each = np.exp(middle) * odds
        one = float(each.sum())
        sound = (1 - tau) / tau * np.exp(-float(np.sum(np.log1p(each))))  # of "at most one", beside τ·Z
        expected = (float(np.sum(each / (1 + each))) + sound * one) / (1 + sound * (1 + one))
        low, high = (middle, high) if expected < wanted else (low, middle)
    return np.asarray(odds * np.exp((low + high) / 2), dtype=np.float64)


def several_rare(found: list[Sets], counts: list[int], tau: float) -> list[Sets]:
    """The sets of all nets of a loom, weighted with τ; those given are of independent joints.

    `found`, `counts`: sets and number of nets of every chunk of nets. Over the nets, with Z the sum of all
    sets of a net and E that of its single bad joints, the loom weighs τ·ΠZ + (1 − τ)·(1 + ΣE).
    """
    if tau == 1:
        return found
    log_all = [
        log_sum(sets.row, log_weights(sets.log_z, sets.own_log_odds), count)
        for sets, count in zip(found, counts, strict=True)
    ]
    log_one = [_log_single(sets, count) for sets, count in zip(found, counts, strict=True)]
    total = float(sum(part.sum() for part in log_all))
    # none, and the single joints of every net, in one row, for the sums that leave one net out
    terms = np.concatenate([[0.0], *log_one, [-np.inf]])
    before, after = np.logaddexp.accumulate(terms), np.logaddexp.accumulate(terms[::-1])[::-1]
    log_few = np.logaddexp(before[:-2], after[2:])
    out, at = [], 0
    for sets, whole in zip(found, log_all, strict=True):
        rest, few = total - whole, log_few[at : at + whole.size]
        at += whole.size
        out.append(_reweighted(sets, np.exp(-rest), np.exp(few - rest), tau))
    return out


def _log_single(sets: Sets, count: int) -> FloatArray:
    """(B,) log weight of exactly one bad joint in every net: sets of one, and companions of none."""
    size = sets.member.sum(axis=1)
    alone = np.logaddexp.reduce(sets.own_log_odds, axis=1, initial=-np.inf)
    log_weight = np.where(size == 1, sets.log_z, np.where(size == 0, alone, -np.inf))
    return log_sum(sets.row, log_weight, count)


def _reweighted(sets: Sets, none_in_others: FloatArray, one_in_others: FloatArray, tau: float) -> Sets:
    """`none_in_others`, `one_in_others`: (B,) weight of no bad joint, and of at most one, in all other nets,
    beside that of all their sets. Companions are then no longer independent of each other: their
    probabilities are kept, and the weight of their set."""
    size = sets.member.sum(axis=1)[:, None]
    single, few = ((1 - tau) * column[sets.row, None] for column in (none_in_others, one_in_others))
    companions = np.exp(np.sum(np.logaddexp(0.0, sets.own_log_odds), axis=1, keepdims=True))
    odds = np.exp(sets.own_log_odds)
    independent = tau * companions
    whole = independent + np.where(size == 0, few + single * odds.sum(axis=1, keepdims=True), 0.0)
    whole += np.where(size == 1, single, 0.0)
    with_it = independent * odds / (1 + odds) + np.where(size == 0, single * odds, 0.0)
    with np.errstate(divide="ignore"):  # a link that is no companion
        own = np.log(with_it) - np.log(whole - with_it)
    log_z = sets.log_z + np.log(whole[:, 0]) - np.sum(np.logaddexp(0.0, own), axis=1)
    weight = weights(sets.row, log_z, own, none_in_others.size)
    return replace(sets, log_z=log_z, own_log_odds=own, weight=weight)
