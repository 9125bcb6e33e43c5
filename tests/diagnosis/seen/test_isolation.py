"""Which pairs of nets must be shown apart."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.harness.model import Face, Harness, Wire


def harness_of(rows: list[tuple[str, ...]], empty: dict[str, tuple[str, ...]] | None = None) -> Harness:
    wires = tuple(
        Wire(f"W{i}", row[0], row[1], kind=row[2] if len(row) > 2 else "wire")
        for i, row in enumerate(rows, 1)
    )
    cavities = empty or {}
    points = [p for w in wires for p in (w.start, w.end)]
    points += [f"{c}:{name}" for c, names in cavities.items() for name in names]
    return Harness("invented", wires, tuple(dict.fromkeys(points)), cavities=cavities)


def named_pairs(harness: Harness, level: str) -> set[frozenset[str]]:
    pairs = required_pairs(harness, level)
    first = [harness.points[net.points[0]] for net in harness.nets]
    blocks = list(pairs.iterate())
    assert sum(len(block) for block in blocks) == pairs.count
    for block in blocks:
        assert pairs.contains(block[:, 1], block[:, 0]).all()
    return {frozenset((first[a], first[b])) for block in blocks for a, b in block.tolist()}


POINTS = [f"X{c}:{k}" for c in (1, 2, 3) for k in range(1, 6)] + ["SP1", "GND1"]
ROWS = st.lists(
    st.tuples(
        st.sampled_from(POINTS), st.sampled_from(POINTS), st.sampled_from(["wire", "wire", "lamp", "switch"])
    ).filter(lambda row: row[0] != row[1]),
    min_size=1,
    max_size=14,
)


@given(rows=ROWS, hidden=st.sets(st.sampled_from(POINTS), max_size=5))
def test_full_and_bonded_are_the_pairs_that_no_part_stands_across(
    rows: list[tuple[str, ...]], hidden: set[str]
) -> None:
    harness = replace(
        harness_of(rows, {"X1": tuple("12345"), "X9": ("A", "B")}), unreachable=frozenset(hidden)
    )
    wiring = nx.Graph()
    wiring.add_nodes_from(harness.points)
    wiring.add_edges_from((w.start, w.end) for w in harness.wires if w.conducts)
    used = {p for w in harness.wires for p in (w.start, w.end)}
    first = {
        member: next(p for p in harness.points if p in members)
        for members in nx.connected_components(wiring)
        for member in members
        if members - harness.unreachable
    }
    apart = {frozenset(p) for p in combinations(set(first.values()), 2)}
    apart -= {
        frozenset((first.get(w.start), first.get(w.end)))
        for w in harness.wires
        if w.kind not in ("wire", "switch")
    }
    assert named_pairs(harness, "full") == apart
    assert named_pairs(harness, "bonded") == {p for p in apart if p <= used}
    near = named_pairs(harness, "neighbours")
    assert near <= {p for p in apart if p <= used}
    assert set().union(*near) == set().union(*named_pairs(harness, "bonded"))  # no net is left alone
    assert named_pairs(harness, "none") == set()


def test_contains_agrees_with_iterate_for_every_pair() -> None:
    harness = harness_of([("X1:1", "X2:1"), ("X1:2", "X2:2"), ("X1:3", "X2:3", "lamp"), ("X1:4", "SP1")])
    count = len(harness.nets)
    for level in ("full", "neighbours", "bonded", "none"):
        pairs = required_pairs(harness, level)
        listed = {tuple(row) for block in pairs.iterate() for row in block.tolist()}
        a, b = np.divmod(np.arange(count * count), count)
        wanted = pairs.contains(a, b)
        found = {(min(x, y), max(x, y)) for x, y in zip(a[wanted], b[wanted], strict=True)}
        assert found == listed


def test_neighbours_without_a_face_are_consecutive_cavities() -> None:
    # every wire to a connector of its own, so that only X1 brings nets together
    harness = harness_of([(f"X1:{k}", f"Y{k}:1") for k in (10, 9, 1, 2)])
    assert named_pairs(harness, "neighbours") == {
        frozenset(p) for p in (("X1:1", "X1:2"), ("X1:2", "X1:9"), ("X1:9", "X1:10"))
    }


def test_an_empty_cavity_between_keeps_two_nets_apart() -> None:
    rows = [("X1:1", "Y1:1"), ("X1:3", "Y3:1"), ("X1:4", "Y4:1"), ("Y1:2", "X2:1")]
    harness = harness_of(rows, {"X1": ("1", "2", "3", "4")})
    assert named_pairs(harness, "neighbours") == {frozenset(("X1:1", "Y1:2")), frozenset(("X1:3", "X1:4"))}


def test_a_net_left_alone_is_a_neighbour_of_the_next_in_the_list() -> None:
    harness = harness_of([(f"A{k}:1", f"B{k}:1") for k in range(1, 5)])
    chain = {frozenset((f"A{k}:1", f"A{k + 1}:1")) for k in range(1, 4)}
    assert named_pairs(harness, "neighbours") == chain
    lamps = replace(harness, wires=(*harness.wires, Wire("L1", "A1:1", "B2:1", kind="lamp")))
    assert named_pairs(lamps, "neighbours") == {*chain, frozenset(("A1:1", "A3:1"))} - {
        frozenset(("A1:1", "A2:1"))
    }


def test_bare_names_are_neighbours_in_the_order_of_the_list() -> None:
    harness = harness_of([("BATT+", "STARTER"), ("GND1", "ENGINE"), ("HORN", "GND2"), ("COIL", "SP1")])
    chain = [("BATT+", "GND1"), ("GND1", "HORN"), ("HORN", "COIL")]
    assert named_pairs(harness, "neighbours") == {frozenset(p) for p in chain}
    harness = replace(harness, places={"GND1": "bulkhead", "ENGINE": "bulkhead", "SP1": "bulkhead"})
    far = {frozenset(("BATT+", "HORN")), frozenset(("HORN", "COIL")), frozenset(("GND1", "COIL"))}
    assert named_pairs(harness, "neighbours") == far


def test_a_net_without_a_pair_is_alone_only_beside_others() -> None:
    pair = harness_of([("A:1", "B:1"), ("A:2", "B:2"), ("A:1", "A:2", "lamp")])
    for level in ("full", "neighbours"):
        assert required_pairs(pair, level).alone.tolist() == [True, True]
    assert required_pairs(harness_of([("A:1", "B:1")]), "full").alone.tolist() == [False]
    switched = replace(pair, wires=(*pair.wires[:2], replace(pair.wires[2], kind="switch")))
    assert required_pairs(switched, "neighbours").count == 1


@pytest.mark.parametrize(
    ("numbering", "expected"),
    [
        # 1 2 3     1 3 5     1 2 3
        # 4 5 6     2 4 6     6 5 4
        ("across", "12 23 45 56 14 25 36"),
        ("down", "13 35 24 46 12 34 56"),
        ("back-and-forth", "12 23 45 56 16 25 34"),
    ],
)
def test_neighbours_follow_the_face(numbering: str, expected: str) -> None:
    harness = harness_of([(f"X1:{k}", f"Y{k}:1") for k in range(1, 7)], {"X1": tuple("123456")})
    harness = replace(harness, faces={"X1": Face(2, numbering)})
    assert named_pairs(harness, "neighbours") == {
        frozenset((f"X1:{a}", f"X1:{b}")) for a, b in expected.split()
    }


def test_wires_of_one_branch_are_neighbours() -> None:
    between = harness_of([("X1:1", "X2:1"), ("X1:5", "X2:5"), ("X1:9", "X3:1")], {"X1": tuple("123456789")})
    between = replace(between, cavities={**between.cavities, "X2": tuple("12345")})
    lone = frozenset(("X1:5", "X1:9"))
    assert named_pairs(between, "neighbours") == {frozenset(("X1:1", "X1:5")), lone}
    rows = [("A1:1", "B1:1"), ("A2:1", "B2:1"), ("A3:1", "B3:1")]
    plain = harness_of(rows)
    left_alone = {frozenset(("A1:1", "A2:1")), frozenset(("A2:1", "A3:1"))}
    assert named_pairs(plain, "neighbours") == left_alone
    named = replace(
        plain,
        wires=tuple(
            replace(wire, extra=(("branch", text),))
            for wire, text in zip(plain.wires, ("left", "right", "left"), strict=True)
        ),
    )
    branch = {frozenset(("A1:1", "A3:1"))}
    assert named_pairs(named, "neighbours") == {*branch, frozenset(("A2:1", "A3:1"))}


def test_splices_of_one_place_share_a_sleeve() -> None:
    harness = harness_of([("A1:1", "SP1"), ("A2:1", "SP2"), ("A3:1", "SP3")])
    harness = replace(harness, places={"SP1": "behind the dash", "SP2": "behind the dash", "SP3": "tail"})
    assert named_pairs(harness, "neighbours") == {frozenset(("A1:1", "A2:1")), frozenset(("A2:1", "A3:1"))}
