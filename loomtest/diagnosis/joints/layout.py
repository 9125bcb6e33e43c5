"""Nets as they were found, with the readings inside them, as flat arrays to be solved many at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.joints.healthy import Layout
from loomtest.diagnosis.numbers.network import component_labels
from loomtest.diagnosis.seen.budget import Budget
from loomtest.diagnosis.seen.consistency import Steadiness
from loomtest.diagnosis.seen.observe import bounds_ohm
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.model import FloatArray, Harness, IntArray
from loomtest.readings.model import Instrument, Quantity, Readings

# A bare "more than T" with T far below an open (a milliohm meter run over its top) has no Gaussian form:
# it enters as 2·T ± T/8, which no healthy path can explain and any bad joint above T can.
_OVER_AT, _OVER_SPREAD = 2.0, 0.125
# A continuity reading has no value but shows its wires: it enters with a weight that is none.
_NO_VALUE_OHM = 1e6
BY_ITSELF = 1e6  # touches that one reading by another method than two leads weighs
_OVER_GROUP, _CONTINUITY_GROUP = -1_000_000, -1_000_001


@dataclass(frozen=True)
class Arranged:
    """`layout` and the way back from it.

    `place`: (W,) position of every wire of the harness in the layout, −1 where it is open or joins nothing.
    `net`: (P,) net of every point, −1 where no wire is. `pair`: (pairs, 2) codes of the layout's pairs.
    """

    layout: Layout
    place: IntArray
    net: IntArray
    pair: IntArray


@dataclass(frozen=True)
class _Rows:
    """Readings to be placed in nets, one entry each."""

    start: IntArray
    end: IntArray
    ohm: FloatArray
    own: FloatArray
    shared: FloatArray
    common: FloatArray
    group: IntArray
    below: FloatArray
    touches: FloatArray


def arrange(
    harness: Harness,
    wiring: Wiring,
    readings: Readings,
    instrument: Instrument,
    budget: Budget,
    steady: Steadiness,
) -> Arranged:
    """Nets of joined wires, and for each the pairs of its points that were read, repeats averaged."""
    live = np.flatnonzero(harness.conducts & wiring.joined & (wiring.start != wiring.end))
    points = len(readings.points)
    net, local, point_count = _nets(points, wiring.start[live], wiring.end[live])

    wire_net = net[wiring.start[live]]
    order = np.argsort(wire_net, kind="stable")
    wire = live[order]
    wire_count = np.bincount(wire_net, minlength=point_count.size)
    place = np.full(len(harness.wires), -1, dtype=np.int64)
    place[wire] = np.arange(wire.size)

    rows = _rows(harness, readings, instrument, budget, steady)
    inside = (net[rows.start] == net[rows.end]) & (net[rows.start] >= 0)
    pair, pair_net, value, weight, shared, common, below, touches = _averaged(rows, inside, net, points)
    layout = Layout(
        point_count,
        _from(wire_count),
        wire_count,
        _from(np.bincount(pair_net, minlength=point_count.size)),
        np.bincount(pair_net, minlength=point_count.size),
        wire,
        local[wiring.start[wire]],
        local[wiring.end[wire]],
        local[pair[:, 0]],
        local[pair[:, 1]],
        value,
        weight,
        shared,
        common,
        below,
        touches,
    )
    return Arranged(layout, place, net, pair)


def _from(count: IntArray) -> IntArray:
    return np.concatenate([[0], np.cumsum(count)[:-1]]).astype(np.int64)[: count.size]


def _nets(points: int, start: IntArray, end: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """(net of every point or −1, its number within the net, points per net)."""
    wired = np.zeros(points, dtype=np.bool_)
    wired[start] = wired[end] = True
    label = component_labels(points, start, end)
    net = np.full(points, -1, dtype=np.int64)
    net[wired] = np.unique(label[wired], return_inverse=True)[1]
    count = np.bincount(net[wired])
    order = np.flatnonzero(wired)[np.argsort(net[wired], kind="stable")]
    local = np.full(points, -1, dtype=np.int64)
    local[order] = np.arange(order.size) - np.repeat(_from(count), count)
    return net, local, count.astype(np.int64)


def _rows(
    harness: Harness, readings: Readings, instrument: Instrument, budget: Budget, steady: Steadiness
) -> _Rows:
    """The budget's readings that are below a break, and over-range ones that prove too little for a break."""
    used = steady.ohm < harness.limits.short_below_ohms
    index = budget.index[used]
    resistive = (readings.quantity == Quantity.RESISTANCE) | (readings.quantity == Quantity.RESISTANCE_4W)
    over = resistive & np.isinf(readings.value)
    over[list(readings.bonded)] = False
    proved = bounds_ohm(readings, instrument)[0]
    over &= (proved > 0) & (proved < harness.limits.short_below_ohms)
    if steady.contradictory.size and over.any():
        known = {tuple(sorted(pair)) for pair in steady.contradictory.tolist()}
        for row in np.flatnonzero(over):
            over[row] = tuple(sorted((int(readings.start[row]), int(readings.end[row])))) not in known
    beeps = (readings.quantity == Quantity.CONTINUITY) & (readings.value > 0.5)
    extra, yes = np.flatnonzero(over), np.flatnonzero(beeps)
    both = np.concatenate([extra, yes])
    beep = np.inf if instrument.beep_below_ohms is None else instrument.beep_below_ohms
    two_wire = (readings.quantity[extra] == Quantity.RESISTANCE) & (instrument.method != "four-wire")
    one_touch = two_wire & (instrument.touch_ohms > 0)
    single = np.concatenate([budget.touched[used], one_touch])
    return _Rows(
        np.concatenate([readings.start[index], readings.start[both]]),
        np.concatenate([readings.end[index], readings.end[both]]),
        np.concatenate([steady.ohm[used], _OVER_AT * proved[extra], np.zeros(yes.size)]),
        np.concatenate([steady.own[used], _OVER_SPREAD * proved[extra], np.full(yes.size, _NO_VALUE_OHM)]),
        np.concatenate([budget.shared[used], np.zeros(both.size)]),
        np.concatenate([budget.common[used], np.zeros((both.size, budget.common.shape[1]))]),
        np.concatenate(
            [budget.group[used], np.full(extra.size, _OVER_GROUP), np.full(yes.size, _CONTINUITY_GROUP)]
        ),
        np.concatenate([np.full(index.size + extra.size, np.inf), np.full(yes.size, beep)]),
        np.concatenate([np.where(single, 1.0, BY_ITSELF), np.zeros(yes.size)]),
    )


def _averaged(
    rows: _Rows, inside: np.ndarray, net: IntArray, points: int
) -> tuple[IntArray, IntArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """(pairs, their nets, weighted means, weights, shared, common, below, touches), by net; exact for a
    Gaussian."""
    a = np.minimum(rows.start, rows.end)[inside]
    b = np.maximum(rows.start, rows.end)[inside]
    group = np.unique(rows.group[inside], return_inverse=True)[1]
    kinds = int(group.max(initial=0)) + 1
    key = ((net[a] * points + a) * points + b) * kinds + group
    unique, first, at = np.unique(key, return_index=True, return_inverse=True)
    weight = 1 / rows.own[inside] ** 2
    total = np.bincount(at, weight, unique.size)

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(at, weight * values[inside], unique.size) / total, dtype=np.float64)

    columns = [mean(column) for column in rows.common.T]
    common = np.column_stack(columns) if columns else np.zeros((unique.size, 0))
    pair = np.column_stack([a[first], b[first]])
    return (
        pair,
        net[a[first]],
        mean(rows.ohm),
        np.asarray(total, dtype=np.float64),
        mean(rows.shared),
        common,
        rows.below[inside][first],
        np.asarray(np.bincount(at, rows.touches[inside], unique.size), dtype=np.float64),
    )
