"""Capacitance readings as pieces of a broken wire: which end each is of, against what, and how well known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from loomtest.diagnosis.place.breaks import Piece, place_break
from loomtest.diagnosis.place.legs import Legs, legs_at
from loomtest.diagnosis.place.told import Bench
from loomtest.diagnosis.verdict import Finding, WirePlace
from loomtest.diagnosis.why import BreakWhy, ReadPieces
from loomtest.readings.model import Instrument, Quantity

# A meter of which nothing is stated: 2 % and 10 pF, in steps of 10 pF (common practice).
_GENERIC = (0.02, 10e-12, 10e-12)


def with_break(bench: Bench, finding: Finding) -> Finding:
    """An open with the place of its break, or with the readings that would tell it; as it was where nobody
    read a capacitance of its wire."""
    if (
        finding.fault != "open"
        or len(finding.suspects) != 1
        or bench.readings.quantity.max(initial=0) < (Quantity.CAPACITANCE)
    ):
        return finding
    index = next(i for i, row in enumerate(bench.harness.wires) if row.name == finding.suspects[0].wire)
    wire, wiring = bench.harness.wires[index], bench.wiring
    stubs = [legs_at(bench.harness, wiring, int(ends[index]), index) for ends in (wiring.start, wiring.end)]
    if wire.kind != "wire" or stubs[0] is None or stubs[1] is None or stubs[0].points & stubs[1].points:
        return finding
    own = (stubs[0], stubs[1])
    read = [_of_stub(bench, stub, own) for stub in own]
    if not read[0] and not read[1]:
        return finding
    missing = tuple(name for name, found in zip((wire.start, wire.end), read, strict=True) if not found)
    if missing:
        return replace(finding, todo=ReadPieces(wire.name, missing, "one end"))
    if {rest for rest, _ in read[0]} != {rest for rest, _ in read[1]} or len({r for r, _ in read[0]}) != 1:
        return replace(finding, todo=ReadPieces(wire.name, (wire.start, wire.end), "rests"))
    return _placed(bench, finding, index, (own, (_mean(read[0]), _mean(read[1]))))


def _placed(
    bench: Bench, finding: Finding, index: int, told: tuple[tuple[Legs, Legs], tuple[Piece, Piece]]
) -> Finding:
    wire = bench.harness.wires[index]
    others = [_metres(bench, stub) for stub in told[0]]
    branched = any(stub.ends for stub in told[0])
    if branched and (wire.length_m is None or None in others):
        return finding
    first, second = (
        replace(piece, others_m=other or 0.0) for piece, other in zip(told[1], others, strict=True)
    )
    whole = _whole_wire(bench, told[0])
    found = place_break(bench.harness, wire.length_m, (first, second), whole)
    if found.doubt:
        why: BreakWhy = found.doubt
        return replace(finding, todo=ReadPieces(wire.name, (wire.start, wire.end), why))
    place = WirePlace(
        wire.name,
        wire.start,
        found.metres,
        found.interval_metres,
        found.share,
        found.interval_share,
        zone=found.zone,
    )
    return replace(finding, place=place)


def _metres(bench: Bench, stub: Legs) -> float | None:
    lengths = [bench.harness.wires[wire].length_m for wire in stub.ends]
    return None if None in lengths else sum(length or 0.0 for length in lengths)


def _of_stub(bench: Bench, stub: Legs, own: tuple[Legs, Legs]) -> list[tuple[frozenset[int], Piece]]:
    """Readings from one piece: the circuits it was read against, and the piece."""
    other = own[1] if stub is own[0] else own[0]
    out = []
    for row in np.flatnonzero(bench.readings.quantity == Quantity.CAPACITANCE).tolist():
        sides = _points(bench, row)
        here = [bool(side & stub.points) for side in sides]
        if here[0] == here[1]:
            continue
        lead, rest = (sides[0], sides[1]) if here[0] else (sides[1], sides[0])
        if not lead & other.points:
            out.append((_circuits(bench, rest - other.points), _piece(bench, row)))
    return out


def _points(bench: Bench, row: int) -> tuple[frozenset[int], frozenset[int]]:
    readings = bench.readings
    tied = readings.bonded.get(row, ((), ()))
    return (
        frozenset((int(readings.start[row]), *tied[0])),
        frozenset((int(readings.end[row]), *tied[1])),
    )


def _circuits(bench: Bench, points: frozenset[int]) -> frozenset[int]:
    """The circuits of points, so that either end of a wire of the rest is the same; −1 − code elsewhere."""
    declared = len(bench.harness.points)
    return frozenset(int(bench.harness.net_of[p]) if p < declared else -1 - p for p in points)


def _piece(bench: Bench, row: int) -> Piece:
    value = float(bench.readings.value[row]) - bench.meter.lead_farads
    stated = float(bench.readings.uncertainty[row])
    share, floor, step = _limits(bench.meter, value)
    if math.isfinite(stated):
        return Piece(
            farads=value, uncertainty=stated, step=stated if not bench.meter.capacitance_ranges else step
        )
    own = math.hypot(share * value, floor) / math.sqrt(3)
    return Piece(farads=value, uncertainty=math.hypot(own, step / math.sqrt(12)), step=step)


def _limits(meter: Instrument, farads: float) -> tuple[float, float, float]:
    """Share, farads and step of the range that holds the value."""
    ranges = meter.capacitance_ranges
    if not ranges:
        return _GENERIC
    one = next((each for each in ranges if farads <= each.up_to_farads), ranges[-1])
    return one.percent / 100, one.counts * one.resolution_farads, one.resolution_farads


def _mean(read: list[tuple[frozenset[int], Piece]]) -> Piece:
    pieces = [piece for _, piece in read]
    count = len(pieces)
    return Piece(
        farads=sum(piece.farads for piece in pieces) / count,
        uncertainty=math.sqrt(sum(piece.uncertainty**2 for piece in pieces)) / count,
        step=max(piece.step for piece in pieces),
    )


def _whole_wire(bench: Bench, own: tuple[Legs, Legs]) -> float | None:
    """Farads a metre of whole circuits that were read against others; None where there are none."""
    harness, found = bench.harness, []
    broken = own[0].points | own[1].points
    for row in np.flatnonzero(bench.readings.quantity == Quantity.CAPACITANCE).tolist():
        sides = _points(bench, row)
        lead = sides[0] if len(sides[0]) == 1 else sides[1]
        if len(lead) != 1 or lead & broken or not (sides[0] | sides[1]) - lead:
            continue
        legs = legs_at(harness, bench.wiring, next(iter(lead)))
        if legs is None or not legs.ends:
            continue
        length = _metres(bench, legs)
        if length:
            found.append(_piece(bench, row).farads / length)
    return sum(found) / len(found) if found else None
