"""Which readings would tell a place: exactly which two points, what is fed where, what is tied together.

A short is read from both ends of the wire that it is on. Where a circuit has more than two ends, the volts
from one fed end to all others tell the leg first; then an end beyond it is fed.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

from loomtest.diagnosis.place.legs import Legs
from loomtest.diagnosis.place.shorts import PlacedShort, run_together
from loomtest.diagnosis.place.taken import Bench, fed_and_far
from loomtest.diagnosis.why import PlaceReading
from loomtest.harness.model import Harness, IntArray, connector_of

_Pair = tuple[int, int]


def short_readings(
    bench: Bench,
    circuits: tuple[Legs, Legs],
    read: tuple[IntArray, IntArray, IntArray],
    told: PlacedShort | None,
) -> tuple[PlaceReading, ...]:
    """What nobody has read yet of a short. `read`: its drops, its ohms across and within; `told`: what they
    tell. Ohms by four leads are asked of a meter that has them, drops of any other."""
    drops, across, whole = read
    ends = _ends(bench, circuits, drops)
    if bench.meter.method == "four-wire" or (len(across) and not len(drops)):
        return _ohms(bench, ends, (across, whole))
    fed, far = (codes.tolist() for codes in fed_and_far(bench.readings, drops))
    had = set(zip(fed, far, strict=True))
    ahead = [[(own[0], end) for end in own[1:]] for own in ends]
    likely = told.likely if told is not None else (frozenset[int](), frozenset[int]())
    back = [_back(legs, own, wires, had) for legs, own, wires in zip(circuits, ends, likely, strict=True)]
    asked = [*_drops(bench, ends, (ahead[0], ahead[1]), had)]
    for pairs in zip_longest(*back):
        asked += _drops(bench, ends, tuple([pair] if pair else [] for pair in pairs), had)
    return tuple(asked)


def _back(legs: Legs, ends: Sequence[int], likely: frozenset[int], had: set[_Pair]) -> list[_Pair]:
    """Pairs (fed end, first end) from beyond the wires that may hold the short; none while none is known."""
    if len(ends) < 2:
        return []
    if len(ends) == 2:
        return [(ends[1], ends[0])]
    if not all((ends[0], end) in had for end in ends[1:]):
        return []
    ways = {end: [wire for wire, _ in legs.way(ends[0], end)] for end in ends[1:]}
    out = dict[_Pair, None]()
    for wire in sorted(likely):
        beyond = [end for end in ends[1:] if wire in ways[end]]
        if beyond:
            out[min(beyond, key=lambda end: len(ways[end])), ends[0]] = None
    return list(out)


def _drops(
    bench: Bench, ends: Sequence[Sequence[int]], pairs: Sequence[Sequence[_Pair]], had: set[_Pair]
) -> list[PlaceReading]:
    """The drops of one feeding: into both circuits where a pair begins, else at the circuit's first end."""
    if not any(pair not in had for each in pairs for pair in each):
        return []
    names = bench.readings.points
    feed = tuple(names[each[0][0] if each else own[0]] for each, own in zip(pairs, ends, strict=True))
    return [
        PlaceReading("voltage_drop", names[fed], names[far], feed)
        for each in pairs
        for fed, far in each
        if (fed, far) not in had
    ]


def _ohms(
    bench: Bench, ends: Sequence[Sequence[int]], read: tuple[IntArray, IntArray]
) -> tuple[PlaceReading, ...]:
    """Ohms by four leads: along every way, and across from both ends (from all ends of branched circuits)."""
    readings, names = bench.readings, bench.readings.points
    had = {
        frozenset(pair)
        for rows in read
        for pair in zip(readings.start[rows].tolist(), readings.end[rows].tolist(), strict=True)
    }
    one, other = ends
    pairs = [(own[0], end) for own in ends for end in own[1:]]
    if len(one) == len(other) == 2:
        pairs += list(zip(one, other, strict=True))
    else:
        pairs += [(end, other[0]) for end in one] + [(one[0], end) for end in other[1:]]
    return tuple(
        PlaceReading("resistance_4w", names[a], names[b]) for a, b in pairs if frozenset((a, b)) not in had
    )


def _ends(bench: Bench, circuits: tuple[Legs, Legs], drops: IntArray) -> list[tuple[int, ...]]:
    """Of each circuit its ends that a probe reaches, first the one that current is fed into first: beside
    that of the other circuit where wires of the two run together. One point where a circuit has no wire."""
    names, harness = bench.readings.points, bench.harness

    def reached(code: int) -> bool:
        return names[code] not in harness.unreachable

    fed = fed_and_far(bench.readings, drops)[0].tolist()
    out = [_leaves(legs, [code for code in sorted(legs.points) if reached(code)]) for legs in circuits]
    together = _together(bench, circuits, out)
    beside = together[0] if together is not None and not set(fed) & {*out[0], *out[1]} else None
    ordered: list[tuple[int, ...]] = []
    for side, own in enumerate(out):
        begin = beside[side] if beside is not None else max(own, key=fed.count)
        rest = [end for end in own if end != begin]
        away = None if together is None else together[1][side]
        ordered.append((begin, *(end for end in rest if end == away), *(end for end in rest if end != away)))
    return ordered


def _leaves(legs: Legs, reached: Sequence[int]) -> list[int]:
    """The ends of the tree that a probe reaches; any reached points where those are fewer than two."""
    touching = [code for pair in legs.ends.values() for code in pair]
    leaves = [code for code in reached if touching.count(code) == 1]
    if len(leaves) > 1 or not reached:
        return leaves or sorted(legs.points)[:1]
    return list(reached)


def _together(
    bench: Bench, circuits: tuple[Legs, Legs], ends: Sequence[Sequence[int]]
) -> tuple[_Pair, _Pair] | None:
    """Ends of two wires that run together, the longest: (beginnings, far ends); None where there are none."""
    names, harness = bench.readings.points, bench.harness
    found = []
    for one, (a, b) in circuits[0].ends.items():
        for c, d in circuits[1].ends.values():
            beside = run_together(harness, (names[a], names[b]), (names[c], names[d]))
            if beside and {a, b} <= set(ends[0]) and {c, d} <= set(ends[1]):
                far = (c, d) if beside > 0 else (d, c)
                found.append((_metres(harness, one), (a, far[0]), (b, far[1])))
    if not found:
        return None
    _, near, away = max(found)
    return near, away


def _metres(harness: Harness, wire: int) -> float:
    return harness.wires[wire].length_m or 0.0


def lead_of(bench: Bench, stub: Legs, end: int) -> str:
    """The point at which a piece of a broken wire is touched: the wire's own end, else another of the piece
    that a probe reaches; "" where there is none."""
    names, unreachable = bench.readings.points, bench.harness.unreachable
    points = [names[code] for code in (end, *sorted(stub.points)) if names[code] not in unreachable]
    return points[0] if points else ""


def break_readings(
    bench: Bench, index: int, own: tuple[Legs, Legs], had: tuple[bool, bool, bool]
) -> tuple[PlaceReading, ...]:
    """The capacitances that would place the break of a wire: of a whole wire beside it and of both pieces,
    against the other circuits tied together. `had`: which nobody need read again (pieces, whole wire)."""
    codes = int(bench.wiring.start[index]), int(bench.wiring.end[index])
    leads = [lead_of(bench, stub, code) for stub, code in zip(own, codes, strict=True)]
    beside, rest = _rest(bench, index, own)
    if not all(leads) or not rest:
        return ()
    asked = []
    for lead, done in zip(leads, had, strict=False):
        if not done:
            near = [_nearest(net, lead) for net in rest]
            asked.append(PlaceReading("capacitance", lead, near[0], bonded=tuple(near[1:])))
    if beside and len(rest) > 1 and not had[2]:
        others = [net[0] for net in rest if net is not beside]
        asked.append(PlaceReading("capacitance", beside[0], others[0], bonded=tuple(others[1:])))
    return tuple(asked)


def _nearest(net: Sequence[str], lead: str) -> str:
    """A point of the circuit, in the lead's own connector where it has one there."""
    return next((point for point in net if connector_of(point) == connector_of(lead)), net[0])


def _rest(bench: Bench, index: int, own: tuple[Legs, Legs]) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """(points of a whole circuit of known length beside the wire, the circuits to tie together): those whose
    wires run beside it, all others where none do. Never a restraint system's."""
    harness, names = bench.harness, bench.readings.points
    broken = {int(harness.net_of[p]) for stub in own for p in stub.points if p < len(harness.points)}
    wire = harness.wires[index]
    points: dict[int, list[str]] = {}
    for code, net in enumerate(harness.net_of.tolist()):
        if net not in broken and names[code] not in harness.unreachable:
            points.setdefault(net, []).append(names[code])
    wires: dict[int, list[int]] = {}
    for number, start in enumerate(harness.start.tolist()):
        if harness.wires[number].kind == "wire" and int(harness.net_of[start]) in points:
            wires.setdefault(int(harness.net_of[start]), []).append(number)
    ends = wire.start, wire.end
    along = {
        net
        for net, numbers in wires.items()
        if any(run_together(harness, ends, (harness.wires[n].start, harness.wires[n].end)) for n in numbers)
    }
    chosen = sorted(along or wires)
    whole = next(
        (
            net
            for net in chosen
            if net in along and all(harness.wires[n].length_m and bench.wiring.joined[n] for n in wires[net])
        ),
        None,
    )
    rest = {net: tuple(points[net]) for net in chosen}
    return rest.get(whole, ()) if whole is not None else (), list(rest.values())
