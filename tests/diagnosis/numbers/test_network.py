"""Effective resistances of small networks beside networkx."""

from __future__ import annotations

from itertools import combinations

import networkx as nx
import numpy as np

from loomtest.diagnosis.numbers.network import effective_ohms


def test_effective_ohms_are_networkx_resistance_distances() -> None:
    ends = [(0, 1), (1, 2), (2, 0), (2, 3), (4, 5)]
    ohms = [1.0, 2.0, 3.0, 0.5, 7.0]
    found = effective_ohms(6, ends, ohms)
    graph = nx.Graph()
    graph.add_weighted_edges_from([(a, b, ohm) for (a, b), ohm in zip(ends, ohms, strict=True)])
    for part in nx.connected_components(graph):
        for a, b in combinations(sorted(part), 2):
            distance = nx.resistance_distance(graph.subgraph(part), a, b, weight="weight", invert_weight=True)
            assert np.isclose(found[a, b], distance, rtol=1e-9)
    assert np.isinf(found[0, 4])
