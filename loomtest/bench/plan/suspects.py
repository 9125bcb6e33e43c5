"""What can be wrong, given the readings so far: the hypotheses among which the next probing decides.

A net with a pair that should be joined and reads apart is broken: wires in it are open, or a terminal of it
and that of another broken net sit in each other's cavity, or three of them are turned round, or one sits in
an empty cavity that a reading found it in. Broken nets that share a connector are one *puzzle*, apart from
the others. For every placement of the terminals the sets
of open wires that agree with the readings are found by a search over paths: a pair that reads apart and is
still joined loses one wire of a path between its points, each in turn, until nothing disagrees.

Two circuits with a part between them read joined through it where it has little (a lamp): such a reading
says joined by copper or by the part, and an apart reading says apart, as everywhere.

Cost: one for an open wire, for a bridge and for a terminal in an empty cavity, two for a swap, three for a
turn of three: as much as the opens that look the same along the expected pairs, because until a cross reading
speaks for it nothing tells them apart. Explanations of the least cost, and of one more, are kept; the weight
of each is `RARE` to its cost, less for cavities far apart or outside the connectors worked on (common
practice).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice, product

import numpy as np

from loomtest.diagnosis.seen.isolation import empty_cavities, part_groups
from loomtest.diagnosis.seen.observe import APART, JOINED, Observations
from loomtest.harness.copper import part_ohms
from loomtest.harness.forest import components, join, root
from loomtest.harness.model import FloatArray, Harness, IntArray, connector_of
from loomtest.harness.points import natural

RARE = 0.01
MOST_COST = 6  # past it a puzzle is too badly broken to be told by reasoning
MOST_PLACEMENTS = 1500
MOST_OPENS = 400  # sets of opens looked at for one placement

Pair = tuple[int, int]
Read = tuple[int, int, int]  # two codes, and what the reading of them says:
_APART, _JOINED, _MAY_BE_PART = range(3)


@dataclass(frozen=True)
class Puzzle:
    """Hypotheses about some nets. `points`: (P,) codes of all points in it; `labels`: (H, P) what is joined
    by copper under each hypothesis (equal labels), `reads`: (H, P) the same with what reads joined through a
    part; `weight`: (H,) adding to one. `opens`, `moves`: wires open (indices) and (home, place) of terminals
    (codes) under each."""

    points: IntArray
    labels: IntArray
    reads: IntArray
    weight: FloatArray
    opens: tuple[tuple[int, ...], ...]
    moves: tuple[tuple[Pair, ...], ...]


Known = dict[tuple[tuple[int, ...], tuple[int, ...], tuple[Read, ...]], Puzzle]


def open_puzzles(harness: Harness, seen: Observations, known: Known | None = None) -> list[Puzzle]:
    """The puzzles that the readings leave, each with every combination that agrees with them.

    `known`: puzzles worked out before; those with new readings are added.
    """
    net_of = harness.net_of
    inside = (seen.pair_start < len(net_of)) & (seen.pair_end < len(net_of))
    start, end, state = seen.pair_start[inside], seen.pair_end[inside], seen.pair_state[inside]
    a, b = net_of[start], net_of[end]
    broken = sorted(set(a[(state == APART) & (a == b)].tolist()))
    if not broken:
        return []
    group = part_groups(harness)
    by_part = (a != b) & (group[a] == group[b])
    crossing = (state == JOINED) & (a != b) & ~by_part
    in_doubt = np.zeros(len(harness.nets), dtype=np.bool_)
    out = []
    for nets in _tied(harness, broken, list(zip(a[crossing].tolist(), b[crossing].tolist(), strict=True))):
        in_doubt[:] = False
        in_doubt[nets] = True
        rows = in_doubt[a] & in_doubt[b]
        kinds = np.where(state[rows] == APART, _APART, np.where(by_part[rows], _MAY_BE_PART, _JOINED))
        read = tuple(zip(start[rows].tolist(), end[rows].tolist(), kinds.tolist(), strict=True))
        key = tuple(sorted(nets)), tuple(net for net in nets if net in set(broken)), read
        if known is None:
            out.append(_puzzle(harness, *key))
            continue
        if key not in known:
            known[key] = _puzzle(harness, *key)
        out.append(known[key])
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

    def __init__(self, harness: Harness, nets: Sequence[int], read: Sequence[Read]) -> None:
        self.codes = sorted(code for net in nets for code in harness.nets[net].points)
        self.local = {code: i for i, code in enumerate(self.codes)}
        self.wires = sorted(wire for net in nets for wire in harness.nets[net].conductors)
        # what moves with a terminal is the wires in it; a fuse stays where it is plugged in
        crimped = [harness.wires[wire].kind == "wire" for wire in self.wires]
        starts, ends = harness.start[self.wires].tolist(), harness.end[self.wires].tolist()
        self.home = [(self.local[a], self.local[b], c) for a, b, c in zip(starts, ends, crimped, strict=True)]
        pairs = [(self.local[x], self.local[y], kind) for x, y, kind in read]
        self.joined = [(x, y) for x, y, kind in pairs if kind == _JOINED]
        self.apart = [(x, y) for x, y, kind in pairs if kind == _APART]
        self.through = [(x, y) for x, y, kind in pairs if kind == _MAY_BE_PART]
        self.parts = self._low_parts(harness, set(nets))

    def _low_parts(self, harness: Harness, nets: set[int]) -> list[Pair]:
        """Parts that may read like a wire; a circuit outside stands as one point more, past the others."""
        outside: dict[int, int] = {}
        out = []
        for wire in np.flatnonzero(harness.parts).tolist():
            if part_ohms(harness.wires[wire])[0] >= harness.limits.short_below_ohms:
                continue
            ends = []
            for code in (int(harness.start[wire]), int(harness.end[wire])):
                net = int(harness.net_of[code])
                further = len(self.codes) + len(outside)
                ends.append(self.local[code] if net in nets else outside.setdefault(net, further))
            out.append((ends[0], ends[1]))
        self._size = len(self.codes) + len(outside)
        return out

    def reads(self, labels: Sequence[int]) -> list[int]:
        """(P,) what reads joined where copper joins what `labels` say: by copper, or through parts."""
        parent = [*labels, *range(len(labels), self._size)]
        for a, b in self.parts:
            join(parent, a, b)
        return [root(parent, point) for point in range(len(self.codes))]

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
        if self.through:
            reads = self.reads(labels)
            if any(reads[x] != reads[y] for x, y in self.through):
                return
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


def _puzzle(harness: Harness, nets: Sequence[int], broken: Sequence[int], read: Sequence[Read]) -> Puzzle:
    scope = _Scope(harness, nets, read)
    strays = _strays(harness, broken, read)
    placements = list(islice(_placements(harness, broken, strays), MOST_PLACEMENTS))
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
        np.array([scope.reads(labels) for _, labels in rows.values()], dtype=np.int64),
        weights / weights.sum(),
        tuple(tuple(sorted(scope.wires[edge] for edge in opens)) for opens, _ in rows),
        tuple(moves for _, moves in rows),
    )


def _strays(harness: Harness, broken: Sequence[int], read: Sequence[Read]) -> list[_Placement]:
    """Terminals of the broken nets in an empty cavity that a reading found joined to one of them."""
    empty = empty_cavities(harness)[harness.net_of]
    found = {int(code) for a, b, kind in read if kind == _JOINED for code in (a, b) if empty[code]}
    homes = [
        code for net in broken for code in crimped_at(harness, net) if connector_of(harness.points[code])
    ]
    out = []
    for place in sorted(found):
        own = connector_of(harness.points[place])
        for home in homes:
            likely = 1.0 if connector_of(harness.points[home]) == own else 0.1
            out.append(_Placement(((home, place),), 1, likely))
    return out


def crimped_at(harness: Harness, net: int) -> list[int]:
    """Codes of the points of a net that hold a wire's terminal, ascending."""
    crimped = [w for w in harness.nets[net].conductors if harness.wires[w].kind == "wire"]
    return sorted(set(harness.start[crimped].tolist()) | set(harness.end[crimped].tolist()))


def _placements(
    harness: Harness, broken: Sequence[int], strays: Sequence[_Placement] = ()
) -> Iterator[_Placement]:
    """As drawn; each stray; each two of them; each swap, also beside a stray; each turn of three; each two
    swaps of four different cavities."""
    yield _Placement()
    yield from strays
    yield from _both(strays, strays)
    swaps = [way for pair in combinations(broken, 2) for way in _turns(harness, pair)]
    yield from swaps
    yield from _both(strays, swaps)
    for three in combinations(broken, 3):
        yield from _turns(harness, three)
    yield from _both(swaps, swaps)


def _both(ones: Sequence[_Placement], others: Sequence[_Placement]) -> Iterator[_Placement]:
    """Each two of them that move different terminals to different places."""
    pairs = combinations(ones, 2) if ones is others else product(ones, others)
    for one, other in pairs:
        if not {p for move in one.moves for p in move} & {p for move in other.moves for p in move}:
            moves = tuple(sorted((*one.moves, *other.moves)))
            yield _Placement(moves, one.cost + other.cost, one.likely * other.likely)


def _turns(harness: Harness, nets: tuple[int, ...]) -> list[_Placement]:
    """Terminals of these nets, one of each, that sit in one another's cavities of one connector."""
    places: dict[str, list[list[int]]] = {}
    for position, net in enumerate(nets):
        for code in crimped_at(harness, net):
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
