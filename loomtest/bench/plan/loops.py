"""Probings of a net whose wires form loops: where an open would show most, and until the rank is full.

With the network grounded at one point and G the inverse of its Laplacian, the resistance between i and j
is G_ii + G_jj − 2 G_ij, and its derivative by the resistance of a wire is the square of the current in it
for one ampere from i to j (a consequence of Tellegen's theorem). A wire e = (a, b) of resistance r taken
out changes R_ij by i_e²·r/(1 − R_ab/r), with i_e that current: largest, by reciprocity, between the
reachable points of highest and lowest potential when one ampere flows from a to b.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from loomtest.bench.plan.continuity import Cell, CellProbings, Graph, Probing, What
from loomtest.diagnosis.numbers.network import inverse_laplacian
from loomtest.harness.forest import join
from loomtest.harness.model import BoolArray, FloatArray, Harness

USUAL_OHM = 0.03  # stands for a wire of unknown size or length where only a choice depends on it
LIVE = 1e-9  # a current below this share of the ampere put in is none
NEW = 1e-6  # part of a sensitivity, scaled to length one, that must lie outside the span to count
FURTHER = 4  # ends of highest and of lowest potential that are paired for one loop

Turn = tuple[Cell, int, Sequence[int]]  # a cell, the code of its hub, the codes to probe


class _Net:
    """The whole net, solved for one ampere between any two of its points."""

    def __init__(self, harness: Harness, net: int, ohms: FloatArray) -> None:
        wires = [w for w in harness.nets[net].conductors if harness.start[w] != harness.end[w]]
        self.graph = graph = Graph(harness, wires, ohms)
        self.known = ~np.isnan(graph.ohm)
        self.ohm = np.maximum(np.where(self.known, graph.ohm, USUAL_OHM), 1e-6)
        count = len(graph.codes)
        ends = np.stack([graph.a, graph.b])[:, None, :]
        self.inverse = inverse_laplacian(count, ends, self.ohm[None])[0]
        crossing = np.diag(self.inverse)[graph.a] + np.diag(self.inverse)[graph.b]
        crossing = crossing - 2 * self.inverse[graph.a, graph.b]
        reachable = np.zeros(count, dtype=np.bool_)
        reachable[graph.reachable] = True
        alone = reachable[graph.a] & reachable[graph.b] & (crossing > self.ohm * (1 - LIVE))
        self.sought = np.flatnonzero(~alone)  # a bridge between two reachable points has its own reading
        self.basis = np.zeros((len(self.sought), len(self.sought)))
        self.rank = 0
        first, *others = graph.reachable
        flowing = [np.abs(self.currents(first, other)) for other in others]
        self.live: BoolArray = np.max(flowing, axis=0) > LIVE

    def currents(self, i: int, j: int) -> FloatArray:
        """(E,) current in every edge for one ampere from i to j (local numbers)."""
        potential = self.inverse[:, i] - self.inverse[:, j]
        return np.asarray((potential[self.graph.a] - potential[self.graph.b]) / self.ohm)

    def new_part(self, i: int, j: int) -> FloatArray:
        """What of the sensitivity of R_ij, scaled to length one, the readings so far do not span."""
        row = self.currents(i, j)[self.sought] ** 2
        length = float(np.linalg.norm(row))
        row = row / length if length > LIVE else np.zeros(len(row))
        basis = self.basis[: self.rank]
        for _ in range(2):  # the second pass removes what rounding left
            row = row - basis.T @ (basis @ row)
        return row

    def add(self, i: int, j: int) -> bool:
        """Count the reading i to j; True when it raises the rank."""
        rest = self.new_part(i, j)
        length = float(np.linalg.norm(rest))
        if length < NEW or self.rank == len(self.basis):
            return False
        self.basis[self.rank] = rest / length
        self.rank += 1
        return True

    def probing(self, what: What, i: int, j: int, wires: Sequence[int] = ()) -> Probing:
        carrying = np.abs(self.currents(i, j)) > LIVE
        ohm = float(self.inverse[i, i] + self.inverse[j, j] - 2 * self.inverse[i, j])
        expected = ohm if self.known[carrying].all() else None
        codes = self.graph.codes
        shared = what != "joints" and bool((np.abs(self.currents(i, j))[carrying] < 1 - LIVE).any())
        return Probing(what, codes[i], codes[j], expected, tuple(wires), in_loop=shared)


def looped_probings(harness: Harness, turns: Sequence[Turn], ohms: FloatArray) -> list[CellProbings]:
    """Probings of the cells of one net, in the order given, those for joints after the last cell's.

    A reading between two points that earlier ones already show joined counts as one for a loop.
    """
    net = _Net(harness, turns[0][0].net, ohms)
    local = net.graph.local
    used: set[tuple[int, int]] = set()
    joined = {code: code for code in local}
    out = []
    for cell, hub, probes in turns:
        own = []
        for probe in probes:
            what: What = "continuity" if join(joined, hub, probe) else "loops"
            net.add(local[hub], local[probe])
            used.add(_pair(local[hub], local[probe]))
            wires = cell.wires if len(cell.wires) == 1 else ()
            own.append(net.probing(what, local[hub], local[probe], wires))
        for chord, loop in _inner_loops(net, cell, local[hub]):
            i, j = _across(net, chord, used)
            used.add(_pair(i, j))
            net.add(i, j)
            own.append(net.probing("loops", *((j, i) if j == local[hub] else (i, j)), loop))
        dead = net.graph.wires[~net.live]
        out.append(CellProbings(tuple(own), tuple(w for w in cell.wires if w in dead)))
    more = [net.probing("joints", i, j) for i, j in _until_full(net, local[turns[0][1]], used)]
    last = out[-1]
    out[-1] = replace(last, probings=(*last.probings, *more), alike=_alike(net), in_loop=True)
    return out


def _pair(i: int, j: int) -> tuple[int, int]:
    return (i, j) if i < j else (j, i)


def _inner_loops(net: _Net, cell: Cell, hub: int) -> list[tuple[int, list[int]]]:
    """Of every independent loop inside the cell: the edge that closes it, and its wires."""
    own = set(cell.wires)
    edges = [e for e in np.flatnonzero(net.live).tolist() if int(net.graph.wires[e]) in own]
    above: dict[int, tuple[int, int]] = {hub: (-1, -1)}  # point to its parent and the edge from there
    order, chords = [hub], []
    near: dict[int, list[tuple[int, int]]] = {}
    for edge in edges:
        a, b = int(net.graph.a[edge]), int(net.graph.b[edge])
        near.setdefault(a, []).append((b, edge))
        near.setdefault(b, []).append((a, edge))
    in_tree = set()
    for point in order:
        for other, edge in near.get(point, ()):
            if other not in above:
                above[other] = (point, edge)
                in_tree.add(edge)
                order.append(other)
    chords = [edge for edge in edges if edge not in in_tree]
    out = []
    for chord in chords:
        on = {chord}
        for point in (int(net.graph.a[chord]), int(net.graph.b[chord])):
            while above[point][0] >= 0:
                on ^= {above[point][1]}
                point = above[point][0]
        out.append((chord, net.graph.wires[sorted(on)].tolist()))
    return out


def _across(net: _Net, chord: int, used: set[tuple[int, int]]) -> tuple[int, int]:
    """The two reachable points between which an open chord shows most; a pair not used yet is preferred.

    Two wires side by side have one pair only: it is read a second time, because one poor touch looks the
    same as a lost wire.
    """
    graph = net.graph
    potential = net.inverse[:, graph.a[chord]] - net.inverse[:, graph.b[chord]]
    by_potential = sorted(graph.reachable, key=lambda point: (-potential[point], point))
    high, low = by_potential[:FURTHER], by_potential[-FURTHER:]
    ways = sorted({_pair(i, j) for i in high for j in low if i != j})
    most = max(abs(potential[i] - potential[j]) for i, j in ways)
    shows = [way for way in ways if abs(potential[way[0]] - potential[way[1]]) > most / 3]

    def worth(way: tuple[int, int]) -> tuple[bool, bool, float]:
        adds = float(np.linalg.norm(net.new_part(*way))) > NEW
        return adds, way not in used, abs(float(potential[way[0]] - potential[way[1]]))

    return max(shows, key=worth)


def _until_full(net: _Net, hub: int, used: set[tuple[int, int]]) -> list[tuple[int, int]]:
    """Readings that each raise the rank, until none between reachable points does.

    Sensitivities span a vector space: whichever readings are taken, as few more are needed.
    """
    reachable = [hub, *(point for point in net.graph.reachable if point != hub)]
    most = int(net.live[net.sought].sum())
    out: list[tuple[int, int]] = []
    for position, i in enumerate(reachable):
        for j in reachable[position + 1 :]:
            if net.rank == most:
                return out
            if _pair(i, j) not in used and net.add(i, j):
                out.append((i, j))
    return out


def _alike(net: _Net) -> tuple[tuple[int, ...], ...]:
    """The live wires whose own resistance the readings do not fix, as one group."""
    fixed = np.sum(net.basis[: net.rank] ** 2, axis=0) > 1 - 1e-9
    loose = net.graph.wires[net.sought[net.live[net.sought] & ~fixed]]
    return (tuple(loose.tolist()),) if len(loose) else ()
