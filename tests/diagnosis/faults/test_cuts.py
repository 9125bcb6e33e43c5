"""Fewest opens and shorts, against enumeration and networkx."""

from itertools import combinations, pairwise

import networkx as nx
from hypothesis import given
from hypothesis import strategies as st

from loomtest.diagnosis.faults.cuts import cleared_edges, repair, smallest_hitting_set
from loomtest.diagnosis.faults.scene import Scene
from loomtest.harness.forest import components

NONE: frozenset[int] = frozenset()


def scene(
    size: int,
    wires: list[tuple[int, int]],
    joined: list[tuple[int, int]],
    apart: list[tuple[int, int]],
) -> Scene:
    """Points 0 … size − 1, all cavities, plain wires, every reading 0.05 Ω or over-range."""
    n = len(wires)
    return Scene(
        codes=tuple(range(size)),
        wire=tuple(range(n)),
        home=tuple(wires),
        terminal=(True,) * n,
        part=(False,) * n,
        low_ohm=(0.0,) * n,
        high_ohm=(0.0,) * n,
        joined=tuple((a, b, 0.05) for a, b in joined),
        apart=tuple((a, b, 4e7, True) for a, b in apart),
        clipped=(),
        cavity=(True,) * size,
    )


@given(st.lists(st.frozensets(st.integers(0, 7), min_size=1, max_size=4), max_size=8))
def test_no_smaller_set_meets_every_path(paths: list[frozenset[int]]) -> None:
    found = smallest_hitting_set(paths, NONE)
    assert all(path & found for path in paths)
    for size in range(len(found)):
        assert not any(all(set(some) & path for path in paths) for some in combinations(range(8), size))


def test_an_edge_that_a_reading_needs_whole_is_blamed_last() -> None:
    assert smallest_hitting_set([frozenset({1, 2})], frozenset({1})) == {2}


@st.composite
def broken_trees(draw: st.DrawFn) -> tuple[Scene, int]:
    """A tree of wires, some cut, every pair of points read."""
    size = draw(st.integers(2, 9))
    wires = [(draw(st.integers(0, i - 1)), i) for i in range(1, size)]
    cut = draw(st.sets(st.integers(0, size - 2), max_size=3))
    labels = components(size, (wire for i, wire in enumerate(wires) if i not in cut))
    joined = [(a, b) for a, b in combinations(range(size), 2) if labels[a] == labels[b]]
    apart = [(a, b) for a, b in combinations(range(size), 2) if labels[a] != labels[b]]
    return scene(size, wires, joined, apart), len(cut)


@given(broken_trees())
def test_every_cut_of_a_tree_is_found_and_nothing_else(drawn: tuple[Scene, int]) -> None:
    where, cuts = drawn
    mended = repair(where, where.home)
    assert len(mended.opens) == cuts
    assert mended.shorts == ()
    assert mended.unexplained == 0
    left = components(where.size, (w for i, w in enumerate(where.home) if i not in mended.opens))
    assert all(left[a] != left[b] for a, b, *_ in where.apart)
    assert all(left[a] == left[b] for a, b, _ in where.joined)


def test_both_ways_round_a_ring_must_be_open_for_its_points_to_read_apart() -> None:
    ring = scene(4, [(0, 1), (1, 2), (2, 3), (3, 0)], [], [(0, 2)])
    assert len(repair(ring, ring.home).opens) == 2


def test_an_unreachable_splice_with_all_legs_dead_needs_one_open_fewer_than_legs() -> None:
    legs = [(0, 4), (1, 4), (2, 4), (3, 4)]
    star = scene(5, legs, [], list(combinations(range(4), 2)))
    assert len(repair(star, star.home).opens) == 3


def test_k_nets_joined_are_k_minus_one_shorts_and_a_dead_leg_beside_them_is_an_open() -> None:
    wires = [(0, 1), (1, 2), (3, 4), (5, 6)]  # net 0-1-2 with leg 2 dead; nets 3-4 and 5-6 shorted to it
    live = [0, 1, 3, 4, 5, 6]
    where = scene(7, wires, list(combinations(live, 2)), [(2, p) for p in live])
    mended = repair(where, where.home)
    assert mended.opens == (1,)
    assert len(mended.shorts) == 2


@given(broken_trees())
def test_cleared_edges_are_the_bridges_of_conducting_pairs(drawn: tuple[Scene, int]) -> None:
    where, _ = drawn
    graph = nx.Graph(where.home)
    graph.add_nodes_from(range(where.size))
    needed = set()
    for a, b, _ in where.joined:
        path = nx.shortest_path(graph, a, b)
        needed |= {tuple(sorted(step)) for step in pairwise(path)}
    whole = components(where.size, where.home)
    cleared = cleared_edges(where, where.home, whole, where.parts_between(whole, where.home, NONE))
    assert {tuple(sorted(where.home[e])) for e in cleared} == needed
