"""A plan for a loom whose branches are known: near things together, and wires that share a branch."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import networkx as nx
import pytest

from loomtest.bench.plan.plan import plan
from loomtest.bench.plan.walk import BenchWalk
from loomtest.diagnosis.seen.isolation import pairs_in_segments, required_pairs
from loomtest.harness.lie import Branch, Lie
from loomtest.harness.model import Harness, Wire, connector_of


def comb(count: int, seed: int) -> Harness:
    """Connectors on a trunk of a metre each, joined to the next ones at random, in a mixed order."""
    rng = random.Random(seed)
    names = [f"X{i}" for i in range(1, count + 1)]
    rng.shuffle(names)
    branches = [Branch(f"J{i}", f"J{i + 1}", 1.0) for i in range(count - 1)]
    branches += [Branch(f"J{i}", name, 0.2) for i, name in enumerate(names)]
    wires = []
    for n in range(3 * count):
        i = rng.randrange(count - 1)
        j = min(count - 1, i + rng.choice([1, 1, 2, 3]))
        wires.append(Wire(f"W{n}", f"{names[i]}:{n}", f"{names[j]}:{n}"))
    points = tuple(dict.fromkeys(point for wire in wires for point in (wire.start, wire.end)))
    return Harness("a comb", tuple(wires), points, lie=Lie(tuple(branches)))


def metres(harness: Harness, probes: list[str]) -> float:
    """By another route: networkx along the branches."""
    graph = nx.Graph()
    assert harness.lie is not None
    for branch in harness.lie.branches:
        graph.add_edge(branch.start, branch.end, weight=branch.length_m)
    ways = dict(nx.all_pairs_dijkstra_path_length(graph))
    places = [connector_of(probe) for probe in probes]
    return sum(ways[a][b] for a, b in pairwise(places) if a != b)


def test_the_metres_of_a_plan_are_those_of_its_steps() -> None:
    harness = comb(8, 1)
    made = plan(harness, "neighbours")
    assert made.totals["walk_m"] == round(metres(harness, [step.probe for step in made.steps]))
    assert "walk_m" not in made.bounds
    assert "walk_m" not in plan(replace(harness, lie=None), "neighbours").totals


def test_a_plan_that_knows_the_branches_walks_less() -> None:
    with_lie = without = 0.0
    for seed in range(6):
        harness = comb(12, seed)
        known, blind = plan(harness, "none"), plan(replace(harness, lie=None), "none")
        assert len(known.steps) == len(blind.steps)  # what is proven is the same
        with_lie += metres(harness, [step.probe for step in known.steps])
        without += metres(harness, [step.probe for step in blind.steps])
    assert with_lie < 0.8 * without


def test_a_way_to_what_no_branch_reaches_is_assumed() -> None:
    harness = Harness("l", (Wire("W1", "A:1", "B:1"),), ("A:1", "B:1"), lie=Lie((Branch("A", "J", 0.3),)))
    walk = BenchWalk(harness)
    assert walk.between("A", "B") == 1.0 and walk.between("", "A") == 0.0


def shared() -> Harness:
    """W1 and W2 run side by side from J1 to J2 and meet in no connector; W3 lies elsewhere."""
    wires = (Wire("W1", "A:1", "B:1"), Wire("W2", "C:1", "D:1"), Wire("W3", "E:1", "F:1"))
    ends = [("A", "J1"), ("C", "J1"), ("J1", "J2"), ("J2", "B"), ("J2", "D"), ("J2", "E"), ("E", "F")]
    lie = Lie(tuple(Branch(a, b, 0.3) for a, b in ends))
    points = tuple(point for wire in wires for point in (wire.start, wire.end))
    return Harness("shared", wires, points, lie=lie)


def pairs(harness: Harness) -> set[tuple[int, int]]:
    blocks = required_pairs(harness, "neighbours").iterate()
    return {(int(a), int(b)) for block in blocks for a, b in block}


def test_wires_that_share_a_branch_are_offered_and_required_when_asked_for() -> None:
    harness = shared()
    # a net left alone is beside the next one of the list: that rule covers all three nets here
    wider = replace(harness, limits=replace(harness.limits, isolation_in_segments=True))
    assert (0, 1) in pairs(wider)
    assert pairs_in_segments(wider, "neighbours") == 0
    assert pairs_in_segments(harness, "full") == 0


@pytest.mark.parametrize("seed", range(3))
def test_the_offer_is_the_difference(seed: int) -> None:
    harness = comb(8, seed)
    wider = replace(harness, limits=replace(harness.limits, isolation_in_segments=True))
    more = pairs_in_segments(harness, "neighbours")
    assert more == required_pairs(wider, "neighbours").count - required_pairs(harness, "neighbours").count > 0
    shared_by = {}
    for wire, way in zip(harness.wires, harness.ways, strict=True):
        for index in way.branches if way is not None else ():
            shared_by.setdefault(index, set()).add(int(harness.net_of[harness.code_of[wire.start]]))
    together = {(a, b) for nets in shared_by.values() for a in nets for b in nets if a < b}
    assert together <= pairs(wider)
    told = " ".join(plan(harness, "neighbours").unproven)
    assert f"{more} more touches" in told and "isolation_in_segments = true" in told
    assert "isolation_in_segments" not in " ".join(plan(wider, "neighbours").unproven)
    assert (
        plan(wider, "neighbours").totals["isolation"] - plan(harness, "neighbours").totals["isolation"]
        == more
    )
