"""One part of a loom to be explained: its points, what should join them, and what was seen there.

Points are numbered locally, 0 to m − 1. A *placement* lists the two local points at which every edge ends;
as drawn it is `Scene.home`. Plain lists, because scenes are small and are walked many thousand times.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from loomtest.diagnosis.numbers.network import effective_ohms
from loomtest.harness.forest import components
from loomtest.harness.model import IntArray

Ends = tuple[int, int]
Placement = tuple[Ends, ...]

FAR_BELOW = 1 / 3  # a value under this share of a part's own least ohms is a short, not another part


@dataclass(frozen=True)
class Scene:
    """`codes[i]` is the global code of local point i; edges are indexed alike in the tuples that follow.

    `wire`: index into Harness.wires. `home`: ends as drawn. `terminal`: True where the ends are crimped in
    terminals and move with them (a wire; a fuse or part stays where it is plugged in). `part`: True where
    the edge does not join (lamp, coil, resistor, diode); `low_ohm`: what a part would have to read under to
    be a short; `high_ohm`: the most it may read, inf for a diode. `joined`: (a, b, ohm) by rising ohm;
    `apart`: (a, b, ohm proved, over-range?). `clipped`: sides of readings with clips that conducted.
    `cavity`: True where the point is a cavity.
    """

    codes: tuple[int, ...]
    wire: tuple[int, ...]
    home: Placement
    terminal: tuple[bool, ...]
    part: tuple[bool, ...]
    low_ohm: tuple[float, ...]
    high_ohm: tuple[float, ...]
    joined: tuple[tuple[int, int, float], ...]
    apart: tuple[tuple[int, int, float, bool], ...]
    clipped: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]
    cavity: tuple[bool, ...]

    @property
    def size(self) -> int:
        """Number of points."""
        return len(self.codes)

    @cached_property
    def conductors(self) -> tuple[int, ...]:
        """Edges that join."""
        return tuple(e for e, part in enumerate(self.part) if not part)

    @cached_property
    def parts(self) -> tuple[int, ...]:
        """Edges that do not join."""
        return tuple(e for e, part in enumerate(self.part) if part)

    @cached_property
    def least_part_ohm(self) -> float:
        """What reads under this is no part."""
        return min((self.low_ohm[e] for e in self.parts), default=0.0)

    @cached_property
    def ends_at(self) -> tuple[tuple[tuple[int, int], ...], ...]:
        """Per point the (edge, side) of every crimped end that belongs there."""
        out: list[list[tuple[int, int]]] = [[] for _ in self.codes]
        for edge, ends in enumerate(self.home):
            if self.terminal[edge]:
                for side, point in enumerate(ends):
                    out[point].append((edge, side))
        return tuple(tuple(ends) for ends in out)

    @cached_property
    def exchanged(self) -> tuple[bool, ...]:
        """Per point whether what sits there can change places with another: a cavity's terminal, or the one
        wire of a sender, stud or clamp, which pulls off and goes on elsewhere like any terminal."""
        return tuple(own or len(ends) == 1 for own, ends in zip(self.cavity, self.ends_at, strict=True))

    @cached_property
    def groups(self) -> list[int]:
        """Per point the label of the points it was seen joined to; -1 where no reading touched it."""
        touched = {p for seen in (self.joined, self.apart) for a, b, *_ in seen for p in (a, b)}
        labels = components(self.size, ((a, b) for a, b, _ in self.joined))
        return [labels[p] if p in touched else -1 for p in range(self.size)]

    @cached_property
    def told_apart(self) -> tuple[tuple[int, int, float, bool], ...]:
        """`apart` less the pairs seen joined by way of other points: what conducts is believed."""
        return tuple(seen for seen in self.apart if self.groups[seen[0]] != self.groups[seen[1]])

    @cached_property
    def columns(self) -> SceneColumns:
        """The evidence as arrays."""
        soft = [(a, b) for a, b, ohm in self.joined if ohm >= self.least_part_ohm]
        hard = [(a, b) for a, b, ohm in self.joined if ohm < self.least_part_ohm]
        forest = components(self.size, hard)
        told = np.array([seen[:2] for seen in self.told_apart], dtype=np.int64).reshape(-1, 2)
        ends = np.array(soft, dtype=np.int64).reshape(-1, 2)
        return SceneColumns(
            np.array(self.groups),
            tuple((point, root) for point, root in enumerate(forest) if point != root),
            *ends.T,
            *told.T,
        )

    def parts_between(self, labels: Sequence[int], placed: Placement, cut: frozenset[int]) -> PartPaths:
        """The parts that are not cut, between component labels."""
        return PartPaths(
            self.size,
            (
                (labels[placed[e][0]], labels[placed[e][1]], self.low_ohm[e], self.high_ohm[e])
                for e in self.parts
                if e not in cut
            ),
        )


@dataclass(frozen=True)
class SceneColumns:
    """A scene's evidence for quick counting: `groups` (m,) as in Scene; `hard_joins`: pairs that no part can
    explain; the soft pairs that one may; the pairs told apart."""

    groups: IntArray
    hard_joins: tuple[tuple[int, int], ...]
    soft_start: IntArray
    soft_end: IntArray
    apart_start: IntArray
    apart_end: IntArray


class PartPaths:
    """What parts show between components: the least and the most ohms of every path through them.

    Raising one resistance never lowers the resistance between two points (Rayleigh's monotonicity law), so
    all parts at their lowest give the least and all at their highest the most.
    """

    def __init__(self, size: int, links: Iterable[tuple[int, int, float, float]]) -> None:
        """`links`: (label, label, least ohm, most ohm) of each part; labels lie below `size`."""
        self._links = [link for link in links if link[0] != link[1]]
        self._group = components(size, ((a, b) for a, b, _, _ in self._links)) if self._links else []
        self._bounds: dict[int, _Bounds] = {}

    def group_of(self, size: int) -> IntArray:
        """(size,) for every label the group of labels that parts lead to from it."""
        return np.array(self._group) if self._links else np.arange(size)

    def lead(self, a: int, b: int) -> bool:
        """True where parts lead from one component to another."""
        return bool(self._links) and a != b and self._group[a] == self._group[b]

    def between(self, a: int, b: int) -> tuple[float, float] | None:
        """(least, most) ohms between two component labels, None where no part leads across."""
        if not self.lead(a, b):
            return None
        group = self._group[a]
        if group not in self._bounds:
            links = [link for link in self._links if self._group[link[0]] == group]
            self._bounds[group] = _Bounds(links)
        return self._bounds[group].between(a, b)


class _Bounds:
    """Least and most ohms between all nodes of one network of parts."""

    def __init__(self, links: Sequence[tuple[int, int, float, float]]) -> None:
        nodes = sorted({node for a, b, _, _ in links for node in (a, b)})
        self._index = {node: i for i, node in enumerate(nodes)}
        ends = [(self._index[a], self._index[b]) for a, b, _, _ in links]
        self._low = effective_ohms(len(nodes), ends, [low for _, _, low, _ in links])
        self._high = effective_ohms(len(nodes), ends, [high for _, _, _, high in links])

    def between(self, a: int, b: int) -> tuple[float, float]:
        i, j = self._index[a], self._index[b]
        return float(self._low[i, j]), float(self._high[i, j])
