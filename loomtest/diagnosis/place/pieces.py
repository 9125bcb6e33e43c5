"""Capacitance readings as pieces of a broken wire: which end each is of, against what, and how well known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from loomtest.diagnosis.place.ask import break_readings, lead_of
from loomtest.diagnosis.place.breaks import Piece, place_break
from loomtest.diagnosis.place.legs import Legs, legs_at
from loomtest.diagnosis.place.taken import Bench
from loomtest.diagnosis.verdict import Finding, WirePlace
from loomtest.diagnosis.why import BreakWhy, ReadPieces
from loomtest.readings.model import Instrument, Quantity

# A meter of which nothing is stated: 2 % and 10 pF, in steps of 10 pF (common practice).
_GENERIC = (0.02, 10e-12, 10e-12)


def with_break(bench: Bench, finding: Finding) -> Finding:
    """An open with the place of its break, or with the readings that would tell it."""
    if finding.fault != "open" or len(finding.suspects) != 1:
        return finding
    none_read = bench.readings.quantity.max(initial=0) < Quantity.CAPACITANCE
    if none_read and not bench.can_place_breaks:
        return finding
    index = next(i for i, row in enumerate(bench.harness.wires) if row.name == finding.suspects[0].wire)
    wire, own = bench.harness.wires[index], _pieces_of(bench, index)
    if own is None:
        return finding
    read = [_of_stub(bench, stub, own) for stub in own]
    nothing = not read[0] and not read[1]
    at = int(bench.wiring.start[index]), int(bench.wiring.end[index])
    ends = lead_of(bench, own[0], at[0]), lead_of(bench, own[1], at[1])
    if any(stub.ends for stub in own) and None in (wire.length_m, *(_metres(bench, stub) for stub in own)):
        return finding if nothing else replace(finding, todo=ReadPieces(wire.name, ends, "lengths"))
    if bench.can_place_breaks:
        had = bool(read[0]), bool(read[1]), _whole_wire(bench, own) is not None
        finding = replace(finding, asked=break_readings(bench, index, own, had))
    if nothing:
        return finding
    missing = tuple(name for name, found in zip(ends, read, strict=True) if not found)
    if missing:
        return replace(finding, todo=ReadPieces(wire.name, missing, "one end"))
    if {rest for rest, _ in read[0]} != {rest for rest, _ in read[1]} or len({r for r, _ in read[0]}) != 1:
        return replace(finding, todo=ReadPieces(wire.name, ends, "rests", _rests(bench, read)))
    return _placed(bench, finding, (index, ends), (own, (_mean(read[0]), _mean(read[1]))))


def _placed(
    bench: Bench,
    finding: Finding,
    of: tuple[int, tuple[str, str]],
    told: tuple[tuple[Legs, Legs], tuple[Piece, Piece]],
) -> Finding:
    wire = bench.harness.wires[of[0]]
    others = [_metres(bench, stub) for stub in told[0]]
    first, second = (
        replace(piece, others_m=other or 0.0) for piece, other in zip(told[1], others, strict=True)
    )
    whole = _whole_wire(bench, told[0])
    found = place_break(bench.harness, wire.length_m, (first, second), whole)
    if found.doubt:
        why: BreakWhy = found.doubt
        return replace(finding, todo=ReadPieces(wire.name, of[1], why))
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


def _rests(bench: Bench, read: list[list[tuple[frozenset[int], Piece]]]) -> tuple[tuple[str, ...], ...]:
    """Names of the circuits that either end was read against, the last reading of each."""
    points, nets = bench.readings.points, bench.harness.nets
    return tuple(
        tuple(nets[net].name if net >= 0 else points[-1 - net] for net in sorted(each[-1][0]))
        for each in read
    )


def _pieces_of(bench: Bench, index: int) -> tuple[Legs, Legs] | None:
    """What still hangs on either end of a broken wire; None for a part, and where the two hang together."""
    wiring = bench.wiring
    one, other = (legs_at(bench.harness, wiring, int(e[index]), index) for e in (wiring.start, wiring.end))
    if bench.harness.wires[index].kind != "wire" or one is None or other is None or one.points & other.points:
        return None
    return one, other


def _metres(bench: Bench, stub: Legs) -> float | None:
    lengths = [bench.harness.wires[wire].length_m for wire in stub.ends]
    return None if None in lengths else sum(length or 0.0 for length in lengths)


def _of_stub(bench: Bench, stub: Legs, own: tuple[Legs, Legs]) -> list[tuple[frozenset[int], Piece]]:
    """Readings from one piece: the circuits it was read against, and the piece."""
    other = own[1] if stub is own[0] else own[0]
    out = []
    for row in _rows(bench):
        sides = _points(bench, row)
        here = [bool(side & stub.points) for side in sides]
        if here[0] == here[1]:
            continue
        lead, rest = (sides[0], sides[1]) if here[0] else (sides[1], sides[0])
        if not lead & other.points:
            out.append((_circuits(bench, rest - other.points), _piece(bench, row)))
    return out


def _rows(bench: Bench) -> list[int]:
    """Capacitances that show a number."""
    readings = bench.readings
    shown = (readings.quantity == Quantity.CAPACITANCE) & np.isfinite(readings.value)
    return [int(row) for row in np.flatnonzero(shown)]


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
    for row in _rows(bench):
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
