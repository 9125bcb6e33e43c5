"""The next best probing, given what was measured so far.

First the plan's own steps inside the nets. Then, for every net that is broken, the probing worth most:
expected information (the entropy of its outcome over the hypotheses that agree with the readings) per
second of arm movement, until what remains cannot be told apart or one explanation stands out. Then the
places where the terminal of a wire that does not arrive may sit. Then what the broken wires hid: points that
should still be joined under that explanation. Then the isolation steps, and after them a bisection of any
comb that conducts. Then the readings that an undecided joint wants, and at last, once a short or a break
stands and the meter can do it, those that tell its place along the wire.

It ends. A pair that was read is not asked for again, but for what the plan itself reads twice (two wires
side by side) and for a doubtful joint, which is touched once more; and beyond the plan no more than
`most_further` probings are asked for in all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from loomtest.bench.plan.after import DoubtfulJoints, along_comb, hidden_behind, stubs_on_comb
from loomtest.bench.plan.done import Done, Pairs, Walk
from loomtest.bench.plan.placing import PlacesAsked
from loomtest.bench.plan.plan import Plan, Step, plan
from loomtest.bench.plan.strays import Strays
from loomtest.bench.plan.suspects import Known, Puzzle, open_puzzles
from loomtest.bench.plan.worth import Arms, best_of_puzzle, shown_alike
from loomtest.diagnosis.seen.observe import observe
from loomtest.harness.model import Harness
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import Instrument, Readings


def most_further(harness: Harness) -> int:
    """The most probings beyond the plan, whatever the readings say: two a point of the loom, and ten."""
    return 2 * len(harness.points) + 10


class Guide:
    """The way through a run's probings; what was worked out stays for the next reading.

    Pure but for that: the same readings give the same step, whatever came before.
    """

    def __init__(
        self,
        harness: Harness,
        instrument: Instrument | None = None,
        planned: Plan | None = None,
        first: Sequence[Step] = (),
    ) -> None:
        """`first`: steps of the plan that are asked before all others, such as mended places."""
        self._harness, self._stated = harness, instrument
        self.planned = planned or plan(harness)
        self._walk = Walk(self.planned.steps)
        self._first = Walk(first)
        self._strays = Strays(harness)
        self._joints = DoubtfulJoints(harness)
        self._placing = PlacesAsked(harness)
        self._known: Known = {}

    def next(self, readings: Readings, skipped: Pairs = frozenset(), *, places: bool = True) -> Step | None:
        """What to measure next, or None when no further probing that may be asked can change the verdict.

        `skipped`: pairs that the person left out. `places`: False where the person wants no place told.
        """
        step = self._to_verdict(readings, skipped)
        if step is not None or not places:
            return step
        return self._placing.next(readings, self._meter(readings), len(readings) + 1)

    def _to_verdict(self, readings: Readings, skipped: Pairs) -> Step | None:
        harness, meter = self._harness, self._meter(readings)
        number = len(readings) + 1
        done = Done(readings)

        def barred(one: str, other: str) -> bool:
            pair = frozenset((one, other))
            return pair in skipped or done.plain[pair, False] > 0

        step = (
            self._first.next(done, skipped, inside=True)
            or self._first.next(done, skipped, inside=False)
            or self._walk.next(done, skipped, inside=True)
        )
        if step is not None:
            return step
        spent = done.total - self._walk.done_of(done) >= most_further(harness)
        if spent:
            return self._walk.next(done, skipped, inside=False)
        seen = observe(readings, meter, harness.limits)
        puzzles = open_puzzles(harness, seen, self._known)
        arms = Arms.after(readings)
        located = (best_of_puzzle(harness, puzzle, arms, number, barred) for puzzle in puzzles)
        return (
            next((step for step in located if step is not None), None)
            or self._strays.next(puzzles, seen, barred, number)
            or hidden_behind(harness, puzzles, seen, barred, number)
            or self._walk.next(done, skipped, inside=False)
            or along_comb(harness, readings, seen, done, number)
            or stubs_on_comb(harness, puzzles, self.planned, done, number)
            or self._joints.next(readings, meter, done, skipped, number)
        )

    def ahead(self, step: Step, readings: Readings, skipped: Pairs) -> Iterator[Step]:
        """The plan's steps behind `step` that are still to do, in their order; none for one of no plan."""
        done = Done(readings)
        for walk in (self._first, self._walk):
            yield from walk.ahead(step, done, skipped)

    def done(self, readings: Readings) -> int:
        """How many of the plan's steps the readings have done."""
        return self._walk.done_of(Done(readings))

    def left_open(self, readings: Readings) -> tuple[str, ...]:
        """What no further probing at reachable points can tell, and why, one sentence each.

        Meant for when `next` has nothing more to ask.
        """
        harness = self._harness
        out = []
        for puzzle in open_puzzles(harness, observe(readings, self._meter(readings), harness.limits)):
            reachable = np.flatnonzero(harness.reachable[puzzle.points]).tolist()
            alike = shown_alike(puzzle, reachable)
            ways = list(dict.fromkeys(_in_words(harness, puzzle, index) for index in alike))
            if len(ways) > 1:
                out.append(
                    "; or ".join(ways)
                    + ": these join the same points wherever a probe reaches, so look at each"
                )
        done = Done(readings)
        if done.total - self._walk.done_of(done) >= most_further(harness):
            out.append(
                f"{most_further(harness)} touches beyond the plan were asked for, and no more are: what is "
                "still open is too much at once; mend what was found and measure again"
            )
        return tuple(out)

    def _meter(self, readings: Readings) -> Instrument:
        return self._stated or readings.instrument or generic_handheld()


def _in_words(harness: Harness, puzzle: Puzzle, index: int) -> str:
    told = [f"{harness.wires[wire].name} open" for wire in puzzle.opens[index]]
    empty = {home for home, place in puzzle.moves[index]} - {place for _, place in puzzle.moves[index]}
    for home, place in puzzle.moves[index]:
        if home in empty:
            told.append(f"{harness.points[home]} in {harness.points[place]}")
    turned = [harness.points[home] for home, _ in puzzle.moves[index] if home not in empty]
    if turned:
        told.append(f"{' and '.join(turned)} crossed")
    return ", ".join(told)
