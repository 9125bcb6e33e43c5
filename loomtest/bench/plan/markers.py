"""The plan with marker clips: where each clip goes, round by round, and which points to touch.

One clip on one point of each circuit, and a touch on every other point: that shows each circuit whole and
apart from all others marked with it. Circuits of two rounds are never marked together; a touch on a circuit
of the one while the other's clips are on shows it apart from all of those. Which circuits are touched so is a
least vertex cover of the pairs that are wanted between the two rounds: as many as a greatest matching has
(D. König, Math. Fiz. Lapok 38 (1931) 116), and fewer cannot do while every circuit is marked once.
The rounds themselves, marker plugs among them, are made in `marked_rounds`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Literal

from loomtest.bench.plan.marked_rounds import Draft
from loomtest.bench.plan.route import station_of
from loomtest.diagnosis.markers.kit import MOST_CLIPS
from loomtest.diagnosis.verdict import plain_number
from loomtest.harness.model import Harness, IsolationLevel, connector_of
from loomtest.harness.points import natural
from loomtest.readings.marked import COMMON, Clip
from loomtest.readings.model import Range
from loomtest.words.plan import (
    MOST_NETS_COMPARED,
    SECONDS_PER_CLIP,
    SECONDS_PER_PROBING,
    SECONDS_PER_WALK,
)

SECONDS_PER_PLUG = 15.0  # a marker plug on and off again, as assumed as the others
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
    rounds, placings (of loose clips), plugs where there are any, moves, minutes. `bounds`: the fewest touches
    for the circuits and between the rounds. `loops`: wires of rings, which no clip tells one from another.
    `unmarked`: circuits that no marker is left for; `hidden_pairs`: pairs of circuits that no touch shows
    apart, for marker plugs are on."""

    harness: str
    isolation: IsolationLevel
    placings: tuple[Placing, ...]
    steps: tuple[MarkedStep, ...]
    totals: dict[str, int]
    bounds: dict[str, int]
    loops: tuple[str, ...]
    unmarked: tuple[str, ...] = ()
    hidden_pairs: int = 0

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
                {"round": one.round, "marker": one.clip.marker, "point": one.point}
                | ({"plug": one.clip.plug} if one.clip.plug else {})
                for one in self.placings
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
    held: Range | None = None,
) -> MarkedPlan:
    """Where the clips of a kit go and what to touch; pure, the same harness gives the same plan.

    `held`: the meter's range that the kit is read on; without it no two marker plugs go on together.

    A marked point in a connector that was worked on is touched itself as well, for a clip put on by the
    wire's colour hides that the wire sits in another cavity; with `every_clip` every marked point.
    """
    level = harness.limits.isolation if isolation is None else isolation
    draft = Draft(harness, list(clips), level, held)
    touches = _own_touches(harness, draft, every_clip)
    ties, bound = draft.ties()
    there = {(number, code) for number, code, _ in touches}
    touches += [(*touch, "apart") for touch in ties if touch not in there]
    steps = _in_bench_order(harness, draft, touches)
    placings = tuple(
        Placing(round=number, clip=clip, point=clip.built_in or harness.points[draft.mark[net]])
        for number, one in enumerate(draft.rounds, 1)
        for net, clip in one.clips.items()
    )
    count = {why: sum(step.why == why for step in steps) for why in ("circuit", "itself", "apart")}
    walks = _walks(placings, steps)
    plugs = sum(len(one.covered) for one in draft.rounds)
    loose = [one for one in placings if not one.clip.built_in]
    seconds = _hands_s(loose, plugs)
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
            "placings": len(loose),
            "moves": len(loose) + plugs + walks,
            "minutes": round(seconds / 60),
            **({"plugs": plugs} if plugs else {}),
        },
        bounds={"marked": count["circuit"] + bound},
        loops=draft.loops,
        unmarked=tuple(harness.nets[net].name for net in draft.unmarked),
        hidden_pairs=draft.hidden,
    )


def _own_touches(harness: Harness, draft: Draft, every_clip: bool) -> list[tuple[int, int, Why]]:
    """(round, point, why) of the touches on each circuit's other points, and on marked points themselves."""
    touches: list[tuple[int, int, Why]] = []
    for number, one in enumerate(draft.rounds, 1):
        touches += [(number, code, "circuit") for net in one.home for code in draft.others(net)]
        touches += [
            (number, draft.mark[net], "itself")
            for net in one.home
            if not one.clips[net].built_in
            and (
                every_clip
                or {harness.points[draft.mark[net]], connector_of(harness.points[draft.mark[net]])}
                & harness.worked_on
            )
        ]
    return touches


def _hands_s(loose: Sequence[Placing], plugs: int) -> float:
    """Seconds to put loose clips and plugs on."""
    pins = sum(bool(connector_of(one.point)) for one in loose)
    return SECONDS_PER_PIN * pins + SECONDS_PER_CLIP * (len(loose) - pins) + SECONDS_PER_PLUG * plugs


def _in_bench_order(
    harness: Harness, draft: Draft, touches: Iterable[tuple[int, int, Why]]
) -> tuple[MarkedStep, ...]:
    """Round by round, connector by connector; the touches that should read over-range at each round's end,
    where the meter changes its range once."""
    names = [net.name for net in harness.nets]

    def place(touch: tuple[int, int, Why]) -> tuple[Any, ...]:
        number, code, _ = touch
        away = int(harness.net_of[code]) not in draft.rounds[number - 1].clips
        return number, away, natural(station_of(harness.points[code])), natural(harness.points[code])

    out = []
    for step, touch in enumerate(sorted(set(touches), key=place), 1):
        number, code, why = touch
        net = int(harness.net_of[code])
        clip = draft.rounds[number - 1].clips.get(net)
        expected = clip.ohms if clip is not None else float("inf")
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
