"""A person at the bench, simulated: touches what the guided session asks for and types what the meter shows.

The leads have 0.1 to 0.4 Ω that nobody states, every touch scatters, the display ends at 0.1 Ω. The loom is
solved here by itself (`solve.py`). Where the session says "touch again" the person does; where it asks what
happened, the person says that the first touch was poor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from loomtest.bench.plan.mending import mending
from loomtest.bench.plan.plan import Plan, Step, plan
from loomtest.bench.session.events import Asked, Ended, Recorded
from loomtest.bench.session.order import Earlier, Order
from loomtest.bench.session.session import Choices, Session
from loomtest.harness.model import Harness, IsolationLevel
from loomtest.readings.generic import generic_handheld
from loomtest.readings.load import load_readings
from loomtest.readings.model import Readings
from loomtest.readings.run import About, create_run
from tests.looms.faults import Loom
from tests.looms.scenario import clipped_ohms

MOST_PROMPTS_OVER = 400  # beyond the plan: past it the sitting counts as one that does not end
OVER_RANGE_OHM = 2e7
SATURATED_VOLTS = 2.0  # what a diode test shows at most


@dataclass
class Person:
    """Touches of one sitting. `slips`: the share of touches that are poor and read 0.3 to 2 Ω too much."""

    loom: Loom
    rng: np.random.Generator
    touch_ohm: float = 0.02
    slips: float = 0.0
    lead_ohm: float = field(init=False)
    _gain: float = field(init=False)

    def __post_init__(self) -> None:
        self.lead_ohm = float(self.rng.uniform(0.1, 0.4))
        self._gain = 1.0 + float(self.rng.uniform(-0.8, 0.8)) / 100.0
        self._matrix = self.loom.matrix()
        self._code = {point: i for i, point in enumerate(self.loom.points)}
        self._forward = float(self.rng.uniform(0.5, 0.7))
        self._directed = _forward_ways(self.loom)

    def shown(self, step: Step) -> str:
        """What the meter shows at a step."""
        return self._volts(step) if step.quantity == "diode" else self._ohms(step)

    def _ohms(self, step: Step) -> str:
        a, b = self._code.get(step.start), self._code.get(step.end)
        if step.bonded:
            true = clipped_ohms(self.loom, (step.start, step.end), ((), step.bonded))
        elif a is None or b is None:
            true = math.inf  # an undeclared cavity that nothing sits in
        else:
            true = float(self._matrix[a, b])
        if not true < OVER_RANGE_OHM:
            return "ol"
        ohm = (true + self.lead_ohm + abs(float(self.rng.normal(0.0, self.touch_ohm)))) * self._gain
        if self.rng.random() < self.slips:
            ohm += float(self.rng.uniform(0.3, 2.0))
        top = 200.0 * 10.0 ** max(0, math.ceil(math.log10(max(ohm, 1e-9) / 200.0)))
        digit = top / 2000.0
        return f"{round(round(ohm / digit) * digit, 6):g}" if ohm >= 1.0 else f"{round(ohm, 1):.1f}"

    def _volts(self, step: Step) -> str:
        a, b = self._code[step.start], self._code[step.end]
        beside = float(self._matrix[a, b]) * 1e-3
        volts = min(beside, self._forward) if self._directed[a, b] else beside
        return f"{volts:.3f}" if volts < SATURATED_VOLTS else "ol"


def _forward_ways(loom: Loom) -> np.ndarray:
    """(P, P) True where current finds a way through diodes in their direction and all else."""
    code = {point: i for i, point in enumerate(loom.points)}
    way = np.eye(len(code), dtype=bool)
    for a, b, _ in loom.edges():
        way[a, b] = way[b, a] = True
    cut = {w for fault in loom.faults for w in fault.cut}
    turned = {w for fault in loom.faults for w in fault.reversed}
    for w, (start, end) in enumerate(loom.ends()):
        if loom.harness.wires[w].kind == "diode" and w not in cut:
            a, b = (code[end], code[start]) if w in turned else (code[start], code[end])
            way[a, b] = True
    while True:
        wider = (way.astype(np.float32) @ way.astype(np.float32)) > 0
        if (wider == way).all():
            return way
        way = wider


@dataclass(frozen=True)
class Sat:
    """One sitting. `touches`: readings recorded; `planned`: steps of the plan; `ended`: the session said so;
    `pairs`: what was asked, in order; `said`: events of other kinds, as the session gave them."""

    harness: Harness
    readings: Readings
    touches: int
    planned: int
    ended: bool
    asked: tuple[Step, ...]

    @property
    def over_plan(self) -> int:
        """Touches beyond those of the plan."""
        return self.touches - self.planned


def sit(
    loom: Loom,
    level: IsolationLevel,
    folder: Path,
    person: Person,
    made: Plan | None = None,
    after: Path | None = None,
) -> Sat:
    """A whole sitting at a level of isolation, recorded in `folder`, with a meter that nobody stated; `after`
    an earlier run whose findings were mended."""
    harness = replace(loom.harness, limits=replace(loom.harness.limits, isolation=level))
    found = mending(harness, after) if after is not None else None
    made = found.made if found is not None else made or plan(harness)
    meter = generic_handheld()
    about = About(instrument=meter, isolation=level, mended=found.mended if found is not None else None)
    writer = create_run(folder, harness, about, clock=lambda: datetime.now(UTC))
    earlier = Earlier(found.standing, found.first) if found is not None else None
    order = Order(harness, folder, made, meter, earlier)
    session = Session(harness, writer, order, meter, Choices(live=False))
    asked: list[Step] = []
    touches, ended, tries = 0, False, 0
    most = len(made.steps) + MOST_PROMPTS_OVER
    events: list[object] = [*session.begin(), *session.key(0.0, "enter")]  # leaves the leads' step out
    with writer:
        while touches <= most:
            ended = any(isinstance(event, Ended) for event in events)
            if ended or session.step is None:
                break
            if any(isinstance(event, Asked) for event in events):
                asked.append(session.step)
                tries = 0
            tries += 1
            before = session.step
            if session.question is not None:
                events = list(session.answer("poor-touch"))
                continue
            events = list(session.typed(0.0, person.shown(before)))
            touches += sum(isinstance(event, Recorded) for event in events)
            if (
                session.question is None
                and tries > 3
                and not any(isinstance(event, Asked | Ended) for event in events)
            ):
                events += session.key(0.0, "enter")
    readings = load_readings(folder, harness)
    return Sat(harness, readings, touches, len(made.steps), ended, tuple(asked))
