"""Where two circuits touch: the place along both wires, from readings at both ends.

A current is fed into the two circuits at one end. It runs along one wire to the place, over, and back along
the other. The rest of both wires carries none, so that the far end of a wire stands at the place's voltage,
and the volts from the fed end to the far end, over the current, are the copper and the joint up to the place.
The same from the other end gives the rest of the wire: of the two the share along the wire follows, whatever
the short itself, the leads and the temperature are (the loop tests of Murray and Varley rest on the same).
Ohms by four leads across the two circuits hold the short as well, as one more unknown.

    fed end  o--joint--- s·C ---+--- (1 − s)·C ---joint--o  far end, no current
                                |  the short, S ohms
    fed end  o--joint--- t·D ---+--- (1 − t)·D ---joint--o  far end, no current

For a place on a grid every reading is linear in the ohms of the wires, of their joints and of the short.
With these Gaussian, as `[expect]` spreads them, the weight of the place is that of its readings; the metres
follow from the share and from what the same readings say of the wire's length. Where wires of the two
circuits run between the same two connectors, they touch at one and the same share of both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.statistics import chi_square_above, normal_cdf
from loomtest.diagnosis.place.legs import Legs
from loomtest.diagnosis.place.unknowns import Unknowns, unknowns_of
from loomtest.harness.copper import Expectation
from loomtest.harness.model import FloatArray, Harness, connector_of

_SLACK_M = 0.01  # by which one wire of a bundle runs ahead of the other
_STEPS = 160  # of a place along one wire, first coarse, then within what is left
_STEPS_EACH = 48  # of two places that are looked for side by side
_REST = 0.1  # weight of a pair of wires that do not run together, where another pair does
_MISFIT = 0.001  # probability under which the readings are not those of one short
_SURE = 0.95
_MOST_WAYS = 6  # pairs of wires that are all looked at
_FAR_BELOW = 20.0  # logarithm of a weight beside the best, of wires that need no look
_Way = tuple[int | None, int | None, int, float]
_MAY_BE = 0.05  # a wire of less weight is not the one


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Readings of a short's two circuits, (k,) each.

    `kind`: "drop" (fed at `start`, read to `end`, in one circuit), "across" (ohms from one circuit to the
    other) or "whole" (ohms within one). `ohm`: its value; `cov`: (k, k) of the meter's errors.
    """

    kind: tuple[str, ...]
    start: tuple[int, ...]
    end: tuple[int, ...]
    ohm: FloatArray
    cov: FloatArray


@dataclass(frozen=True)
class Along:
    """A place along one wire, from its first end: the share and its 95 % interval, and the same in metres
    where the length is known."""

    wire: int
    share: float
    interval_share: tuple[float, float]
    metres: float | None
    interval_metres: tuple[float, float] | None


@dataclass(frozen=True)
class PlacedShort:
    """What the readings tell of a short. `places`: one along each circuit's wire where it is told; `ohm`: the
    short itself, NaN where nothing tells. `fits`: the readings are those of one short; `both`: they were
    taken from both ends of the wire. `likely`: of either circuit, the wires that may hold it."""

    places: tuple[Along, ...]
    ohm: float
    fits: bool
    both: bool
    likely: tuple[frozenset[int], frozenset[int]]


def place_short(
    harness: Harness, expectation: Expectation, circuits: tuple[Legs, Legs], readings: Drawn
) -> PlacedShort:
    """The place of one short between two circuits."""
    unknowns = unknowns_of(harness, expectation, circuits)
    ways = _screened(_ways(harness, circuits), harness, circuits, readings, unknowns)
    found = [_Look(harness, circuits, readings, unknowns, way) for way in ways]
    top = max(look.log_weight for look in found)
    weights = np.exp([look.log_weight - top for look in found])
    weights /= weights.sum()
    best = found[int(np.argmax(weights))]
    places = []
    for side, wire in enumerate(best.wires):
        if wire is None or not best.both(side):
            continue
        same = sum(w for w, look in zip(weights, found, strict=True) if look.wires[side] == wire)
        if same >= _SURE:
            places.append(best.along(side))
    both = any(best.both(side) for side in (0, 1))
    likely: list[set[int]] = [set(), set()]
    for weight, look in zip(weights, found, strict=True):
        for side, wire in enumerate(look.wires):
            if weight >= _MAY_BE and wire is not None:
                likely[side].add(wire)
    may_hold = frozenset(likely[0]), frozenset(likely[1])
    return PlacedShort(tuple(places), best.short_ohm(), best.fits(), both, may_hold)


def run_together(harness: Harness, one: tuple[str, str], other: tuple[str, str]) -> int:
    """1 where two wires run between the same two connectors, −1 where they do in opposite senses, else 0."""
    a, b = (connector_of(point) or point for point in one)
    c, d = (connector_of(point) or point for point in other)
    if a == b:
        return 0
    return 1 if (a, b) == (c, d) else -1 if (a, b) == (d, c) else 0


def _ways(harness: Harness, circuits: tuple[Legs, Legs]) -> list[_Way]:
    """Wires of the two circuits that may touch, whether they run together, and the weight beforehand."""

    def wires(legs: Legs) -> list[int | None]:
        own: list[int | None] = [w for w in legs.ends if harness.wires[w].kind == "wire"]
        return own or [None]

    out = []
    for one in wires(circuits[0]):
        for other in wires(circuits[1]):
            beside = 0
            if one is not None and other is not None:
                first, second = harness.wires[one], harness.wires[other]
                beside = run_together(harness, (first.start, first.end), (second.start, second.end))
            length = 1.0 if one is None else harness.wires[one].length_m or 1.0
            out.append((one, other, beside, length))
    together = any(way[2] for way in out)
    return [(*way[:3], way[3] * (_REST if together and not way[2] else 1.0)) for way in out]


def _screened(
    ways: list[_Way], harness: Harness, circuits: tuple[Legs, Legs], readings: Drawn, unknowns: Unknowns
) -> list[_Way]:
    """The ways whose wires explain the readings of their own circuit about as well as any: of large circuits
    hardly any are left to be looked at in pairs."""
    if len(ways) <= _MOST_WAYS:
        return ways
    kept = []
    for side in (0, 1):
        own = _of_one_side(circuits, readings, side)
        wires = sorted({wire for way in ways if (wire := way[:2][side]) is not None})
        if not len(own.kind) or not wires:
            kept.append({way[:2][side] for way in ways})
            continue
        looks = [_Look(harness, circuits, own, unknowns, _alone(wire, side)) for wire in wires]
        top = max(look.log_weight for look in looks)
        kept.append(
            {wire for wire, look in zip(wires, looks, strict=True) if look.log_weight > top - _FAR_BELOW}
        )
    return [way for way in ways if way[0] in kept[0] and way[1] in kept[1]]


def _alone(wire: int, side: int) -> _Way:
    return (wire, None, 0, 1.0) if side == 0 else (None, wire, 0, 1.0)


def _of_one_side(circuits: tuple[Legs, Legs], readings: Drawn, side: int) -> Drawn:
    """Readings within one circuit, and those across to the one point of the other that most go to: what is
    beyond the short is then the same in all of them."""
    own = circuits[side].points
    inside = [[point in own for point in pair] for pair in zip(readings.start, readings.end, strict=True)]
    beyond = [
        (end if here else start)
        for (here, there), start, end in zip(inside, readings.start, readings.end, strict=True)
        if here != there
    ]
    most = max(beyond, key=beyond.count, default=-1)
    rows = [
        row
        for row, (start, end) in enumerate(zip(readings.start, readings.end, strict=True))
        if all(inside[row]) or (any(inside[row]) and most in (start, end))
    ]
    return Drawn(
        kind=tuple(readings.kind[row] for row in rows),
        start=tuple(readings.start[row] for row in rows),
        end=tuple(readings.end[row] for row in rows),
        ohm=readings.ohm[rows],
        cov=readings.cov[np.ix_(rows, rows)],
    )


class _Look:
    """Readings held against places along one wire of each circuit."""

    def __init__(
        self,
        harness: Harness,
        circuits: tuple[Legs, Legs],
        readings: Drawn,
        unknowns: Unknowns,
        way: _Way,
    ) -> None:
        self.harness, self.circuits, self.readings, self.unknowns = harness, circuits, readings, unknowns
        self.wires, self.beside = way[:2], way[2]
        self._fed: list[set[bool]] = [set(), set()]
        self._prepare(*self._coefficients())
        shares = self._grid(((0.0, 1.0), (0.0, 1.0)))
        log = self._log_likelihood(shares)
        keep = shares[log > log.max() - 15.0]
        step = 1.0 / (_STEPS if self._one_dimension else _STEPS_EACH)
        low, high = np.maximum(keep.min(axis=0) - step, 0.0), np.minimum(keep.max(axis=0) + step, 1.0)
        self.shares = self._grid(((low[0], high[0]), (low[1], high[1])))
        log = self._log_likelihood(self.shares)
        self.weights = np.exp(log - log.max())
        area = high[0] - low[0] if self._one_dimension else (high[0] - low[0]) * (high[1] - low[1])
        self.log_weight = float(log.max() + math.log(self.weights.mean() * area) + math.log(way[3]))
        self.weights /= self.weights.sum()
        self._at = int(np.argmax(log))

    @property
    def _one_dimension(self) -> bool:
        return self.beside != 0 or None in self.wires or not (self._fed[0] and self._fed[1])

    def _grid(self, within: tuple[tuple[float, float], tuple[float, float]]) -> FloatArray:
        """(G, 2) shares along the two wires."""

        def steps(low: float, high: float, count: int) -> FloatArray:
            return low + (np.arange(count) + 0.5) * (high - low) / count

        if self._one_dimension:
            side = 1 if self.wires[0] is None or not self._fed[0] else 0
            share = steps(*within[side], _STEPS)
            return np.column_stack([share, 1 - share if self.beside < 0 else share])
        one, other = (steps(low, high, _STEPS_EACH) for low, high in within)
        return np.stack(np.meshgrid(one, other, indexing="ij"), axis=-1).reshape(-1, 2)

    def _coefficients(self) -> tuple[FloatArray, FloatArray]:
        """(k, U) what every reading holds of the unknowns wherever the place is, and (2, k) of the copper of
        the two wires what it holds more by the share along them."""
        readings, unknowns = self.readings, self.unknowns
        fixed = np.zeros((len(readings.kind), len(unknowns.mean)))
        moving = np.zeros((2, len(readings.kind)))
        for row, (kind, start, end) in enumerate(
            zip(readings.kind, readings.start, readings.end, strict=True)
        ):
            sides = [0 if point in self.circuits[0].points else 1 for point in (start, end)]
            if kind == "across":
                fixed[row, unknowns.short] = 1.0
                moving[sides[0], row] += self._to_place(fixed[row], sides[0], start, None)
                moving[sides[1], row] += self._to_place(fixed[row], sides[1], end, None)
                continue
            ahead = [wire for wire, _ in self.circuits[sides[0]].way(start, end)]
            if kind == "whole":
                for wire in ahead:
                    self._whole(fixed[row], wire)
            else:
                moving[sides[0], row] += self._to_place(fixed[row], sides[0], start, ahead)
        return fixed, moving

    def _whole(self, row: FloatArray, wire: int) -> None:
        row[self.unknowns.copper[wire]] += 1.0
        row[list(self.unknowns.joint[wire])] += 1.0

    def _to_place(self, fixed: FloatArray, side: int, start: int, read: Sequence[int] | None) -> float:
        """Add the way from a fed point to the place, so far as it lies among the wires that were `read`; by
        which sign the share along the wire counts."""
        wire = self.wires[side]
        if wire is None:
            return 0.0
        whole, from_first = self.circuits[side].to_place(start, wire)
        for each in whole:
            if read is None or each in read:
                self._whole(fixed, each)
        if read is not None and wire not in read:
            return 0.0
        self._fed[side].add(from_first)
        unknowns = self.unknowns
        copper, joints = unknowns.copper[wire], unknowns.joint[wire]
        fixed[joints[0] if from_first else joints[1]] += 1.0
        if not from_first:
            fixed[copper] += 1.0
        if side == 1 and self.beside:
            length = self.harness.wires[wire].length_m
            known = length is not None and self.harness.wires[wire].size_mm2 is not None
            slack = unknowns.mean[copper] * _SLACK_M / length if length and known else 0.0
            fixed[unknowns.slack] += slack if from_first else -slack
        return 1.0 if from_first else -1.0

    def _prepare(self, fixed: FloatArray, moving: FloatArray) -> None:
        """What does not move with the place: only the copper of two wires does, so that the covariance of the
        readings is a polynomial in the two shares."""
        mean, cov = self.unknowns.mean, self.unknowns.cov
        column = [0 if wire is None else self.unknowns.copper[wire] for wire in self.wires]
        self._of_unknowns = cov @ fixed.T  # (U, k)
        self._off = self.readings.ohm - fixed @ mean
        self._mean = moving * mean[column][:, None]
        self._by_copper = cov[:, column]  # (U, 2)
        self._moving = moving
        steady = fixed @ self._of_unknowns + self.readings.cov
        linear = [np.outer(self._of_unknowns[c], m) for c, m in zip(column, moving, strict=True)]
        pairs = ((0, 0), (1, 1), (0, 1))
        square = [cov[column[a], column[b]] * np.outer(moving[a], moving[b]) for a, b in pairs]
        square[2] = square[2] + square[2].T
        self._parts = np.stack([steady, *(each + each.T for each in linear), *square])  # (6, k, k)

    def _log_likelihood(self, shares: FloatArray) -> FloatArray:
        off, inverse, log_det = self._solved(shares)
        return np.asarray(-0.5 * (np.einsum("gk,gkl,gl->g", off, inverse, off) + log_det))

    def _solved(self, shares: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """(G, k) what the readings are off, (G, k, k) the inverse of their covariance, (G,) its log det."""
        one, other = shares.T
        powers = np.stack([np.ones_like(one), one, other, one**2, other**2, one * other], axis=1)
        cov = np.tensordot(powers, self._parts, axes=1)
        off = self._off - shares @ self._mean
        log_det = np.asarray(np.linalg.slogdet(cov)[1], dtype=np.float64)
        return off, np.asarray(np.linalg.inv(cov), dtype=np.float64), log_det

    def both(self, side: int) -> bool:
        """True where the wire was fed from both of its ends."""
        return self.wires[side] is not None and (len(self._fed[side]) == 2 or self._told_by_other(side))

    def _told_by_other(self, side: int) -> bool:
        return self.beside != 0 and len(self._fed[1 - side]) == 2

    def fits(self) -> bool:
        """False where no place of one short gives these readings."""
        off, inverse, _ = self._solved(self.shares[self._at][None])
        misfit = float(off[0] @ inverse[0] @ off[0])
        degrees = max(1, len(self.readings.ohm) - (1 if self._one_dimension else 2))
        return float(chi_square_above(np.array([misfit]), np.array([degrees]))[0]) >= _MISFIT

    def short_ohm(self) -> float:
        """The short itself, at the likeliest place; NaN where no reading holds it."""
        if "across" not in self.readings.kind:
            return math.nan
        return float(self._given_place(self.unknowns.short, slice(self._at, self._at + 1))[0][0])

    def _given_place(self, unknown: int, at: slice) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of one unknown at places, given the readings."""
        off, inverse, _ = self._solved(self.shares[at])
        across = self._of_unknowns[unknown] + (self.shares[at] * self._by_copper[unknown]) @ self._moving
        mean = self.unknowns.mean[unknown] + np.einsum("gk,gkl,gl->g", across, inverse, off)
        variance = self.unknowns.cov[unknown, unknown] - np.einsum("gk,gkl,gl->g", across, inverse, across)
        return mean, variance

    def along(self, side: int) -> Along:
        """The place along the wire of one circuit."""
        wire = self.wires[side]
        assert wire is not None
        share, none = self.shares[:, side], np.full(len(self.shares), 1e-9)
        middle, interval = quantiles(self.weights, share, none)
        length = self.harness.wires[wire].length_m
        if length is None:
            return Along(wire, middle, interval, None, None)
        longer, variance = self._given_place(self.unknowns.length[wire], slice(None))
        spread = length * np.hypot(share * np.sqrt(np.maximum(variance, 0.0)), self._slack(side, length))
        metres, within = quantiles(self.weights, length * share * (1 + longer), spread)
        most = length * (1 + 3 * self.harness.expect.length_spread_percent / 100)
        clipped = max(within[0], 0.0), min(within[1], most)
        return Along(wire, middle, interval, min(max(metres, 0.0), most), clipped)

    def _slack(self, side: int, length: float) -> float:
        return _SLACK_M / length if side == 1 and self.beside else 0.0


def quantiles(
    weights: FloatArray, centre: FloatArray, spread: FloatArray
) -> tuple[float, tuple[float, float]]:
    """Median and 95 % interval of a mixture of normal distributions, (n,) each."""
    spread = np.maximum(spread, 1e-9)
    low, high = float((centre - 5 * spread).min()), float((centre + 5 * spread).max())
    ends = []
    for wanted in (0.5, 0.025, 0.975):
        a, b = low, high
        for _ in range(50):
            at = (a + b) / 2
            below = float(weights @ normal_cdf((at - centre) / spread))
            a, b = (at, b) if below < wanted else (a, at)
        ends.append((a + b) / 2)
    return ends[0], (ends[1], ends[2])
