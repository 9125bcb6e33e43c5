"""The true copper of a loom, and physical faults put into it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from loomtest.harness.model import Harness, connector_of
from tests.looms.solve import FloatArray, IntArray, components, resistances

Rng = np.random.Generator
RHO_OHM_MM2_PER_M = 1 / 58  # IEC 60028, annealed copper at 20 °C
KINDS = ("open", "short", "leakage", "crossed", "misplaced", "joint", "part")
OVER_RANGE_OHM = 4e7
JOINED_BELOW_OHM = 100.0


@dataclass(frozen=True)
class Fault:
    """One thing done to the copper. `fault` is the word the verdict should use, `detail` what was done.

    `moved`: (wire, side) → the point where that end sits now; side 0 is `from`. `bridge`: two points and
    ohms. `ohms`: new resistance of each wire named there.
    """

    fault: str
    detail: str
    points: tuple[str, ...]
    wires: tuple[int, ...] = ()
    cut: tuple[int, ...] = ()
    moves: dict[str, str] = field(default_factory=dict)
    moved: dict[tuple[int, int], str] = field(default_factory=dict)
    bridge: tuple[str, str, float] | None = None
    ohms: dict[int, float] = field(default_factory=dict)
    reversed: tuple[int, ...] = ()


@dataclass(frozen=True)
class Loom:
    """A harness and its true copper: `ohms` of every row (a diode's is NaN: it conducts one way only)."""

    harness: Harness
    ohms: FloatArray
    faults: tuple[Fault, ...] = ()

    @property
    def points(self) -> tuple[str, ...]:
        """The harness's points, then undeclared cavities that a wire was pushed into."""
        known = set(self.harness.points)
        targets = [p for f in self.faults for p in f.moved.values()]
        return (*self.harness.points, *dict.fromkeys(p for p in targets if p not in known))

    def ends(self) -> list[list[str]]:
        """Where the two ends of every row sit."""
        out = [[w.start, w.end] for w in self.harness.wires]
        for fault in self.faults:
            for (wire, side), point in fault.moved.items():
                out[wire][side] = point
        return out

    def edges(self) -> list[tuple[int, int, float]]:
        """Every conducting edge, diodes left out: two codes into `points` and ohms."""
        code = {point: i for i, point in enumerate(self.points)}
        ohms = self.ohms.copy()
        cut: set[int] = set()
        for fault in self.faults:
            cut.update(fault.cut)
            for wire, value in fault.ohms.items():
                ohms[wire] = value
        out = [
            (code[a], code[b], float(ohms[w]))
            for w, (a, b) in enumerate(self.ends())
            if w not in cut and np.isfinite(ohms[w])
        ]
        bridges = [fault.bridge for fault in self.faults if fault.bridge]
        return out + [(code[a], code[b], ohm) for a, b, ohm in bridges]

    def matrix(self) -> FloatArray:
        """(P, P) true ohms between all points."""
        return resistances(len(self.points), self.edges())

    def copper(self) -> IntArray:
        """(P,) labels of what wires, fuses, shorts and shorted parts join, whatever their ohms."""
        code = {point: i for i, point in enumerate(self.points)}
        cut = {w for fault in self.faults for w in fault.cut}
        pairs = [
            (code[a], code[b])
            for w, (a, b) in enumerate(self.ends())
            if w not in cut and self.harness.wires[w].conducts
        ]
        for fault in self.faults:
            if fault.fault == "short":
                pairs.append((code[fault.points[0]], code[fault.points[1]]))
        return components(len(self.points), pairs)

    def with_faults(self, faults: Sequence[Fault]) -> Loom:
        """The same copper with exactly these faults."""
        return replace(self, faults=tuple(faults))


def healthy_loom(harness: Harness, rng: Rng, spread: float = 1.0) -> Loom:
    """True ohms that follow `[expect]`; `spread` scales every spread. Parts lie inside their ranges."""
    expect = harness.expect
    share = spread * float(np.hypot(expect.copper_spread_percent, expect.length_spread_percent)) / 100
    lot = 1 + spread * 0.00393 * rng.normal(0, expect.temperature_spread_c)
    ohms = np.empty(len(harness.wires))
    for index, wire in enumerate(harness.wires):
        if wire.kind == "wire":
            size = wire.size_mm2 or float(rng.choice([0.75, 1.0, 1.5]))
            length = wire.length_m or float(rng.uniform(0.2, 2.5))
            copper = expect.copper_factor * RHO_OHM_MM2_PER_M * length / size * lot
            copper *= 1 + share * rng.normal()
            ohms[index] = copper + sum(
                _joint(rng, expect.joint_milliohms, expect.joint_spread_milliohms * spread) for _ in range(2)
            )
        elif wire.kind == "fuse":
            ohms[index] = rng.uniform(0.004, 0.05)
        elif wire.kind == "diode":
            ohms[index] = np.nan
        else:
            low, high = _range(wire.kind, wire.ohms_min, wire.ohms_max)
            ohms[index] = np.exp(rng.uniform(np.log(low * 1.08), np.log(high / 1.08)))
    return Loom(harness, ohms)


def _joint(rng: Rng, mean_milliohm: float, spread_milliohm: float) -> float:
    while True:
        value = rng.normal(mean_milliohm, spread_milliohm)
        if value >= 0:
            return float(value) / 1000


def _range(kind: str, low: float | None, high: float | None) -> tuple[float, float]:
    usual = {"lamp": (0.5, 12.0), "coil": (50.0, 300.0), "resistor": (150.0, 5000.0)}[kind]
    return low or usual[0], high or usual[1]


# --- one fault at random: each returns None when the draw cannot be used -------------------------------


def random_fault(loom: Loom, rng: Rng, kind: str) -> Fault | None:
    """A fault of `kind` (one of `KINDS`) somewhere in the loom, or None when this draw found no place."""
    return _MAKERS[kind](loom, rng)


def _pick(rng: Rng, items: Sequence[int]) -> int | None:
    return items[int(rng.integers(len(items)))] if len(items) else None


def _open(loom: Loom, rng: Rng) -> Fault | None:
    wires = [i for i, w in enumerate(loom.harness.wires) if w.conducts]
    wire = _pick(rng, wires)
    if wire is None:
        return None
    row = loom.harness.wires[wire]
    return Fault("open", f"cut {row.name}", (row.start, row.end), (wire,), cut=(wire,))


def _two_nets(loom: Loom, rng: Rng, side_by_side: float) -> tuple[str, str] | None:
    harness = loom.harness
    a = int(rng.integers(len(harness.points)))
    near = [
        i
        for i, p in enumerate(harness.points)
        if connector_of(p) and connector_of(p) == connector_of(harness.points[a])
    ]
    pool = near if near and rng.random() < side_by_side else list(range(len(harness.points)))
    b = pool[int(rng.integers(len(pool)))]
    if harness.net_of[a] == harness.net_of[b]:
        return None
    return harness.points[a], harness.points[b]


def _short(loom: Loom, rng: Rng) -> Fault | None:
    ends = _two_nets(loom, rng, 0.7)
    if ends is None:
        return None
    ohm = float(np.exp(rng.uniform(np.log(0.01), np.log(30.0))))
    return Fault("short", f"{ohm:.3g} ohm", ends, bridge=(*ends, ohm))


def _leakage(loom: Loom, rng: Rng) -> Fault | None:
    ends = _two_nets(loom, rng, 0.7)
    if ends is None:
        return None
    ohm = float(np.exp(rng.uniform(np.log(1e3), np.log(5e5))))
    return Fault("leakage", f"{ohm:.3g} ohm", ends, bridge=(*ends, ohm))


def ends_at(harness: Harness, point: str) -> list[tuple[int, int]]:
    """(wire, side) of every row that belongs at the point."""
    return [
        (w, s)
        for w, row in enumerate(harness.wires)
        for s, p in enumerate((row.start, row.end))
        if p == point
    ]


def _movable(loom: Loom) -> list[str]:
    """Cavities that hold a wire's terminal. A part or a fuse plugged in there stays where it is."""
    rows = loom.harness.wires
    held = {p for w in rows if w.kind == "wire" for p in (w.start, w.end)}
    return [p for p in loom.harness.points if connector_of(p) and p in held]


def wires_at(harness: Harness, point: str) -> list[tuple[int, int]]:
    """(wire, side) of every wire, parts and fuses left out, that belongs at the point."""
    return [end for end in ends_at(harness, point) if harness.wires[end[0]].kind == "wire"]


def _crossed(loom: Loom, rng: Rng) -> Fault | None:
    movable = _movable(loom)
    if len(movable) < 2:
        return None
    first = movable[int(rng.integers(len(movable)))]
    across = rng.random() < 0.2
    pool = [p for p in movable if p != first and (across or connector_of(p) == connector_of(first))]
    length = int(rng.choice([2, 3, 4], p=[0.65, 0.2, 0.15]))
    if len(pool) < length - 1:
        return None
    cycle = [first, *(str(p) for p in rng.choice(pool, length - 1, replace=False))]
    moves = dict(zip(cycle, [*cycle[1:], cycle[0]], strict=True))
    name = "swap" if length == 2 else f"rotation of {length}"
    if len({connector_of(p) for p in cycle}) > 1:
        name += " across connectors"
    return _moving(loom, "crossed", name, tuple(cycle), moves)


def _moving(loom: Loom, fault: str, detail: str, points: tuple[str, ...], moves: dict[str, str]) -> Fault:
    moved = {end: target for point, target in moves.items() for end in wires_at(loom.harness, point)}
    wires = tuple(sorted({w for w, _ in moved}))
    return Fault(fault, detail, points, wires, moves=moves, moved=moved)


def _misplaced(loom: Loom, rng: Rng) -> Fault | None:
    harness = loom.harness
    way = rng.random()
    empty = [p for p in harness.points if connector_of(p) and not ends_at(harness, p)]
    single = [p for p in harness.points if not connector_of(p) and ends_at(harness, p)]
    if way < 0.3 and len(single) > 1:  # a wire's end at another splice or ground
        here = single[int(rng.integers(len(single)))]
        there = single[int(rng.integers(len(single)))]
        ends = wires_at(harness, here)
        if here == there or not ends:
            return None
        end = ends[int(rng.integers(len(ends)))]
        return Fault(
            "misplaced",
            "other splice or ground",
            (here, there),
            (end[0],),
            moves={here: there},
            moved={end: there},
        )
    movable = _movable(loom)
    if not movable:
        return None
    roomy = {connector_of(p) for p in empty}
    with_room = [p for p in movable if connector_of(p) in roomy]
    pool = with_room if with_room and rng.random() < 0.6 else movable
    here = pool[int(rng.integers(len(pool)))]
    beside = [p for p in empty if connector_of(p) == connector_of(here)]
    if way < 0.75 and (pool := beside if beside and rng.random() < 0.8 else empty):
        detail = "empty cavity" if connector_of(pool[0]) == connector_of(here) else "empty cavity elsewhere"
    else:
        # two terminals do not fit one cavity: what is taken can only be a splice, a ground or a stud
        pool, detail = single, "splice or ground"
    if not pool:
        return None
    there = pool[int(rng.integers(len(pool)))]
    return _moving(loom, "misplaced", detail, (here, there), {here: there})


def _joint_fault(loom: Loom, rng: Rng) -> Fault | None:
    """A bad joint, well above every limit that can apply: what is below is another experiment."""
    wires = [i for i, w in enumerate(loom.harness.wires) if w.kind == "wire"]
    wire = _pick(rng, wires)
    if wire is None:
        return None
    row = loom.harness.wires[wire]
    low = 0.15 if all(w.size_mm2 and w.length_m for w in loom.harness.wires if w.kind == "wire") else 5.0
    excess = float(np.exp(rng.uniform(np.log(low), np.log(30.0))))
    ohms = {wire: float(loom.ohms[wire]) + excess}
    return Fault(
        "high-resistance", f"{excess:.3g} ohm in {row.name}", (row.start, row.end), (wire,), ohms=ohms
    )


def _part(loom: Loom, rng: Rng) -> Fault | None:
    wires = [i for i, w in enumerate(loom.harness.wires) if w.kind in ("lamp", "coil", "resistor")]
    wire = _pick(rng, wires)
    if wire is None:
        return None
    row = loom.harness.wires[wire]
    ends = (row.start, row.end)
    way = rng.random()
    if way < 0.4:
        return Fault("open", f"open {row.kind}", ends, (wire,), cut=(wire,))
    low, high = row.ohms_min or 0.1, row.ohms_max or 1e4
    if way < 0.55 and low >= 1.0:
        shorted = min(0.02, low / 30)
        return Fault("short", f"shorted {row.kind}", ends, (wire,), ohms={wire: shorted})
    value = high * rng.uniform(2, 5) if rng.random() < 0.6 or low < 0.5 else low * rng.uniform(0.4, 0.6)
    return Fault("wrong-part", f"{row.kind} of {value:.3g} ohm", ends, (wire,), ohms={wire: float(value)})


_MAKERS: dict[str, Callable[[Loom, Rng], Fault | None]] = {
    "open": _open,
    "short": _short,
    "leakage": _leakage,
    "crossed": _crossed,
    "misplaced": _misplaced,
    "joint": _joint_fault,
    "part": _part,
}
