"""How a loom lies on the board: branches between nodes, and the way that each wire takes along them.

A node is a connector, a single-terminal point, a point such as `X3:2`, or a name of one's own where branches
part (`J1`). A wire takes the shortest way between the nodes of its ends.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from statistics import median

USUAL_BRANCH_M = 0.3  # stands in for lengths that nobody measured, to choose a way only
Place3D = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Branch:
    """A piece of the loom between two nodes; `length_m` is None where nobody measured it; `row` its line;
    `inches`: it was written in inches or feet."""

    start: str
    end: str
    length_m: float | None = None
    row: int = 0
    inches: bool = False


@dataclass(frozen=True, slots=True)
class WireWay:
    """The way of a wire: the nodes it passes, and the branches between them (indices, one fewer)."""

    nodes: tuple[str, ...]
    branches: tuple[int, ...]


@dataclass(frozen=True)
class Lie:
    """All branches of a loom. `at_m`: where nodes lie in metres, for those whose coordinates are known.

    `file` is where it was read, for messages.
    """

    branches: tuple[Branch, ...]
    at_m: Mapping[str, Place3D] = field(default_factory=dict)
    file: str = ""

    @cached_property
    def nodes(self) -> dict[str, int]:
        """Node to its index, in the order of first mention."""
        names = dict.fromkeys(name for branch in self.branches for name in (branch.start, branch.end))
        return {name: index for index, name in enumerate(names)}

    @cached_property
    def drawn_m(self) -> tuple[float, ...]:
        """A length for every branch: its own, else the median of those known, else the usual one."""
        known = [branch.length_m for branch in self.branches if branch.length_m is not None]
        instead = median(known) if known else USUAL_BRANCH_M
        return tuple(instead if b.length_m is None else b.length_m for b in self.branches)

    def node_of(self, point: str) -> str:
        """The node at which a wire that ends at `point` leaves the loom; "" where none is listed."""
        if point in self.nodes:
            return point
        connector = point.rpartition(":")[0]
        return connector if connector in self.nodes else ""

    def length_m(self, course: WireWay) -> float | None:
        """The length of a way; None where one of its branches has none."""
        lengths = [self.branches[index].length_m for index in course.branches]
        known = [length for length in lengths if length is not None]
        return sum(known) if len(known) == len(lengths) else None

    def courses(self, ends: Sequence[tuple[str, str]]) -> list[WireWay | None]:
        """The shortest way between the two points of each pair; None where an end or a way is not listed.

        Of ways of equal length the same is taken every time.
        """
        nodes = [(self.node_of(a), self.node_of(b)) for a, b in ends]
        sources = dict.fromkeys(a for a, b in nodes if a and b)
        before = self._before(list(sources))
        names = list(self.nodes)
        out: list[WireWay | None] = []
        known: dict[tuple[str, str], WireWay | None] = {}
        for a, b in nodes:
            if not (a and b):
                out.append(None)
                continue
            if (a, b) not in known:
                known[a, b] = self._course(before[a], names, a, b)
            out.append(known[a, b])
        return out

    @cached_property
    def shortest_branch(self) -> dict[tuple[int, int], int]:
        """The shortest branch between two nodes that have one, by their indices in both orders."""
        best: dict[tuple[int, int], int] = {}
        for index, branch in enumerate(self.branches):
            a, b = self.nodes[branch.start], self.nodes[branch.end]
            other = best.get((a, b))
            if other is None or self.drawn_m[index] < self.drawn_m[other]:
                best[a, b] = best[b, a] = index
        return best

    def distances_m(self, sources: Sequence[str]) -> list[list[float]]:
        """From each source node to every node along the branches; infinite where nothing leads there."""
        return self._search(sources)[0] if sources else []

    def _search(self, sources: Sequence[str]) -> tuple[list[list[float]], list[list[int]]]:
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import dijkstra

        pairs = list(self.shortest_branch)
        lengths = [self.drawn_m[index] for index in self.shortest_branch.values()]
        ends = ([a for a, _ in pairs], [b for _, b in pairs])
        graph = csr_array((lengths, ends), shape=(len(self.nodes), len(self.nodes)))
        start = [self.nodes[name] for name in sources]
        distance, before = dijkstra(graph, indices=start, return_predecessors=True)
        return distance.tolist(), before.tolist()

    def _before(self, sources: list[str]) -> dict[str, list[int]]:
        """For each source node the node before every node on its way; negative where there is none."""
        return dict(zip(sources, self._search(sources)[1], strict=True)) if sources else {}

    def _course(self, before: list[int], names: list[str], a: str, b: str) -> WireWay | None:
        here, start = self.nodes[b], self.nodes[a]
        way = [here]
        while here != start:
            here = before[here]
            if here < 0:
                return None
            way.append(here)
        way.reverse()
        pieces = tuple(self.shortest_branch[pair] for pair in pairwise(way))
        return WireWay(tuple(names[index] for index in way), pieces)
