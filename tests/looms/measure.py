"""Readings of a loom as instruments would give them, as `Readings` objects."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from loomtest.harness.model import Harness
from loomtest.readings.model import Instrument, Quantity, Range, Readings
from tests.looms.faults import Loom
from tests.looms.solve import FloatArray, resistances

Rng = np.random.Generator
Pair = tuple[int, int]
Bonded = tuple[tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True)
class FourWire:
    """A good bench meter: independent noise, over-range above 40 MΩ."""

    noise_ohm: float = 0.001
    noise_share: float = 0.001
    over_range_ohm: float = 4e7


@dataclass(frozen=True)
class Handheld:
    """An ordinary autoranging two-wire meter, 2000 counts; its leads may be unknown to the tool."""

    lead_ohm: float = 0.2
    stated_lead: bool = False
    touch_ohm: float = 0.02
    percent: float = 0.8
    over_range_ohm: float = 2e7

    def specification(self) -> Instrument:
        """What the tool is told of it."""
        tops = [2e2, 2e3, 2e4, 2e5, 2e6, 2e7]
        return Instrument(
            name="handheld meter of the tests",
            autorange=True,
            lead_ohms=self.lead_ohm if self.stated_lead else None,
            lead_uncertainty_ohms=0.03 if self.stated_lead else 0.0,
            touch_ohms=self.touch_ohm,
            open_above_ohms=self.over_range_ohm,
            beep_below_ohms=50.0,
            ranges=tuple(Range(top, self.percent, 3.0, top / 2000) for top in tops),
        )


Meter = FourWire | Handheld


def reachable_pairs(loom: Loom) -> list[Pair]:
    """Every pair of points that a probe can touch, undeclared cavities with a terminal in them included."""
    codes = [i for i, p in enumerate(loom.points) if p not in loom.harness.unreachable]
    return [(a, b) for n, a in enumerate(codes) for b in codes[n + 1 :]]


def continuity_pairs(harness: Harness, rng: Rng | None = None) -> list[Pair]:
    """Each net from its first reachable point to each other one (or, at random, as a chain)."""
    out: list[Pair] = []
    for net in harness.nets:
        own = [p for p in net.points if harness.reachable[p]]
        chain = rng is not None and rng.random() < 0.5
        out += [(own[i] if chain else own[0], own[i + 1]) for i in range(len(own) - 1)]
    return out


def part_pairs(harness: Harness) -> list[Pair]:
    """The nearest reachable points on both sides of each part."""
    out = []
    for row in harness.wires:
        if not row.conducts:
            ends = [_reachable_of(harness, harness.code_of[p]) for p in (row.start, row.end)]
            if ends[0] is not None and ends[1] is not None and ends[0] != ends[1]:
                out.append((ends[0], ends[1]))
    return out


def _reachable_of(harness: Harness, point: int) -> int | None:
    if harness.reachable[point]:
        return point
    own = [p for p in harness.nets[harness.net_of[point]].points if harness.reachable[p]]
    return own[0] if own else None


def isolation_pairs(harness: Harness, level: str) -> list[Pair]:
    """One probing for every pair of nets (`full`), or of nets in neighbouring cavities (`neighbours`)."""
    first = {}
    for index, net in enumerate(harness.nets):
        own = [p for p in net.points if harness.reachable[p]]
        if own and (level == "full" or net.conductors):
            first[index] = own[0]
    if level == "full":
        nets = sorted(first)
        return [(first[a], first[b]) for n, a in enumerate(nets) for b in nets[n + 1 :]]
    out: dict[tuple[int, int], Pair] = {}
    for name, cavities in harness.cavities.items():
        codes = [harness.code_of[f"{name}:{c}"] for c in cavities]
        for a, b in pairwise(codes):
            one, other = sorted((int(harness.net_of[a]), int(harness.net_of[b])))
            if one != other and one in first and other in first:
                out.setdefault((one, other), (a, b))
    return list(out.values())


def bonded_pairs(harness: Harness) -> list[tuple[Pair, Bonded]]:
    """Net k against all nets before it, which clips tie together."""
    own = [[p for p in net.points if harness.reachable[p]] for net in harness.nets if net.conductors]
    firsts = [points[0] for points in own if points]
    return [((firsts[k], firsts[0]), ((), tuple(firsts[1:k]))) for k in range(1, len(firsts))]


def measure(
    loom: Loom,
    pairs: Sequence[Pair],
    rng: Rng,
    meter: Meter | None = None,
    bonded: Sequence[tuple[Pair, Bonded]] = (),
    diodes: bool = False,
) -> Readings:
    """The readings of these pairs, then of the bonded ones, then forward and reverse volts of each diode."""
    meter = meter or FourWire()
    truth = loom.matrix()
    through = _diode_paths(loom, rng)
    start = np.array([a for a, _ in pairs], dtype=np.int64)
    end = np.array([b for _, b in pairs], dtype=np.int64)
    true = truth[start, end]
    true = np.where(np.isinf(true), through[start, end], true)
    ties = {}
    if bonded:
        ties = {len(pairs) + n: tie for n, (_, tie) in enumerate(bonded)}
        clipped = [_clipped(loom, pair, tie) for pair, tie in bonded]
        start = np.append(start, [pair[0] for pair, _ in bonded])
        end = np.append(end, [pair[1] for pair, _ in bonded])
        true = np.append(true, clipped)
    value, uncertainty = _shown(true, rng, meter)
    quantity = np.full(len(value), int(_quantity(meter)), dtype=np.int64)
    if diodes:
        ends, volts = _diode_volts(loom, truth, rng)
        start, end = np.append(start, ends[:, 0]), np.append(end, ends[:, 1])
        value, uncertainty = np.append(value, volts), np.append(uncertainty, np.full(len(volts), 0.005))
        quantity = np.append(quantity, np.full(len(volts), int(Quantity.DIODE)))
    blank = np.full(len(value), np.nan)
    over = np.isinf(value) & (quantity != int(Quantity.DIODE))
    return Readings(
        points=loom.points,
        start=start.astype(np.int64),
        end=end.astype(np.int64),
        quantity=quantity.astype(np.int64),
        value=value,
        above_ohm=np.where(over & isinstance(meter, FourWire), meter.over_range_ohm, np.nan),
        current_a=blank.copy(),
        uncertainty=uncertainty,
        temperature_c=blank.copy(),
        row=np.arange(2, len(value) + 2, dtype=np.int64),
        bonded=ties,
        instrument=meter.specification() if isinstance(meter, Handheld) else None,
    )


def full_scan(loom: Loom, rng: Rng, meter: Meter | None = None, diodes: bool = False) -> Readings:
    """Every reachable pair."""
    return measure(loom, reachable_pairs(loom), rng, meter, diodes=diodes)


def _quantity(meter: Meter) -> Quantity:
    return Quantity.RESISTANCE_4W if isinstance(meter, FourWire) else Quantity.RESISTANCE


def _shown(true: FloatArray, rng: Rng, meter: Meter) -> tuple[FloatArray, FloatArray]:
    """(values, uncertainties): what the display says; NaN where the specification gives the uncertainty."""
    over = ~(true < meter.over_range_ohm)
    finite = np.where(over, 0.0, true)
    if isinstance(meter, FourWire):
        spread = np.hypot(meter.noise_ohm, meter.noise_share * finite)
        shown = np.maximum(finite + spread * rng.normal(size=len(true)), 0.0)
        return np.where(over, np.inf, shown), np.where(over, np.nan, spread)
    shown = finite + meter.lead_ohm + rng.normal(0, meter.touch_ohm, len(true))
    top = 200.0 * 10.0 ** np.ceil(np.log10(np.maximum(shown, 1e-9) / 200.0)).clip(0, 5)
    gain = 1 + rng.uniform(-1, 1) * meter.percent / 100
    shown = np.round(np.round(np.maximum(shown * gain, 0.0) / (top / 2000)) * (top / 2000), 9)
    return np.where(over, np.inf, shown), np.full(len(true), np.nan)


def _clipped(loom: Loom, pair: Pair, tie: Bonded) -> float:
    links = [(pair[0], p, 1e-4) for p in tie[0]] + [(pair[1], p, 1e-4) for p in tie[1]]
    return float(resistances(len(loom.points), [*loom.edges(), *links])[pair])


def _directed(loom: Loom) -> tuple[list[tuple[int, int]], list[int]]:
    """The diodes' (anode, cathode) codes and rows, as they sit now."""
    code = {point: i for i, point in enumerate(loom.points)}
    turned = {w for fault in loom.faults for w in fault.reversed}
    cut = {w for fault in loom.faults for w in fault.cut}
    pairs, rows = [], []
    for w, (a, b) in enumerate(loom.ends()):
        if loom.harness.wires[w].kind == "diode" and w not in cut:
            pairs.append((code[b], code[a]) if w in turned else (code[a], code[b]))
            rows.append(w)
    return pairs, rows


def _diode_paths(loom: Loom, rng: Rng) -> FloatArray:
    """(P, P) what a resistance range shows where only diodes conduct: some megohms forward, else +inf."""
    out = np.full((len(loom.points),) * 2, np.inf)
    diodes, _ = _directed(loom)
    if not diodes:
        return out
    forward = float(np.exp(rng.uniform(np.log(2e5), np.log(2e7))))
    count = len(loom.points)
    step = np.eye(count, dtype=bool)
    for a, b, _ in loom.edges():
        step[a, b] = step[b, a] = True
    for a, b in diodes:
        step[a, b] = True
    while True:
        wider = (step.astype(np.float32) @ step.astype(np.float32)) > 0
        if (wider == step).all():
            return np.where(step, forward, np.inf)
        step = wider


def _diode_volts(loom: Loom, truth: FloatArray, rng: Rng) -> tuple[np.ndarray, FloatArray]:
    """((n, 2) positive and negative lead, (n,) volts at 1 mA; +inf blocked) for each diode, both ways."""
    through = _diode_paths(loom, rng)
    ends, volts = [], []
    for row in loom.harness.wires:
        if row.kind != "diode":
            continue
        a, b = loom.harness.code_of[row.start], loom.harness.code_of[row.end]
        if not (loom.harness.reachable[a] and loom.harness.reachable[b]):
            continue
        drop = round(float(rng.uniform(0.5, 0.7)), 3)
        for plus, minus in ((a, b), (b, a)):
            beside = truth[plus, minus] * 1e-3
            shown = min(beside, drop) if np.isfinite(through[plus, minus]) else beside
            ends.append((plus, minus))
            volts.append(shown if shown < 2.0 else np.inf)
    return np.array(ends, dtype=np.int64).reshape(-1, 2), np.array(volts, dtype=np.float64)


# --- the same readings told otherwise ------------------------------------------------------------------


def taken(readings: Readings, index: np.ndarray) -> Readings:
    """The readings at these places, in this order."""
    where = {int(old): new for new, old in enumerate(index)}
    columns = ("start", "end", "quantity", "value", "above_ohm", "current_a", "uncertainty", "temperature_c")
    bonded = {where[old]: tie for old, tie in readings.bonded.items() if old in where}
    changed = {name: getattr(readings, name)[index] for name in columns}
    return replace(
        readings,
        **changed,
        row=np.arange(2, len(index) + 2, dtype=np.int64),
        bonded=bonded,
        notes={},
        times={},
    )


def shuffled(readings: Readings, rng: Rng) -> Readings:
    """The rows in another order."""
    return taken(readings, rng.permutation(len(readings)))


def turned(readings: Readings, flip: np.ndarray) -> Readings:
    """Leads exchanged where `flip`; a diode reading, which has a direction, stays."""
    flip = flip & (readings.quantity != int(Quantity.DIODE))
    bonded = {n: (tie[1], tie[0]) if flip[n] else tie for n, tie in readings.bonded.items()}
    return replace(
        readings,
        start=np.where(flip, readings.end, readings.start),
        end=np.where(flip, readings.start, readings.end),
        bonded=bonded,
    )
