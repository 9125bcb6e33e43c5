"""Which steps of a plan a run has done already."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from loomtest.bench.plan.plan import Step
from loomtest.readings.model import Quantity, Readings


class Done:
    """Which steps the readings have done: by the pair, as often as the plan asks for it."""

    def __init__(self, readings: Readings) -> None:
        names = readings.points
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


def unmeasured(steps: Sequence[Step], done: Done, inside: bool) -> Iterator[Step]:
    """The steps of a plan still to do, in its order: those inside the nets, or those between them."""
    asked: Counter[tuple[frozenset[str], bool]] = Counter()
    for step in steps:
        if (step.what == "isolation") == inside:
            if inside:
                return
            continue
        key = frozenset((step.start, step.end)), step.quantity == "diode"
        if not done.has(step, asked[key]):
            yield step
        asked[key] += 1
