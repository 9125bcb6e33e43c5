"""Which probings show the nets apart, at each level, and the scanner's parallel form of them.

`full` and `neighbours`: every pair of the level once. `bonded`: clips tie the cleared nets together into a
comb, and each further net is read against the comb. With fewer clips than nets there are several combs, one
after another: a comb grows to all clips, every net that no comb held yet is read against it, and it is hung
anew on the next nets. With the pairs of `required_pairs` every pair must
have one of its nets read singly against the other, so the nets read singly cover all pairs; the nets left
over have no pair among them and so belong to one group joined by parts. Hence no fewer than all nets less
the largest such group will do: n − 1 where there are no parts.

Scanner (many pins driven at once): q groups of nets are told apart by ⌈log2 q⌉ bipartitions, in each of
which one half is driven and the other read, and the largest net's p points take p − 1 probings while all
smaller nets are probed beside it: p − 1 + ⌈log2 q⌉ (W. H. Kautz, IEEE Trans. Comput. C-23(4), 1974,
358-363, the minimum for behavioural testing).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from loomtest.bench.plan.route import bench_order, station_of
from loomtest.diagnosis.seen.isolation import RequiredPairs, part_groups, required_pairs
from loomtest.harness.model import Harness, IntArray, IsolationLevel


@dataclass(frozen=True)
class IsolationProbings:
    """n probings as columns. `start`, `end`: (n,) codes of points; the clip is on `start`, or, where nets are
    tied together, on `end`, the first tooth of the comb. `comb`: codes of the teeth of all combs in the order
    in which they are clipped on; `first`: (n,) where in it each probing's comb begins; `teeth`: (n,) how many
    hang on during each probing (0: no comb). `hung`: how often a tooth beside a first one is hung on.
    `bound`: the fewest that can do. `pairs`: how many pairs of nets they show apart."""

    start: IntArray
    end: IntArray
    comb: IntArray
    first: IntArray
    teeth: IntArray
    hung: int
    bound: int
    pairs: int


def isolation_probings(
    harness: Harness, level: IsolationLevel, clips: int | None = None
) -> IsolationProbings:
    """The probings of a level, in bench order; a comb takes at most so many `clips` (at least two)."""
    required = required_pairs(harness, level)
    point = touched_points(harness, required.nets)
    if level == "bonded":
        group = part_groups(harness)
        group[~required.inside] = -1
        return _with_each_other(_bonded(harness, group, point, required.count, clips), required, group, point)
    rank = bench_order(harness)
    place = np.full(len(harness.nets), -1, dtype=np.int64)  # a net's place in bench order
    order = sorted(required.nets.tolist(), key=lambda net: rank[point[net]])
    place[order] = np.arange(len(order))
    by_place = np.array([point[net] for net in order], dtype=np.int64)
    blocks = list(required.iterate())
    pairs = np.concatenate(blocks) if blocks else np.empty((0, 2), dtype=np.int64)
    ends = np.sort(place[pairs], axis=1)
    ends = ends[_to_and_fro(ends)]
    none = np.empty(0, dtype=np.int64)
    start, end = by_place[ends[:, 0]], by_place[ends[:, 1]]
    zero = np.zeros(len(start), dtype=np.int64)
    return IsolationProbings(start, end, none, zero, zero, 0, required.count, required.count)


def _to_and_fro(ends: IntArray) -> IntArray:
    """Sort rows by clip; the probe runs up and down the bench by turns, so that it never walks back idly."""
    clips, turn = np.unique(ends[:, 0], return_inverse=True)
    del clips
    run = np.where(turn % 2 == 0, ends[:, 1], -ends[:, 1])
    return np.lexsort((run, ends[:, 0]))


def _bonded(
    harness: Harness, group: IntArray, point: dict[int, int], pairs: int, clips: int | None
) -> IsolationProbings:
    left = _grouped(harness, group, point)
    bound = sum(map(len, left[1:]))
    most = sum(map(len, left)) if clips is None else max(2, clips)
    columns: list[tuple[int, int, int, int]] = []  # start, end, first, teeth
    comb: list[int] = []
    hung_on = 0
    while left:
        first, hung, held = len(comb), 0, 0
        if len(left[0]) > most:  # parts join more nets than there are clips: so many, and then the rest
            left[0:1] = [left[0][:most], left[0][most:]]
        on_comb: set[int] = set()  # groups that parts join: their nets are not read against each other here
        read = 0
        for codes in left:
            own = int(group[harness.net_of[codes[0]]])
            if hung + len(codes) > most or own in on_comb:
                break
            if hung:
                columns += [(code, comb[first], first, hung) for code in codes]
                read = hung
            on_comb.add(own)
            comb += codes
            hung += len(codes)
            held += 1
        left = left[held:]
        for codes in left:
            if int(group[harness.net_of[codes[0]]]) not in on_comb:
                columns += [(code, comb[first], first, hung) for code in codes]
                read = hung
        hung_on += max(0, read - 1)
    kept = [np.array([row[column] for row in columns], dtype=np.int64) for column in range(4)]
    used = np.array(comb, dtype=np.int64)
    return IsolationProbings(kept[0], kept[1], used, kept[2], kept[3], hung_on, bound, pairs)


def _grouped(harness: Harness, group: IntArray, point: dict[int, int]) -> list[list[int]]:
    """Points of the nets, those that parts join together, the largest such group first."""
    rank = bench_order(harness)
    members: dict[int, list[int]] = {}
    for net in np.flatnonzero(group >= 0).tolist():
        members.setdefault(int(group[net]), []).append(point[net])
    for codes in members.values():
        codes.sort(key=lambda code: rank[code])
    groups = sorted(members.values(), key=lambda codes: rank[codes[0]])
    largest = max(groups, key=len, default=[])
    return [largest, *(codes for codes in groups if codes is not largest)] if groups else []


def _with_each_other(
    comb: IsolationProbings, required: RequiredPairs, group: IntArray, point: dict[int, int]
) -> IsolationProbings:
    """The comb's probings, and one by itself for each pair that parts join through other nets: clips on
    the nets of such a group would let the parts hide what is wanted."""
    pairs = [pair for block in required.iterate() for pair in block[group[block[:, 0]] == group[block[:, 1]]]]
    if not pairs:
        return comb
    start = np.array([point[int(a)] for a, _ in pairs], dtype=np.int64)
    end = np.array([point[int(b)] for _, b in pairs], dtype=np.int64)
    return replace(
        comb,
        start=np.concatenate([start, comb.start]),
        end=np.concatenate([end, comb.end]),
        first=np.concatenate([np.zeros(len(pairs), dtype=np.int64), comb.first]),
        teeth=np.concatenate([np.zeros(len(pairs), dtype=np.int64), comb.teeth]),
        bound=comb.bound + len(pairs),
    )


def touched_points(harness: Harness, nets: IntArray) -> dict[int, int]:
    """One reachable point (code) of each net, in as few connectors as a greedy cover finds."""
    rank = bench_order(harness)
    wanted = set(nets.tolist())
    at: dict[str, dict[int, int]] = {}
    for code in sorted(np.flatnonzero(harness.reachable).tolist(), key=rank.__getitem__):
        net = int(harness.net_of[code])
        if net in wanted:
            at.setdefault(station_of(harness.points[code]), {}).setdefault(net, code)
    out: dict[int, int] = {}
    while wanted:
        best = max(at, key=lambda station: len(wanted & at[station].keys()))
        for net, code in at.pop(best).items():
            out.setdefault(net, code)
            wanted.discard(net)
    return out


@dataclass(frozen=True, slots=True)
class ScannerTest:
    """One test of a scanner: `drive` all at once, read `sense`; joined: each driven point is read on the
    point of the same index; apart: nothing driven is read anywhere."""

    what: str  # "continuity" or "isolation"
    drive: tuple[int, ...]
    sense: tuple[int, ...]


def scanner_tests(harness: Harness) -> tuple[ScannerTest, ...]:
    """The parallel tests for every net and every pair of nets that no part joins, empty cavities included."""
    tests = []
    reach: dict[int, list[int]] = {}
    for code in np.flatnonzero(harness.reachable).tolist():
        reach.setdefault(int(harness.net_of[code]), []).append(code)
    for turn in range(1, max((len(codes) for codes in reach.values()), default=0)):
        pairs = [(codes[0], codes[turn]) for codes in reach.values() if len(codes) > turn]
        tests.append(ScannerTest("continuity", *(tuple(side) for side in zip(*pairs, strict=True))))
    group = part_groups(harness)
    number = {g: i for i, g in enumerate(sorted({int(group[net]) for net in reach}))}
    for bit in range(max(len(number) - 1, 0).bit_length()):
        high = [bool(number[int(group[net])] >> bit & 1) for net in reach]
        firsts = [codes[0] for codes in reach.values()]
        drive = tuple(code for code, up in zip(firsts, high, strict=True) if up)
        sense = tuple(code for code, up in zip(firsts, high, strict=True) if not up)
        tests.append(ScannerTest("isolation", drive, sense))
    return tuple(tests)


def scanner_json(harness: Harness) -> dict[str, Any]:
    """The scanner's tests as one JSON object; its size against Kautz's minimum."""
    tests = scanner_tests(harness)
    points = harness.points
    return {
        "schema": "loomtest-scanner-plan/1",
        "harness": harness.name,
        "tests": [
            {"what": t.what, "drive": [points[c] for c in t.drive], "sense": [points[c] for c in t.sense]}
            for t in tests
        ],
        "totals": {
            "continuity": sum(t.what == "continuity" for t in tests),
            "isolation": sum(t.what == "isolation" for t in tests),
        },
        "proves": [
            "continuity: each driven point is heard on the sensed point of the same place in the list",
            "isolation: no driven point reaches a sensed point; each pair of circuits is on two sides once",
        ],
    }
