"""The Gaussian part of the estimate: nets of healthy wires against their readings, many nets at a time.

In a net, y = A·(μ + h + x) + a·c + U·v + e with h ~ N(0, D) what healthy wires spread, x the excess of bad
joints, c the value that all readings of the run share, v standard normal errors that some share, e each
reading's own. A is the sensitivity of the effective resistance (homogeneous of degree one, so that A·r is
the tangent plane through the origin). With V = cov(y) at x = 0, c = 0, all that readings say of a net is
b = AᵀV⁻¹z, Q = AᵀV⁻¹A for the residual z = y − Aμ, and the products with a. Rank-one formulas do the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.diagnosis.numbers.network import inverse_laplacian, loop_resistance, squared_currents
from loomtest.harness.model import BoolArray, FloatArray, IntArray

_NUDGE = 1e-3  # wires are linearised slightly off their mean, so that only wires in series have equal columns
_SAME = 1e-7  # columns of A closer than this are wires in series that no reading can tell apart
_CHUNK = 2_000_000  # most elements of one array of a chunk


@dataclass(frozen=True)
class Layout:
    """Nets as flat arrays, everything of one net side by side.

    `point_count`, `wire_start`, `pair_start` … per net; wires: `wire` (index into the harness), `end_a`,
    `end_b` (local points); pairs of points that were read: `pair_a`, `pair_b` (local), `value`, `weight`
    (1/u²), `shared`, `common` (k, c), repeats averaged already; `below`: what a pair was shown to stay
    below without a value (a continuity reading), inf for all others; `touches`: how often it was touched
    with two leads; a reading by another method counts as very many.
    """

    point_count: IntArray
    wire_from: IntArray
    wire_count: IntArray
    pair_from: IntArray
    pair_count: IntArray
    wire: IntArray
    end_a: IntArray
    end_b: IntArray
    pair_a: IntArray
    pair_b: IntArray
    value: FloatArray
    weight: FloatArray
    shared: FloatArray
    common: FloatArray
    below: FloatArray
    touches: FloatArray


@dataclass(frozen=True)
class Nets:
    """B nets with m links each (a link is a wire, or wires in series that no reading tells apart).

    `net`: (B,) which; `link`: (B, m) global numbers of the links; `prior_mean`, `prior_var`: (B, m);
    `loop`: (B, m) resistance of the loop through the link, inf for none. b0, shared_b: (B, m); q0:
    (B, m, m); the scalars (B,) are zᵀV⁻¹z, aᵀV⁻¹z, aᵀV⁻¹a, log det V; `count`: readings.
    """

    net: IntArray
    link: IntArray
    prior_mean: FloatArray
    prior_var: FloatArray
    loop: FloatArray
    b0: FloatArray
    q0: FloatArray
    shared_b: FloatArray
    zz: FloatArray
    az: FloatArray
    aa: FloatArray
    log_det: FloatArray
    count: IntArray

    def given_shared(self, mean: FloatArray, var: FloatArray) -> Given:
        """The same with the shared value N(mean, var), (B,) each, from elsewhere, and summed out."""
        kappa = var / (1 + var * self.aa)
        estimate = mean + kappa * (self.az - mean * self.aa)
        b = self.b0 - estimate[:, None] * self.shared_b
        q = self.q0 - kappa[:, None, None] * self.shared_b[:, :, None] * self.shared_b[:, None, :]
        zz = self.zz - 2 * mean * self.az + mean**2 * self.aa - kappa * (self.az - mean * self.aa) ** 2
        log_det = self.log_det + np.log1p(var * self.aa)
        evidence = -0.5 * (zz + log_det + self.count * np.log(2 * np.pi))
        return Given(self, b, q, estimate, kappa, evidence)


@dataclass(frozen=True)
class Given:
    """Nets with the shared value summed out: b (B, m), q (B, m, m); the shared value's own estimate and
    variance given healthy wires, (B,); `evidence`: (B,) log density of the readings if all is healthy."""

    nets: Nets
    b: FloatArray
    q: FloatArray
    shared_mean: FloatArray
    shared_var: FloatArray
    evidence: FloatArray


@dataclass(frozen=True)
class Sight:
    """What the readings can see of every wire of the layout, (wires,) each.

    `column`: a fingerprint of its sensitivities, equal for wires in series that no reading tells apart,
    0 where no reading depends on it; `opening`: the largest change of a reading, in its own uncertainties,
    were the wire open (inf where it would become over-range).
    """

    column: FloatArray
    opening: FloatArray


def chunks(layout: Layout) -> list[IntArray]:
    """Nets of one shape together (points and wires), in chunks of bounded size, similar reading counts."""
    wired = np.flatnonzero(layout.wire_count > 0)
    order = wired[np.lexsort((layout.pair_count[wired], layout.wire_count[wired], layout.point_count[wired]))]
    shape = layout.point_count[order] * (layout.wire_count.max(initial=0) + 1) + layout.wire_count[order]
    out = []
    for same in np.split(order, np.flatnonzero(np.diff(shape)) + 1):
        begin = 0
        while begin < same.size:
            size = int(layout.point_count[same[begin]] + layout.wire_count[same[begin]])
            end = begin + 1
            while (
                end < same.size and (end + 1 - begin) * size * max(1, layout.pair_count[same[end]]) <= _CHUNK
            ):
                end += 1
            out.append(same[begin:end])
            begin = end
    return out


@dataclass(frozen=True)
class Gathered:
    """The wires and readings of one chunk: `wire` (B, m) positions in the layout, `ends` (2, B, m), `pairs`
    (2, B, n) local points, value, weight, shared, below (B, n), common (B, n, c); padding has weight 0."""

    wire: IntArray
    ends: IntArray
    pairs: IntArray
    value: FloatArray
    weight: FloatArray
    shared: FloatArray
    common: FloatArray
    below: FloatArray

    def rows(self, kept: BoolArray) -> Gathered:
        """The nets of the chunk that are kept."""
        return Gathered(
            self.wire[kept],
            self.ends[:, kept],
            self.pairs[:, kept],
            self.value[kept],
            self.weight[kept],
            self.shared[kept],
            self.common[kept],
            self.below[kept],
        )


def _gather(layout: Layout, nets: IntArray) -> Gathered:
    m = int(layout.wire_count[nets[0]])
    n = max(1, int(layout.pair_count[nets].max()))
    wire = layout.wire_from[nets][:, None] + np.arange(m)
    at = np.arange(n)
    real = at < layout.pair_count[nets][:, None]
    pair = np.where(real, layout.pair_from[nets][:, None] + at, 0)

    def taken(column: FloatArray) -> FloatArray:
        return np.where(real, column[pair] if column.size else 0.0, 0.0)

    ends = np.stack([layout.end_a[wire], layout.end_b[wire]])
    if layout.pair_a.size:
        pairs = np.where(real, np.stack([layout.pair_a[pair], layout.pair_b[pair]]), 0)
        common = np.where(real[:, :, None], layout.common[pair], 0.0)
    else:
        pairs, common = np.zeros((2, *real.shape), dtype=np.int64), np.zeros((*real.shape, 0))
    below = np.where(real, layout.below[pair] if layout.below.size else np.inf, np.inf)
    return Gathered(
        wire, ends, pairs, taken(layout.value), taken(layout.weight), taken(layout.shared), common, below
    )


def sensitivities(layout: Layout, nets: IntArray, ohm: FloatArray) -> tuple[Gathered, FloatArray, FloatArray]:
    """(gathered readings, (B, n, m) sensitivities, (B, m) loops) with the wires at `ohm` (layout order)."""
    got = _gather(layout, nets)
    r = ohm[got.wire]
    inverse = inverse_laplacian(int(layout.point_count[nets[0]]), got.ends, r)
    a = squared_currents(got.ends, r, inverse, got.pairs)
    a[got.weight == 0] = 0.0
    return got, a, loop_resistance(got.ends, r, inverse)


def nudged(ohm: FloatArray) -> FloatArray:
    """Wires slightly off their values, each by another share: tells equal wires in parallel apart."""
    share = (np.arange(ohm.size) * 0.6180339887498949) % 1.0
    return ohm * (1 + _NUDGE * (share - 0.5))


def look(got: Gathered, a: FloatArray, loop: FloatArray, shared_var: float, out: Sight) -> None:
    """Fill `out` for the wires of one chunk."""
    rows = (np.arange(a.shape[1]) * 0.7548776662466927) % 1.0 + 0.5
    out.column[got.wire] = np.einsum("bnm,n->bm", a, rows)
    variance = np.divide(1.0, got.weight, out=np.full_like(got.weight, np.inf), where=got.weight > 0)
    sigma = np.sqrt(variance + got.shared**2 * shared_var + np.sum(got.common**2, axis=2))
    change = np.max(a / sigma[:, :, None], axis=1)
    tree = np.isinf(loop)
    seen = change > 0
    opening = np.where(tree, np.where(seen, np.inf, 0.0), change * np.where(tree, 0.0, loop))
    out.opening[got.wire] = opening


def bound(got: Gathered, a: FloatArray, mean: FloatArray, most: FloatArray, least_ohm: float) -> None:
    """Lower `most`, the largest excess of every wire of the layout, by what continuity readings showed."""
    at = np.nonzero(np.isfinite(got.below))
    if at[0].size == 0:
        return
    spare = got.below[at] - np.einsum("km,km->k", a[at], mean[got.wire[at[0]]])
    row, column = np.nonzero(a[at] > 0.5)
    excess = np.maximum(spare[row] / a[at][row, column], 2 * least_ohm)
    np.minimum.at(most, got.wire[at[0][row], column], excess)


def solve(
    got: Gathered,
    a: FloatArray,
    loop: FloatArray,
    prior: tuple[FloatArray, FloatArray],
    nets: IntArray,
    link: IntArray,
) -> Nets:
    """The sufficient statistics of a chunk; `prior`: mean and variance of every link, (B, m) each."""
    mean, var = prior
    z = got.value - np.einsum("bnm,bm->bn", a, mean)
    z[got.weight == 0] = 0.0
    weight = got.weight
    columns = np.concatenate([z[:, :, None], got.shared[:, :, None]], axis=2)
    root = np.sqrt(weight)[:, :, None]
    wa, wc = root * a, root * columns
    at = np.swapaxes(wa, 1, 2)
    lam, t = at @ wa, at @ wc
    zz = np.swapaxes(wc, 1, 2) @ wc
    positive = weight > 0
    log_det = -np.sum(np.log(weight, out=np.zeros_like(weight), where=positive), axis=1)
    if got.common.shape[2]:
        u = got.common
        wu = weight[:, :, None] * u
        inner = np.eye(u.shape[2]) + np.swapaxes(u, 1, 2) @ wu
        ua, uc = np.swapaxes(wu, 1, 2) @ a, np.swapaxes(wu, 1, 2) @ columns
        lam = lam - np.swapaxes(ua, 1, 2) @ np.linalg.solve(inner, ua)
        t = t - np.swapaxes(ua, 1, 2) @ np.linalg.solve(inner, uc)
        zz = zz - np.swapaxes(uc, 1, 2) @ np.linalg.solve(inner, uc)
        log_det = log_det + np.linalg.slogdet(inner)[1]
    m = a.shape[2]
    system = np.eye(m) + lam * var[:, None, :]
    solved = np.linalg.solve(system, np.concatenate([lam, t], axis=2))
    q0 = 0.5 * (solved[:, :, :m] + np.swapaxes(solved[:, :, :m], 1, 2))
    b0, shared_b = solved[:, :, m], solved[:, :, m + 1]
    through = np.swapaxes(t, 1, 2) @ (var[:, :, None] * solved[:, :, m:])
    products = zz - through
    log_det = log_det + np.linalg.slogdet(system)[1]
    return Nets(
        nets,
        link,
        mean,
        var,
        loop,
        b0,
        q0,
        shared_b,
        products[:, 0, 0],
        products[:, 0, 1],
        np.maximum(products[:, 1, 1], 0.0),
        log_det,
        np.asarray(np.sum(positive, axis=1), dtype=np.int64),
    )


def series(column: FloatArray, net: IntArray) -> IntArray:
    """(wires,) label of the link of each wire: wires of one net with equal, nonzero columns share one."""
    order = np.lexsort((column, net))
    c, n = column[order], net[order]
    same = (n[1:] == n[:-1]) & (c[1:] > 0) & (np.abs(c[1:] - c[:-1]) <= _SAME * np.abs(c[1:]))
    new = np.concatenate([[True], ~same]) if order.size else np.empty(0, dtype=np.bool_)
    label = np.empty(order.size, dtype=np.int64)
    label[order] = np.cumsum(new) - 1
    # number the links in the order of their first wires
    first = np.full(int(label.max(initial=-1)) + 1, order.size, dtype=np.int64)
    np.minimum.at(first, label, np.arange(order.size))
    rank = np.empty_like(first)
    rank[np.argsort(first, kind="stable")] = np.arange(first.size)
    return rank[label] if order.size else label


def merged(
    a: FloatArray, loop: FloatArray, label: IntArray
) -> list[tuple[BoolArray, FloatArray, FloatArray, IntArray]]:
    """Split a chunk by the number of links a net has; for each part (rows of the chunk, sensitivities of the
    links, their loops, their labels). `label`: (B, m)."""
    first = np.zeros(label.shape, dtype=np.bool_)
    for row in range(label.shape[0]):
        first[row, np.unique(label[row], return_index=True)[1]] = True
    counts = first.sum(axis=1)
    out = []
    for count in distinct(counts):
        rows = counts == count
        if count == label.shape[1] and rows.all():
            return [(rows, a, loop, label)]
        at = np.nonzero(first[rows])[1].reshape(-1, count)
        out.append(
            (
                rows,
                np.take_along_axis(a[rows], at[:, None, :], axis=2),
                np.take_along_axis(loop[rows], at, axis=1),
                np.take_along_axis(label[rows], at, axis=1),
            )
        )
    return out
