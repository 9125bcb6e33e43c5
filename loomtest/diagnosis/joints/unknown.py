"""A wire of unknown size or length: is what it shows a long wire, or a bad joint?

Healthy, it has any resistance up to `unknown_wire_to_ohms`, three in a hundred have more, fewer by a factor e
each further 50 mΩ. Where the other wires of the run show longer ones, that is widened to what all but a tenth
of them show: a trailer's loom is not full of bad joints. The readings give the wire y ± u; what follows is
its posterior in closed form, the excess summed over nodes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.statistics import normal_cdf
from loomtest.harness.model import FloatArray

BEYOND = 0.03  # contract: share of healthy wires that have more
TAIL_OHM = 0.05  # contract: in which fewer by a factor e have more
_NODES = 80
_MOST_EXPONENT = 600.0
_FEW = 4  # others of which the largest counts; of more, a tenth is left aside
_LEFT_ASIDE = 0.1


@dataclass(frozen=True)
class Unknown:
    """Links of unknown resistance, (k,) each: `estimate`, `uncertainty` without a prior on itself,
    `known_ohm` what the known wires of the link add, `wires` how many are unknown, `odds` of a bad joint,
    `allowed` the most excess that is no fault."""

    estimate: FloatArray
    uncertainty: FloatArray
    known_ohm: FloatArray
    wires: FloatArray
    odds: FloatArray
    allowed: FloatArray


def moments(to_ohm: float) -> tuple[float, float]:
    """Mean of a healthy wire, and a standard deviation wide enough for its tail (0.25 Ω: 0.13 and 0.15 Ω)."""
    return (1 - BEYOND) * to_ohm / 2 + BEYOND * (to_ohm + TAIL_OHM), 0.6 * to_ohm


def bad_beyond(u: Unknown, to_ohm: float, excess_ohm: tuple[float, float]) -> FloatArray:
    """(k,) probability of a bad joint whose excess is beyond what is allowed."""
    widened = _widened(u, to_ohm)
    least, most = excess_ohm
    edges = np.geomspace(least, most, _NODES + 1)
    x = np.sqrt(edges[1:] * edges[:-1])
    beyond = np.clip(
        (np.log(edges[1:]) - np.log(np.maximum(u.allowed, 1e-9))[:, None]) / np.log(edges[1] / edges[0]), 0, 1
    )
    y, sd = u.estimate - u.known_ohm, np.maximum(u.uncertainty, 1e-6)
    spread = np.hypot(sd[:, None], (edges[1:] - edges[:-1]) / math.sqrt(12))
    healthy = _density(y[:, None], sd[:, None], widened[:, None])[:, 0]
    bad = _density(y[:, None] - x, spread, widened[:, None]) / _NODES
    whole = healthy + u.odds * bad.sum(axis=1)
    told = whole > 0
    out = u.odds * np.sum(bad * beyond, axis=1)
    return np.asarray(np.where(told, out / np.where(told, whole, 1.0), 0.0), dtype=np.float64)


def _widened(u: Unknown, to_ohm: float) -> FloatArray:
    """(k,) up to where each link is as likely: its wires times `to_ohm`, or what all but a tenth of the
    others show for each of their wires."""
    each = (u.estimate - u.known_ohm) / u.wires
    order = np.sort(each)
    others = each.size - 1
    left = 0 if others < _FEW else math.ceil(_LEFT_ASIDE * others)
    if others - left < 1:
        return u.wires * to_ohm
    at = others - left - 1  # place among the others, without the link itself
    shown = np.where(each <= order[at], order[at + 1], order[at])
    return np.asarray(u.wires * np.maximum(to_ohm, shown), dtype=np.float64)


def _density(y: FloatArray, sd: FloatArray, to_ohm: FloatArray) -> FloatArray:
    """Density of a healthy wire's reading y ± sd."""
    inside = (normal_cdf((to_ohm - y) / sd) - normal_cdf(-y / sd)) * (1 - BEYOND) / to_ohm
    over = y - to_ohm
    exponent = np.clip(-over / TAIL_OHM + 0.5 * (sd / TAIL_OHM) ** 2, -_MOST_EXPONENT, _MOST_EXPONENT)
    share = normal_cdf((over - sd**2 / TAIL_OHM) / sd)
    tail = np.where(share > 0, np.exp(exponent) * share, 0.0) * BEYOND / TAIL_OHM
    return np.asarray(np.maximum(inside, 0.0) + tail, dtype=np.float64)
