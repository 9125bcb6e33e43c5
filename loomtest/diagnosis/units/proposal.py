"""`[expect]` as sound units have it: each key with its interval, and whether they tell it at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.units.components import Draws, components_of
from loomtest.diagnosis.units.taken import Taken
from loomtest.harness.copper import cut_off_normal
from loomtest.harness.model import Expect, FloatArray

FEWEST_UNITS = 5
FEW_UNITS = 10  # from here on the spreads are good for something
CONFIDENCE = 0.95
_ENDS = ((1 - CONFIDENCE) / 2, 0.5, (1 + CONFIDENCE) / 2)
_FACTOR_WITHIN = 0.05  # what copper factors differ by anyway: usual copper and length spread together
_GRID = np.linspace(0.0, 12.0, 1201)  # mean over spread of the normal that is cut off at zero
_KEYS = (
    "copper_factor",
    "copper_spread_percent",
    "length_spread_percent",
    "joint_milliohms",
    "joint_spread_milliohms",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """One key of `[expect]`: what stands (`now`), what the units say (`value`, the median) and between which
    two it lies at 95 %. `told`: the interval is narrow enough to write it; else what stands should stay."""

    key: str
    now: float
    value: float
    between: tuple[float, float]
    told: bool


def proposed_from(units: Sequence[Taken], now: Expect) -> list[Proposed]:
    """The keys of copper and joints from sound units, in the order of the contract.

    A key is told when half its interval is at most half of the larger of its value and the usual one (what
    stands may have come from these very units), for the copper factor when it is at most 0.05. The two keys
    of a joint go together, and are told when its mean and its standard deviation are.
    """
    draws, usual = components_of(units), Expect()
    values = keys_of(draws)
    mean, spread = cut_off_normal(usual.joint_milliohms / 1e3, usual.joint_spread_milliohms / 1e3)
    joints = _told(draws.joint_ohm, draws.weight, mean) and _told(
        draws.joint_spread_ohm, draws.weight, spread
    )
    told = {key: _told(values[key], draws.weight, getattr(usual, key)) for key in _KEYS[1:3]}
    told |= {_KEYS[0]: _half(values[_KEYS[0]], draws.weight) <= _FACTOR_WITHIN}
    told |= dict.fromkeys(_KEYS[3:], joints)
    rows = []
    for key in _KEYS:
        low, value, high = _quantiles(values[key], draws.weight, _ENDS)
        stands = getattr(now, key)
        rows.append(Proposed(key=key, now=stands, value=value, between=(low, high), told=told[key]))
    return rows


def _half(values: FloatArray, weight: FloatArray) -> float:
    low, _, high = _quantiles(values, weight, _ENDS)
    return (high - low) / 2


def _told(values: FloatArray, weight: FloatArray, usual: float) -> bool:
    return _half(values, weight) <= max(_quantiles(values, weight, (0.5,))[0], usual) / 2


def keys_of(draws: Draws) -> dict[str, FloatArray]:
    """(k,) of each key for every draw: the contract's joint is a normal cut off at zero, and its two numbers
    are found from mean and standard deviation of what is left of it."""
    peak, spread = _uncut(np.maximum(draws.joint_ohm, 0.0), draws.joint_spread_ohm)
    values = (draws.factor, draws.copper * 100, draws.length * 100, peak * 1e3, spread * 1e3)
    return dict(zip(_KEYS, values, strict=True))


def _quantiles(values: FloatArray, weight: FloatArray, shares: Sequence[float]) -> list[float]:
    order = np.argsort(values, kind="stable")
    up_to = np.cumsum(weight[order]) - weight[order] / 2
    return [float(v) for v in np.interp(shares, up_to, values[order])]


def _uncut(mean: FloatArray, spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The normal (peak, spread) that has this mean and standard deviation once it is cut off at zero.

    With its peak at zero the spread is 0.756 of the mean; where it is more, no peak of zero or above gives
    both, and the one at zero with the same mean square is taken.
    """
    moments = np.array([cut_off_normal(float(at), 1.0) for at in _GRID])
    ratio = moments[:, 1] / moments[:, 0]
    wanted = spread / np.maximum(mean, 1e-12)
    at = np.interp(wanted, ratio[::-1], _GRID[::-1])
    own = mean / np.interp(at, _GRID, moments[:, 0])
    beyond = wanted > ratio[0]
    narrow = wanted < ratio[-1]
    peak = np.where(beyond, 0.0, np.where(narrow, mean, at * own))
    return peak, np.where(beyond, np.hypot(mean, spread), np.where(narrow, spread, own))
