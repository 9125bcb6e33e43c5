"""The plan with marker clips: complete, and with the fewest touches between rounds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from loomtest.bench.plan.marked_rounds import least_cover
from loomtest.bench.plan.markers import MarkedPlan, plan_marked
from loomtest.bench.plan.plan import plan
from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.harness.model import Harness, Limits, Wire
from loomtest.readings.marked import Clip
from tests.looms.generate import Recipe, random_harness


def clips(count: int) -> list[Clip]:
    return [Clip(marker=f"M{i + 1}", ohms=10_000.0 + 300 * i) for i in range(count)]


def straight(count: int) -> Harness:
    wires = tuple(Wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, count + 1))
    return Harness(
        "straight", wires, tuple(p for w in wires for p in (w.start, w.end)), limits=Limits(isolation="full")
    )


def shown(harness: Harness, made: MarkedPlan) -> set[tuple[int, int]]:
    """Pairs of nets that the plan's touches show apart when each reads as expected."""
    net = {point: int(harness.net_of[code]) for point, code in harness.code_of.items()}
    marked: dict[int, set[int]] = {}
    for one in made.placings:
        marked.setdefault(one.round, set()).add(net[one.point])
    return {
        (min(net[s.point], other), max(net[s.point], other))
        for s in made.steps
        for other in marked[s.round] - {net[s.point]}
    }


@pytest.mark.parametrize("seed", range(12))
def test_every_point_is_marked_or_touched_and_every_pair_shown_apart(seed: int) -> None:
    harness = random_harness(np.random.default_rng(seed), Recipe(wires=10 + 6 * seed))
    for level in ("full", "bonded", "neighbours"):
        harness = replace(harness, limits=Limits(isolation=level))
        made = plan_marked(harness, clips(6 + seed))
        wanted = {
            tuple(pair) for block in required_pairs(harness, level).iterate() for pair in block.tolist()
        }
        assert wanted <= shown(harness, made)
        on = {(one.round, one.point) for one in made.placings}
        touched = {(one.round, one.point) for one in made.steps}
        for net in harness.nets:
            points = [harness.points[c] for c in net.points if harness.reachable[c]]
            home = [number for number, point in on if point in points]
            if len(points) > 1:
                assert len(home) == 1
                assert all((home[0], p) in on | touched for p in points)
        assert len({(one.round, one.clip.marker) for one in made.placings}) == len(made.placings)


def groupings(nets: list[int], rounds: int, size: int) -> Iterator[list[set[int]]]:
    """All ways to mark every net once in so many rounds of at most `size`."""
    if not nets:
        yield [set() for _ in range(rounds)]
        return
    for rest in groupings(nets[1:], rounds, size):
        for number in range(rounds):
            if len(rest[number]) < size:
                yield [own | {nets[0]} if k == number else own for k, own in enumerate(rest)]


def fewest_touches(count: int, size: int) -> int:
    """By trying every set of touches, for plain wires of two ends in a full isolation."""
    nets = list(range(count))
    rounds = -(-count // size)
    wanted = set(combinations(nets, 2))
    for touches in range(count, 3 * count):
        for marks in groupings(nets, rounds, size):
            own = {(number, net) for number, marked in enumerate(marks) for net in marked}  # continuity
            ways = [(number, net) for number in range(rounds) for net in nets if (number, net) not in own]
            for more in combinations(ways, touches - count):
                told = {
                    (min(net, other), max(net, other))
                    for number, net in (*own, *more)
                    for other in marks[number] - {net}
                }
                if wanted <= told:
                    return touches
    raise AssertionError


@pytest.mark.parametrize(("count", "size"), [(3, 2), (4, 2), (5, 2), (4, 3), (5, 3), (6, 3), (5, 4), (6, 4)])
def test_no_search_finds_fewer_touches(count: int, size: int) -> None:
    made = plan_marked(straight(count), clips(size))
    assert made.totals["marked"] == made.bounds["marked"] == fewest_touches(count, size)


@pytest.mark.parametrize("seed", range(20))
def test_a_least_cover_is_a_least_cover(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pairs = sorted(
        {(int(rng.integers(5)), 10 + int(rng.integers(5))) for _ in range(int(rng.integers(1, 12)))}
    )
    found = least_cover(pairs)
    assert all(a in found or b in found for a, b in pairs)
    items = sorted({x for pair in pairs for x in pair})
    assert not any(
        all(a in few or b in few for a, b in pairs)
        for size in range(len(found))
        for few in combinations(items, size)
    )


def test_a_loom_of_25_wires_takes_less_than_a_third_of_the_time_of_every_pair() -> None:
    harness = straight(25)
    made = plan_marked(harness, clips(25))
    assert made.totals["marked"] == 25
    assert made.totals["rounds"] == 1
    assert made.totals["minutes"] * 3 < plan(harness, "full").totals["minutes"]
    registered = plan_marked(harness, clips(25), every_clip=True)
    assert registered.totals["marked"] == 50
    assert registered.totals["itself"] == 25


def test_marked_points_of_a_connector_that_was_worked_on_are_touched_themselves() -> None:
    harness = replace(straight(5), worked_on=frozenset({"X1"}))
    made = plan_marked(harness, clips(5))
    assert {s.point for s in made.steps if s.why == "itself"} == {f"X1:{i}" for i in range(1, 6)}


def test_a_circuit_of_restraints_gets_no_clip_and_no_touch() -> None:
    wires = (Wire("W1", "X1:1", "X2:1"), Wire("W2", "X1:2", "X2:2", kind="restraint"))
    harness = Harness("h", wires, ("X1:1", "X2:1", "X1:2", "X2:2"), limits=Limits(isolation="full"))
    made = plan_marked(harness, clips(3))
    named = {one.point for one in made.placings} | {one.point for one in made.steps}
    assert named == {"X1:1", "X2:1"}


def test_the_object_is_that_of_the_contract() -> None:
    made = plan_marked(straight(3), clips(2)).to_json()
    assert made["placements"][0] == {"round": 1, "marker": "M1", "point": "X1:1"}
    assert {step["what"] for step in made["steps"]} == {"marked"}
    assert {step["to"] for step in made["steps"]} == {"COMMON"}
    assert {step.get("expected") for step in made["steps"]} == {None, "OL"}
    assert made["totals"]["marked"] == len(made["steps"])
    assert made["totals"]["rounds"] == 2
