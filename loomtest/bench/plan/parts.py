"""Probings of the parts that stay plugged in: one for each pair of nets that parts stand across.

Parts across the same two nets are read together. A diode is read by a diode test, red lead on the point
that conducts in; the clip stays on the net with the most parts, which on most looms is the ground.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.bench.plan.continuity import Probing
from loomtest.bench.plan.route import bench_order
from loomtest.harness.copper import part_ohms
from loomtest.harness.model import Harness


@dataclass(frozen=True, slots=True)
class PartProbings:
    """`alone`: parts that no probe reaches on both sides, or that stand inside one net."""

    probings: tuple[Probing, ...]
    alone: tuple[int, ...]


def part_probings(harness: Harness) -> PartProbings:
    """Every reachable part once; codes and wire indices are those of the harness."""
    rank = bench_order(harness)
    groups: dict[tuple[int, int, bool], list[int]] = {}
    alone = []
    for wire in np.flatnonzero(harness.parts).tolist():
        start, end = _nets(harness, wire)
        if start == end or not _points(harness, start) or not _points(harness, end):
            alone.append(wire)
        elif harness.wires[wire].kind == "diode":
            groups.setdefault((start, end, True), []).append(wire)
        else:
            groups.setdefault((min(start, end), max(start, end), False), []).append(wire)
    left = dict(groups)
    out: list[Probing] = []
    while left:
        count: dict[int, int] = {}
        for start, end, _ in left:
            count[start], count[end] = count.get(start, 0) + 1, count.get(end, 0) + 1
        clip = max(count, key=lambda net: (count[net], -net))
        own = {key: wires for key, wires in left.items() if clip in key[:2]}
        turn = [_probing(harness, key, wires, clip, rank) for key, wires in own.items()]
        out.extend(sorted(turn, key=lambda p: rank[p.start if p.clip_at_end else p.end]))
        left = {key: wires for key, wires in left.items() if key not in own}
    return PartProbings(tuple(out), tuple(alone))


def _nets(harness: Harness, wire: int) -> tuple[int, int]:
    return int(harness.net_of[harness.start[wire]]), int(harness.net_of[harness.end[wire]])


def _points(harness: Harness, net: int) -> list[int]:
    return [code for code in harness.nets[net].points if harness.reachable[code]]


def _probing(
    harness: Harness, key: tuple[int, int, bool], wires: list[int], clip: int, rank: list[int]
) -> Probing:
    start, end, diode = key
    clip_point = min(_points(harness, clip), key=rank.__getitem__)
    other = end if clip == start else start
    ends = {
        code
        for wire in wires
        for code in (int(harness.start[wire]), int(harness.end[wire]))
        if harness.net_of[code] == other and harness.reachable[code]
    }
    probe = min(ends or set(_points(harness, other)), key=rank.__getitem__)
    if diode:
        ends_of = (clip_point, probe) if clip == start else (probe, clip_point)
        return Probing("part", *ends_of, None, tuple(wires), clip != start, "diode")
    return Probing("part", clip_point, probe, _middle_ohm(harness, wires), tuple(wires))


def _middle_ohm(harness: Harness, wires: list[int]) -> float | None:
    """Parts in parallel at the geometric middle of their ranges; None where a range is not given."""
    conductance = 0.0
    for wire in wires:
        row = harness.wires[wire]
        if row.ohms_min is None or row.ohms_max is None:
            return None
        low, high = part_ohms(row)
        conductance += 1.0 / max((low * high) ** 0.5, 1e-6)
    return 1.0 / conductance
