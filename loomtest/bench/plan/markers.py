"""The plan with marker clips: where each clip goes, round by round, and which points to touch.

One clip on one point of each circuit, and a touch on every other point: that shows each circuit whole and
apart from all others marked with it. Circuits of two rounds are never marked together; a touch on a circuit
of the one while the other's clips are on shows it apart from all of those. Which circuits are touched so is a
least vertex cover of the pairs that are wanted between the two rounds: as many as a greatest matching has
(D. König, Math. Fiz. Lapok 38 (1931) 116), and fewer cannot do while every circuit is marked once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Literal

import numpy as np

from loomtest.bench.plan.route import station_of
from loomtest.diagnosis.markers.kit import MOST_CLIPS
from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.diagnosis.verdict import plain_number
from loomtest.harness.model import Harness, IsolationLevel, connector_of
from loomtest.harness.points import natural
from loomtest.readings.marked import COMMON, Clip
from loomtest.words.plan import (
    MOST_NETS_COMPARED,
    SECONDS_PER_CLIP,
    SECONDS_PER_PROBING,
    SECONDS_PER_WALK,
)

SECONDS_PER_PIN = 10.0  # a pin into a cavity, pulled out again after; a clip on a ring or stud: per clip
Why = Literal["circuit", "itself", "apart"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """A clip on a point in a round."""

    round: int
    clip: Clip
    point: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedStep:
    """One touch of the red lead, the black one on the common. `expected_ohms`: the clip's value; +inf where
    no clip is on the circuit. `why`: a circuit's other end, the marked point itself, apart from a round."""

    step: int
    point: str
    round: int
    expected_ohms: float
    why: Why
    circuit: str


@dataclass(frozen=True, kw_only=True)
class MarkedPlan:
    """Placings and touches in bench order. `totals`: marked (touches), of these circuits, itself and apart,
    rounds, placings, moves, minutes. `bounds`: the fewest touches for the circuits and between the rounds.
    `loops`: wires of rings, which no clip tells one from another."""

    harness: str
    isolation: IsolationLevel
    placings: tuple[Placing, ...]
    steps: tuple[MarkedStep, ...]
    totals: dict[str, int]
    bounds: dict[str, int]
    loops: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The object of the contract, `loomtest-plan/1`, without its sentences."""
        steps = []
        for one in self.steps:
            row: dict[str, Any] = {"step": one.step, "what": "marked", "from": one.point, "to": COMMON}
            row["round"] = one.round
            over = one.expected_ohms == float("inf")
            row["expected" if over else "expected_ohms"] = "OL" if over else plain_number(one.expected_ohms)
            steps.append(row)
        return {
            "schema": "loomtest-plan/1",
            "harness": self.harness,
            "isolation": self.isolation,
            "placements": [
                {"round": one.round, "marker": one.clip.marker, "point": one.point} for one in self.placings
            ],
            "steps": steps,
            "totals": dict(self.totals),
            "bounds": dict(self.bounds),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedCost:
    """What marker clips cost on this loom: `clips` of the kit that are used, `touches`, `placings` (clips put
    on a point), `minutes` in all. `assumed`: no kit was given, and the largest of one range is meant."""

    isolation: IsolationLevel
    clips: int
    touches: int
    placings: int
    minutes: int
    assumed: bool

    def to_json(self) -> dict[str, Any]:
        """As `with_markers` of the plan has it."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


def marked_cost(
    harness: Harness, isolation: IsolationLevel | None = None, clips: Sequence[Clip] | None = None
) -> MarkedCost | None:
    """The way with marker clips beside the levels; with MOST_CLIPS where no kit is given. None where the loom
    is so large that nobody probes it, or has nothing to touch."""
    if len(harness.nets) > MOST_NETS_COMPARED:
        return None
    own = clips or [
        Clip(marker=f"M{n}", ohms=1e4) for n in range(1, MOST_CLIPS + 1)
    ]  # any ohms: none is read
    made = plan_marked(harness, own, isolation)
    if not made.steps:
        return None
    return MarkedCost(
        isolation=made.isolation,
        clips=len({one.clip.marker for one in made.placings}),
        touches=made.totals["marked"],
        placings=made.totals["placings"],
        minutes=made.totals["minutes"],
        assumed=clips is None,
    )


def plan_marked(
    harness: Harness,
    clips: Sequence[Clip],
    isolation: IsolationLevel | None = None,
    every_clip: bool = False,
) -> MarkedPlan:
    """Where the clips of a kit go and what to touch; pure, the same harness gives the same plan.

    A marked point in a connector that was worked on is touched itself as well, for a clip put on by the
    wire's colour hides that the wire sits in another cavity; with `every_clip` every marked point.
    """
    level = harness.limits.isolation if isolation is None else isolation
    draft = _Draft(harness, list(clips), level)
    touches: list[tuple[int, int, Why]] = []  # round, point, why
    for number, nets in enumerate(draft.rounds, 1):
        touches += [(number, code, "circuit") for net in nets for code in draft.others(net)]
        touches += [
            (number, draft.mark[net], "itself")
            for net in nets
            if every_clip
            or {harness.points[draft.mark[net]], connector_of(harness.points[draft.mark[net]])}
            & harness.worked_on
        ]
    ties, bound = draft.ties()
    there = {(number, code) for number, code, _ in touches}
    touches += [touch for touch in ties if touch[:2] not in there]
    steps = _in_bench_order(harness, draft, touches)
    placings = tuple(
        Placing(round=number, clip=clip, point=harness.points[draft.mark[net]])
        for number, nets in enumerate(draft.rounds, 1)
        for net, clip in zip(nets, clips, strict=False)
    )
    count = {why: sum(step.why == why for step in steps) for why in ("circuit", "itself", "apart")}
    walks = _walks(placings, steps)
    pins = sum(bool(connector_of(one.point)) for one in placings)
    seconds = SECONDS_PER_PIN * pins + SECONDS_PER_CLIP * (len(placings) - pins)
    seconds += SECONDS_PER_PROBING * len(steps) + SECONDS_PER_WALK * walks
    return MarkedPlan(
        harness=harness.name,
        isolation=level,
        placings=placings,
        steps=steps,
        totals={
            "marked": len(steps),
            "circuits": count["circuit"],
            "itself": count["itself"],
            "apart": count["apart"],
            "rounds": len(draft.rounds),
            "placings": len(placings),
            "moves": len(placings) + walks,
            "minutes": round(seconds / 60),
        },
        bounds={"marked": count["circuit"] + bound},
        loops=draft.loops,
    )


class _Draft:
    """Which circuits are marked in which round, and where."""

    def __init__(self, harness: Harness, clips: list[Clip], level: IsolationLevel) -> None:
        self.harness, self.clips = harness, clips
        self._pairs = [
            (int(a), int(b)) for block in required_pairs(harness, level).iterate() for a, b in block.tolist()
        ]
        barred = {
            int(harness.net_of[harness.code_of[point]])
            for wire in harness.wires
            if wire.kind == "restraint"
            for point in (wire.start, wire.end)
        }
        self._reach = {
            number: own
            for number, net in enumerate(harness.nets)
            if number not in barred and (own := [code for code in net.points if harness.reachable[code]])
        }
        self._pairs = [(a, b) for a, b in self._pairs if a in self._reach and b in self._reach]
        several = [net for net, points in self._reach.items() if len(points) > 1]
        single = self._marked_singles(set(several))
        self.mark = _marked_points(harness, {net: self._reach[net] for net in (*several, *single)})
        order = {net: position for position, net in enumerate(self.mark)}
        nets = sorted(several, key=order.__getitem__) + sorted(single, key=order.__getitem__)
        size = len(clips)
        self.rounds = [nets[first : first + size] for first in range(0, len(nets), size)]
        self.loops = tuple(
            harness.wires[wire].name
            for net in self.harness.nets
            if len(net.conductors) >= len(net.points)
            for wire in net.conductors
        )

    def others(self, net: int) -> list[int]:
        """The reachable points of a circuit that its clip does not sit on."""
        return [code for code in self._reach[net] if code != self.mark.get(net)]

    def _marked_singles(self, several: set[int]) -> list[int]:
        """Circuits of one reachable point that need a clip: of every wanted pair of two such, one."""
        left = [pair for pair in self._pairs if not set(pair) & several]
        out: list[int] = []
        while left:
            nets = [net for pair in left for net in pair]
            most = max(sorted(set(nets)), key=nets.count)
            out.append(most)
            left = [pair for pair in left if most not in pair]
        return out

    def ties(self) -> tuple[list[tuple[int, int, Why]], int]:
        """(round, point, why) of the touches that show circuits apart which no circuit's own touch does, and
        the fewest that can do."""
        at = {net: number for number, nets in enumerate(self.rounds, 1) for net in nets}
        between: dict[tuple[int, int], list[tuple[int, int]]] = {}
        touches: set[tuple[int, int]] = set()  # round, net
        for a, b in self._pairs:
            if a in at and b in at and at[a] == at[b]:
                if not self.others(a) and not self.others(b):
                    touches.add((at[a], a))
            elif a in at and b in at:
                pair = (a, b) if at[a] < at[b] else (b, a)
                between.setdefault((at[pair[0]], at[pair[1]]), []).append(pair)
            else:
                marked, other = (a, b) if a in at else (b, a)
                touches.add((at[marked], other))
        bound = len(touches)
        for (first, second), pairs in sorted(between.items()):
            for net in least_cover(pairs):
                touches.add((second if at[net] == first else first, net))
                bound += 1
        return [
            (number, self.mark.get(net, self._reach[net][0]), "apart") for number, net in sorted(touches)
        ], bound


def _marked_points(harness: Harness, nets: dict[int, list[int]]) -> dict[int, int]:
    """The point of each circuit that its clip goes on, by circuit, one connector after the other: the one in
    which most circuits that have none yet lie, then the next."""
    left = dict(nets)
    out: dict[int, int] = {}
    while left:
        at: dict[str, dict[int, int]] = {}
        for net, codes in left.items():
            for code in codes:
                at.setdefault(station_of(harness.points[code]), {}).setdefault(net, code)
        station = max(at, key=lambda name: (len(at[name]), bool(at[name]), [-ord(c) for c in name]))
        for net, code in sorted(at[station].items(), key=lambda pair: natural(harness.points[pair[1]])):
            out[net] = code
            del left[net]
    return out


def least_cover(pairs: Sequence[tuple[int, int]]) -> list[int]:
    """The fewest items that touch every pair, each pair one of a first and one of a second kind (König)."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import maximum_bipartite_matching

    left, right = sorted({a for a, _ in pairs}), sorted({b for _, b in pairs})
    row, column = {a: i for i, a in enumerate(left)}, {b: i for i, b in enumerate(right)}
    cells = [row[a] for a, _ in pairs], [column[b] for _, b in pairs]
    graph = csr_array((np.ones(len(pairs)), cells), shape=(len(left), len(right)))
    to_right = maximum_bipartite_matching(graph, perm_type="column").tolist()
    to_left = {b: a for a, b in enumerate(to_right) if b >= 0}
    near: dict[int, list[int]] = {}
    for a, b in zip(*cells, strict=True):
        near.setdefault(a, []).append(b)
    seen = {a for a, b in enumerate(to_right) if b < 0}
    crossed: set[int] = set()
    stack = sorted(seen)
    while stack:  # along alternating paths from what no matching edge holds
        for b in near.get(stack.pop(), ()):
            if b not in crossed:
                crossed.add(b)
                if b in to_left and to_left[b] not in seen:
                    seen.add(to_left[b])
                    stack.append(to_left[b])
    return [left[a] for a in range(len(left)) if a not in seen] + [right[b] for b in sorted(crossed)]


def _in_bench_order(
    harness: Harness, draft: _Draft, touches: Iterable[tuple[int, int, Why]]
) -> tuple[MarkedStep, ...]:
    """Round by round, connector by connector; the touches that should read over-range at each round's end,
    where the meter changes its range once."""
    home = {net: number for number, nets in enumerate(draft.rounds, 1) for net in nets}
    names = [net.name for net in harness.nets]

    def place(touch: tuple[int, int, Why]) -> tuple[Any, ...]:
        number, code, _ = touch
        away = home.get(int(harness.net_of[code])) != number
        return number, away, natural(station_of(harness.points[code])), natural(harness.points[code])

    out = []
    ohms = dict(_values(draft))
    for step, touch in enumerate(sorted(set(touches), key=place), 1):
        number, code, why = touch
        net = int(harness.net_of[code])
        expected = ohms[net] if home.get(net) == number else float("inf")
        out.append(
            MarkedStep(
                step=step,
                point=harness.points[code],
                round=number,
                expected_ohms=expected,
                why=why,
                circuit=names[net],
            )
        )
    return tuple(out)


def _values(draft: _Draft) -> Iterable[tuple[int, float]]:
    for nets in draft.rounds:
        yield from ((net, clip.ohms) for net, clip in zip(nets, draft.clips, strict=False))


def _walks(placings: Sequence[Placing], steps: Sequence[MarkedStep]) -> int:
    """Times the hands go to another connector: for the clips of each round, then for its touches."""
    walks, here = 0, ""
    for number in sorted({one.round for one in placings}):
        stations = [station_of(one.point) for one in placings if one.round == number]
        stations += [station_of(one.point) for one in steps if one.round == number]
        for station in stations:
            walks += station != here
            here = station
    return walks
