"""From sets of bad links to what is said of each one: quantiles of its mixture, probabilities, estimates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.healthy import Given
from loomtest.diagnosis.sparse import Sets, Slab, tilt
from loomtest.diagnosis.statistics import normal_cdf, normal_quantile, pass_probability
from loomtest.harness.model import FloatArray, IntArray

_FINE = 2e-3  # a bad joint likelier than this enters with its nodes, else as one normal component
_ITERATIONS = 42


@dataclass(frozen=True)
class Mixture:
    """Normal components of many unknowns: `link` (k,) of which one; the weights of each sum to 1."""

    link: IntArray
    weight: FloatArray
    mean: FloatArray
    sd: FloatArray

    def above(self, limit: FloatArray) -> FloatArray:
        """(links,) probability of lying above `limit` (links,); NaN limits count as infinite."""
        at = np.where(np.isnan(limit), np.inf, limit)[self.link]
        share = self.weight * normal_cdf((self.mean - at) / self.sd)
        return np.asarray(np.bincount(self.link, share, limit.size), dtype=np.float64)

    def quantile(self, probability: float, count: int) -> FloatArray:
        """(count,) quantiles, by bisection where more than one component matters."""
        heaviest = np.zeros(count)
        np.maximum.at(heaviest, self.link, self.weight)
        is_main = self.weight == heaviest[self.link]
        out = np.zeros(count)
        lift = normal_quantile(probability)
        out[self.link[is_main]] = self.mean[is_main] + lift * self.sd[is_main]
        mixed = heaviest < 0.998
        part = mixed[self.link]
        if not part.any():
            return out
        numbers, link = np.unique(self.link[part], return_inverse=True)
        weight, mean, sd = self.weight[part], self.mean[part], self.sd[part]
        low, high = np.full(numbers.size, np.inf), np.full(numbers.size, -np.inf)
        np.minimum.at(low, link, mean - 9 * sd)
        np.maximum.at(high, link, mean + 9 * sd)
        base = np.abs(low) + 1e-6  # bisection on a logarithmic scale above the lowest value
        top = np.log1p((high - low) / base)
        a, c = np.zeros(numbers.size), top
        for _ in range(_ITERATIONS):
            middle = (a + c) / 2
            x = low + base * np.expm1(middle)
            below = np.bincount(link, weight * normal_cdf((x[link] - mean) / sd), numbers.size) < probability
            a, c = np.where(below, middle, a), np.where(below, c, middle)
        out[numbers] = low + base * np.expm1((a + c) / 2)
        return out


@dataclass(frozen=True)
class Marginal:
    """Of every link of B nets, (B, m): a `Mixture` whose numbers are positions in the (B, m) array, the
    probability `bad` of a bad joint, and without a prior on the link's own excess the probabilities
    `within` each limit (B, m, limits), the estimate and its uncertainty."""

    mixture: Mixture
    bad: FloatArray
    within: FloatArray
    estimate: FloatArray
    uncertainty: FloatArray


def marginals(given: Given, slab: Slab, sets: Sets, *limits: FloatArray) -> Marginal:
    """`limits`: (B, m) each, what `within` (the probabilities for passing) is asked about."""
    count, m = given.b.shape
    own = np.exp(-np.logaddexp(0.0, -sets.own_log_odds))  # odds to probability
    own[sets.member] = 1.0
    weight = sets.weight[:, None]
    position = sets.row[:, None] * m + np.arange(m)
    bad = _summed(position.ravel(), (weight * own).ravel(), count * m).reshape(count, m)

    prior_var = given.nets.prior_var[sets.row]
    healthy = ~sets.member
    link, share, mean, sd = [position[healthy]], [(weight * (1 - own))[healthy]], [], []
    mean.append(sets.mean[:, :m][healthy])
    sd.append(np.sqrt(sets.var[:, :m])[healthy])

    weighted = weight * own
    at, which = np.nonzero(weighted > 1e-7)
    net = sets.row[at]
    b, q = sets.b[at, which], sets.q[at, which]
    t = tilt(
        b,
        q,
        given.nets.loop[net, which],
        slab.odds[net, which],
        slab.least[net, which],
        slab.most[net, which],
    )
    member = sets.member[at, which]
    var = prior_var[at, which]
    center = np.where(member, given.nets.prior_mean[net, which] + var * b, sets.mean[at, which])
    spread = np.where(member, np.maximum(var - var**2 * q, 1e-18), sets.var[at, which])
    nodes = center[:, None] + t.x - (var * q)[:, None] * t.phi
    node_var = spread[:, None] + t.bandwidth**2
    fine = bad.ravel()[position[at, which]] > _FINE
    k = t.x.shape[1]
    link.append(np.repeat(position[at, which][fine], k))
    share.append((weighted[at, which][fine, None] * t.weight[fine]).ravel())
    mean.append(nodes[fine].ravel())
    sd.append(np.sqrt(node_var[fine]).ravel())
    coarse = ~fine
    middle = np.sum(t.weight[coarse] * nodes[coarse], axis=1)
    wide = np.sum(t.weight[coarse] * (node_var[coarse] + (nodes[coarse] - middle[:, None]) ** 2), axis=1)
    link.append(position[at, which][coarse])
    share.append(weighted[at, which][coarse])
    mean.append(middle)
    sd.append(np.sqrt(wide))
    mixture = Mixture(*(np.concatenate(column) for column in (link, share, mean, sd)))

    used = mixture.weight > 0
    mixture = Mixture(mixture.link[used], mixture.weight[used], mixture.mean[used], mixture.sd[used])
    within, estimate, uncertainty = _without_own_prior(given, sets, limits)
    return Marginal(mixture, bad, within, estimate, uncertainty)


def _summed(at: IntArray, values: FloatArray, count: int) -> FloatArray:
    return np.asarray(np.bincount(at, values, count), dtype=np.float64)


def _without_own_prior(
    given: Given, sets: Sets, limits: tuple[FloatArray, ...]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Probability within each limit (B, m, limits), estimate, uncertainty: no prior on the link itself.

    With a flat prior on its resistance the link is y ± u with y = μ + b/q, u² = 1/q − D (the mean and the
    variance of everything but its own prior); over the sets of other bad links this is a mixture.
    """
    count, m = given.b.shape
    q = np.maximum(sets.q, 0.0)
    seen = q * given.nets.prior_var[sets.row] > 1e-12
    safe = np.where(seen, q, 1.0)
    y = given.nets.prior_mean[sets.row] + sets.b / safe
    u = np.sqrt(np.maximum(1 / safe - given.nets.prior_var[sets.row], 0.0))
    u = np.where(seen, u, np.inf)
    at = (sets.row[:, None] * m + np.arange(m)).ravel()
    weight = np.broadcast_to(sets.weight[:, None], y.shape).ravel()

    def mixed(values: FloatArray) -> FloatArray:
        return _summed(at, weight * values.ravel(), count * m).reshape(count, m)

    middle = mixed(np.where(seen, y, given.nets.prior_mean[sets.row]))
    finite = np.where(seen, u, 0.0)
    variance = mixed(finite**2 + np.where(seen, (y - middle[sets.row]) ** 2, 0.0))
    blind = mixed((~seen).astype(np.float64)) > 1e-6
    within = np.stack([mixed(pass_probability(limit[sets.row], y, u)) for limit in limits], axis=-1)
    return within, middle, np.where(blind, np.inf, np.sqrt(variance))
