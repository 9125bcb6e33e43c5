"""The wires of one circuit as they were found: a tree, and the ways along it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.model import Harness


@dataclass(frozen=True)
class Legs:
    """One circuit that holds no ring. `ends`: of each wire (its index in the wire list) the codes of its two
    points as found; `points`: codes of all points."""

    ends: Mapping[int, tuple[int, int]]
    points: frozenset[int]

    def way(self, start: int, end: int) -> list[tuple[int, bool]]:
        """The wires from one point to another; True where a wire is gone along from its first end."""
        before: dict[int, tuple[int, int, bool] | None] = {start: None}
        waiting = [start]
        while waiting and end not in before:
            at = waiting.pop()
            for wire, (one, other) in self.ends.items():
                for near, far, forward in ((one, other, True), (other, one, False)):
                    if near == at and far not in before:
                        before[far] = (near, wire, forward)
                        waiting.append(far)
        out = []
        at, step = end, before[end]
        while step is not None:
            at, wire, forward = step
            out.append((wire, forward))
            step = before[at]
        return out[::-1]

    def to_place(self, start: int, wire: int) -> tuple[list[int], bool]:
        """The whole wires on the way from a point to a place on `wire`; True where `wire` is entered at its
        first end."""
        one, other = self.ends[wire]
        to_one = [each for each, _ in self.way(start, one)]
        if wire in to_one:
            return [each for each, _ in self.way(start, other)], False
        return to_one, True


def legs_at(harness: Harness, wiring: Wiring, point: int, without: int | None = None) -> Legs | None:
    """The circuit at a point: its whole wires and fuses, but for `without`; None where it has a ring."""
    whole = harness.conducts & wiring.joined
    ends = {
        index: (int(wiring.start[index]), int(wiring.end[index]))
        for index in whole.nonzero()[0].tolist()
        if index != without
    }
    points, own = {point}, dict[int, tuple[int, int]]()
    grew = True
    while grew:
        fresh = {
            wire: pair
            for wire, pair in ends.items()
            if wire not in own and (pair[0] in points or pair[1] in points)
        }
        own |= fresh
        points |= {code for pair in fresh.values() for code in pair}
        grew = bool(fresh)
    return Legs(own, frozenset(points)) if len(points) == len(own) + 1 else None
