"""A simulated sitting with marker clips: hands that misplace clips, a meter that drifts, true copper."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from loomtest.bench.plan.marked_next import Seating, Touching, next_in_round
from loomtest.bench.plan.markers import MarkedPlan, MarkedStep, Placing
from loomtest.harness.model import connector_of
from loomtest.readings.marked import Clip, Marked, Seat
from loomtest.readings.model import Instrument, Readings
from tests.looms.faults import Loom
from tests.looms.solve import resistances

Rng = np.random.Generator
MOST_ACTIONS = 3000
TOUCHING_OHM = 0.2  # of two clips whose metal touches


@dataclass(frozen=True)
class Hands:
    """Mistakes of the first placing: shares of clips. `swapped`: with another of the connector; `beside`: in
    the next cavity; `fallen`: off; `touching`: its metal touches the next clip's."""

    swapped: float = 0.0
    beside: float = 0.0
    fallen: float = 0.0
    touching: float = 0.0


@dataclass
class Sitting:
    """What was recorded, and the hand actions it took."""

    readings: Readings
    touches: int = 0
    placings: int = 0
    planned: int = 0
    mistakes: int = 0


@dataclass
class _Bench:
    loom: Loom
    rng: Rng
    drift: float
    on: dict[str, str | None] = field(default_factory=dict)  # where each clip truly sits
    ties: list[tuple[str, str]] = field(default_factory=list)
    clips: dict[str, Clip] = field(default_factory=dict)
    true_ohm: dict[str, float] = field(default_factory=dict)
    known: np.ndarray | None = None

    def place(self, seating: Seating, hands: Hands) -> int:
        """Put the clips on; mistakes only where all are put on anew. Returns how many."""
        self.known = None
        wanted = {one.clip.marker: one for one in seating.placings}
        if seating.reason == "pull":
            self.on = {name: point for name, point in self.on.items() if name in wanted}
            self.ties = [tie for tie in self.ties if set(tie) <= wanted.keys()]
            return 0
        if seating.reason in ("again", "apart", "move"):
            again = {name for name in wanted if name in seating.clips or name not in self.on}
            self.on |= {name: wanted[name].point for name in again}
            self.ties = [tie for tie in self.ties if not set(tie) & set(seating.clips)]
            return 0
        self.on = {name: one.point for name, one in wanted.items()}
        self.ties = []
        return self._spoil(list(wanted.values()), hands)

    def _spoil(self, placings: list[Placing], hands: Hands) -> int:
        made, rng = 0, self.rng
        names = [one.clip.marker for one in placings]
        for i, one in enumerate(placings):
            draw = rng.random()
            other = placings[(i + 1) % len(placings)]
            if draw < hands.swapped and len(placings) > 1:
                a, b = names[i], other.clip.marker
                self.on[a], self.on[b] = self.on[b], self.on[a]
            elif draw < hands.swapped + hands.beside:
                near = [
                    p
                    for p in self.loom.points
                    if connector_of(p)
                    and connector_of(p) == connector_of(one.point)
                    and p not in self.on.values()
                ]
                if not near:
                    continue
                self.on[names[i]] = near[int(rng.integers(len(near)))]
            elif draw < hands.swapped + hands.beside + hands.fallen:
                self.on[names[i]] = None
            elif draw < hands.swapped + hands.beside + hands.fallen + hands.touching and len(placings) > 1:
                self.ties.append((names[i], other.clip.marker))
            else:
                continue
            made += 1
        return made

    def read(self, point: str) -> float:
        """True ohms from a point to the common."""
        points = self.loom.points
        code = {p: i for i, p in enumerate(points)}
        if self.known is None:
            edges = list(self.loom.edges())
            common = len(points)
            nodes = common + 1
            pin: dict[str, int] = {}
            for name, place in self.on.items():
                pin[name], nodes = nodes, nodes + 1
                edges.append((pin[name], common, self.true_ohm[name]))
                if place is not None:
                    edges.append((pin[name], code[place], 0.02))
            edges += [(pin[a], pin[b], TOUCHING_OHM) for a, b in self.ties if a in pin and b in pin]
            self.known = resistances(nodes, edges)[common]
        return float(self.known[code[point]])

    def shown(self, ohm: float, held_ohm: float | None) -> float:
        """What a meter of 2,000 counts shows: with its range held, or choosing one."""
        if math.isinf(ohm):
            return ohm
        value = ohm * (1 + self.drift * self.rng.normal())
        top = held_ohm or next((t for t in (2e2, 2e3, 2e4, 2e5, 2e6, 2e7) if value < t), math.inf)
        step = top / 2000
        return math.inf if value >= top else round(value / step) * step


def sit(
    loom: Loom,
    plan: MarkedPlan,
    instrument: Instrument,
    rng: Rng,
    hands: Hands | None = None,
    drift: float = 0.001,
) -> Sitting:
    """Follow what the sitting asks until it asks no more."""
    bench = _Bench(loom, rng, drift)
    for one in plan.placings:
        bench.clips[one.clip.marker] = one.clip
        if one.clip.marker not in bench.true_ohm:
            bench.true_ohm[one.clip.marker] = one.clip.ohms * (1 + drift * rng.normal())
    points = loom.points
    code = {p: i for i, p in enumerate(points)}
    seats: list[Seat] = []
    rows: list[tuple[int, int, float, float]] = []
    held = next(
        r.up_to_ohms for r in instrument.ranges if r.up_to_ohms >= max(c.ohms for c in bench.clips.values())
    )
    done = Sitting(_readings(loom, instrument, seats, rows), planned=len(plan.steps))
    fresh = False
    for _ in range(MOST_ACTIONS):
        ask = next_in_round(loom.harness, plan, done.readings.marked, instrument)
        if ask is None:
            return done
        if isinstance(ask, Seating):
            done.placings += len(ask.clips)
            fresh = ask.reason == "place"
            done.mistakes += bench.place(ask, hands or Hands())
            seats += [Seat(round=ask.round, clip=one.clip, point=code[one.point]) for one in ask.placings]
        else:
            asked = [ask]
            if fresh:
                # a round's planned touches in one go: whether what is odd is asked for now or then is one
                fresh, base = False, plan_round(plan, seats, points, ask.round)
                asked = [_planned(step, ask.round) for step in plan.steps if step.round == base]
            for one in asked:
                fixed = one.expected_ohms is None or math.isfinite(one.expected_ohms)
                value = bench.shown(bench.read(one.point), held if fixed else None)
                rows.append((code[one.point], one.round, value, held if fixed else math.nan))
                done.touches += 1
        done.readings = _readings(loom, instrument, seats, rows)
    raise AssertionError("the sitting does not end")


def _planned(step: MarkedStep, number: int) -> Touching:
    return Touching(point=step.point, round=number, expected_ohms=step.expected_ohms)


def plan_round(plan: MarkedPlan, seats: list[Seat], points: tuple[str, ...], number: int) -> int:
    """The planned round whose clips were put on in round `number`."""
    own = {(seat.clip.marker, points[seat.point]) for seat in seats if seat.round == number}
    return next(one.round for one in plan.placings if (one.clip.marker, one.point) in own)


def _readings(
    loom: Loom, instrument: Instrument, seats: list[Seat], rows: list[tuple[int, int, float, float]]
) -> Readings:
    n = len(rows)
    none, codes = np.zeros(0), np.zeros(0, dtype=np.int64)
    marked = Marked(
        seats=tuple(seats),
        point=np.array([r[0] for r in rows], dtype=np.int64),
        round=np.array([r[1] for r in rows], dtype=np.int64),
        ohm=np.array([r[2] for r in rows], dtype=np.float64),
        above_ohm=np.array([r[3] if math.isinf(r[2]) else math.nan for r in rows]),
        uncertainty=np.full(n, math.nan),
        row=np.arange(n) + 2,
    )
    return Readings(
        loom.points,
        codes,
        codes,
        codes,
        none,
        none,
        none,
        none,
        none,
        codes,
        instrument=instrument,
        marked=marked,
    )
