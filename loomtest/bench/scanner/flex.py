"""Flex watch: the same joined pairs again and again while somebody bends the loom, over the whole harness.

Each net is watched as a star: its first pin against its others, in one `row` request. A pair is intermittent
when it departs from its own rest (the median of its first looks) by more than noise allows, or goes
over-range; the shortest opening that is always seen is one round of the watch.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.protocol import PinValue
from loomtest.bench.scanner.sockets import Sockets
from loomtest.bench.scanner.values import BoardBudget

REST_LOOKS = 4
DEPARTS_SIGMA = 8.0
DEPARTS_OHM = 0.01


@dataclass(frozen=True, slots=True)
class Look:
    """One pair looked at: `ohms` +inf for over-range; `moved` when it departs from its rest."""

    start: int
    end: int
    value: PinValue
    rest_ohm: float
    moved: bool
    round: int


@dataclass
class Watch:
    """The rest of every pair, and what departs from it; no port and no clock."""

    budget: BoardBudget
    first: dict[tuple[int, int], list[PinValue]] = field(default_factory=dict)

    def look(self, start: int, end: int, value: PinValue, round_: int) -> Look:
        """One more value of a pair."""
        looks = self.first.setdefault((start, end), [])
        if len(looks) < REST_LOOKS:
            looks.append(value)
            return Look(start, end, value, math.nan, False, round_)
        rest = statistics.median(v.ohms for v in looks)
        return Look(start, end, value, rest, self._departs(value, rest, looks[0]), round_)

    def _departs(self, value: PinValue, rest: float, like: PinValue) -> bool:
        if math.isinf(value.ohms) or math.isinf(rest):
            return math.isinf(value.ohms) != math.isinf(rest)
        either = max(self.budget.uncertainty_ohm(value), self.budget.uncertainty_ohm(like))
        return abs(value.ohms - rest) > max(DEPARTS_SIGMA * either, DEPARTS_OHM)


def flex_watch(
    scanner: Scanner,
    sockets: Sockets,
    nets: tuple[tuple[int, ...], ...],
    budget: BoardBudget,
    *,
    seconds: float,
    clock: Callable[[], float] = time.monotonic,
) -> Iterator[Look]:
    """Looks at every pair of the nets' stars in rounds, for `seconds`; ends between two rounds."""
    watch = Watch(budget)
    stars = [(net[0], net[1:]) for net in nets if len(net) > 1]
    started_s, round_ = clock(), 0
    while stars and (clock() - started_s < seconds or round_ <= REST_LOOKS):
        round_ += 1
        for start, others in stars:
            row = scanner.row(start, others)
            for end in others:
                yield watch.look(start, end, row.values[end - 1], round_)
