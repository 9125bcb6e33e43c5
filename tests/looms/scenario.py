"""Looms with one to four faults that the readings can show, drawn until every one of them is visible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from loomtest.harness.model import Harness, connector_of
from loomtest.readings.model import Readings
from tests.looms.faults import JOINED_BELOW_OHM, KINDS, Fault, Loom, healthy_loom, random_fault
from tests.looms.generate import Recipe, random_harness
from tests.looms.solve import BoolArray, FloatArray, resistances

Rng = np.random.Generator
ISOLATED_OHM = 1e6


@dataclass(frozen=True)
class Order:
    """What a scenario should hold. `overlap`: each fault shares a net, connector or wire with another."""

    faults: int = 1
    kinds: tuple[str, ...] = KINDS
    overlap: bool = False
    wires: tuple[int, int] = (5, 80)
    recipe: Recipe = field(default_factory=Recipe)


def draw(rng: Rng, order: Order) -> Loom:
    """A loom with exactly `order.faults` visible faults; draws again until it has them."""
    while True:
        low, high = order.wires
        wires = int(np.exp(rng.uniform(np.log(low), np.log(high + 1))))
        recipe = Recipe(**{**order.recipe.__dict__, "wires": wires})
        if rng.random() < 0.25:
            recipe = Recipe(**{**recipe.__dict__, "listed": float(rng.choice([0.0, 0.5]))})
        loom = healthy_loom(random_harness(rng, recipe), rng)
        found = _with_faults(loom, rng, order)
        if found is not None:
            return found


def _with_faults(loom: Loom, rng: Rng, order: Order) -> Loom | None:
    faults: list[Fault] = []
    for _ in range(order.faults):
        for _ in range(25):
            kind = order.kinds[int(rng.integers(len(order.kinds)))]
            fault = random_fault(loom, rng, kind)
            if fault is None or not fits(loom.harness, faults, fault, order.overlap):
                continue
            if all_visible(loom.with_faults([*faults, fault])):
                faults.append(fault)
                break
        else:
            return None
    return loom.with_faults(faults)


def touched(harness: Harness, fault: Fault) -> tuple[set[int], set[str], set[int]]:
    """(nets, connectors, wires) that the fault has to do with."""
    places = [p for p in [*fault.points, *fault.moved.values()] if p in harness.code_of]
    places += [p for w in fault.wires for p in (harness.wires[w].start, harness.wires[w].end)]
    nets = {int(harness.net_of[harness.code_of[p]]) for p in places}
    own = {connector_of(p) for p in fault.points if connector_of(p)}
    return nets, own, set(fault.wires)


def fits(harness: Harness, faults: Sequence[Fault], new: Fault, overlap: bool) -> bool:
    """On nets of its own, or sharing a net, connector or wire with an earlier fault but moving other ends."""
    mine = touched(harness, new)
    earlier = [touched(harness, fault) for fault in faults]
    if not overlap:
        return all(not (mine[0] & other[0]) for other in earlier)
    moved = {end for fault in faults for end in fault.moved}
    changed = {w for fault in faults for w in (*fault.cut, *fault.ohms)}
    if moved & set(new.moved) or changed & {*new.cut, *new.ohms}:
        return False
    if {*new.moves.values()} & {t for fault in faults for t in fault.moves.values()}:
        return False  # two terminals in one cavity: the latter does not go in
    shares = [mine[0] & other[0] or mine[1] & other[1] or mine[2] & other[2] for other in earlier]
    return not faults or any(shares)


def all_visible(loom: Loom) -> bool:
    """True when each fault changes some reading of reachable pairs, and no reading sits near a limit."""
    truth = _reachable(loom, loom.matrix())
    if ((truth > 90.0) & (truth < 115.0)).any() or ((truth > 9e5) & (truth < 1.2e6)).any():
        return False
    copper = loom.copper()
    joined = _reachable(loom, np.equal.outer(copper, copper).astype(float)) > 0
    if (joined & (truth >= JOINED_BELOW_OHM)).any():
        return False
    return all(_visible(loom, fault, truth) for fault in loom.faults)


def _visible(loom: Loom, fault: Fault, truth: FloatArray) -> bool:
    without = Loom(loom.harness, loom.ohms, tuple(f for f in loom.faults if f is not fault))
    before = _reachable(loom, without.matrix(), without)
    if fault.fault == "high-resistance":
        excess = max(fault.ohms[w] - loom.ohms[w] for w in fault.wires)
        rise = np.where((truth < JOINED_BELOW_OHM) & (before < JOINED_BELOW_OHM), truth, 0.0) - before
        copper = loom.copper()
        same = _reachable(loom, np.equal.outer(copper, copper).astype(float)) > 0
        return bool((rise[same] > 0.6 * excess).any())
    part = bool(fault.wires) and not loom.harness.wires[fault.wires[0]].conducts
    if part or fault.bridge:
        low, high = part_range(without)
        if fault.bridge and not _tellable(without, fault, low):
            return False
        low, high = _reachable(loom, low, without), _reachable(loom, high, without)
        below = 4.0 if fault.fault == "short" else 1.5
        outside = (truth < low / below) | (truth > high * 1.5)
        if fault.fault == "leakage":
            outside &= truth < 0.9 * ISOLATED_OHM
        return bool(outside.any())
    changed: BoolArray = (truth < JOINED_BELOW_OHM) != (before < JOINED_BELOW_OHM)
    return bool(changed.any())


def shown_by(loom: Loom, readings: Readings) -> tuple[Fault, ...]:
    """The faults that these readings show: each in turn is dropped when none of them changes without it."""
    kept = list(loom.faults)
    code = {p: i for i, p in enumerate(loom.points)}
    names = readings.points
    pairs = [(names[a], names[b]) for a, b in zip(readings.start, readings.end, strict=True)]

    def seen(faults: Sequence[Fault]) -> FloatArray:
        now = loom.with_faults(faults)
        matrix = np.full((len(code),) * 2, np.inf)
        where = np.array([code[p] for p in now.points], dtype=np.int64)
        matrix[np.ix_(where, where)] = now.matrix()
        shown = np.array([matrix[code[a], code[b]] for a, b in pairs])
        for row, tie in readings.bonded.items():
            shown[row] = clipped_ohms(now, pairs[row], [[names[p] for p in side] for side in tie])
        return np.asarray(np.minimum(shown, 2e7))

    for fault in loom.faults:
        without = [f for f in kept if f is not fault]
        ratio = seen(kept) / seen(without)
        if ((ratio > 2) | (ratio < 0.5)).any():
            continue
        kept = without
    return tuple(kept)


def clipped_ohms(loom: Loom, pair: tuple[str, str], tie: Sequence[Sequence[str]]) -> float:
    """Ohms between two points while clips tie others to each of them."""
    code = {p: i for i, p in enumerate(loom.points)}
    links = [
        (code[own], code[p], 1e-4) for own, side in zip(pair, tie, strict=True) for p in side if p in code
    ]
    return float(resistances(len(code), [*loom.edges(), *links])[code[pair[0]], code[pair[1]]])


def _tellable(without: Loom, fault: Fault, low: FloatArray) -> bool:
    """True when parts across the same two nets cannot hide the bridge, or pass for it."""
    code = {p: i for i, p in enumerate(without.points)}
    a, b = (code[p] for p in fault.points[:2])
    ohm = fault.bridge[2] if fault.bridge else 0.0
    return bool(np.isinf(low[a, b]) if fault.fault == "leakage" else ohm < low[a, b] / 4)


def part_range(loom: Loom) -> tuple[FloatArray, FloatArray]:
    """(lowest, highest) ohms between all points when every part may have anything in its range.

    Rayleigh's monotonicity: no resistance between two points falls when some resistor rises.
    """
    rows = loom.harness.wires
    low = [row.ohms_min if row.ohms_min is not None else 0.1 for row in rows]
    high = [row.ohms_max if row.ohms_max is not None else 1e4 for row in rows]
    return _solved(loom, low), _solved(loom, high)


def _solved(loom: Loom, part_ohms: Sequence[float]) -> FloatArray:
    ohms = loom.ohms.copy()
    for w, row in enumerate(loom.harness.wires):
        if not row.conducts and np.isfinite(ohms[w]):
            ohms[w] = part_ohms[w]
    changed = {w for fault in loom.faults for w in fault.ohms}
    wide = Loom(
        loom.harness, np.array([loom.ohms[w] if w in changed else o for w, o in enumerate(ohms)]), loom.faults
    )
    return resistances(len(wide.points), wide.edges())


def _reachable(loom: Loom, matrix: FloatArray, of: Loom | None = None) -> FloatArray:
    """The part of the matrix that probes can reach, padded with +inf to the points of `loom`."""
    of = of or loom
    code = {p: i for i, p in enumerate(of.points)}
    own = [p for p in loom.points if p not in loom.harness.unreachable]
    out = np.full((len(own), len(own)), np.inf)
    known = np.array([i for i, p in enumerate(own) if p in code], dtype=np.int64)
    there = np.array([code[own[i]] for i in known], dtype=np.int64)
    out[np.ix_(known, known)] = matrix[np.ix_(there, there)]
    np.fill_diagonal(out, 0.0)
    return out
