"""From sets of bad links to what is said of each one: quantiles of its mixture, probabilities, estimates."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.joints.healthy import Given
from loomtest.diagnosis.joints.sparse import Sets, Slab, Tilt
from loomtest.diagnosis.numbers.statistics import normal_cdf, normal_quantile, pass_probability
from loomtest.harness.model import FloatArray, IntArray

_FINE = 2e-3  # a bad joint likelier than this enters with its nodes, else as one normal component
_ITERATIONS = 24  # halvings of a logarithmic scale: two parts in a million
_SCALE_OHM = 1e-4  # from where bisection is logarithmic


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

    def within(self, limit: FloatArray) -> FloatArray:
        """(links,) probability of being within `limit` (links,); a component of infinite spread is not."""
        share = self.weight * pass_probability(limit[self.link], self.mean, self.sd)
        return np.asarray(np.bincount(self.link, share, limit.size), dtype=np.float64)

    def of(self, link: int) -> Mixture:
        """The components of one unknown; the mixture must be ordered by `link`."""
        part = slice(*np.searchsorted(self.link, [link, link + 1]).tolist())
        return Mixture(np.zeros_like(self.link[part]), self.weight[part], self.mean[part], self.sd[part])

    def quantile_above(self, limit: float, probabilities: tuple[float, ...]) -> list[float]:
        """Quantiles of a single unknown, given that it lies above `limit`."""
        tail = self.weight * normal_cdf((self.mean - limit) / self.sd)
        total = float(tail.sum())
        used = tail > 1e-7 * total
        if not used.any():  # nothing of it lies above
            return [limit] * len(probabilities)
        weight, mean, sd = self.weight[used], self.mean[used], self.sd[used]
        least, span = limit, math.log1p(max(float(np.max(mean + 9 * sd)) - limit, 1e-9) / _SCALE_OHM)
        wanted = (1 - np.array(probabilities)) * float(tail[used].sum())
        low, high = np.zeros(wanted.size), np.full(wanted.size, span)
        for _ in range(_ITERATIONS):
            middle = (low + high) / 2
            x = least + _SCALE_OHM * np.expm1(middle)
            beyond = normal_cdf((mean - x[:, None]) / sd) @ weight > wanted
            low, high = np.where(beyond, middle, low), np.where(beyond, high, middle)
        return [float(value) for value in least + _SCALE_OHM * np.expm1((low + high) / 2)]

    def quantiles(self, probabilities: tuple[float, ...], count: int) -> FloatArray:
        """(k, count) quantiles, by bisection where more than one component matters."""
        heaviest = np.zeros(count)
        np.maximum.at(heaviest, self.link, self.weight)
        is_main = self.weight == heaviest[self.link]
        wanted = np.array(probabilities)[:, None]
        lift = np.array([normal_quantile(p) for p in probabilities])[:, None]
        out = np.zeros((wanted.size, count))
        out[:, self.link[is_main]] = self.mean[is_main] + lift * self.sd[is_main]
        part = (heaviest < 0.998)[self.link]
        if not part.any():
            return out
        numbers, link = np.unique(self.link[part], return_inverse=True)
        weight, mean, sd = self.weight[part], self.mean[part], self.sd[part]
        low, high = np.full(numbers.size, np.inf), np.full(numbers.size, -np.inf)
        np.minimum.at(low, link, mean - 9 * sd)
        np.maximum.at(high, link, mean + 9 * sd)
        base = np.abs(low) + 1e-6  # bisection on a logarithmic scale above the lowest value
        a, c = np.zeros((wanted.size, numbers.size)), np.tile(np.log1p((high - low) / base), (wanted.size, 1))
        row = np.arange(wanted.size)[:, None] * numbers.size + link
        for _ in range(_ITERATIONS):
            middle = (a + c) / 2
            x = low + base * np.expm1(middle)
            share = weight * normal_cdf((x[:, link] - mean) / sd)
            below = np.bincount(row.ravel(), share.ravel(), a.size).reshape(a.shape) < wanted
            a, c = np.where(below, middle, a), np.where(below, c, middle)
        out[:, numbers] = low + base * np.expm1((a + c) / 2)
        return out


def joined(pieces: list[Mixture]) -> Mixture:
    """One mixture of all, ordered by link."""
    link = np.concatenate([np.empty(0, dtype=np.int64), *(p.link for p in pieces)])
    order = np.argsort(link, kind="stable")
    columns = (
        np.concatenate([np.empty(0), *(getattr(p, name) for p in pieces)])[order]
        for name in ("weight", "mean", "sd")
    )
    return Mixture(link[order], *columns)


@dataclass(frozen=True)
class Marginal:
    """Of every link of B nets, (B, m): a `Mixture` whose numbers are positions in the (B, m) array.

    `bad`: probability of a bad joint; `beyond`: of one that is beyond what is allowed, by itself or with its
    wire above the limit; `healthy_above`: of a wire above its limit without one. Without a prior on the
    link's own excess: the mixture `free`, its estimate and uncertainty. `lever`: by how much that estimate
    falls for each ohm more of what all other nets say of the shared value, `told` that value.
    """

    mixture: Mixture
    bad: FloatArray
    beyond: FloatArray
    healthy_above: FloatArray
    free: Mixture
    estimate: FloatArray
    uncertainty: FloatArray
    lever: FloatArray
    told: FloatArray


def marginals(given: Given, slab: Slab, sets: Sets, allowed: FloatArray, limit: FloatArray) -> Marginal:
    """`allowed`: (B, m) the most excess; `limit`: (B, m) the most resistance, of `beyond`."""
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
    t = slab.tilt(given.nets.loop, net, which, b, q)
    member = sets.member[at, which]
    var = prior_var[at, which]
    center = np.where(member, given.nets.prior_mean[net, which] + var * b, sets.mean[at, which])
    spread = np.where(member, np.maximum(var - var**2 * q, 1e-18), sets.var[at, which])
    nodes = center[:, None] + t.x - (var * q)[:, None] * t.phi
    node_var = spread[:, None] + t.bandwidth**2
    alone = _share_beyond(t, allowed[net, which])
    fits = normal_cdf((limit[net, which][:, None] - nodes) / np.sqrt(node_var))
    beyond = _summed(
        position[at, which],
        weighted[at, which] * np.sum(t.weight * (1 - (1 - alone) * fits), axis=1),
        count * m,
    ).reshape(count, m)
    tail = normal_cdf((mean[0] - limit[sets.row][healthy]) / sd[0])
    healthy_above = _summed(link[0], share[0] * tail, count * m).reshape(count, m)
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
    free, estimate, uncertainty = _without_own_prior(given, sets)
    q = np.maximum(np.einsum("bii->bi", given.q), 1e-12)
    rest = np.maximum(1 - given.shared_var * given.nets.aa, 1e-12)
    told = (given.shared_mean - given.shared_var * given.nets.az) / rest
    lever = rest[:, None] * given.nets.shared_b / q
    return Marginal(mixture, bad, beyond, healthy_above, free, estimate, uncertainty, lever, told)


def _share_beyond(t: Tilt, allowed: FloatArray) -> FloatArray:
    """(k, nodes) share of every node's cell (logarithmic in x) that lies beyond the allowed excess."""
    log_x = np.log(t.x)
    step = np.maximum(log_x[:, 1:2] - log_x[:, :1], 1e-12)
    inside = (log_x - np.log(np.maximum(allowed, 1e-9))[:, None]) / step + 0.5
    return np.asarray(np.clip(inside, 0.0, 1.0), dtype=np.float64)


def _summed(at: IntArray, values: FloatArray, count: int) -> FloatArray:
    return np.asarray(np.bincount(at, values, count), dtype=np.float64)


def _without_own_prior(given: Given, sets: Sets) -> tuple[Mixture, FloatArray, FloatArray]:
    """Mixture, estimate and uncertainty (B, m) without a prior on the link itself.

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
    free = Mixture(at, weight, np.where(seen, y, 0.0).ravel(), u.ravel())
    return free, middle, np.where(blind, np.inf, np.sqrt(variance))
