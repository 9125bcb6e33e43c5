"""What can be wrong, given the readings so far: the hypotheses among which the next probing decides.

A net with a pair that should be joined and reads apart is broken: wires in it are open, or a terminal of it
and that of another broken net sit in each other's cavity, or three of them are turned round. Broken nets
that share a connector are one *puzzle*, apart from the others. For every placement of the terminals the sets
of open wires that agree with the readings are found by a search over paths: a pair that reads apart and is
still joined loses one wire of a path between its points, each in turn, until nothing disagrees.

Cost: one for an open wire and for a bridge, two for a swap, three for a turn of three: as much as the opens
that look the same along the expected pairs, because until a cross reading speaks for it nothing tells them
apart. Explanations of the least cost, and of one more, are kept; the weight of each is `RARE` to its cost,
less for cavities far apart or outside the connectors worked on (common practice).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice, product

import numpy as np

from loomtest.diagnosis.seen.isolation import part_groups
from loomtest.diagnosis.seen.observe import APART, JOINED, Observations
from loomtest.harness.forest import components, join, root
from loomtest.harness.model import FloatArray, Harness, IntArray, connector_of
from loomtest.harness.points import natural

RARE = 0.01
MOST_COST = 6  # past it a puzzle is too badly broken to be told by reasoning
MOST_PLACEMENTS = 1500
MOST_OPENS = 400  # sets of opens looked at for one placement

Pair = tuple[int, int]


@dataclass(frozen=True)
class Puzzle:
    """Hypotheses about some nets. `points`: (P,) codes of all points in it; `labels`: (H, P) what is joined
    under each hypothesis (equal labels); `weight`: (H,) adding to one. `opens`, `moves`: wires open (indices)
    and (home, place) of terminals (codes) under each."""

    points: IntArray
    labels: IntArray
    weight: FloatArray
    opens: tuple[tuple[int, ...], ...]
    moves: tuple[tuple[Pair, ...], ...]


def open_puzzles(harness: Harness, seen: Observations) -> list[Puzzle]:
    """The puzzles that the readings leave, each with every combination that agrees with them."""
    net_of = harness.net_of
    inside = (seen.pair_start < len(net_of)) & (seen.pair_end < len(net_of))
    start, end, state = seen.pair_start[inside], seen.pair_end[inside], seen.pair_state[inside]
    a, b = net_of[start], net_of[end]
    broken = sorted(set(a[(state == APART) & (a == b)].tolist()))
    if not broken:
        return []
    group = part_groups(harness)
    through_part = (a != b) & (group[a] == group[b])
    kept = ~through_part
    start, end, state, a, b = start[kept], end[kept], state[kept], a[kept], b[kept]
    crossing = (state == JOINED) & (a != b)
    out = []
    for nets in _tied(harness, broken, list(zip(a[crossing].tolist(), b[crossing].tolist(), strict=True))):
        scope = set(nets)
        rows = np.array([x in scope and y in scope for x, y in zip(a.tolist(), b.tolist(), strict=True)])
        pairs = list(zip(start[rows].tolist(), end[rows].tolist(), strict=True))
        read = [(p, same) for p, same in zip(pairs, (state[rows] == JOINED).tolist(), strict=True)]
        out.append(_puzzle(harness, sorted(scope), [net for net in nets if net in set(broken)], read))
    return out


def _tied(harness: Harness, broken: Sequence[int], crossing: Sequence[Pair]) -> list[list[int]]:
    """Nets that one puzzle holds: broken nets that share a connector, and nets that a reading joins."""
    tied = {net: net for net in (*broken, *(net for pair in crossing for net in pair))}
    at: dict[str, int] = {}
    for net in broken:
        for code in harness.nets[net].points:
            connector = connector_of(harness.points[code])
            if connector:
                join(tied, net, at.setdefault(connector, net))
    for x, y in crossing:
        join(tied, x, y)
    members: dict[int, list[int]] = {}
    for net in sorted(tied):
        members.setdefault(root(tied, net), []).append(net)
    return [nets for nets in members.values() if set(nets) & set(broken)]


class _Scope:
    """The wires and points of some nets, numbered locally, and what was read between the points."""

    def __init__(self, harness: Harness, nets: Sequence[int], read: Sequence[tuple[Pair, bool]]) -> None:
        self.codes = sorted(code for net in nets for code in harness.nets[net].points)
        self.local = {code: i for i, code in enumerate(self.codes)}
        self.wires = sorted(wire for net in nets for wire in harness.nets[net].conductors)
        # what moves with a terminal is the wires in it; a fuse stays where it is plugged in
        crimped = [harness.wires[wire].kind == "wire" for wire in self.wires]
        starts, ends = harness.start[self.wires].tolist(), harness.end[self.wires].tolist()
        self.home = [(self.local[a], self.local[b], c) for a, b, c in zip(starts, ends, crimped, strict=True)]
        self.joined = [(self.local[x], self.local[y]) for (x, y), same in read if same]
        self.apart = [(self.local[x], self.local[y]) for (x, y), same in read if not same]

    def placed(self, moves: Sequence[Pair]) -> list[Pair]:
        """Where every wire ends, by local points, when terminals (home, place) sit elsewhere."""
        at = {self.local[home]: self.local[place] for home, place in moves}
        return [(at.get(a, a), at.get(b, b)) if crimped else (a, b) for a, b, crimped in self.home]

    def labels(self, edges: Sequence[Pair], opens: frozenset[int]) -> list[int]:
        """(P,) what the edges join, those numbered in `opens` left out."""
        kept = (edge for number, edge in enumerate(edges) if number not in opens)
        return components(len(self.codes), kept)

    def explained(self, moves: Sequence[Pair], most: int) -> Iterator[tuple[frozenset[int], int, list[int]]]:
        """Sets of open edges that agree with the readings under these moves, with their number and that of
        bridges at most `most`: (opens, cost, labels)."""
        edges = self.placed(moves)
        forest = self.labels(edges, frozenset())
        bridges = [(x, y) for x, y in self.joined if join(forest, x, y)]
        edges += bridges
        if len(bridges) <= most:
            yield from self._opened(edges, frozenset(), frozenset(range(len(self.wires), len(edges))), most)

    def _opened(
        self, edges: Sequence[Pair], opens: frozenset[int], whole: frozenset[int], most: int
    ) -> Iterator[tuple[frozenset[int], int, list[int]]]:
        labels = self.labels(edges, opens)
        if any(labels[x] != labels[y] for x, y in self.joined):
            return
        cost = len(opens) + len(edges) - len(self.wires)
        wrong = next(((x, y) for x, y in self.apart if labels[x] == labels[y]), None)
        if wrong is None:
            yield opens, cost, labels
            return
        if cost < most:
            kept = whole
            for edge in self._path(edges, opens, *wrong):
                if edge not in kept:
                    yield from self._opened(edges, opens | {edge}, kept, most)
                    kept |= {edge}

    def _path(self, edges: Sequence[Pair], opens: frozenset[int], x: int, y: int) -> list[int]:
        """Numbers of the edges of a shortest path from x to y, which are joined."""
        near: dict[int, list[Pair]] = {}
        for number, (a, b) in enumerate(edges):
            if number not in opens:
                near.setdefault(a, []).append((b, number))
                near.setdefault(b, []).append((a, number))
        came = {x: (x, -1)}
        queue = deque([x])
        while y not in came:
            point = queue.popleft()
            for other, number in near[point]:
                if other not in came:
                    came[other] = (point, number)
                    queue.append(other)
        out = []
        while y != x:
            y, number = came[y]
            out.append(number)
        return out


@dataclass(frozen=True)
class _Placement:
    """Terminals (home, place) that sit elsewhere, what that costs, and how likely it is for its cost."""

    moves: tuple[Pair, ...] = ()
    cost: int = 0
    likely: float = 1.0


def _puzzle(
    harness: Harness, nets: list[int], broken: list[int], read: Sequence[tuple[Pair, bool]]
) -> Puzzle:
    scope = _Scope(harness, nets, read)
    placements = list(islice(_placements(harness, broken), MOST_PLACEMENTS))
    rows: dict[tuple[frozenset[int], tuple[Pair, ...]], tuple[float, list[int]]] = {}
    least = MOST_COST
    for most in range(len(broken), MOST_COST + 1):  # no explanation costs less than one a broken net
        if most > least + 1:
            break
        for placement in placements:
            left = most - placement.cost
            if left < 0:
                continue
            for opens, cost, labels in islice(scope.explained(placement.moves, left), MOST_OPENS):
                if cost == left:  # what costs less was found with a smaller `most`
                    least = min(least, most)
                    rows[opens, placement.moves] = (placement.likely * RARE**most, labels)
    if not rows:  # every wire of the broken nets may be open
        everything = frozenset(range(len(scope.wires)))
        rows[everything, ()] = (1.0, list(range(len(scope.codes))))
    weights = np.array([weight for weight, _ in rows.values()])
    return Puzzle(
        np.array(scope.codes, dtype=np.int64),
        np.array([labels for _, labels in rows.values()], dtype=np.int64),
        weights / weights.sum(),
        tuple(tuple(sorted(scope.wires[edge] for edge in opens)) for opens, _ in rows),
        tuple(moves for _, moves in rows),
    )


def _placements(harness: Harness, broken: list[int]) -> Iterator[_Placement]:
    """As drawn; each swap; each turn of three; each two swaps of four different cavities."""
    yield _Placement()
    swaps = [way for pair in combinations(broken, 2) for way in _turns(harness, pair)]
    yield from swaps
    for three in combinations(broken, 3):
        yield from _turns(harness, three)
    for one, other in combinations(swaps, 2):
        if not {home for home, _ in one.moves} & {home for home, _ in other.moves}:
            moves = tuple(sorted((*one.moves, *other.moves)))
            yield _Placement(moves, one.cost + other.cost, one.likely * other.likely)


def _turns(harness: Harness, nets: tuple[int, ...]) -> list[_Placement]:
    """Terminals of these nets, one of each, that sit in one another's cavities of one connector."""
    places: dict[str, list[list[int]]] = {}
    for position, net in enumerate(nets):
        crimped = [w for w in harness.nets[net].conductors if harness.wires[w].kind == "wire"]
        ends = set(harness.start[crimped].tolist()) | set(harness.end[crimped].tolist())
        for code in sorted(ends):
            connector = connector_of(harness.points[code])
            if connector:
                places.setdefault(connector, [[] for _ in nets])[position].append(code)
    out = []
    for connector, members in places.items():
        listed = sorted((code for own in members for code in own), key=lambda c: natural(harness.points[c]))
        order = {code: i for i, code in enumerate(listed)}
        likely = 1.0 if not harness.worked_on or connector in harness.worked_on else 0.2
        for codes in product(*members):
            far = max(order[code] for code in codes) - min(order[code] for code in codes)
            for turn in [codes] if len(codes) == 2 else [codes, codes[::-1]]:
                moves = tuple(sorted(zip(turn, turn[1:] + turn[:1], strict=True)))
                out.append(_Placement(moves, len(nets), likely * 0.9 ** (far - 1)))
    return out
