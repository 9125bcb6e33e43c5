"""Which probings show the nets apart, at each level, and the scanner's parallel form of them.

`full` and `neighbours`: every pair of the level once. `bonded`: clips tie the cleared nets together into a
comb, and each further net is read against the comb. With the pairs of `required_pairs` every pair must
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
    tied together, on `end`, the first tooth of the comb. `comb`: codes of its teeth in the order in which
    they are clipped on; `teeth`: (n,) how many of them hang on during each probing (0: no comb).
    `bound`: the fewest that can do. `pairs`: how many pairs of nets they show apart."""

    start: IntArray
    end: IntArray
    comb: IntArray
    teeth: IntArray
    bound: int
    pairs: int


def isolation_probings(harness: Harness, level: IsolationLevel) -> IsolationProbings:
    """The probings of a level, in bench order."""
    required = required_pairs(harness, level)
    point = touched_points(harness, required.nets)
    if level == "bonded":
        group = part_groups(harness)
        group[~required.inside] = -1
        return _with_each_other(_bonded(harness, group, point, required.count), required, group, point)
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
    return IsolationProbings(
        start, end, none, np.zeros(len(start), dtype=np.int64), required.count, required.count
    )


def _to_and_fro(ends: IntArray) -> IntArray:
    """Sort rows by clip; the probe runs up and down the bench by turns, so that it never walks back idly."""
    clips, turn = np.unique(ends[:, 0], return_inverse=True)
    del clips
    run = np.where(turn % 2 == 0, ends[:, 1], -ends[:, 1])
    return np.lexsort((run, ends[:, 0]))


def _bonded(harness: Harness, group: IntArray, point: dict[int, int], pairs: int) -> IsolationProbings:
    rank = bench_order(harness)
    members: dict[int, list[int]] = {}
    for net in np.flatnonzero(group >= 0).tolist():
        members.setdefault(int(group[net]), []).append(net)
    for nets in members.values():
        nets.sort(key=lambda net: rank[point[net]])
    groups = sorted(members.values(), key=lambda nets: rank[point[nets[0]]])
    largest = max(groups, key=len, default=[])
    groups = [largest, *(nets for nets in groups if nets is not largest)] if groups else []
    comb = [point[net] for nets in groups for net in nets]
    start: list[int] = []
    teeth: list[int] = []
    hung = len(largest)
    for nets in groups[1:]:
        start.extend(point[net] for net in nets)
        teeth.extend([hung] * len(nets))  # nets that a part joins are clipped on together, after the last
        hung += len(nets)
    end = comb[:1] * len(start)
    columns = [np.array(column, dtype=np.int64) for column in (start, end, comb, teeth)]
    return IsolationProbings(columns[0], columns[1], columns[2], columns[3], len(start), pairs)


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
            "isolation: no driven point is heard on any sensed point; each pair of nets is on two sides once",
        ],
    }
