"""The probing plan: which few pairs to measure, in an order that the arms like, and what that proves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, overload

import numpy as np

from loomtest.bench.plan.continuity import (
    Cell,
    CellProbings,
    Probing,
    What,
    cells_of,
    expected_wire_ohms,
    tree_probings,
)
from loomtest.bench.plan.isolation import IsolationProbings, isolation_probings
from loomtest.bench.plan.loops import looped_probings
from loomtest.bench.plan.parts import part_probings
from loomtest.bench.plan.route import Visit, route, station_of
from loomtest.bench.plan.walk import BenchWalk
from loomtest.diagnosis.seen.isolation import pairs_in_segments, part_groups, required_pairs
from loomtest.diagnosis.verdict import plain_number
from loomtest.harness.model import Harness, IntArray, IsolationLevel
from loomtest.words.plan import (
    MOST_NETS_COMPARED,
    SECONDS_PER_CLIP,
    SECONDS_PER_PROBING,
    SECONDS_PER_WALK,
    assumed,
    in_segments,
    proven,
    unproven,
)

LEVELS: tuple[IsolationLevel, ...] = ("none", "neighbours", "bonded", "full")


@dataclass(frozen=True, slots=True)
class Step:
    """One probing. `start` and `end` are what the two leads touch (`from` and `to` of a reading).

    The clip stays on `start`, or, where `clip_at_end`, on `end`; the other lead moves. `expected_ohms` is
    +inf for over-range and None where it cannot be computed (of `isolation`: parts lead from the one net to
    the other through a third, and what they give is expected). `bonded`: points tied to `end` by clips.
    `quantity` is `resistance` or, for a diode, `diode` (red lead on `start`); of `place` it is what a
    `PlaceReading` is of. `wires`: names of the wires and parts that this step is the first to show. `feed`: a
    current flows in at the first point and out at the second.
    """

    step: int
    what: What
    start: str
    end: str
    expected_ohms: float | None
    proves: str
    bonded: tuple[str, ...] = ()
    quantity: str = "resistance"
    clip_at_end: bool = False
    wires: tuple[str, ...] = ()
    feed: tuple[str, ...] = ()

    @property
    def typed(self) -> bool:
        """Volts at a current, or farads: typed with the unit, also where a meter is connected."""
        return self.quantity in ("voltage_drop", "capacitance")

    @property
    def clip(self) -> str:
        """The point that the clip stays on."""
        return self.end if self.clip_at_end else self.start

    @property
    def probe(self) -> str:
        """The point that the moving probe touches."""
        return self.start if self.clip_at_end else self.end

    def to_json(self) -> dict[str, Any]:
        """The step in the contract's shape."""
        out: dict[str, Any] = {"step": self.step, "what": self.what, "from": self.start, "to": self.end}
        if self.bonded:
            out["bonded"] = list(self.bonded)
        if self.quantity != "resistance":
            out["quantity"] = self.quantity
        if self.feed:
            out["feed"] = list(self.feed)
        if self.expected_ohms == float("inf"):
            out["expected"] = "OL"
        elif self.what not in ("isolation", "place"):
            out["expected_ohms"] = None if self.expected_ohms is None else plain_number(self.expected_ohms)
        out["proves"] = self.proves
        return out


class Steps(Sequence[Step]):
    """The steps of a plan. The isolation steps are made when asked for: 4,096 pins can have 8 million."""

    def __init__(self, harness: Harness, head: tuple[Step, ...], isolation: IsolationProbings) -> None:
        self._harness, self._head, self._isolation = harness, head, isolation
        self._names = [net.name for net in harness.nets]
        self._group = part_groups(harness)

    def __len__(self) -> int:
        return len(self._head) + len(self._isolation.start)

    @overload
    def __getitem__(self, index: int) -> Step: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Step, ...]: ...
    def __getitem__(self, index: int | slice) -> Step | tuple[Step, ...]:
        if isinstance(index, slice):
            return tuple(self[i] for i in range(*index.indices(len(self))))
        if index < 0:
            index += len(self)
        if not 0 <= index < len(self):
            raise IndexError(index)
        if index < len(self._head):
            return self._head[index]
        return self._isolation_step(index - len(self._head), index + 1)

    def _isolation_step(self, row: int, number: int) -> Step:
        columns, points = self._isolation, self._harness.points
        start, end = int(columns.start[row]), int(columns.end[row])
        one = self._names[self._harness.net_of[start]]
        teeth = int(columns.teeth[row])
        if not teeth:
            proves = f"{one} apart from {self._names[self._harness.net_of[end]]}"
            through = self._group[self._harness.net_of[start]] == self._group[self._harness.net_of[end]]
            expected = None if through else float("inf")
            return Step(number, "isolation", points[start], points[end], expected, proves)
        first = int(columns.first[row])
        bonded = tuple(points[code] for code in columns.comb[first + 1 : first + teeth].tolist())
        others = (
            self._names[self._harness.net_of[end]] if teeth == 1 else f"the {teeth} circuits clipped together"
        )
        proves = f"{one} apart from {others}"
        return Step(
            number, "isolation", points[start], points[end], float("inf"), proves, bonded, clip_at_end=True
        )


@dataclass(frozen=True)
class Plan:
    """Steps in bench order, what they prove and what stays unproven, and how few could do.

    `totals`: continuity, loops, joints, parts, isolation (numbers of steps), moves (times the clip or a
    tooth of the comb is hung on a point, plus times the probe goes to another connector), minutes; where
    it is known how the loom lies, walk_m too: metres that the probe goes along it.
    `bounds`: the fewest steps that can do for continuity, loops, joints and isolation.
    `ratio`: steps over the sum of the bounds. `proves`, `unproven`, `assumptions`: sentences.
    """

    harness: str
    isolation: IsolationLevel
    steps: Sequence[Step]
    totals: Mapping[str, int]
    bounds: Mapping[str, int]
    ratio: float
    proves: tuple[str, ...]
    unproven: tuple[str, ...]
    assumptions: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The object of the contract, `loomtest-plan/1`."""
        return {
            "schema": "loomtest-plan/1",
            "harness": self.harness,
            "isolation": self.isolation,
            "steps": [step.to_json() for step in self.steps],
            "totals": dict(self.totals),
            "bounds": dict(self.bounds),
            "ratio": plain_number(self.ratio),
            "proves": list(self.proves),
            "unproven": list(self.unproven),
            "assumptions": list(self.assumptions),
        }


def plan(
    harness: Harness,
    isolation: IsolationLevel | None = None,
    joints: bool = False,
    *,
    clips: int | None = None,
    touch_s: float | None = None,
) -> Plan:
    """Which pairs to measure, in which order.

    `isolation`: the level to prove; that of the harness's limits where None. `joints`: also the readings
    that make every wire's own resistance identifiable. `clips`: the most that a comb takes. `touch_s`: how
    long one reading takes this person; assumed where None. Pure; the same harness gives the same plan.

    >>> made = loomtest.plan(loomtest.load_harness("orchard_tractor"), "bonded")
    >>> len(made.steps), made.totals["continuity"], made.totals["isolation"]
    (33, 20, 12)
    >>> made.steps[0].start, made.steps[0].end, made.steps[0].proves
    ('GND2', 'X2:5', 'W19 joined')
    """
    level = harness.limits.isolation if isolation is None else isolation
    inside, cells = _inside(harness)
    left_out = 0 if joints else sum(probing.what == "joints" for probing in inside)
    inside = [probing for probing in inside if joints or probing.what != "joints"]
    parts = part_probings(harness)
    probings = [*inside, *parts.probings]
    head = tuple(_step(harness, number, probing) for number, probing in enumerate(probings, 1))
    apart = isolation_probings(harness, level, clips)
    steps = Steps(harness, head, apart)
    totals = _totals(harness, probings, apart, touch_s or SECONDS_PER_PROBING)
    reachable = np.bincount(harness.net_of[harness.reachable])
    whole = int(reachable.sum() - np.count_nonzero(reachable))  # n − 1 for each net of n reachable points
    bounds = {**totals, "continuity": whole, "isolation": apart.bound}
    for key in ("clips", "moves", "minutes", "walk_m"):
        bounds.pop(key, None)
    return Plan(
        harness.name,
        level,
        steps,
        totals,
        bounds,
        len(steps) / max(1, sum(bounds.values())),
        proven(totals, level, apart.pairs),
        (*unproven(harness, level, cells, parts.alone, left_out), *_offered(harness, level, touch_s)),
        assumed(touch_s),
    )


def _offered(harness: Harness, level: IsolationLevel, touch_s: float | None) -> tuple[str, ...]:
    """The touches that wires which share a branch would take, where nobody asked for them."""
    more = pairs_in_segments(harness, level)
    seconds = more * ((touch_s or SECONDS_PER_PROBING) + SECONDS_PER_WALK)
    return (in_segments(more, round(seconds / 60)),) if more else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCost:
    """What a level of isolation costs on this loom: `touches` of a probe, `clips` hung on a point, `minutes`
    in all; `comb`: the clips that it takes at once (0: none); `pairs` of nets it shows apart, of `of`."""

    isolation: IsolationLevel
    touches: int
    clips: int
    minutes: int
    comb: int
    pairs: int
    of: int

    def to_json(self) -> dict[str, Any]:
        """As `levels` of the plan has it."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


def level_costs(
    harness: Harness, joints: bool = False, clips: int | None = None, touch_s: float | None = None
) -> tuple[LevelCost, ...]:
    """Every level side by side, the least first; none where the loom is so large that nobody probes it."""
    if len(harness.nets) > MOST_NETS_COMPARED:
        return ()
    inside = [probing for probing in _inside(harness)[0] if joints or probing.what != "joints"]
    probings = [*inside, *part_probings(harness).probings]
    whole = required_pairs(harness, "full").count
    out = []
    for level in LEVELS:
        apart = isolation_probings(harness, level, clips)
        totals = _totals(harness, probings, apart, touch_s or SECONDS_PER_PROBING)
        out.append(
            LevelCost(
                isolation=level,
                touches=len(probings) + len(apart.start),
                clips=totals["clips"],
                minutes=totals["minutes"],
                comb=int(apart.teeth.max(initial=0)),
                pairs=apart.pairs,
                of=whole,
            )
        )
    return tuple(out)


def _inside(harness: Harness) -> tuple[list[Probing], list[CellProbings]]:
    """The probings inside the nets, joints included, in the order of the route; and cell by cell."""
    ohms = expected_wire_ohms(harness)
    nets: list[list[Cell]] = []
    looped = set()
    stubs: list[CellProbings] = []
    for index, net in enumerate(harness.nets):
        cells = cells_of(harness, index)
        nets.append([cell for cell in cells if len(cell.points) > 1])
        stubs.extend(CellProbings((), cell.wires) for cell in cells if len(cell.points) < 2)
        if sum(len(cell.wires) for cell in cells) >= len(net.points):
            looped.add(index)
    visits = route(harness, nets)
    by_net: dict[int, list[tuple[Cell, int, list[int]]]] = {}
    for visit in visits:
        place = {code: position for position, code in enumerate(visit.probes)}
        for cell in visit.turn.cells:
            probes = sorted((code for code in cell.points if code != visit.hub), key=place.__getitem__)
            by_net.setdefault(cell.net, []).append((cell, visit.hub, probes))
    done = {
        net: iter(
            looped_probings(harness, own, ohms)
            if net in looped
            else [tree_probings(harness, *one, ohms) for one in own]
        )
        for net, own in by_net.items()
    }
    probings: list[Probing] = []
    cellwise = stubs
    for visit in visits:
        own = [next(done[cell.net]) for cell in visit.turn.cells]
        probings.extend(_clip_kept(visit, [probing for cell in own for probing in cell.probings]))
        cellwise.extend(own)
    return probings, cellwise


def _clip_kept(visit: Visit, probings: Sequence[Probing]) -> list[Probing]:
    """A turn's probings: from the hub in the order of the route, then the others, one clip after another."""
    clips = {visit.hub: 0}
    place = {code: position for position, code in enumerate(visit.probes)}
    for probing in probings:
        clips.setdefault(probing.start, len(clips))
    return sorted(probings, key=lambda p: (clips[p.start], place.get(p.end, len(place))))


def _step(harness: Harness, number: int, probing: Probing) -> Step:
    points = harness.points
    return Step(
        number,
        probing.what,
        points[probing.start],
        points[probing.end],
        probing.expected_ohm,
        _proves(harness, probing),
        quantity=probing.quantity,
        clip_at_end=probing.clip_at_end,
        wires=tuple(harness.wires[wire].name for wire in probing.wires),
    )


def _proves(harness: Harness, probing: Probing) -> str:
    names = ", ".join(harness.wires[wire].name for wire in probing.wires)
    if probing.what == "part":
        return f"{names} as expected" + (" and the right way round" if probing.quantity == "diode" else "")
    net = harness.nets[harness.net_of[probing.start]].name
    if probing.what == "joints":
        return f"with the others, each wire of {net} by itself"
    if probing.in_loop:
        return f"{names or f'every wire of a loop of {net}'} there, by the value"
    return f"{names} joined" if names else f"{net} whole up to {harness.points[probing.end]}"


def _totals(
    harness: Harness, probings: Sequence[Probing], apart: IsolationProbings, touch_s: float
) -> dict[str, int]:
    count = Counter(probing.what for probing in probings)
    clipped_end = np.concatenate([[p.clip_at_end for p in probings], apart.teeth > 0]).astype(np.bool_)
    start = np.concatenate([[p.start for p in probings], apart.start]).astype(np.int64)
    end = np.concatenate([[p.end for p in probings], apart.end]).astype(np.int64)
    stations: dict[str, int] = {}
    station = np.array(
        [stations.setdefault(station_of(p), len(stations)) for p in harness.points], dtype=np.int64
    )
    clips = _changes(np.where(clipped_end, end, start))
    walks = _changes(station[np.where(clipped_end, start, end)])
    hung = clips + apart.hung
    bench, names = BenchWalk(harness), list(stations)
    probed = [names[code] for code in station[np.where(clipped_end, start, end)]] if bench.known else []
    walk = {"walk_m": round(bench.through(probed))} if bench.known else {}
    seconds = touch_s * len(start) + SECONDS_PER_CLIP * hung + SECONDS_PER_WALK * walks
    return {
        "continuity": count["continuity"],
        "loops": count["loops"],
        "joints": count["joints"],
        "parts": count["part"],
        "isolation": len(apart.start),
        "clips": hung,
        "moves": hung + walks,
        **walk,
        "minutes": round(seconds / 60),
    }


def _changes(sequence: IntArray) -> int:
    """How often the sequence takes a value that it did not have just before, the first included."""
    return int(np.count_nonzero(np.diff(sequence))) + (len(sequence) > 0)
