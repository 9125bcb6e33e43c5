"""Which pair comes next in a session: the plan, and what the readings so far make of it."""

from __future__ import annotations

from pathlib import Path

from loomtest.bench.plan.adaptive import left_open, next_probing
from loomtest.bench.plan.plan import Plan, Step
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.model import Instrument, Readings


class Order:
    """Asks for the next probing after each reading; what the person skipped is not asked again."""

    def __init__(self, harness: Harness, folder: Path, planned: Plan, instrument: Instrument) -> None:
        self._harness, self._folder, self._planned, self._instrument = harness, folder, planned, instrument
        self._skipped: set[frozenset[str]] = set()
        self._pairs = [frozenset((step.start, step.end)) for step in planned.steps]
        self._measured: set[frozenset[str]] = set()

    def skip(self, start: str, end: str) -> None:
        """Do not ask for this pair again."""
        self._skipped.add(frozenset((start, end)))

    def next(self) -> Step | None:
        """The next probing; None when no further one can change the verdict."""
        readings = load_readings(self._folder, self._harness)
        self._measured = _measured(readings)
        step = next_probing(self._harness, readings, self._instrument, self._planned)
        if step is None or frozenset((step.start, step.end)) not in self._skipped:
            return step
        done = self._measured | self._skipped
        for index, pair in enumerate(self._pairs):
            if pair not in done:
                return self._planned.steps[index]
        return None

    def left_open(self) -> tuple[str, ...]:
        """What no further probing can tell, one sentence each."""
        return left_open(self._harness, load_readings(self._folder, self._harness), self._instrument)

    @property
    def total(self) -> int:
        """Readings in the plan."""
        return len(self._pairs)

    @property
    def done(self) -> int:
        """Planned readings taken, as of the last `next`."""
        return sum(pair in self._measured for pair in self._pairs)


def _measured(readings: Readings) -> set[frozenset[str]]:
    names = readings.points
    ends = zip(readings.start.tolist(), readings.end.tolist(), strict=True)
    return {frozenset((names[start], names[end])) for start, end in ends}
