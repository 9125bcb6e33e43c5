"""Which pair comes next in a session: the plan, and what the readings so far make of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from loomtest.bench.plan.adaptive import Guide
from loomtest.bench.plan.plan import Plan, Step
from loomtest.bench.session.in_a_row import MOST_IN_A_ROW, goes_on
from loomtest.harness.model import Harness
from loomtest.readings.growing import GrowingReadings
from loomtest.readings.model import Instrument, Readings
from loomtest.readings.together import followed


class NextStep(Protocol):
    """What the session asks for the order of the probings; `Order` is one."""

    def next(self) -> Step | None:
        """The next probing."""

    def following(self, step: Step) -> tuple[Step, ...]:
        """What comes after `step` with the same clip in the same connector, if all goes as expected."""

    def skip(self, step: Step) -> None:
        """Leave this one out."""


@dataclass(frozen=True)
class Earlier:
    """What an earlier run leaves to be asked: its readings that still count, and the steps that mending made
    void, which come first."""

    standing: Readings
    first: tuple[Step, ...]


class Order:
    """Asks for the next probing after each reading; what the person skipped is not asked again."""

    def __init__(
        self,
        harness: Harness,
        folder: Path,
        planned: Plan,
        instrument: Instrument,
        earlier: Earlier | None = None,
    ) -> None:
        self._readings, self._earlier = GrowingReadings(folder, harness), earlier
        self._guide = Guide(harness, instrument, planned, earlier.first if earlier is not None else ())
        self._skipped: set[frozenset[str]] = set()
        self._total = len(planned.steps)
        self._places = True

    def skip(self, step: Step) -> None:
        """Do not ask for this pair again; of those that tell places, for none."""
        if step.what == "place":
            self._places = False
        else:
            self._skipped.add(frozenset((step.start, step.end)))

    def next(self) -> Step | None:
        """The next probing; None when no further one can change the verdict."""
        return self._guide.next(self._now(), self._skipped, places=self._places)

    def following(self, step: Step) -> tuple[Step, ...]:
        """What comes after `step` with the same clip in the same connector, if all goes as expected."""
        out: list[Step] = []
        for one in self._guide.ahead(step, self._now(), self._skipped):
            if len(out) == MOST_IN_A_ROW - 1 or not goes_on(step, one):
                break
            out.append(one)
        return tuple(out)

    def left_open(self) -> tuple[str, ...]:
        """What no further probing can tell, one sentence each."""
        return self._guide.left_open(self._now())

    @property
    def total(self) -> int:
        """Readings in the plan."""
        return self._total

    @property
    def done(self) -> int:
        """Planned readings taken."""
        return self._guide.done(self._now())

    def _now(self) -> Readings:
        now = self._readings.now()
        return followed((self._earlier.standing, now)) if self._earlier is not None else now
