"""How far the arms walk: against wire-list order, and on small looms against the exact optimum."""

from __future__ import annotations

from heapq import heappop, heappush
from itertools import count, pairwise
from pathlib import Path

import numpy as np
import pytest

from loomtest.bench.plan.continuity import cells_of
from loomtest.bench.plan.plan import plan
from loomtest.bench.plan.route import station_of, turns_of
from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness, Wire
from tests.bench.plan.moves import moves_of
from tests.looms.generate import Recipe, random_harness

SAMPLES = Path(__file__).parents[3] / "sample_runs"


def continuity_moves(harness: Harness) -> int:
    return moves_of([step for step in plan(harness, "none").steps if step.what == "continuity"])


def wire_list_pairs(harness: Harness) -> list[tuple[str, str]]:
    """The same proof in the order of the lists: down the wire list, clip on `from`, probe on `to` (where an
    end is out of reach, the net is read from the last of its points that was touched); then net by net in
    the order of the wire list, each by its first point, clip on the one and probe on every later one."""
    net = {point: int(harness.net_of[code]) for point, code in harness.code_of.items()}
    touched: dict[int, str] = {}
    out = []
    for wire in harness.wires:
        ends = [point for point in (wire.start, wire.end) if point not in harness.unreachable]
        if len(ends) == 2:
            out.append((ends[0], ends[1]))
        elif ends and touched.get(net[ends[0]], ends[0]) != ends[0]:
            out.append((touched[net[ends[0]]], ends[0]))
        touched.update({net[point]: point for point in ends})
    first: dict[int, str] = {}
    for point in harness.points:
        if point not in harness.unreachable:
            first.setdefault(net[point], point)
    blocks = required_pairs(harness, "full").iterate()
    return out + [(first[a], first[b]) for block in blocks for a, b in block.tolist()]


def moves_along(pairs: list[tuple[str, str]]) -> int:
    moves, clip, here = 0, "", ""
    for start, end in pairs:
        moves += (start != clip) + (station_of(end) != here)
        clip, here = start, station_of(end)
    return moves


@pytest.mark.parametrize("name", ["orchard_tractor", "fishing_launch"])
def test_moves_are_at_least_forty_percent_fewer_than_in_wire_list_order(name: str) -> None:
    harness = load_harness(SAMPLES / name)
    made = plan(harness, "full")
    listed = wire_list_pairs(harness)
    assert len(listed) >= len(made.steps)
    assert made.totals["moves"] <= 0.6 * moves_along(listed)


def fewest_moves(harness: Harness) -> int:
    """Dijkstra over everything that can be done: which points each cell's readings have joined so far, where
    the clip is, and at which connector the probe. Clip and probe may be any two points of a cell."""
    cells = [
        cell.points
        for net in range(len(harness.nets))
        for cell in cells_of(harness, net)
        if len(cell.points) > 1
    ]
    place = [station_of(point) for point in harness.points]
    start = (tuple(tuple(range(len(cell))) for cell in cells), -1, "")
    tie = count()
    queue = [(0, next(tie), start)]
    best = {start: 0}
    while queue:
        cost, _, state = heappop(queue)
        if cost > best[state]:
            continue
        joined, clip, here = state
        if all(len(set(labels)) == 1 for labels in joined):
            return cost
        for number, (cell, labels) in enumerate(zip(cells, joined, strict=True)):
            for i, a in enumerate(cell):
                for j, b in enumerate(cell):
                    if labels[i] == labels[j]:
                        continue
                    low, high = sorted((labels[i], labels[j]))
                    merged = tuple(low if label == high else label for label in labels)
                    following = ((*joined[:number], merged, *joined[number + 1 :]), a, place[b])
                    total = cost + (a != clip) + (place[b] != here)
                    if total < best.get(following, 10**9):
                        best[following] = total
                        heappush(queue, (total, next(tie), following))
    raise AssertionError("nothing to read")


def small_looms(number: int) -> list[Harness]:
    """Looms whose search space is small: a few wires among few connectors, with and without splices."""
    out = []
    seed = 0
    while len(out) < number:
        rng = np.random.default_rng(seed)
        seed += 1
        if seed % 2:
            harness = random_harness(rng, Recipe(wires=int(rng.integers(5, 8)), parts=False))
        else:
            free = [f"X{c}:{k}" for c in range(1, int(rng.integers(4, 7))) for k in (1, 2, 3)]
            rng.shuffle(free)
            wires = tuple(
                Wire(f"W{i}", a, b) for i, (a, b) in enumerate(zip(free[:7], free[7:14], strict=False), 1)
            )
            harness = Harness("pairs", wires, tuple(free))
        states = 1
        for net in range(len(harness.nets)):
            for cell in cells_of(harness, net):
                states *= {1: 1, 2: 2, 3: 5, 4: 15, 5: 52}.get(len(cell.points), 10**9)
        if states <= 600:
            out.append(harness)
    return out


def test_moves_are_within_ten_percent_of_the_exact_optimum_on_small_looms() -> None:
    looms = [load_harness(SAMPLES / "fishing_launch"), *small_looms(40)]
    ours = [continuity_moves(harness) for harness in looms]
    best = [fewest_moves(harness) for harness in looms]
    assert all(a >= b for a, b in zip(ours, best, strict=True)), "the optimum is a bound"
    assert all(a <= 1.1 * b for a, b in zip(ours, best, strict=True)), list(zip(ours, best, strict=True))


def test_two_point_nets_are_read_from_the_connectors_that_cover_them() -> None:
    # a bulkhead connector with every wire to a single terminal of its own: the probe stays in the bulkhead
    wires = tuple(Wire(f"W{i}", f"T{i}", f"X1:{i}") for i in range(1, 9))
    points = tuple(p for w in wires for p in (w.start, w.end))
    steps = plan(Harness("fan", wires, points), "none").steps
    assert [step.probe for step in steps] == [f"X1:{i}" for i in range(1, 9)]
    assert [step.clip for step in steps] == [f"T{i}" for i in range(1, 9)]


def test_one_clip_on_a_ground_serves_all_its_wires() -> None:
    wires = tuple(Wire(f"W{i}", f"X{i % 3}:{i}", "GND1") for i in range(1, 13))
    points = tuple(p for w in wires for p in (w.start, w.end))
    steps = plan(Harness("ground", wires, tuple(dict.fromkeys(points))), "none").steps
    assert {step.clip for step in steps} == {"GND1"}
    stations = [station_of(step.probe) for step in steps]
    assert sum(a != b for a, b in pairwise(stations)) == 2


def test_a_chain_takes_every_other_point_as_its_clip() -> None:
    points = tuple(f"X{i}:1" for i in range(1, 8))
    wires = tuple(Wire(f"W{i}", a, b) for i, (a, b) in enumerate(pairwise(points), 1))
    harness = Harness("chain", wires, points)
    assert len(turns_of(cells_of(harness, 0))) == 3
    assert sorted(wire for step in plan(harness, "none").steps for wire in step.wires) == [
        f"W{i}" for i in range(1, 7)
    ]
