"""Which steps of a plan a run has done already."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import chain, takewhile

from loomtest.bench.plan.plan import Step
from loomtest.readings.model import Quantity, Readings

Pairs = frozenset[frozenset[str]] | set[frozenset[str]]


class Done:
    """Which steps the readings have done: by the pair, as often as the plan asks for it."""

    def __init__(self, readings: Readings) -> None:
        names = readings.points
        self.total, self.withdrawn = len(readings), readings.withdrawn
        self.plain: Counter[tuple[frozenset[str], bool]] = Counter()
        self.cleared: set[frozenset[str]] = set()
        self.combs: set[tuple[str, frozenset[str]]] = set()
        for index, (a, b, quantity, value) in enumerate(
            zip(
                readings.start.tolist(),
                readings.end.tolist(),
                readings.quantity.tolist(),
                readings.value.tolist(),
                strict=True,
            )
        ):
            if quantity == Quantity.CAPACITANCE:
                self.total -= 1  # beyond the plan, but no probing that the plan had to ask for
                continue  # says neither joined nor apart
            if quantity == Quantity.VOLTAGE_DROP:
                self.total -= 1
            tied_a, tied_b = readings.bonded.get(index, ((), ()))
            if not tied_a and not tied_b:
                self.plain[frozenset((names[a], names[b])), quantity == Quantity.DIODE] += 1
                continue
            one, other = [a, *tied_a], [b, *tied_b]
            if len(one) == 1:
                self.combs.add((names[a], frozenset(names[code] for code in other)))
            if len(other) == 1:
                self.combs.add((names[b], frozenset(names[code] for code in one)))
            if value == float("inf"):
                self.cleared.update(frozenset((names[x], names[y])) for x in one for y in other)

    def has(self, step: Step, before: int) -> bool:
        """True when the step is done, `before` being how many earlier steps of the plan ask for the same."""
        pair = frozenset((step.start, step.end))
        if step.bonded:
            others = frozenset((step.end, *step.bonded))
            if (step.start, others) in self.combs:
                return True
            return all(self._apart(frozenset((step.start, other))) for other in others)
        if step.what == "isolation":
            return self._apart(pair)
        return self.plain[pair, step.quantity == "diode"] > before

    def _apart(self, pair: frozenset[str]) -> bool:
        return pair in self.cleared or self.plain[pair, False] > 0


class Walk:
    """Goes along a plan's steps; where it got to is kept: a long plan is not walked from its start."""

    def __init__(self, steps: Sequence[Step]) -> None:
        self._steps = steps
        inside = sum(1 for _ in takewhile(lambda step: step.what != "isolation", steps))
        self._parts = {True: range(inside), False: range(inside, len(steps))}
        self._before: list[int] = []  # for each step inside the nets: how many earlier ones ask for the same
        asked: Counter[tuple[frozenset[str], bool]] = Counter()
        for index in self._parts[True]:
            self._before.append(asked[self._key(steps[index])])
            asked[self._key(steps[index])] += 1
        self._at = {True: 0, False: inside}
        self._withdrawn = 0

    @staticmethod
    def _key(step: Step) -> tuple[frozenset[str], bool]:
        return frozenset((step.start, step.end)), step.quantity == "diode"

    def next(self, done: Done, skipped: Pairs, inside: bool) -> Step | None:
        """The first step still to do: of those inside the nets, or of those between them."""
        self._look(done)
        at = self._at[inside]
        while at < self._parts[inside].stop:
            step = self._steps[at]
            if not self.had(done, step, at):
                break
            at += 1
        self._at[inside] = at
        while at < self._parts[inside].stop:
            step = self._steps[at]
            if frozenset((step.start, step.end)) not in skipped and not self.had(done, step, at):
                return step
            at += 1
        return None

    def ahead(self, step: Step, done: Done, skipped: Pairs) -> Iterator[Step]:
        """The steps behind `step` that are still to do; none where it is not the next of these steps."""
        for part in (True, False):
            at = self._at[part]
            if at < self._parts[part].stop and self._steps[at] == step:
                for index in range(at + 1, self._parts[part].stop):
                    one = self._steps[index]
                    if frozenset((one.start, one.end)) not in skipped and not self.had(done, one, index):
                        yield one

    def done_of(self, done: Done) -> int:
        """How many steps are done."""
        self._look(done)
        ahead = chain(*(range(self._at[inside], self._parts[inside].stop) for inside in (True, False)))
        behind = sum(self._at[inside] - self._parts[inside].start for inside in (True, False))
        return behind + sum(self.had(done, self._steps[index], index) for index in ahead)

    def _look(self, done: Done) -> None:
        if done.withdrawn != self._withdrawn:  # perhaps of the steps behind
            self._at = {inside: part.start for inside, part in self._parts.items()}
        self._withdrawn = done.withdrawn

    def had(self, done: Done, step: Step, index: int) -> bool:
        """Whether the step at this place of the plan is done."""
        return done.has(step, self._before[index] if index < len(self._before) else 0)
