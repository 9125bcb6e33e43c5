"""What hangs together, beside networkx."""

from __future__ import annotations

import networkx as nx
from hypothesis import given
from hypothesis import strategies as st

from loomtest.diagnosis.numbers.network import component_labels
from loomtest.harness.forest import components, join, root


@given(st.integers(1, 30), st.data())
def test_labels_are_the_smallest_members_of_networkx_components(size: int, data: st.DataObject) -> None:
    point = st.integers(0, size - 1)
    edges = data.draw(st.lists(st.tuples(point, point), max_size=40))
    graph = nx.Graph(edges)
    graph.add_nodes_from(range(size))
    expected = [0] * size
    for members in nx.connected_components(graph):
        for member in members:
            expected[member] = min(members)
    assert components(size, edges) == expected
    starts, ends = [a for a, _ in edges], [b for _, b in edges]
    assert component_labels(size, starts, ends).tolist() == expected  # the same in arrays


def test_a_join_says_whether_it_joined_anything() -> None:
    forest = {name: name for name in ("X1:1", "X1:2", "X2:1")}
    assert join(forest, "X2:1", "X1:2")
    assert not join(forest, "X1:2", "X2:1")
    assert root(forest, "X2:1") == "X1:2" != root(forest, "X1:1")
