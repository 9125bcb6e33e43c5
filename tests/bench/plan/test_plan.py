"""The plan against its bounds, each counted here by another route."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import combinations, pairwise
from math import ceil, log2
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from loomtest.bench.plan.continuity import expected_wire_ohms
from loomtest.bench.plan.isolation import scanner_tests
from loomtest.bench.plan.plan import level_costs, plan
from loomtest.diagnosis.seen.isolation import part_groups, required_pairs
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness, Wire
from tests.bench.plan.moves import moves_of
from tests.looms.generate import Recipe, random_harness
from tests.looms.solve import resistances

SEEDS = st.integers(0, 2**32 - 1)
SAMPLES = Path(__file__).parents[3] / "sample_runs"


@st.composite
def harnesses(draw: st.DrawFn, wires: tuple[int, int] = (3, 40)) -> Harness:
    rng = np.random.default_rng(draw(SEEDS))
    harness = random_harness(
        rng, Recipe(wires=draw(st.integers(*wires)), unreachable=draw(st.sampled_from([0.0, 0.5, 1.0])))
    )
    if draw(st.booleans()):  # any point at all may be out of reach, not only splices
        hidden = {p for p in harness.points if rng.random() < 0.15}
        harness = replace(harness, unreachable=frozenset(hidden))
    return harness


def wiring(harness: Harness) -> nx.MultiGraph:
    graph = nx.MultiGraph()
    graph.add_nodes_from(harness.points)
    graph.add_edges_from((w.start, w.end, w.name) for w in harness.wires if w.conducts and w.start != w.end)
    return graph


def live_wires(harness: Harness) -> set[str]:
    """Wires on a simple path between two reachable points of one net.

    With a further node tied to every reachable point, those are the wires in a block with that node.
    """
    graph = nx.Graph()
    for w in harness.wires:
        if w.conducts and w.start != w.end:  # the wire is a node, so that parallel ones stay two
            graph.add_edges_from([(w.start, ("wire", w.name)), (("wire", w.name), w.end)])
    graph.add_edges_from((p, "probe") for p in harness.points if p not in harness.unreachable)
    blocks = [block for block in nx.biconnected_components(graph) if "probe" in block]
    return {node[1] for block in blocks for node in block if isinstance(node, tuple)}


@given(harness=harnesses())
def test_continuity_and_loops_equal_their_bounds(harness: Harness) -> None:
    made = plan(harness, "none")
    nets = [members - harness.unreachable for members in nx.connected_components(wiring(harness))]
    assert made.totals["continuity"] == sum(len(net) - 1 for net in nets if net)
    live = wiring(harness).edge_subgraph(
        [e for e in wiring(harness).edges(keys=True) if e[2] in live_wires(harness)]
    )
    loops = live.number_of_edges() - live.number_of_nodes() + nx.number_connected_components(live)
    assert made.totals["loops"] == loops
    assert made.bounds["continuity"] == made.totals["continuity"]


@given(harness=harnesses())
def test_continuity_joins_every_net_and_every_reading_alone_shows_something(harness: Harness) -> None:
    steps = [step for step in plan(harness, "none").steps if step.what == "continuity"]
    reached = nx.Graph([(step.start, step.end) for step in steps])
    for net in nx.connected_components(wiring(harness)):
        points = net - harness.unreachable
        if len(points) > 1:
            assert nx.is_connected(reached.subgraph(points)) and set(reached) >= points
    graph = wiring(harness)
    if nx.number_of_edges(graph) == graph.number_of_nodes() - nx.number_connected_components(graph):
        times: dict[str, int] = {}
        paths = []
        for step in steps:
            path = nx.shortest_path(graph, step.start, step.end)
            wires = {next(iter(graph[a][b])) for a, b in pairwise(path)}
            paths.append(wires)
            for wire in wires:
                times[wire] = times.get(wire, 0) + 1
        assert set(times) == live_wires(harness)
        assert all(any(times[wire] == 1 for wire in wires) for wires in paths)


@given(harness=harnesses(), level=st.sampled_from(["full", "neighbours", "bonded", "none"]))
def test_isolation_reads_every_pair_of_its_level_and_never_through_a_net_or_part(
    harness: Harness, level: str
) -> None:
    made = plan(harness, level)
    net = {p: int(harness.net_of[code]) for p, code in harness.code_of.items()}
    through = wiring(harness)
    through.add_edges_from((w.start, w.end) for w in harness.wires)
    part = {p: i for i, members in enumerate(nx.connected_components(through)) for p in members}
    seen = set()
    for step in made.steps:
        if step.what == "isolation":
            for other in (step.end, *step.bonded):
                assert part[step.start] != part[other] or not step.bonded
                assert (step.expected_ohms is None) == (part[step.start] == part[other])
                assert not {step.start, other} & harness.unreachable
                seen.add(frozenset((net[step.start], net[other])))
    blocks = list(required_pairs(harness, level).iterate())
    wanted = {frozenset(pair) for block in blocks for pair in block.tolist()}
    assert seen == wanted
    if level != "bonded":
        assert made.totals["isolation"] == len(wanted)


@given(harness=harnesses((3, 14)))
def test_bonded_isolation_is_the_fewest_that_single_nets_against_a_comb_can_do(harness: Harness) -> None:
    blocks = list(required_pairs(harness, "bonded").iterate())
    group = part_groups(harness)
    pairs = [tuple(pair) for block in blocks for pair in block.tolist()]
    alone = sum(group[a] == group[b] for a, b in pairs)  # through parts: a comb would hide them
    pairs = [(a, b) for a, b in pairs if group[a] != group[b]]
    nets = sorted({net for pair in pairs for net in pair})
    assume(len(nets) <= 12)
    least = next(
        size
        for size in range(len(nets) + 1)
        if any(all(a in c or b in c for a, b in pairs) for c in map(set, combinations(nets, size)))
    )
    made = plan(harness, "bonded")
    assert made.totals["isolation"] == made.bounds["isolation"] == least + alone


def test_without_parts_bonded_isolation_is_one_less_than_the_nets() -> None:
    for seed in range(20):
        harness = random_harness(np.random.default_rng(seed), Recipe(wires=30, parts=False, unreachable=0.0))
        used = {p for w in harness.wires for p in (w.start, w.end)}
        nets = nx.number_connected_components(wiring(harness).subgraph(used))
        assert plan(harness, "bonded").totals["isolation"] == nets - 1


def test_a_tooth_hangs_on_the_comb_only_after_its_own_reading() -> None:
    harness = random_harness(np.random.default_rng(5), Recipe(wires=40))
    steps = [step for step in plan(harness, "bonded").steps if step.what == "isolation"]
    read = {step.start for step in steps}
    done: set[str] = set()
    for before, step in zip([None, *steps], steps, strict=False):
        assert not (set(step.bonded) & read) - done
        if before is not None:
            assert step.bonded[: len(before.bonded)] == before.bonded, "teeth stay on"
        done.add(step.start)


def sensitivities(harness: Harness, pairs: list[tuple[str, str]]) -> np.ndarray:
    """d(reading)/d(wire) by central differences of a dense solve, one row a reading."""
    known = expected_wire_ohms(harness)
    ohms = np.where(np.isnan(known), 0.02 + 0.001 * np.arange(len(known)), known)
    rows = [i for i, w in enumerate(harness.wires) if w.conducts]
    code = harness.code_of

    def all_ohms(values: np.ndarray) -> np.ndarray:
        edges = [(code[harness.wires[i].start], code[harness.wires[i].end], float(values[i])) for i in rows]
        found = resistances(len(harness.points), edges)
        return np.array([found[code[a], code[b]] for a, b in pairs])

    out = np.zeros((len(pairs), len(rows)))
    for column, wire in enumerate(rows):
        step = np.zeros(len(ohms))
        step[wire] = 1e-4 * ohms[wire]
        out[:, column] = (all_ohms(ohms + step) - all_ohms(ohms - step)) / (2 * step[wire])
    return out


@given(harness=harnesses((3, 14)))
def test_joints_makes_every_wire_identifiable_with_the_fewest_readings(harness: Harness) -> None:
    steps = [s for s in plan(harness, "none", joints=True).steps if s.what != "part"]
    net = harness.net_of
    reach = np.flatnonzero(harness.reachable).tolist()
    every = [(harness.points[a], harness.points[b]) for a, b in combinations(reach, 2) if net[a] == net[b]]
    assume(every)
    all_rank = np.linalg.matrix_rank(sensitivities(harness, every), tol=1e-5)
    rows = sensitivities(harness, [(s.start, s.end) for s in steps])
    assert np.linalg.matrix_rank(rows, tol=1e-5) == all_rank
    before = [i for i, s in enumerate(steps) if s.what != "joints"]
    joints = len(steps) - len(before)
    assert joints == all_rank - np.linalg.matrix_rank(rows[before], tol=1e-5)


def test_a_splice_out_of_reach_takes_one_more_reading_for_its_joints() -> None:
    # the star of three: a, b, c from a-b, b-c, c-a; two readings cannot fix three unknowns
    wires = tuple(Wire(f"W{i}", f"X{i}:1", "SP1", size_mm2=1.0, length_m=float(i)) for i in (1, 2, 3))
    harness = Harness("star", wires, ("X1:1", "SP1", "X2:1", "X3:1"), unreachable=frozenset({"SP1"}))
    made = plan(harness, "none", joints=True)
    assert {what: made.totals[what] for what in ("continuity", "loops", "joints", "parts", "isolation")} == {
        "continuity": 2, "loops": 0, "joints": 1, "parts": 0, "isolation": 0,
    }  # fmt: skip
    assert {frozenset((s.start, s.end)) for s in made.steps} == {
        frozenset(p) for p in combinations(("X1:1", "X2:1", "X3:1"), 2)
    }


def test_expected_ohms_are_those_of_an_independent_solve() -> None:
    for seed in range(12):
        harness = random_harness(np.random.default_rng(seed), Recipe(wires=20, fuses=False))
        ohms = expected_wire_ohms(harness)
        code = harness.code_of
        edges = [
            (code[w.start], code[w.end], float(o))
            for w, o in zip(harness.wires, ohms, strict=True)
            if w.conducts
        ]
        found = resistances(len(harness.points), edges)
        steps = [s for s in plan(harness, "none", joints=True).steps if s.what != "part"]
        assert steps
        for step in steps:
            assert step.expected_ohms == pytest.approx(found[code[step.start], code[step.end]], rel=1e-9)


def test_two_wires_side_by_side_are_read_twice_and_shown_by_the_value() -> None:
    wires = tuple(Wire(f"W{i}", "X1:1", "GND1", size_mm2=1.0, length_m=1.0) for i in (1, 2))
    made = plan(Harness("double", wires, ("X1:1", "GND1")), "none")
    assert [(s.what, {s.start, s.end}) for s in made.steps] == [
        ("continuity", {"X1:1", "GND1"}),
        ("loops", {"X1:1", "GND1"}),
    ]
    assert all("by the value" in step.proves for step in made.steps)


def test_parts_are_read_once_each_and_a_diode_with_the_red_lead_where_it_conducts_in() -> None:
    wires = (
        Wire("W1", "X1:1", "X2:1"),
        Wire("W2", "X1:2", "GND1"),
        Wire("L1", "X2:1", "GND1", kind="lamp", ohms_min=1.0, ohms_max=4.0),
        Wire("L2", "X1:1", "X1:2", kind="lamp", ohms_min=1.0, ohms_max=4.0),
        Wire("D1", "GND1", "X2:1", kind="diode"),
    )
    made = plan(Harness("parts", wires, ("X1:1", "X2:1", "X1:2", "GND1")), "full")
    parts = [step for step in made.steps if step.what == "part"]
    assert [(p.wires, p.quantity) for p in parts] == [(("L1", "L2"), "resistance"), (("D1",), "diode")]
    assert parts[0].expected_ohms == pytest.approx(1.0)  # two of 2 Ω side by side
    assert parts[1].start in ("X1:2", "GND1") and parts[1].end in ("X1:1", "X2:1")
    assert made.totals["isolation"] == 0
    said = "1 pair of circuits with a part between them: unplug the parts to check them for shorts"
    assert said in made.unproven


@given(harness=harnesses((3, 20)))
def test_scanner_tests_equal_the_published_minimum(harness: Harness) -> None:
    # W. H. Kautz, IEEE Trans. Comput. C-23(4), 358-363 (1974): p - 1 + ceil(log2 q)
    tests = scanner_tests(harness)
    reach = [p for p in harness.points if p not in harness.unreachable]
    assume(reach)
    nets = [net & set(reach) for net in nx.connected_components(wiring(harness))]
    through = wiring(harness)
    through.add_edges_from((w.start, w.end) for w in harness.wires)
    groups = [g for g in nx.connected_components(through) if g & set(reach)]
    assert len(tests) == max(map(len, nets)) - 1 + ceil(log2(len(groups)))
    shown = set()
    for test in tests:
        drive, sense = [[harness.points[c] for c in side] for side in (test.drive, test.sense)]
        if test.what == "continuity":
            assert len(drive) == len(sense) and all(
                nx.has_path(wiring(harness), *p) for p in zip(drive, sense, strict=True)
            )
            shown.update(map(frozenset, zip(drive, sense, strict=True)))
        else:
            assert not any(nx.has_path(through, a, b) for a in drive for b in sense)
            shown.update(frozenset((a, b)) for a in drive for b in sense)
    joined = nx.Graph([tuple(pair) for pair in shown if nx.has_path(wiring(harness), *pair)])
    assert all(len(net) < 2 or nx.is_connected(joined.subgraph(net)) for net in nets)
    number = {p: i for i, net in enumerate(nets) for p in net}
    apart = {frozenset((number[a], number[b])) for a, b in map(tuple, shown) if number[a] != number[b]}
    group = {p: i for i, g in enumerate(groups) for p in g}
    firsts = [min(net) for net in nets if net]
    assert apart == {
        frozenset((number[a], number[b])) for a, b in combinations(firsts, 2) if group[a] != group[b]
    }


@pytest.mark.parametrize(
    ("p", "q", "tests"),
    [(2, 8, 4), (2, 16, 5), (2, 50, 7), (3, 50, 8), (5, 50, 10), (2, 100, 8), (10, 100, 16), (1, 8, 3)],
)
def test_scanner_tests_of_kautz_for_p_and_q(p: int, q: int, tests: int) -> None:
    rows = [Wire(f"W{i}", "X1:1", f"Y{i}:1") for i in range(1, p)]
    points = ["X1:1", *(f"Y{i}:1" for i in range(1, p)), *(f"Z1:{i}" for i in range(1, q))]
    assert len(scanner_tests(Harness("kautz", tuple(rows), tuple(points)))) == tests


def test_the_json_is_the_contract_s() -> None:
    harness = random_harness(np.random.default_rng(3), Recipe(wires=20))
    made = plan(harness, "bonded", joints=True)
    told = json.loads(json.dumps(made.to_json(), allow_nan=False))
    assert told["schema"] == "loomtest-plan/1"
    assert told["isolation"] == "bonded"
    assert [step["step"] for step in told["steps"]] == list(range(1, len(made.steps) + 1))
    for step in told["steps"]:
        assert {"step", "what", "from", "to", "proves"} <= set(step)
        assert ("expected" in step and step["expected"] == "OL") == (step["what"] == "isolation")
    counts = {
        what: sum(s["what"] == what for s in told["steps"])
        for what in ("continuity", "loops", "joints", "isolation")
    }
    assert all(told["totals"][what] == count for what, count in counts.items())
    assert set(told["bounds"]) >= {"continuity", "loops", "isolation"}
    assert told["ratio"] == pytest.approx(len(told["steps"]) / sum(told["bounds"].values()))


def test_the_level_is_the_harness_s_own_unless_asked() -> None:
    harness = random_harness(np.random.default_rng(3), Recipe(wires=12))
    harness = replace(harness, limits=replace(harness.limits, isolation="neighbours"))
    assert plan(harness).isolation == "neighbours"
    assert plan(harness, "none").isolation == "none"


def test_moves_are_counted_as_the_steps_are_walked() -> None:
    for seed in range(8):
        harness = random_harness(np.random.default_rng(seed), Recipe(wires=25))
        for level in ("full", "neighbours", "none"):
            made = plan(harness, level, joints=True)
            assert made.totals["moves"] == moves_of(made.steps)
        made = plan(harness, "bonded")
        combs = [step for step in made.steps if step.bonded]
        teeth = len(combs[-1].bonded) if combs else 0
        assert made.totals["moves"] == moves_of(made.steps) + teeth


def test_steps_can_be_taken_from_both_ends_and_by_slices() -> None:
    steps = plan(random_harness(np.random.default_rng(1), Recipe(wires=15)), "full").steps
    assert steps[-1] == list(steps)[-1] and steps[:3] == tuple(list(steps)[:3])
    with pytest.raises(IndexError):
        steps[len(steps)]


def test_a_plan_is_the_same_every_time() -> None:
    harness = random_harness(np.random.default_rng(9), Recipe(wires=40))
    assert plan(harness, "bonded").to_json() == plan(harness, "bonded").to_json()


def test_what_no_probe_reaches_is_said() -> None:
    wires = (
        Wire("W1", "X1:1", "SP1"),
        Wire("W2", "SP1", "X2:1"),
        Wire("W3", "SP1", "SP2"),
        Wire("W4", "SP3", "SP4"),
    )
    harness = Harness("stubs", wires, ("X1:1", "SP1", "X2:1", "SP2", "SP3", "SP4"))
    harness = replace(harness, unreachable=frozenset({"SP1", "SP2", "SP3", "SP4"}))
    told = plan(harness, "full", joints=True).unproven
    assert "W3, W4: no probe reaches what is beyond" in told
    assert "SP3: no probe reaches any point of the circuit" in told
    assert "W1, W2 each on its own: they are judged together" in told


@pytest.mark.parametrize("level", ["full", "neighbours", "bonded", "none"])
def test_a_loom_that_no_probe_reaches_has_an_empty_plan(level: str) -> None:
    harness = Harness(
        "sealed", (Wire("W1", "SP1", "SP2"),), ("SP1", "SP2"), unreachable=frozenset({"SP1", "SP2"})
    )
    made = plan(harness, level, joints=True)
    assert len(made.steps) == 0 and made.totals["moves"] == 0 and made.unproven


@pytest.mark.parametrize("clips", [2, 3, 5])
def test_with_few_clips_several_combs_show_the_same_pairs_apart(clips: int) -> None:
    for seed in range(8):
        harness = random_harness(np.random.default_rng(seed), Recipe(wires=14, loops=False))
        wanted = required_pairs(harness, "bonded")
        apart: set[tuple[int, ...]] = set()
        for step in plan(harness, "bonded", clips=clips).steps:
            if step.what != "isolation":
                continue
            assert len(step.bonded) + 1 <= clips
            own = int(harness.net_of[harness.code_of[step.start]])
            others = (int(harness.net_of[harness.code_of[p]]) for p in (step.end, *step.bonded))
            read = {(min(own, other), max(own, other)) for other in others}
            assert not read & apart, "a pair is read twice"
            apart |= read
        missing = {tuple(map(int, pair)) for block in wanted.iterate() for pair in block} - apart
        assert not missing


def test_the_levels_stand_side_by_side_with_what_each_plan_takes() -> None:
    harness = load_harness(SAMPLES / "orchard_tractor")
    costs = {cost.isolation: cost for cost in level_costs(harness)}
    assert list(costs) == ["none", "neighbours", "bonded", "full"]
    for level, cost in costs.items():
        made = plan(harness, level)
        assert (cost.touches, cost.minutes) == (len(made.steps), made.totals["minutes"])
    assert costs["none"].touches < costs["neighbours"].touches < costs["full"].touches
    assert costs["full"].pairs == costs["full"].of > costs["bonded"].pairs
    slower = level_costs(harness, touch_s=20.0)
    assert all(slow.minutes > cost.minutes for slow, cost in zip(slower, costs.values(), strict=True))
