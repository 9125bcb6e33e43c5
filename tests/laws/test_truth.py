"""What was done to the copper is what the verdict says, and what was not done it does not say."""

from __future__ import annotations

import json

import networkx as nx
import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.model import Harness
from loomtest.words.verdict import judge
from tests.laws.looms import Bench, benches
from tests.looms.check import score, told_wiring, unexplained, untidy
from tests.looms.faults import KINDS, healthy_loom
from tests.looms.generate import Recipe, random_harness
from tests.looms.measure import FourWire, Handheld, full_scan
from tests.looms.scenario import Order, draw

seeds = st.integers(0, 2**32 - 1)


def wires_alone(harness: Harness) -> set[str]:
    """Wires that every path between their two ends needs: in no ring, and beside no other."""
    graph = nx.MultiGraph()
    graph.add_edges_from((w.start, w.end, w.name) for w in harness.wires if w.conducts)
    single = nx.Graph(graph)
    return {next(iter(graph[a][b])) for a, b in nx.bridges(single)
            if graph.number_of_edges(a, b) == 1}  # fmt: skip


def hidden(harness: Harness, verdict: Verdict, wire: str) -> bool:
    """Whether the loss of the wire raises the ohms between its ends by less than four times the noise of
    1 mΩ and a fifth of what is left; by networkx's resistance distance."""
    ohms = {row.wire: row.expected_ohms for row in verdict.wires}
    graph = nx.MultiGraph()
    graph.add_edges_from(
        (w.start, w.end, w.name, {"ohms": ohms[w.name]}) for w in harness.wires if w.conducts
    )
    start, end = next((w.start, w.end) for w in harness.wires if w.name == wire)
    graph = graph.subgraph(nx.node_connected_component(graph, start)).copy()
    whole = nx.resistance_distance(graph, start, end, "ohms")
    graph.remove_edge(start, end, wire)
    left = nx.resistance_distance(graph, start, end, "ohms")
    return bool(left - whole < 0.004 + 0.2 * left)


@given(seeds, st.integers(5, 60), st.sampled_from([0.0, 0.5, 1.0]))
@example(0, 6, 1.0)  # 7 mΩ beside 56 mΩ
def test_a_healthy_loom_measured_by_four_wires_passes(seed: int, wires: int, listed: float) -> None:
    rng = np.random.default_rng(seed)
    harness = random_harness(rng, Recipe(wires=wires, listed=listed))
    # half the expected spread: at the whole of it a healthy wire may rightly come near its limit
    loom = healthy_loom(harness, rng, spread=0.5)
    verdict = judge(harness, full_scan(loom, rng, FourWire(noise_ohm=0.001), diodes=True))
    assert verdict.findings == ()
    alone = required_pairs(harness, verdict.isolation).alone.any()  # a part stands across all its pairs
    undecided = {row.wire for row in verdict.wires if row.verdict != "pass"}
    # of wires side by side without sizes one could be broken: they stay undecided, and nothing else does
    assert not undecided & wires_alone(harness)
    if (
        listed == 1.0
    ):  # with sizes only one so large beside its neighbour that its loss is in noise and spread
        for row in verdict.wires:
            assert row.wire not in undecided or hidden(harness, verdict, row.wire), row
    if not undecided:
        assert verdict.wiring == ("not-proven" if alone else "pass"), verdict.undecided
        assert verdict.joints == "pass" and (alone or verdict.untested == ())


@given(seeds, st.integers(5, 40))
def test_a_healthy_loom_never_fails_by_an_ordinary_meter(seed: int, wires: int) -> None:
    rng = np.random.default_rng(seed)
    # without doubled wires: that one of two is open is more than tenths of an ohm can show
    harness = random_harness(rng, Recipe(wires=wires, loops=False))
    loom = healthy_loom(harness, rng, spread=0.5)
    readings = full_scan(loom, rng, Handheld(), diodes=True)
    verdict = judge(harness, readings, readings.instrument)
    assert verdict.findings == ()
    alone = required_pairs(harness, verdict.isolation).alone.any()
    assert verdict.wiring == ("not-proven" if alone else "pass")


@pytest.mark.parametrize("kind", KINDS)
@given(seed=seeds)
def test_one_visible_fault_is_one_finding_that_names_it(kind: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    loom = draw(rng, Order(1, (kind,), wires=(5, 40)))
    readings = full_scan(loom, rng)
    verdict = judge(loom.harness, readings)
    told = score(loom, readings, verdict)
    assert told.exact, (loom.faults, told.reasons)
    assert len(verdict.findings) == 1
    assert verdict.verdict == "fail"


@given(benches(faults=(0, 4)))
def test_the_findings_reproduce_every_reading(bench: Bench) -> None:
    harness, readings = bench.loom.harness, bench.readings
    verdict = judge(harness, readings)
    assert unexplained(harness, readings, told_wiring(harness, verdict.findings)) == []


@given(benches(faults=(0, 4)))
def test_every_verdict_is_tidy_and_plain_json(bench: Bench) -> None:
    verdict = judge(bench.loom.harness, bench.readings)
    assert untidy(verdict) == []
    text = json.dumps(verdict.to_json(), allow_nan=False)
    assert json.loads(text)["schema"] == "loomtest-verdict/1"


@given(benches(faults=(0, 3)))
def test_nothing_untested_is_ever_pass(bench: Bench) -> None:
    verdict = judge(bench.loom.harness, bench.readings)
    rows = {row.wire: row.verdict for row in verdict.wires}
    assert set(rows) <= {w.name for w in bench.loom.harness.wires}
    if verdict.verdict == "pass":
        assert verdict.untested == ()
        assert set(rows.values()) == {"pass"}
        counts = verdict.coverage
        assert counts.wires == counts.wires_tested
        assert counts.isolation_pairs == counts.isolation_pairs_tested
    touched = {int(p) for p in (*bench.readings.start, *bench.readings.end)}
    code = {p: n for n, p in enumerate(bench.readings.points)}
    for net in verdict.nets:
        if not touched & {code[p] for p in net.points}:
            assert net.verdict in ("untested", "fail"), net
