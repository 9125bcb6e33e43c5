"""Which readings tell a place, and the findings with the places that they tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from loomtest.diagnosis.place.ask import short_readings
from loomtest.diagnosis.place.legs import Legs
from loomtest.diagnosis.place.shorts import Along, Drawn, PlacedShort, place_short
from loomtest.diagnosis.place.taken import Bench, circuits_of, drops_of, fed_and_far, four_wire_of, side_of
from loomtest.diagnosis.seen.budget import budget_of
from loomtest.diagnosis.verdict import Finding, WirePlace
from loomtest.diagnosis.why import ReadBothEnds
from loomtest.harness.model import BoolArray, IntArray
from loomtest.readings.model import Quantity
from loomtest.readings.together import taken

_PART_WAY = 0.8  # of a whole wire: a drop below this ended at a place before the wire's end
_TWICE = 1.5  # drops from both ends that add to more than this are not those up to one place
_WIDEST = 0.5  # share of a wire: a place known no better is none


def placing_drops(bench: Bench, findings: Sequence[Finding]) -> BoolArray:
    """(n,) True for voltage drops that were taken up to a short, the circuit beyond it carrying nothing:
    they say nothing of the wire as a whole."""
    out = np.zeros(len(bench.readings), dtype=np.bool_)
    if not (bench.readings.quantity == Quantity.VOLTAGE_DROP).any():
        return out
    for finding in findings:
        circuits = circuits_of(bench, finding)
        if circuits is not None:
            rows = drops_of(bench, circuits)
            if _up_to_a_place(bench, circuits, rows):
                out[rows] = True
    return out


def placed(bench: Bench, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings, each with the place along its wire where readings tell it, else with those that would."""
    return tuple(_short(bench, finding) if finding.fault == "short" else finding for finding in findings)


def _up_to_a_place(bench: Bench, circuits: tuple[Legs, Legs], rows: IntArray) -> bool:
    readings = bench.readings
    fed, far = fed_and_far(readings, rows)
    ohm = readings.value[rows] / readings.current_a[rows]
    side = side_of(bench, circuits)
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
    circuits = circuits_of(bench, finding)
    if circuits is None or _never_fed(bench, circuits):
        return finding
    drops = drops_of(bench, circuits)
    if not _up_to_a_place(bench, circuits, drops):
        drops = drops[:0]
    across, whole = four_wire_of(bench, circuits)
    told = _told(bench, circuits, drops, (across, whole)) if len(drops) or len(across) else None
    if told is not None and not told.fits:
        return replace(finding, todo=ReadBothEnds((), fits=False))
    known = [along for along in told.places if _width(along) <= _WIDEST] if told is not None else []
    asked = short_readings(bench, circuits, (drops, across, whole), told)
    if bench.can_place_shorts and not finding.suspects and len(known) < sum(bool(c.ends) for c in circuits):
        finding = replace(finding, asked=asked)
    if told is not None and told.both and known:
        places = [_place(bench, along) for along in known]
        beside = places[1] if len(places) > 1 else None
        place = replace(places[0], beside=beside, short_ohm=_number(told.ohm))
        return replace(finding, place=place, points=_nearest(bench, finding, (circuits, known)))
    if len(drops) or (len(across) and asked and not finding.suspects):
        return replace(finding, todo=ReadBothEnds(asked))
    return finding


def _nearest(
    bench: Bench, finding: Finding, told: tuple[tuple[Legs, Legs], Sequence[Along]]
) -> tuple[str, ...]:
    """The finding's points, one of each circuit: where the place is known, the end that is nearer to it."""
    names, out = bench.readings.points, list(finding.points)
    for along in told[1]:
        side = 0 if along.wire in told[0][0].ends else 1
        near = names[told[0][side].ends[along.wire][0 if along.share < 0.5 else 1]]
        if near not in bench.harness.unreachable:
            out[side] = near
    return tuple(out)


def _never_fed(bench: Bench, circuits: tuple[Legs, Legs]) -> bool:
    """True where a circuit belongs to a restraint system: no current goes into it."""
    points = bench.readings.points
    return any(points[code] in bench.harness.untouchable for legs in circuits for code in legs.points)


def _width(along: Along) -> float:
    return along.interval_share[1] - along.interval_share[0]


def _number(ohm: float) -> float | None:
    return None if math.isnan(ohm) else max(ohm, 0.0)


def _place(bench: Bench, along: Along) -> WirePlace:
    wire = bench.harness.wires[along.wire]
    return WirePlace(
        wire.name, wire.start, along.metres, along.interval_metres, along.share, along.interval_share
    )


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
    fed, far = fed_and_far(bench.readings, rows)
    drawn = Drawn(
        kind=tuple(kinds[row] for row in rows.tolist()),
        start=tuple(fed.tolist()),
        end=tuple(far.tolist()),
        ohm=budget.ohm - budget.shared * budget.prior.mean,
        cov=cov,
    )
    return place_short(bench.harness, bench.expectation, circuits, drawn)
