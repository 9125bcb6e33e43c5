"""What to measure inside one net: whole (n − 1 probings), its loops (one each), and every wire (joints).

A net is cut at its reachable points into *cells*: wires that hang together through unreachable points, a
single wire between two reachable points being the commonest. A cell of m reachable points is read from
one of them to the m − 1 others. Together that is n − 1 for a net of n reachable points without loops;
fewer cannot show it whole, because the points would fall into groups that no reading connects. Every
reading is then the only one that shows some wire, and the value of a wire between two reachable points
stands alone in its reading.

A wire in a loop may be open and everything still joined: only the value tells, so every independent loop
adds a reading.

Every wire's resistance: in a cell without loops, the readings give the distance d(hub, i) of every
reachable point; an unreachable point v where three or more branches part gets its distance from one
reading between two of its branches, d(hub, v) = (d(hub, i) + d(hub, j) − d(i, j))/2, and every wire is a
difference of two distances. Each such v adds one unknown, so fewer readings cannot do (P. Buneman 1971:
the pairwise distances of its ends fix a tree and its lengths, except at points where only two branches
meet). With loops, readings are added while they raise the rank of the sensitivities
d(reading)/d(wire).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from loomtest.harness.forest import join, root
from loomtest.harness.model import FloatArray, Harness

# The last three stand in no plan: which circuit a fault is in, whether a wire's end sits elsewhere, and where
# along a wire a fault is.
What = Literal["continuity", "loops", "joints", "part", "isolation", "locate", "elsewhere", "place"]


@dataclass(frozen=True, slots=True)
class Probing:
    """Touch two points. `start`, `end`: codes; `start` is the clip unless `clip_at_end`.

    `expected_ohm`: None where it cannot be computed. `wires`: indices of wires first shown by this probing;
    `in_loop` where other wires join the two points as well, so that only the value shows these.
    """

    what: What
    start: int
    end: int
    expected_ohm: float | None
    wires: tuple[int, ...] = ()
    clip_at_end: bool = False
    quantity: str = "resistance"
    in_loop: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """Wires of one net that hang together through unreachable points; `points` are its reachable ones."""

    net: int
    wires: tuple[int, ...]
    points: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CellProbings:
    """`dead`: wires that carry no current between any two reachable points. `alike`: groups of wires that
    no readings between reachable points tell apart; `in_loop` where these lie in loops, else they follow one
    another and their sum is known."""

    probings: tuple[Probing, ...]
    dead: tuple[int, ...] = ()
    alike: tuple[tuple[int, ...], ...] = ()
    in_loop: bool = False


def cells_of(harness: Harness, net: int) -> list[Cell]:
    """The cells of a net in the order of their first wires; wires from a point to itself are left out."""
    reachable = harness.reachable
    wires = [w for w in harness.nets[net].conductors if harness.start[w] != harness.end[w]]
    ends = {w: (int(harness.start[w]), int(harness.end[w])) for w in wires}
    joints = [(wire, ~point) for wire, pair in ends.items() for point in pair if not reachable[point]]
    forest = {item: item for item in (*wires, *(joint for _, joint in joints))}  # ~point: a point among wires
    for wire, joint in joints:
        join(forest, wire, joint)
    members: dict[int, list[int]] = {}
    for wire in wires:
        members.setdefault(root(forest, wire), []).append(wire)
    return [
        Cell(net, tuple(own), tuple(sorted({p for w in own for p in ends[w] if reachable[p]})))
        for own in members.values()
    ]


class Graph:
    """Wires between points, which are numbered 0 … V − 1 here in ascending order of their codes."""

    def __init__(self, harness: Harness, wires: Sequence[int], ohms: FloatArray) -> None:
        self.wires = np.array(wires, dtype=np.int64)
        start, end = harness.start[self.wires], harness.end[self.wires]
        codes, numbers = np.unique(np.concatenate([start, end]), return_inverse=True)
        self.codes: list[int] = codes.tolist()
        self.local = {code: i for i, code in enumerate(self.codes)}
        self.a, self.b = numbers[: len(start)], numbers[len(start) :]
        self.ohm = ohms[self.wires]
        self.reachable = [i for i, code in enumerate(self.codes) if harness.reachable[code]]

    def from_root(self, root: int) -> tuple[list[int], list[int], list[int]]:
        """Breadth first from `root`: the order, each point's parent, and the edge to it (-1 for the root)."""
        near: list[list[tuple[int, int]]] = [[] for _ in self.codes]
        for edge, (a, b) in enumerate(zip(self.a.tolist(), self.b.tolist(), strict=True)):
            near[a].append((b, edge))
            near[b].append((a, edge))
        parent, by = [-1] * len(self.codes), [-1] * len(self.codes)
        order, seen = [root], {root}
        for point in order:
            for other, edge in near[point]:
                if other not in seen:
                    seen.add(other)
                    parent[other], by[other] = point, edge
                    order.append(other)
        return order, parent, by


def tree_probings(
    harness: Harness, cell: Cell, hub: int, probes: Sequence[int], ohms: FloatArray
) -> CellProbings:
    """Probings of a cell without loops, clip on `hub`, probe through `probes` (codes); joints last."""
    if len(cell.wires) == 1:
        ohm = float(ohms[cell.wires[0]])
        return CellProbings((Probing("continuity", hub, probes[0], _known(ohm), cell.wires),))
    graph = Graph(harness, cell.wires, ohms)
    order, parent, by = graph.from_root(graph.local[hub])
    distance = np.zeros(len(graph.codes))
    for point in order[1:]:
        distance[point] = distance[parent[point]] + graph.ohm[by[point]]
    shown: set[int] = set()
    out = []
    for probe in probes:
        fresh = []
        point = graph.local[probe]
        expected = _known(float(distance[point]))
        while by[point] >= 0 and by[point] not in shown:
            shown.add(by[point])
            fresh.append(int(graph.wires[by[point]]))
            point = parent[point]
        out.append(Probing("continuity", hub, probe, expected, tuple(reversed(fresh))))
    dead = tuple(int(graph.wires[edge]) for edge in range(len(graph.wires)) if edge not in shown)
    extra, alike = _tree_joints(graph, order, parent, by)
    for i, j, meet in extra:
        expected = _known(float(distance[i] + distance[j] - 2 * distance[meet]))
        out.append(Probing("joints", graph.codes[i], graph.codes[j], expected))
    return CellProbings(tuple(out), dead, alike)


def _known(ohm: float) -> float | None:
    return None if np.isnan(ohm) else ohm


def _tree_joints(
    graph: Graph, order: list[int], parent: list[int], by: list[int]
) -> tuple[list[tuple[int, int, int]], tuple[tuple[int, ...], ...]]:
    """One reading across every unreachable point where branches part, and the wires told only together."""
    reachable = set(graph.reachable)
    below: list[list[int]] = [[] for _ in graph.codes]  # one reachable point of each live branch below
    for point in reversed(order[1:]):
        first = point if point in reachable else below[point][0] if below[point] else -1
        if first >= 0:
            below[parent[point]].append(first)
    extra = [(below[v][0], below[v][1], v) for v in order[1:] if v not in reachable and len(below[v]) >= 2]
    merged: dict[int, list[int]] = {}
    lead: dict[int, int] = {}
    for v in order[1:]:
        if v not in reachable and not below[v]:
            continue  # a dead end
        up = parent[v]
        through = up in lead and up not in reachable and len(below[up]) == 1
        lead[v] = lead[up] if through else v
        merged.setdefault(lead[v], []).append(int(graph.wires[by[v]]))
    return extra, tuple(tuple(sorted(group)) for group in merged.values() if len(group) > 1)


def expected_wire_ohms(harness: Harness) -> FloatArray:
    """(W,) expected ohms of wires and fuses, NaN where size, length or a fuse's range is unknown."""
    from loomtest.harness.copper import expectation_of

    ohms = expectation_of(harness).expected_ohm.copy()
    for index, wire in enumerate(harness.wires):
        if wire.kind == "fuse" and wire.ohms_max is not None:
            ohms[index] = ((wire.ohms_min or 0.0) + wire.ohms_max) / 2
    return ohms
