"""Nets and the resistance of parts, against a general-purpose graph library.

Source: networkx, `connected_components` and `resistance_distance` (D. J. Klein and M. Randić, Resistance
distance, J. Math. Chem. 12 (1993) 81).
"""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np
import pytest

from loomtest.diagnosis.faults.scene import PartPaths
from loomtest.diagnosis.numbers.network import component_labels, effective_resistance
from tests.looms.faults import healthy_loom
from tests.looms.generate import Recipe, random_harness
from tests.looms.scenario import Order, draw


@pytest.mark.parametrize("seed", range(60))
def test_nets_are_the_connected_components_of_wires_and_fuses(seed: int) -> None:
    harness = random_harness(np.random.default_rng(seed), Recipe(wires=5 + seed))
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(harness.points)
    graph.add_edges_from((w.start, w.end) for w in harness.wires if w.kind in ("wire", "fuse"))
    expected = {frozenset(net) for net in nx.connected_components(graph)}
    assert {frozenset(harness.points[p] for p in net.points) for net in harness.nets} == expected
    assert len(harness.nets) == len(expected)
    for index, net in enumerate(harness.nets):
        assert all(harness.net_of[p] == index for p in net.points)
        assert all({harness.start[w], harness.end[w]} <= set(net.points) for w in net.conductors)


@pytest.mark.parametrize("seed", range(30))
def test_component_labels_are_the_connected_components_of_faulty_copper(seed: int) -> None:
    loom = draw(np.random.default_rng(seed), Order(faults=3, overlap=True, wires=(10, 40)))
    ends = np.array([(a, b) for a, b, _ in loom.edges()], dtype=np.int64)
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(loom.points)))
    graph.add_edges_from(ends.tolist())
    label = component_labels(len(loom.points), ends[:, 0], ends[:, 1])
    found = {frozenset(np.flatnonzero(label == own).tolist()) for own in np.unique(label)}
    assert found == {frozenset(c) for c in nx.connected_components(graph)}


@pytest.mark.parametrize("seed", range(12))
def test_wires_and_parts_in_series_and_parallel_have_the_resistance_distance(seed: int) -> None:
    rng = np.random.default_rng(seed)
    harness = random_harness(rng, Recipe(wires=int(rng.integers(8, 40))))
    loom = healthy_loom(harness, rng)
    edges = loom.edges()
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    graph.add_weighted_edges_from(edges)
    start, end, ohm = (np.array(column) for column in zip(*edges, strict=True))
    for nodes in nx.connected_components(graph):
        expected: Any = nx.resistance_distance(graph.subgraph(nodes), weight="weight", invert_weight=True)
        own = sorted(nodes)
        pairs = [(a, b) for a in own for b in own if a < b]
        first, second = (np.array(column) for column in zip(*pairs, strict=True))
        found = effective_resistance(len(harness.points), start, end, ohm, first, second).resistance_ohm
        for (a, b), value in zip(pairs, found, strict=True):
            assert value == pytest.approx(expected[a][b], rel=1e-6, abs=1e-8)


@pytest.mark.parametrize("seed", range(20))
def test_what_parts_may_show_between_nets_is_their_network_at_its_ends(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 9))
    links = []
    for _ in range(int(rng.integers(2, 12))):
        a, b = (int(x) for x in rng.choice(count, 2, replace=False))
        low = float(np.exp(rng.uniform(-2, 8)))
        links.append((a, b, low, low * float(rng.uniform(1, 5))))
    parts = PartPaths(count, links)
    for bound in (0, 1):
        graph: nx.MultiGraph[int] = nx.MultiGraph()
        graph.add_nodes_from(range(count))
        graph.add_weighted_edges_from((a, b, ohms[bound]) for a, b, *ohms in links)
        for a in range(count):
            for b in range(a + 1, count):
                shown = parts.between(a, b)
                if not nx.has_path(graph, a, b):
                    assert shown is None
                    continue
                near = graph.subgraph(nx.node_connected_component(graph, a))
                expected = nx.resistance_distance(near, a, b, weight="weight", invert_weight=True)
                assert shown is not None
                assert shown[bound] == pytest.approx(expected, rel=1e-6)
