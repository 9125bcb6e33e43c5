"""The truth side checks itself: what was made explains the readings, and nothing less does."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import networkx as nx
import numpy as np
import pytest

from loomtest.diagnosis.verdict import Alternative, Coverage, Finding, Suspect, Verdict
from tests.looms.check import score, told_wiring, unexplained
from tests.looms.faults import Fault, Loom
from tests.looms.measure import (
    bonded_pairs,
    continuity_pairs,
    full_scan,
    isolation_pairs,
    measure,
    part_pairs,
)
from tests.looms.scenario import Order, draw
from tests.looms.solve import resistances


def confessed(loom: Loom, fault: Fault) -> Finding:
    """The finding that a witness would give."""
    names = [loom.harness.wires[w].name for w in fault.wires]
    suspects = tuple(Suspect(name, probability=1 / len(names)) for name in names)
    ways = (Alternative(fault.points, fault.moves, 1.0),) if fault.moves else ()
    return Finding(fault.fault, fault.points, suspects, fault.moves, ways, 1.0, "made")


def confession(loom: Loom) -> Verdict:
    findings = tuple(confessed(loom, fault) for fault in loom.faults)
    coverage = Coverage(0, 0, 0, 0, 0, 0, 0)
    return Verdict("", "fail", "fail", "pass", None, None, "full", findings, (), (), (), coverage, ())


@pytest.mark.parametrize("overlap", [False, True])
@pytest.mark.parametrize("seed", range(20))
def test_what_was_made_explains_a_full_scan_and_no_fault_can_be_left_out(seed: int, overlap: bool) -> None:
    rng = np.random.default_rng(seed)
    loom = draw(rng, Order(faults=1 + seed % 3, overlap=overlap, wires=(5, 40)))
    readings = full_scan(loom, rng)
    verdict = confession(loom)
    assert unexplained(loom.harness, readings, told_wiring(loom.harness, verdict.findings)) == []
    assert score(loom, readings, verdict).named
    for left_out in range(len(loom.faults)):
        kept = tuple(f for n, f in enumerate(verdict.findings) if n != left_out)
        assert not score(loom, readings, replace(verdict, findings=kept)).exact


@pytest.mark.parametrize("seed", range(20))
def test_what_was_made_explains_the_readings_of_a_plan_with_clips(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    loom = draw(rng, Order(faults=2, overlap=bool(seed % 2), wires=(5, 40)))
    pairs = continuity_pairs(loom.harness, rng) + part_pairs(loom.harness)
    pairs += isolation_pairs(loom.harness, "neighbours")
    readings = measure(loom, pairs, rng, bonded=bonded_pairs(loom.harness))
    told = told_wiring(loom.harness, confession(loom).findings)
    assert unexplained(loom.harness, readings, told) == []


@pytest.mark.parametrize("seed", range(10))
def test_the_dense_solve_agrees_with_networkx(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = 12
    edges = [(i, int(rng.integers(i)), float(rng.uniform(0.003, 5))) for i in range(1, count)]
    edges += [(0, int(rng.integers(1, count)), float(np.exp(rng.uniform(0, 12)))) for _ in range(4)]
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    graph.add_weighted_edges_from(edges)
    expected: Any = nx.resistance_distance(graph, weight="weight", invert_weight=True)
    found = resistances(count, edges)
    for a in range(count):
        for b in range(count):
            assert found[a, b] == pytest.approx(expected[a][b], rel=1e-6, abs=1e-9)


def test_milliohms_survive_beside_a_leak() -> None:
    found = resistances(4, [(0, 1, 0.003), (1, 2, 5e5), (2, 3, 0.004)])
    assert found[2, 3] == pytest.approx(0.004, rel=1e-6)
    assert found[0, 3] == pytest.approx(5e5 + 0.007, rel=1e-7)
    assert np.isinf(resistances(3, [(0, 1, 1.0)])[0, 2])
