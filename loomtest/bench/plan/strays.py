"""Where the terminal of a wire that does not arrive may sit instead: probings that look for it there.

A wire reads open from end to end: it is broken, or the terminal of one end was pushed into another cavity, or
bolted to another ground. Its other end is read against the places where it may be, the likeliest first
(common practice): the places of the other wires that do not arrive, of its own connector first; the empty
cavities there, the nearest first; those of connectors that were worked on; the single terminals (grounds,
splices, studs). Where many wires of one connector do not arrive nobody misplaced them all: it is
not plugged in, or it is another connector.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from loomtest.bench.plan.plan import Step
from loomtest.bench.plan.suspects import Puzzle
from loomtest.bench.plan.worth import shown_alike
from loomtest.diagnosis.seen.isolation import empty_cavities, part_groups
from loomtest.diagnosis.seen.observe import JOINED, Observations
from loomtest.harness.model import Harness, IntArray, connector_of

Barred = Callable[[str, str], bool]
MOST_BARE = 6  # places of other wires that do not arrive either
MOST_SINGLES = 6  # grounds, splices and studs, those that the connector's own wires go to first
MOST_AT_ONCE = 4  # wires of one connector that do not arrive: past it the connector is to blame, not they


class Strays:
    """What the loom's drawing says of the places where a terminal may sit; made once for a loom."""

    def __init__(self, harness: Harness) -> None:
        self._harness = harness
        empty = empty_cavities(harness)[harness.net_of] & harness.reachable
        self._empties: dict[str, list[int]] = {}
        for code in np.flatnonzero(empty).tolist():
            self._empties.setdefault(connector_of(harness.points[code]), []).append(code)
        self._singles = [
            code
            for code, point in enumerate(harness.points)
            if not connector_of(point) and harness.reachable[code]
        ]
        self._reached = {  # single terminals that wires from a connector go to: they lie within its reach
            (connector_of(harness.points[a]), b)
            for ends in zip(harness.start.tolist(), harness.end.tolist(), strict=True)
            for a, b in (ends, ends[::-1])
        }
        self._position: dict[str, int] = {}
        for connector, cavities in harness.cavities.items():
            self._position.update((f"{connector}:{cavity}", i) for i, cavity in enumerate(cavities))

    def places_for(self, home: int) -> list[int]:
        """Codes of the places where the terminal that belongs at `home` may sit, the likeliest first."""
        points = self._harness.points
        own = connector_of(points[home])
        others = sorted((c for c in self._singles if c != home), key=lambda c: (own, c) not in self._reached)
        if not own:
            return others[: 2 * MOST_SINGLES]

        def distance(code: int) -> int:
            return abs(self._position.get(points[code], 0) - self._position.get(points[home], 0))

        out = sorted(self._empties.get(own, ()), key=distance)
        for name, codes in self._empties.items():
            if name != own and name in self._harness.worked_on:
                out.extend(codes)
        return [*out, *others[:MOST_SINGLES]]

    def next(self, puzzles: Sequence[Puzzle], seen: Observations, barred: Barred, number: int) -> Step | None:
        """A wire's reachable side against a place where its other end may sit; None when all were read."""
        arrived = _joined_points(seen, len(self._harness.points))
        ends = list(self._ends(puzzles, arrived))
        bare = list(dict.fromkeys(home for home, _, _ in ends if self._harness.reachable[home]))
        found = _found_elsewhere(self._harness, seen)
        for home, away, wire in ends:
            if away in found:
                continue
            own = connector_of(self._harness.points[home])
            crossed = sorted(bare, key=lambda code: connector_of(self._harness.points[code]) != own)
            for place in (*crossed[:MOST_BARE], *self.places_for(home)):
                names = self._harness.points[away], self._harness.points[place]
                if away == place or self._harness.net_of[away] == self._harness.net_of[place]:
                    continue
                if not barred(*names):
                    where = self._harness.points[home]
                    proves = f"whether the end of {self._harness.wires[wire].name} for {where} is there"
                    return Step(number, "elsewhere", *names, float("inf"), proves)
        return None

    def _ends(self, puzzles: Sequence[Puzzle], arrived: IntArray) -> Iterator[tuple[int, int, int]]:
        """(where an end belongs, a reachable point of the wire's other side, the wire), worked on first."""
        harness = self._harness
        found: list[tuple[bool, int, int, int]] = []
        for puzzle in puzzles:
            reachable = np.flatnonzero(harness.reachable[puzzle.points]).tolist()
            alike = shown_alike(puzzle, reachable)
            if not alike:
                continue
            labels = dict(zip(puzzle.points.tolist(), puzzle.labels[alike[0]].tolist(), strict=True))
            moved = {home for home, _ in puzzle.moves[alike[0]]}
            opens = list(dict.fromkeys(w for index in alike for w in puzzle.opens[index]))
            missing = Counter(
                connector_of(harness.points[code])
                for wire in opens
                for code in (int(harness.start[wire]), int(harness.end[wire]))
            )
            for wire in opens:
                ends = int(harness.start[wire]), int(harness.end[wire])
                for home, other in (ends, ends[::-1]):
                    cavity = connector_of(harness.points[home])
                    if home in moved or (cavity and arrived[home]) or harness.wires[wire].kind != "wire":
                        continue
                    if cavity and missing[cavity] > MOST_AT_ONCE:
                        continue
                    away = self._reachable_beside(other, home, labels)
                    if away is not None:
                        worked = bool({cavity, harness.points[home]} & harness.worked_on)
                        found.append((not worked, home, away, wire))
        found.sort(key=lambda row: row[0])
        for _, home, away, wire in found:
            yield home, away, wire

    def _reachable_beside(self, point: int, home: int, labels: dict[int, int]) -> int | None:
        """The point, or a reachable one that hangs together with it under the explanation."""
        reachable = self._harness.reachable
        if reachable[point]:
            return point
        return next((c for c in labels if labels[c] == labels[point] and reachable[c] and c != home), None)


def _joined_points(seen: Observations, count: int) -> IntArray:
    """(P,) how many readings show each point joined to another."""
    joined = seen.pair_state == JOINED
    ends = np.concatenate([seen.pair_start[joined], seen.pair_end[joined]])
    return np.bincount(ends[ends < count], minlength=count)


def _found_elsewhere(harness: Harness, seen: Observations) -> set[int]:
    """Codes of points that a reading joins to another circuit, and no part stands between."""
    group = part_groups(harness)[harness.net_of]
    kept = (seen.pair_state == JOINED) & (seen.pair_start < len(group)) & (seen.pair_end < len(group))
    a, b = seen.pair_start[kept], seen.pair_end[kept]
    odd = group[a] != group[b]
    return {*a[odd].tolist(), *b[odd].tolist()}
