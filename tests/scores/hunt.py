"""Hunts for wrong answers on small random looms: `python -m tests.scores.hunt 1000 --seed 0`.

Small looms of every awkward shape (rings, wires side by side, bare names, parts, switches, empty cavities),
healthy or with a fault, read whole or in part by a four-wire or an ordinary meter; in a third of them one
reading is a slip: flipped, mistyped, or read again with another value. Counted, each with its seed:

- false pass: `pass` though the copper is faulty where the verdict says it was looked at, or though some
  reading cannot come from any loom in which nothing is wrong (bounds by a dense solve of `tests.looms.solve`
  with every wire at its least and at its most: by Rayleigh's monotonicity no sound loom lies outside);
- gross joint passed: a wire passes that has more than three times what it was judged at, or is open;
- false fail: `fail` on a healthy loom whose readings are as the meter gave them;
- crash: whatever the judge raises.
"""

from __future__ import annotations

import argparse
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.copper import expectation_of, part_ohms
from loomtest.harness.model import Harness, IsolationLevel, Kind, Limits, Wire, connector_of
from loomtest.readings.model import Quantity, Readings
from tests.looms.faults import Fault, Loom, healthy_loom, random_fault
from tests.looms.measure import FourWire, Handheld, bonded_pairs, measure, reachable_pairs, taken
from tests.looms.solve import FloatArray, resistances

Rng = np.random.Generator
KINDS = ("open", "short", "crossed", "misplaced", "joint", "leakage", "part")
PARTS: tuple[Kind, ...] = ("lamp", "coil", "resistor")
SLIPS = ("flipped", "decade", "again", "negative", "elsewhere", "typed")
CONDUCTS = ("wire", "fuse")
LEADS_OHM, UNKNOWN_WIRE_OHM, SIGMAS = 0.5, 0.25, 7.0


@dataclass(frozen=True)
class Hunted:
    """One loom, its readings, and what was done to them (`slip`, empty where nothing)."""

    loom: Loom
    readings: Readings
    slip: str


@dataclass(frozen=True)
class Wrong:
    """A wrong answer: what kind it is, and why."""

    kind: str
    why: str


def small_harness(rng: Rng) -> Harness:
    """Two to nine wires on few points, so that rings and doubled wires are common; some parts."""
    connectors = range(1, int(rng.integers(2, 5)))
    names = [f"X{c}:{k}" for c in connectors for k in range(1, int(rng.integers(2, 6)))]
    names += ["GND1", "GND2"][: int(rng.integers(3))] + ["SP1", "BATT+"][: int(rng.integers(3))]
    if len(names) < 4:
        names += ["STUD", "HORN"]
    few = [str(p) for p in rng.permutation(names)][: int(rng.integers(3, len(names) + 1))]
    sized = rng.random() < 0.6
    wires: list[Wire] = []
    for _ in range(int(rng.integers(1, 9))):
        a, b = (str(p) for p in rng.choice(few, 2, replace=False))
        if rng.random() < 0.15 and wires:  # a second wire beside the last
            a, b = wires[-1].start, wires[-1].end
        wires.append(_wire(rng, len(wires), a, b, sized))
    if rng.random() < 0.3:
        for _ in range(int(rng.integers(1, 3))):
            a, b = (str(p) for p in rng.choice(names, 2, replace=False))
            kind = PARTS[int(rng.choice(3, p=[0.5, 0.3, 0.2]))]
            middle = {"lamp": 3.0, "coil": 80.0, "resistor": 470.0}[kind]
            span = (middle * 0.7, middle * 1.4) if rng.random() < 0.7 else (None, None)
            wires.append(Wire(f"P{len(wires) + 1}", a, b, kind, ohms_min=span[0], ohms_max=span[1]))
    mentioned = list(dict.fromkeys(p for w in wires for p in (w.start, w.end)))
    cavities: dict[str, tuple[str, ...]] = {}
    if rng.random() < 0.6:
        for connector in dict.fromkeys(connector_of(p) for p in mentioned if ":" in p):
            cavities[connector] = tuple(str(k) for k in range(1, 6))
    declared = [f"{c}:{k}" for c, own in cavities.items() for k in own]
    points = tuple(dict.fromkeys([*mentioned, *declared]))
    hidden = frozenset(p for p in mentioned if p == "SP1" and rng.random() < 0.3)
    level: IsolationLevel = "full" if rng.random() < 0.5 else "neighbours"
    worked = frozenset(c for c in ("X1",) if rng.random() < 0.3)
    return Harness(
        "hunted",
        tuple(wires),
        points,
        unreachable=hidden,
        worked_on=worked,
        limits=Limits(isolation=level),
        cavities=cavities,
    )


def _wire(rng: Rng, index: int, a: str, b: str, sized: bool) -> Wire:
    size = float(rng.choice([0.5, 0.75, 1.5, 2.5])) if sized else None
    length = round(float(rng.uniform(0.2, 3.0)), 2) if sized else None
    return Wire(f"W{index + 1}", a, b, size_mm2=size, length_m=length)


def hunted(seed: int) -> Hunted:
    """The loom and readings of a seed; the same seed gives the same."""
    rng = np.random.default_rng([seed, 15])
    while True:
        harness = small_harness(rng)
        parts = [w for w in harness.wires if not w.conducts]
        ends = [(harness.code_of[w.start], harness.code_of[w.end]) for w in parts]
        if all(harness.net_of[a] != harness.net_of[b] for a, b in ends) and harness.reachable.sum() > 1:
            break
    loom = healthy_loom(harness, rng, spread=0.7)
    if rng.random() < 0.5:
        faults = [random_fault(loom, rng, str(rng.choice(KINDS))) for _ in range(int(rng.integers(1, 3)))]
        kept: list[Fault] = []
        for fault in faults:
            moved = {end for other in kept for end in other.moved}
            held = {p for other in kept for p in other.moves.values()}
            if fault and not moved & set(fault.moved) and not held & set(fault.moves.values()):
                kept.append(fault)
        loom = loom.with_faults(kept)
    meter: FourWire | Handheld = FourWire()
    if rng.random() < 0.4:
        meter = Handheld(lead_ohm=float(rng.uniform(0.05, 0.4)), stated_lead=bool(rng.random() < 0.5))
    pairs = reachable_pairs(loom)
    if rng.random() < 0.4:  # in part
        pairs = [pair for pair in pairs if rng.random() < 0.7]
    pairs += [pair for pair in pairs if rng.random() < (0.3 if isinstance(meter, Handheld) else 0.1)]
    bonded = bonded_pairs(harness) if rng.random() < 0.2 else []
    readings = measure(loom, pairs or reachable_pairs(loom), rng, meter, bonded)
    slip = ""
    if rng.random() < 0.35:
        readings, slip = _slipped(readings, rng)
    return Hunted(loom, readings, slip)


def _slipped(readings: Readings, rng: Rng) -> tuple[Readings, str]:
    """One reading as a tired person writes it down."""
    numbers = np.flatnonzero(np.isfinite(readings.value))
    pool = numbers if len(numbers) and rng.random() < 0.8 else np.arange(len(readings))
    at, kind = int(rng.choice(pool)), str(rng.choice(SLIPS))
    value = float(readings.value[at])
    if kind == "flipped":
        new = np.inf if np.isfinite(value) else round(float(rng.uniform(0.05, 0.6)), 2)
    elif not np.isfinite(value):
        return readings, ""
    elif kind == "negative":
        new = -value - 0.5
    elif kind == "elsewhere":
        new = float(readings.value[int(rng.integers(len(readings)))])
    elif kind == "decade":
        new = value * float(rng.choice([0.1, 10.0, 100.0, 1e5]))
    elif kind == "typed":
        new = value + float(rng.choice([3.0, 7.0, 90.0]))
    else:
        new = value * float(rng.choice([4.0, 30.0, 1e5]))
    where = at
    if kind == "again":  # the right value stands too
        readings = taken(readings, np.append(np.arange(len(readings)), at))
        where = len(readings) - 1
    values, above = readings.value.copy(), readings.above_ohm.copy()
    values[where] = new
    above[where] = 4e7 if np.isinf(new) and np.isfinite(above).any() else np.nan
    uncertainty = readings.uncertainty.copy()
    if np.isinf(new):
        uncertainty[where] = np.nan
    elif np.isinf(value) and readings.instrument is None:
        uncertainty[where] = 0.001
    changed = replace(readings, value=values, above_ohm=above, uncertainty=uncertainty)
    names = [readings.points[int(c[where])] for c in (readings.start, readings.end)]
    return changed, f"{kind}: {names[0]} {names[1]} {value:g} -> {new:g}"


# --- the oracle ----------------------------------------------------------------------------------------


def sound_bounds(
    harness: Harness, points: tuple[str, ...], judged_ohm: float
) -> tuple[FloatArray, FloatArray]:
    """(least, most) ohms between all points of a loom in which nothing is wrong; +inf where apart."""
    code = {p: i for i, p in enumerate(points)}
    expectation = expectation_of(harness)
    low, high = [], []
    for index, wire in enumerate(harness.wires):
        ends = code[wire.start], code[wire.end]
        if wire.conducts:
            expected, spread = expectation.expected_ohm[index], expectation.spread_ohm[index]
            most = UNKNOWN_WIRE_OHM + judged_ohm if np.isnan(expected) else expected + judged_ohm + 2 * spread
            low.append((*ends, 1e-6))
            high.append((*ends, float(most)))
        else:
            least, most = part_ohms(wire)
            low.append((*ends, least * 0.97))
            high.append((*ends, most * 1.03))
    return resistances(len(points), low), resistances(len(points), high)


def impossible(case: Hunted, judged_ohm: float) -> str:
    """The first reading that no sound loom gives, in words; empty where all can be."""
    readings, harness = case.readings, case.loom.harness
    least, most = sound_bounds(harness, readings.points, judged_ohm)
    two_wire = readings.instrument is not None
    for i in range(len(readings)):
        if i in readings.bonded:
            continue
        a, b, value = int(readings.start[i]), int(readings.end[i]), float(readings.value[i])
        low, high = least[a, b], most[a, b]
        if np.isinf(value):
            proved = readings.above_ohm[i] if np.isfinite(readings.above_ohm[i]) else 2e7
            if np.isfinite(high) and proved > high:
                return f"{readings.points[a]} {readings.points[b]} over-range where {high:g} at most"
            continue
        if np.isinf(low):
            if value < harness.limits.isolation_ohms * 0.9:
                return f"{readings.points[a]} {readings.points[b]} {value:g} between circuits apart"
            continue
        u = float(readings.uncertainty[i])
        u = (
            u
            if np.isfinite(u)
            else 0.03 + 0.01 * abs(value) + 0.003 * 10 ** np.ceil(np.log10(abs(value) + 0.1))
        )
        slack = SIGMAS * u + (LEADS_OHM if two_wire else 0.0)
        if not low - SIGMAS * u <= value <= high + slack:
            return f"{readings.points[a]} {readings.points[b]} {value:g} where {low:g} to {high:g}"
    return ""


def faulty(case: Hunted, verdict: Verdict, judged_ohm: float) -> str:
    """What is truly wrong with the copper and lies in what the verdict says was shown; else empty."""
    loom, harness = case.loom, case.loom.harness
    cut = sorted({w for f in loom.faults for w in f.cut})
    if cut:
        return f"{harness.wires[cut[0]].name} is broken"
    truth, count = loom.matrix(), len(harness.points)
    least, most = sound_bounds(harness, harness.points, judged_ohm)
    net = harness.net_of
    a, b = np.triu_indices(count, 1)
    seen = harness.reachable[a] & harness.reachable[b]
    a, b = a[seen], b[seen]
    wanted = required_pairs(harness, verdict.isolation).contains(net[a], net[b])
    wanted |= (net[a] == net[b]) | np.isfinite(least[a, b])
    apart_from = 0.8 * np.minimum(least, harness.limits.isolation_ohms)
    wrong = wanted & ((truth[a, b] < apart_from[a, b]) | (truth[a, b] > 1.5 * most[a, b] + 2 * judged_ohm))
    wrong &= (truth[a, b] < apart_from[a, b]) | np.isfinite(most[a, b])
    first = int(np.flatnonzero(wrong)[0]) if wrong.any() else -1
    if first < 0:
        return ""
    return f"{harness.points[a[first]]} to {harness.points[b[first]]} truly has {truth[a[first], b[first]]:g}"


def gross_joint(case: Hunted, verdict: Verdict, judged_ohm: float) -> str:
    """A wire that passes and is open, or has more than three times what it may."""
    loom, harness = case.loom, case.loom.harness
    if any(f.moved for f in loom.faults):
        return ""
    ohms, cut = loom.ohms.copy(), {w for f in loom.faults for w in f.cut}
    for fault in loom.faults:
        for changed, value in fault.ohms.items():
            ohms[changed] = value
    expectation = expectation_of(harness)
    rows = {row.wire: row for row in verdict.wires}
    for index, wire in enumerate(harness.wires):
        row = rows.get(wire.name)
        if row is None or row.verdict != "pass" or not wire.conducts:
            continue
        if index in cut:
            return f"{wire.name} passes and is open"
        expected, spread = expectation.expected_ohm[index], expectation.spread_ohm[index]
        healthy = UNKNOWN_WIRE_OHM if np.isnan(expected) else expected + 3 * spread
        limit = row.limit_ohms if row.limit_ohms is not None else 0.0
        if ohms[index] > max(healthy + 3 * judged_ohm, 3 * limit):
            return f"{wire.name} passes with {ohms[index]:g}"
    return ""


def wrong_answers(case: Hunted) -> Iterator[Wrong]:
    """What the judge gets wrong of this loom."""
    readings, loom = case.readings, case.loom
    try:
        verdict = judge(loom.harness, readings, readings.instrument)
    except Exception as problem:
        place = traceback.extract_tb(problem.__traceback__)[-1]
        yield Wrong(
            "crash", f"{type(problem).__name__} at {place.filename.rpartition('/')[2]}:{place.lineno}"
        )
        return
    judged = verdict.joints_judged_at_ohms or 1.0
    if verdict.verdict == "pass":
        why = impossible(case, judged) or faulty(case, verdict, judged)
        if why:
            yield Wrong("false pass", why)
    if not case.slip and (why := gross_joint(case, verdict, judged)):
        yield Wrong("gross joint passed", why)
    if not case.slip and not loom.faults and verdict.verdict == "fail":
        yield Wrong("false fail", "; ".join(f"{f.fault} {f.points}" for f in verdict.findings))


def show(seed: int) -> None:
    """Prints the loom of a seed, what was read, and the verdict."""
    case = hunted(seed)
    readings, harness = case.readings, case.loom.harness
    for wire, ohm in zip(harness.wires, case.loom.ohms, strict=True):
        made = f"{wire.kind} {wire.size_mm2} {wire.length_m}"
        print(f"  {wire.name} {wire.start} {wire.end} {made} true {ohm:.4g}")
    print(f"  {harness.limits.isolation}, unreachable {set(harness.unreachable)}, slip {case.slip}")
    for fault in case.loom.faults:
        print(f"  fault {fault.fault}: {fault.detail} {fault.points} {fault.moves or ''}")
    for i in range(len(readings)):
        quantity = Quantity(int(readings.quantity[i])).name
        print(
            f"  {readings.points[readings.start[i]]} {readings.points[readings.end[i]]} "
            f"{readings.value[i]:.5g} {quantity} {readings.bonded.get(i, '')}"
        )
    verdict = judge(harness, readings, readings.instrument)
    print(verdict.verdict, verdict.wiring, verdict.joints, verdict.joints_judged_at_ohms, verdict.coverage)
    for what, found in (("found", verdict.findings), ("maybe", verdict.undecided)):
        for f in found:
            print(f"  {what} {f.fault} {f.points} {[s.wire for s in f.suspects]} {f.text}")
    for doubted in getattr(verdict, "doubted", ()):
        print("  doubted", doubted)
    for row in verdict.wires:
        print(" ", row.wire, row.ohms, row.interval_ohms, row.limit_ohms, row.bad_probability, row.verdict)
    for wrong in wrong_answers(case):
        print(" ", wrong)


def hunt(count: int, seed: int) -> list[tuple[int, Wrong]]:
    """What went wrong in `count` looms from this seed on."""
    return [(n, wrong) for n in range(seed, seed + count) for wrong in wrong_answers(hunted(n))]


def main() -> None:
    """Reads the options and prints."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("count", type=int, nargs="?", default=1000, help="looms")
    parser.add_argument("--seed", type=int, default=0, help="seed of the first loom")
    parser.add_argument("--show", type=int, help="print the loom of this seed")
    options = parser.parse_args()
    if options.show is not None:
        show(options.show)
        return
    found = hunt(options.count, options.seed)
    for number, wrong in found:
        print(f"  {number}: {wrong.kind}: {wrong.why}")
    counts = Counter(wrong.kind for _, wrong in found)
    told = ", ".join(
        f"{counts[kind]} {kind}" for kind in ("false pass", "gross joint passed", "false fail", "crash")
    )
    print(f"{options.count} looms from seed {options.seed}: {told}")


if __name__ == "__main__":
    main()
