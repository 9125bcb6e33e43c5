"""Which pairs of nets must be shown apart: one definition for the plan and for the verdict.

A pair is two nets, each with a point that a probe reaches. Only a part that stands directly across the two
takes their pair out (it is what reads there); two lamps on one ground join their feeds, and a reading that
the two lamps explain shows those apart. A switch takes no pair out. `full` wants all pairs; `bonded` the same
without the declared empty cavities; `neighbours` those of `bonded` whose nets lie where a bridge or a chafe
is likely:

- in cavities side by side: above, below, left or right of each other where `[faces]` says how the
  cavities lie, else next to each other in the order of the cavities;
- in one branch: a wire of each with the same text in a wire list column `branch`, or running between the
  same two connectors (or single-terminal points);
- in one branch of the loom as it lies, where `isolation_in_segments` asks for it;
- in one place: points that `[places]` puts in the same words;
- single-terminal points without a place: each beside the next such point of the list;
- a net that all this leaves alone: beside the next net of the list.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

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
from loomtest.readings.model import Run


@dataclass(frozen=True)
class RequiredPairs:
    """Unordered pairs of nets (a < b), held as a rule and not as rows: 4,096 pins make 8.4 million.

    `inside`: (N,) the nets that take part in the level. `across`: ascending codes a·N + b of the pairs of
    them that a part stands directly across; they are not wanted. `listed`: ascending codes of the wanted
    pairs; None where every pair of the level's nets is wanted but for those.
    """

    inside: BoolArray
    across: IntArray
    listed: IntArray | None = None

    @property
    def nets(self) -> IntArray:
        """Indices of the nets that take part in the level, ascending."""
        return np.flatnonzero(self.inside)

    @property
    def count(self) -> int:
        """How many pairs there are."""
        if self.listed is not None:
            return len(self.listed)
        total = int(self.inside.sum())
        return total * (total - 1) // 2 - len(self.across)

    def contains(self, a: IntArray, b: IntArray) -> BoolArray:
        """True where the nets a and b (same shape, any order) are a pair of the level."""
        wanted = self.inside[a] & self.inside[b] & (a != b)
        if self.listed is not None or len(self.across):
            code = np.minimum(a, b) * len(self.inside) + np.maximum(a, b)
            wanted &= ~np.isin(code, self.across) if self.listed is None else np.isin(code, self.listed)
        return np.asarray(wanted, dtype=np.bool_)

    def iterate(self) -> Iterator[IntArray]:
        """The pairs in ascending order, as (k, 2) blocks: one for each first net that has any."""
        if self.listed is not None:
            if len(self.listed):
                codes = np.stack(np.divmod(self.listed, len(self.inside)), axis=1)
                yield from np.split(codes, np.flatnonzero(np.diff(codes[:, 0])) + 1)
            return
        nets = self.nets
        apart_from: dict[int, list[int]] = {}
        for a, b in zip(*(part.tolist() for part in np.divmod(self.across, len(self.inside))), strict=True):
            apart_from.setdefault(a, []).append(b)
        for position, first in enumerate(nets.tolist()):
            later = nets[position + 1 :]
            if first in apart_from:
                later = later[~np.isin(later, apart_from[first])]
            if len(later):
                yield np.stack([np.full_like(later, first), later], axis=1)

    @property
    def alone(self) -> BoolArray:
        """(N,) True for a net of the level that has no pair although there are other nets."""
        if self.listed is None:
            partners = np.full(len(self.inside), int(self.inside.sum()) - 1)
            np.subtract.at(partners, np.concatenate(np.divmod(self.across, len(self.inside))), 1)
            has = partners > 0
        else:
            has = np.zeros(len(self.inside), dtype=np.bool_)
            has[np.concatenate(np.divmod(self.listed, len(self.inside)))] = True
        return np.asarray(self.inside & ~has & (int(self.inside.sum()) > 1), dtype=np.bool_)


def isolation_level(harness: Harness, run: Run | None = None) -> IsolationLevel:
    """What the run was planned for (`--isolation` wins over the key), else what the harness asks for."""
    return (run.isolation if run is not None else None) or harness.limits.isolation


def required_pairs(harness: Harness, level: IsolationLevel) -> RequiredPairs:
    """The pairs of nets that `level` wants shown apart; indices are those of `harness.nets`."""
    inside = np.zeros(len(harness.nets), dtype=np.bool_)
    nothing = np.empty(0, dtype=np.int64)
    if level == "none":
        return RequiredPairs(inside, nothing, nothing)
    inside[harness.net_of[harness.reachable]] = True
    if level != "full":
        inside &= ~empty_cavities(harness)
    parts = np.array([not w.conducts and w.kind != "switch" for w in harness.wires], dtype=np.bool_)
    across = _codes(inside, harness.net_of[harness.start[parts]], harness.net_of[harness.end[parts]])
    if level == "neighbours":
        return RequiredPairs(inside, across, _near_pairs(harness, inside, across))
    return RequiredPairs(inside, across)


def _codes(inside: BoolArray, a: IntArray, b: IntArray) -> IntArray:
    """Ascending codes of the pairs of different nets inside."""
    low, high = np.minimum(a, b), np.maximum(a, b)
    wanted = inside[low] & inside[high] & (low != high)
    return distinct(low[wanted] * len(inside) + high[wanted])


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


def _near_pairs(harness: Harness, inside: BoolArray, across: IntArray) -> IntArray:
    """Ascending codes a·N + b of the pairs that are near each other, `across` left out."""
    net_of = harness.net_of
    near = [net_of[np.array(side_by_side(harness), dtype=np.int64).reshape(-1, 2)]]
    near.extend(_all_pairs(net_of[codes]) for codes in _bundles(harness))
    if harness.limits.isolation_in_segments:
        near.extend(_all_pairs(net_of[codes]) for codes in _in_segments(harness))
    bare = [c for c, p in enumerate(harness.points) if not connector_of(p) and not harness.places.get(p)]
    near.append(net_of[np.array(list(pairwise(bare)), dtype=np.int64).reshape(-1, 2)])
    pairs = np.concatenate(near)
    listed = _codes(inside, pairs[:, 0], pairs[:, 1])
    listed = listed[~np.isin(listed, across)]
    return distinct(np.concatenate([listed, _beside_the_next(inside, across, listed)]))


def _beside_the_next(inside: BoolArray, across: IntArray, listed: IntArray) -> IntArray:
    """Codes of pairs: a net that no listed pair holds, and the next net of the list (of the last: the one
    before) that no part joins to it directly."""
    taken = set(across.tolist())
    alone = inside.copy()
    alone[np.concatenate(np.divmod(listed, len(inside)))] = False
    nets, added = np.flatnonzero(inside).tolist(), set[int]()
    for position, net in enumerate(nets):
        if not alone[net]:
            continue
        codes = [net * len(inside) + other for other in nets[position + 1 :]]
        before = [other * len(inside) + net for other in reversed(nets[:position])]
        added.update(next(([code] for code in (*codes, *before) if code not in taken), []))
    return np.array(sorted(added), dtype=np.int64)


def _all_pairs(nets: IntArray) -> IntArray:
    nets = distinct(nets)
    first, second = np.triu_indices(len(nets), 1)
    return np.stack([nets[first], nets[second]], axis=1)


def pairs_in_segments(harness: Harness, level: IsolationLevel) -> int:
    """How many pairs more a level wants with those whose wires share a branch; 0 where it has them all."""
    if level != "neighbours" or harness.lie is None or harness.limits.isolation_in_segments:
        return 0
    wider = replace(harness, limits=replace(harness.limits, isolation_in_segments=True))
    return required_pairs(wider, level).count - required_pairs(harness, level).count


def _in_segments(harness: Harness) -> Iterable[list[int]]:
    """Point codes of the wires in each branch of the loom: they can rub through there."""
    inside: dict[int, list[int]] = {}
    for wire, way in zip(harness.wires, harness.ways, strict=True):
        for index in way.branches if way is not None else ():
            inside.setdefault(index, []).append(harness.code_of[wire.start])
            if not wire.conducts:
                inside[index].append(harness.code_of[wire.end])
    return inside.values()


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
        if place.strip() and point in harness.code_of:
            bundles.setdefault(("place", place.strip()), []).append(harness.code_of[point])
    return bundles.values()
