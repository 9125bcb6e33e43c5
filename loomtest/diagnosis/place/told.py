"""Which readings tell a place, and the findings with the places that they tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.place.legs import Legs, legs_at
from loomtest.diagnosis.place.shorts import Along, Drawn, PlacedShort, place_short, run_together
from loomtest.diagnosis.seen.budget import budget_of
from loomtest.diagnosis.verdict import Finding, WirePlace
from loomtest.diagnosis.why import ReadBothEnds
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.copper import Expectation
from loomtest.harness.model import BoolArray, Harness, IntArray
from loomtest.readings.model import Instrument, Quantity, Readings
from loomtest.readings.together import taken

_PART_WAY = 0.8  # of a whole wire: a drop below this ended at a place before the wire's end
_TWICE = 1.5  # drops from both ends that add to more than this are not those up to one place
_WIDEST = 0.5  # share of a wire: a place known no better is none


@dataclass(frozen=True)
class Bench:
    """What was measured of a loom: its readings all together, with what meter, and what was expected."""

    harness: Harness
    readings: Readings
    meter: Instrument
    expectation: Expectation
    wiring: Wiring


def placing_drops(bench: Bench, findings: Sequence[Finding]) -> BoolArray:
    """(n,) True for voltage drops that were taken up to a short, the circuit beyond it carrying nothing:
    they say nothing of the wire as a whole."""
    out = np.zeros(len(bench.readings), dtype=np.bool_)
    if not (bench.readings.quantity == Quantity.VOLTAGE_DROP).any():
        return out
    for finding in findings:
        circuits = _circuits(bench, finding)
        if circuits is not None:
            rows = _drops(bench, circuits)
            if _up_to_a_place(bench, circuits, rows):
                out[rows] = True
    return out


def placed(bench: Bench, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings, each with the place along its wire where readings tell it, else with those that would."""
    return tuple(_short(bench, finding) if finding.fault == "short" else finding for finding in findings)


def _circuits(bench: Bench, finding: Finding) -> tuple[Legs, Legs] | None:
    if finding.fault != "short" or len(finding.points) != 2:
        return None
    codes = [bench.readings.points.index(point) for point in finding.points]
    one, other = (legs_at(bench.harness, bench.wiring, code) for code in codes)
    if one is None or other is None or one.points & other.points or not (one.ends or other.ends):
        return None
    return one, other


def _drops(bench: Bench, circuits: tuple[Legs, Legs]) -> IntArray:
    """Voltage drops from one point of a circuit to another."""
    readings = bench.readings
    drops = (readings.quantity == Quantity.VOLTAGE_DROP) & np.isfinite(readings.value)
    drops[list(readings.bonded)] = False
    side = _side(bench, circuits)
    return np.flatnonzero(drops & (side[readings.start] >= 0) & (side[readings.start] == side[readings.end]))


def _side(bench: Bench, circuits: tuple[Legs, Legs]) -> IntArray:
    """(P,) 0 or 1 for the points of the two circuits, −1 for all others."""
    side = np.full(len(bench.readings.points), -1, dtype=np.int64)
    for number, legs in enumerate(circuits):
        side[list(legs.points)] = number
    return side


def _fed(readings: Readings, rows: IntArray) -> tuple[IntArray, IntArray]:
    """(k,) points as they were written: the fed end, and the far one."""
    turned = np.zeros(len(rows), dtype=np.bool_) if readings.turned is None else readings.turned[rows]
    start, end = readings.start[rows], readings.end[rows]
    return np.where(turned, end, start), np.where(turned, start, end)


def _up_to_a_place(bench: Bench, circuits: tuple[Legs, Legs], rows: IntArray) -> bool:
    readings = bench.readings
    fed, far = _fed(readings, rows)
    ohm = readings.value[rows] / readings.current_a[rows]
    side = _side(bench, circuits)
    read: dict[tuple[int, int], list[float]] = {}
    for a, b, value in zip(fed.tolist(), far.tolist(), ohm.tolist(), strict=True):
        read.setdefault((a, b), []).append(value)
    for (a, b), values in read.items():
        way = [wire for wire, _ in circuits[side[a]].way(a, b)]
        whole = float(np.sum(bench.expectation.expected_ohm[way]))
        back = read.get((b, a))
        if back is not None:
            total = sum(values) / len(values) + sum(back) / len(back)
            if math.isnan(whole) or total < _TWICE * whole:
                return True
        elif min(values) < _PART_WAY * whole:
            return True
    return False


def _short(bench: Bench, finding: Finding) -> Finding:
    circuits = _circuits(bench, finding)
    if circuits is None:
        return finding
    drops = _drops(bench, circuits)
    if not _up_to_a_place(bench, circuits, drops):
        drops = drops[:0]
    across, whole = _four_wire(bench, circuits)
    if not len(drops) and not len(across):
        return finding
    told = _told(bench, circuits, drops, (across, whole))
    if told is None:
        return finding
    places = [_place(bench, along) for along in told.places]
    if not told.fits:
        return replace(finding, todo=ReadBothEnds(_missing(bench, circuits, drops, ()), fits=False))
    if told.both and places and _width(told.places[0]) <= _WIDEST:
        beside = places[1] if len(places) > 1 else None
        return replace(finding, place=replace(places[0], beside=beside, short_ohm=_number(told.ohm)))
    if not len(drops):
        return finding  # an ordinary run by four leads: nobody looked for the place
    return replace(finding, todo=ReadBothEnds(_missing(bench, circuits, drops, told.places)))


def _width(along: Along) -> float:
    return along.interval_share[1] - along.interval_share[0]


def _number(ohm: float) -> float | None:
    return None if math.isnan(ohm) else max(ohm, 0.0)


def _place(bench: Bench, along: Along) -> WirePlace:
    wire = bench.harness.wires[along.wire]
    return WirePlace(
        wire.name, wire.start, along.metres, along.interval_metres, along.share, along.interval_share
    )


def _four_wire(bench: Bench, circuits: tuple[Legs, Legs]) -> tuple[IntArray, IntArray]:
    """Ohms by four leads from one circuit to the other, and within one."""
    readings = bench.readings
    four = readings.quantity == Quantity.RESISTANCE_4W
    if bench.meter.method == "four-wire":
        four |= readings.quantity == Quantity.RESISTANCE
    four &= np.isfinite(readings.value) & (readings.value < bench.harness.limits.short_below_ohms)
    four[list(readings.bonded)] = False
    side = _side(bench, circuits)
    one, other = side[readings.start], side[readings.end]
    four &= (one >= 0) & (other >= 0) & (readings.start != readings.end)
    return np.flatnonzero(four & (one != other)), np.flatnonzero(four & (one == other))


def _told(
    bench: Bench, circuits: tuple[Legs, Legs], drops: IntArray, ohms: tuple[IntArray, IntArray]
) -> PlacedShort | None:
    """What the readings say of one short between the circuits; None where none of them is above nothing."""
    kinds = {
        **dict.fromkeys(drops.tolist(), "drop"),
        **dict.fromkeys(ohms[0].tolist(), "across"),
        **dict.fromkeys(ohms[1].tolist(), "whole"),
    }
    rows = np.array(sorted(kinds), dtype=np.int64)
    budget = budget_of(taken(bench.readings, rows), bench.meter, bench.expectation.temperature_c)
    rows = rows[budget.index]
    if not len(rows):
        return None
    shared = budget.shared * budget.prior.sd
    cov = np.diag(budget.own**2) + budget.common @ budget.common.T + np.outer(shared, shared)
    fed, far = _fed(bench.readings, rows)
    drawn = Drawn(
        kind=tuple(kinds[row] for row in rows.tolist()),
        start=tuple(fed.tolist()),
        end=tuple(far.tolist()),
        ohm=budget.ohm - budget.shared * budget.prior.mean,
        cov=cov,
    )
    return place_short(bench.harness, bench.expectation, circuits, drawn)


def _missing(
    bench: Bench, circuits: tuple[Legs, Legs], drops: IntArray, places: Sequence[Along]
) -> tuple[tuple[tuple[str, ...], tuple[tuple[str, str], ...]], ...]:
    """For each end the points to feed, and the drops (fed end, far end) that nobody has read there yet."""
    read = set(zip(*(codes.tolist() for codes in _fed(bench.readings, drops)), strict=True))
    names = bench.readings.points
    ends = _ends(bench, circuits)
    out = []
    for fed in (0, 1):
        asked = [(pair[fed], pair[1 - fed]) for pair in ends if len(pair) == 2]
        asked = [pair for pair in asked if pair not in read]
        if asked:
            feed = tuple(names[pair[min(fed, len(pair) - 1)]] for pair in ends)
            out.append((feed, tuple((names[a], names[b]) for a, b in asked)))
    return tuple(out)


def _ends(bench: Bench, circuits: tuple[Legs, Legs]) -> list[tuple[int, ...]]:
    """Of each circuit the two points between which to read: those of wires that run together, else the ends
    of the longest way that a probe reaches; one point where a circuit has no wire."""
    harness = bench.harness
    names = bench.readings.points

    def reached(code: int) -> bool:
        return names[code] not in harness.unreachable

    pairs = []
    for one, (a, b) in circuits[0].ends.items():
        for c, d in circuits[1].ends.values():
            beside = run_together(harness, (names[a], names[b]), (names[c], names[d]))
            if beside and all(map(reached, (a, b, c, d))):
                length = harness.wires[one].length_m or 0.0
                pairs.append((length, (a, b), (c, d) if beside > 0 else (d, c)))
    if pairs:
        _, first, second = max(pairs)
        return [first, second]
    return [_longest(harness, legs, list(filter(reached, sorted(legs.points)))) for legs in circuits]


def _longest(harness: Harness, legs: Legs, points: Sequence[int]) -> tuple[int, ...]:
    """The two points farthest apart; all of them where they are fewer than two."""
    if len(points) < 2:
        return tuple(points) or tuple(sorted(legs.points))[:1]

    def metres(a: int, b: int) -> float:
        return sum(harness.wires[wire].length_m or 1.0 for wire, _ in legs.way(a, b))

    return max(((a, b) for n, a in enumerate(points) for b in points[n + 1 :]), key=lambda p: metres(*p))
