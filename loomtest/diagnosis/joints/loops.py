"""Loops: a net whose wires close rings is not linear, and is linearised again where its bad joints stand.

One bad wire needs none of it: the effect of an excess in a loop is known exactly (`sparse.effect`). With
several, or for the other wires of the net, the currents go other ways than in the healthy net.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.joints.healthy import Gathered, Given, Nets, solve
from loomtest.diagnosis.joints.sparse import Sets, Slab, log_weights, refine, search
from loomtest.diagnosis.numbers.network import inverse_laplacian, loop_resistance, squared_currents
from loomtest.harness.model import BoolArray, FloatArray, IntArray

_SURE = 0.99  # a wire this surely bad is where a net is linearised again
_ROUNDS = 4
_SETTLED = 1e-4  # relative change of every wire from one round to the next
_LARGE = 4_000_000  # sensitivities from which one round must do
_MOST_OHM = 200.0  # a wire beyond this is as good as open: its currents go elsewhere


@dataclass(frozen=True)
class Bent:
    """One net's readings (a batch of one), its number of points, and the link of every wire of the layout."""

    readings: Gathered
    points: int
    link_of_wire: IntArray


def bent(nets: Nets, sets: Sets) -> BoolArray:
    """(B, m) links that are surely bad, in nets with a loop: those nets are linearised again."""
    looped = np.any(np.isfinite(nets.loop), axis=1)
    sure = np.zeros(nets.link.shape)
    np.add.at(sure, sets.row, sets.weight[:, None] * sets.member)
    return np.asarray((sure > _SURE) & looped[:, None], dtype=np.bool_)


def relinearised(
    net: Bent,
    solved: tuple[Nets, Slab, Sets],
    row: int,
    cavity: tuple[FloatArray, FloatArray],
    sure: BoolArray,
) -> tuple[Given, Slab, Sets]:
    """The posterior of one net of a chunk, linearised where its surely bad links, `sure` (m,), stand."""
    nets, slab, all_sets = solved
    link = nets.link[row]
    prior_mean, prior_var = nets.prior_mean[row], nets.prior_var[row]
    own = Slab(
        *(column[row : row + 1] for column in (slab.odds, slab.density, slab.least, slab.most, slab.origin))
    )
    mean = _likeliest(all_sets, row)
    known_bad = [int(k) for k in np.flatnonzero(sure)]
    rounds = 1 if net.readings.value.size * link.size > _LARGE else _ROUNDS
    before = prior_mean
    given, sets = None, None
    for _ in range(rounds):
        at = np.where(sure, np.clip(mean[:-1], prior_mean, _MOST_OHM), prior_mean)
        if given is not None and np.all(np.abs(at - before) <= _SETTLED * before):
            break
        before = at
        own = replace(own, origin=(at - prior_mean)[None, :])
        a, loop = _sensitivities(net, link, at)
        again = solve(
            net.readings,
            a,
            loop,
            (prior_mean[None, :], prior_var[None, :]),
            nets.net[row : row + 1],
            link[None, :],
        )
        given = again.given_shared(*cavity)
        sets = refine(given, own, search(given, own, known_bad))
        mean = _likeliest(sets, 0)
    assert given is not None and sets is not None  # there is at least one round
    # sets that all hold the surely bad links are weighed against each other only: beside other nets the net
    # keeps the weight it had against none, which a bad link in a loop has exactly
    kept = _log_whole(all_sets, row) - _log_whole(sets, 0)
    return given, own, replace(sets, log_z=sets.log_z + kept)


def _log_whole(sets: Sets, row: int) -> float:
    """Log weight of all sets of one net against none."""
    mine = sets.rows(sets.row == row)
    return float(np.logaddexp.reduce(log_weights(mine.log_z, mine.own_log_odds)))


def _likeliest(sets: Sets, row: int) -> FloatArray:
    mine = np.flatnonzero(sets.row == row)
    top = mine[int(np.argmax(sets.weight[mine]))]
    return np.asarray(sets.mean[top], dtype=np.float64)


def _sensitivities(net: Bent, link: IntArray, ohm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(1, n, m) sensitivities of the links and (1, m) their loops, with the links at `ohm` (m,)."""
    got = net.readings
    of_wire = net.link_of_wire[got.wire[0]]
    order = np.argsort(link, kind="stable")
    place = order[np.searchsorted(link[order], of_wire)]
    r = (ohm[place] / np.bincount(place, minlength=link.size)[place])[None, :]
    inverse = inverse_laplacian(net.points, got.ends, r)
    a = squared_currents(got.ends, r, inverse, got.pairs)
    a[got.weight == 0] = 0.0
    loop = loop_resistance(got.ends, r, inverse)
    first = np.full(link.size, place.size, dtype=np.int64)
    np.minimum.at(first, place, np.arange(place.size))
    return a[:, :, first], loop[:, first]


def without(given: Given, slab: Slab, sets: Sets, gone: BoolArray) -> tuple[Given, Slab, Sets]:
    """The chunk without the nets that are `gone`, (B,)."""
    if not gone.any():
        return given, slab, sets
    kept = ~gone
    nets = given.nets
    number = np.cumsum(kept) - 1
    rows = kept[sets.row]
    some_nets = Nets(*(getattr(nets, name)[kept] for name in Nets.__dataclass_fields__))
    some = Given(
        some_nets, *(getattr(given, name)[kept] for name in Given.__dataclass_fields__ if name != "nets")
    )
    some_slab = Slab(*(getattr(slab, name)[kept] for name in Slab.__dataclass_fields__))
    some_sets = sets.rows(rows)
    return some, some_slab, replace(some_sets, row=number[some_sets.row])
