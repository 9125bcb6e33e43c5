"""Which pairs of nets must be shown apart: one definition for the plan and for the verdict.

A pair is two nets, each with a point that a probe reaches, that no part joins: not directly, and not
through other nets and parts either (two lamps on one ground: their feeds read as two lamps in series,
never as apart). `full` wants all of them; `bonded` the same without the declared empty cavities;
`neighbours` those of `bonded` whose nets lie where a bridge or a chafe is likely:

- in cavities side by side: above, below, left or right of each other where `[faces]` says how the
  cavities lie, else next to each other in the order of the cavities;
- in one branch: a wire of each with the same text in a wire list column `branch`, or running between the
  same two connectors (or single-terminal points);
- in one sleeve: single-terminal points (splices, grounds) that `[places]` puts in the same words.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.harness.forest import components
from loomtest.harness.model import (
    BoolArray,
    Face,
    Harness,
    IntArray,
    IsolationLevel,
    cavity_of,
    connector_of,
)
from loomtest.harness.points import natural


@dataclass(frozen=True)
class RequiredPairs:
    """Unordered pairs of nets (a < b), held as a rule and not as rows: 4,096 pins make 8.4 million.

    `group`: (N,) for every net of the harness, the group of nets that parts join (a number of its own
    for a net without parts), -1 for a net outside the level. `listed`: ascending codes a·N + b of the
    wanted pairs; None where every pair of different groups is wanted.
    """

    group: IntArray
    listed: IntArray | None = None

    @property
    def nets(self) -> IntArray:
        """Indices of the nets that take part in the level, ascending."""
        return np.flatnonzero(self.group >= 0)

    @property
    def count(self) -> int:
        """How many pairs there are."""
        if self.listed is not None:
            return len(self.listed)
        sizes = np.unique(self.group[self.group >= 0], return_counts=True)[1]
        total = int(sizes.sum())
        return (total * total - int((sizes * sizes).sum())) // 2

    def contains(self, a: IntArray, b: IntArray) -> BoolArray:
        """True where the nets a and b (same shape, any order) are a pair of the level."""
        a, b = np.minimum(a, b), np.maximum(a, b)
        wanted = (self.group[a] >= 0) & (self.group[b] >= 0) & (self.group[a] != self.group[b])
        if self.listed is not None:
            wanted &= np.isin(a * len(self.group) + b, self.listed)
        return np.asarray(wanted, dtype=np.bool_)

    def iterate(self) -> Iterator[IntArray]:
        """The pairs in ascending order, as (k, 2) blocks: one for each first net that has any."""
        if self.listed is not None:
            if len(self.listed):
                codes = np.stack(np.divmod(self.listed, len(self.group)), axis=1)
                yield from np.split(codes, np.flatnonzero(np.diff(codes[:, 0])) + 1)
            return
        nets = self.nets
        for position, first in enumerate(nets.tolist()):
            later = nets[position + 1 :]
            later = later[self.group[later] != self.group[first]]
            if len(later):
                yield np.stack([np.full_like(later, first), later], axis=1)


def required_pairs(harness: Harness, level: IsolationLevel) -> RequiredPairs:
    """The pairs of nets that `level` wants shown apart; indices are those of `harness.nets`."""
    group = part_groups(harness)
    if level == "none":
        return RequiredPairs(np.full(len(harness.nets), -1, dtype=np.int64))
    group[~_has_reachable_point(harness)] = -1
    if level == "full":
        return RequiredPairs(group)
    group[empty_cavities(harness)] = -1
    if level == "bonded":
        return RequiredPairs(group)
    return RequiredPairs(group, _near_pairs(harness, group))


def part_groups(harness: Harness) -> IntArray:
    """(N,) for every net the lowest net that parts join it to, directly or through other nets."""
    parts = ~harness.conducts
    ends = zip(
        harness.net_of[harness.start[parts]].tolist(),
        harness.net_of[harness.end[parts]].tolist(),
        strict=True,
    )
    return np.array(components(len(harness.nets), ends), dtype=np.int64)


def empty_cavities(harness: Harness) -> BoolArray:
    """(N,) True for the net that is a declared cavity in which nothing of the wire list ends."""
    used = np.zeros(len(harness.points), dtype=np.bool_)
    used[harness.start] = True
    used[harness.end] = True
    out = np.ones(len(harness.nets), dtype=np.bool_)
    out[harness.net_of[used]] = False
    return out


def side_by_side(harness: Harness) -> list[tuple[int, int]]:
    """Pairs of point codes whose cavities lie next to each other in one connector."""
    members: dict[str, list[int]] = {}
    for code, point in enumerate(harness.points):
        if connector_of(point):
            members.setdefault(connector_of(point), []).append(code)
    pairs = []
    for connector, codes in members.items():
        order = {cavity: i for i, cavity in enumerate(harness.cavities.get(connector, ()))}
        if any(cavity_of(harness.points[code]) not in order for code in codes):
            codes.sort(key=lambda code: natural(cavity_of(harness.points[code])))
        else:
            codes.sort(key=lambda code: order[cavity_of(harness.points[code])])
        face = harness.faces.get(connector)
        for i, j in _adjacent(len(codes), face if face is not None else Face()):
            pairs.append((codes[i], codes[j]))
    return pairs


def _adjacent(count: int, face: Face) -> Iterator[tuple[int, int]]:
    """Pairs of positions side by side, for `count` cavities laid out as `face` says."""
    rows = max(1, min(face.rows, count))
    columns = -(-count // rows)
    at: dict[tuple[int, int], int] = {}
    for position in range(count):
        if face.numbering == "down":
            column, row = divmod(position, rows)
        else:
            row, column = divmod(position, columns)
            if face.numbering == "back-and-forth" and row % 2:
                column = columns - 1 - column
        at[row, column] = position
    for (row, column), position in at.items():
        for other in ((row, column + 1), (row + 1, column)):
            if other in at:
                yield position, at[other]


def _has_reachable_point(harness: Harness) -> BoolArray:
    out = np.zeros(len(harness.nets), dtype=np.bool_)
    out[harness.net_of[harness.reachable]] = True
    return out


def _near_pairs(harness: Harness, group: IntArray) -> IntArray:
    """Ascending codes a·N + b of the pairs that are near each other and of different groups."""
    net_of = harness.net_of
    near = [net_of[np.array(side_by_side(harness), dtype=np.int64).reshape(-1, 2)]]
    near.extend(_all_pairs(net_of[codes]) for codes in _bundles(harness))
    pairs = np.sort(np.concatenate(near), axis=1)
    a, b = pairs[:, 0], pairs[:, 1]
    wanted = (group[a] >= 0) & (group[b] >= 0) & (group[a] != group[b])
    return distinct(a[wanted] * len(group) + b[wanted])


def _all_pairs(nets: IntArray) -> IntArray:
    nets = distinct(nets)
    first, second = np.triu_indices(len(nets), 1)
    return np.stack([nets[first], nets[second]], axis=1)


def _bundles(harness: Harness) -> Iterable[list[int]]:
    """Point codes of what lies together: the wires of one branch, the single terminals of one place."""
    bundles: dict[tuple[str, ...], list[int]] = {}
    for wire in harness.wires:
        branch = next((text.strip() for name, text in wire.extra if name.strip().casefold() == "branch"), "")
        ends = sorted((connector_of(wire.start) or wire.start, connector_of(wire.end) or wire.end))
        code = harness.code_of[wire.start]
        if branch:
            bundles.setdefault(("branch", branch), []).append(code)
        bundles.setdefault(("between", *ends), []).append(code)
        if not wire.conducts:  # its two ends are different nets, and both lie in the branch
            bundles["between", *ends].append(harness.code_of[wire.end])
    for point, place in harness.places.items():
        if not connector_of(point) and point in harness.code_of:
            bundles.setdefault(("place", place.strip()), []).append(harness.code_of[point])
    return bundles.values()
