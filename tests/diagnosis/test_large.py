"""What is done in bulk for large scans against the same said plainly, on random input."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomtest.diagnosis.faults import weighing
from loomtest.diagnosis.faults.explain import explain
from loomtest.diagnosis.faults.scenes import likeliness_of, scenes_of
from loomtest.diagnosis.joints.report import estimate
from loomtest.diagnosis.numbers import distinct
from loomtest.diagnosis.seen import coverage
from loomtest.diagnosis.seen.observe import APART, JOINED, observe
from loomtest.diagnosis.wiring import Wiring, as_drawn
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Limits
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import Quantity, Readings
from tests.looms import measure
from tests.looms.scenario import Order, draw

codes = st.lists(st.integers(0, 19), max_size=40).map(lambda values: np.array(values, dtype=np.int64))


@pytest.mark.parametrize("room", [-(10**9), 10**9])
@given(codes)
def test_marked_or_sorted_the_distinct_codes_are_the_same(room: int, values: np.ndarray) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(distinct, "_ROOM", room)
        found = distinct.distinct(values, 20)
        keys, place = distinct.ranked(values, 20)
    assert found.tolist() == keys.tolist() == sorted(set(values.tolist()))
    assert keys[place].tolist() == values.tolist()


def scan_of(rows: list[tuple[int, int, float]]) -> Readings:
    start, end, value = (np.array(column) for column in zip(*rows, strict=True))
    n, nan = len(rows), np.full(len(rows), np.nan)
    names = tuple(f"X1:{k}" for k in range(6))
    kind = np.full(n, Quantity.RESISTANCE, dtype=np.int64)
    return Readings(names, start, end, kind, value.astype(float), nan, nan, nan, nan, np.arange(n) + 2)


rows = st.lists(
    st.tuples(
        st.integers(0, 5), st.integers(0, 5), st.sampled_from([0.3, 40.0, 99.0, 100.0, 2e4, 5e6, np.inf])
    ).filter(lambda row: row[0] != row[1]),
    min_size=1,
    max_size=30,
)


@pytest.mark.parametrize("room", [-(10**9), 10**9])
@given(rows)
def test_the_evidence_of_a_pair_is_what_its_readings_say_one_by_one(
    room: int, said: list[tuple[int, int, float]]
) -> None:
    meter = replace(generic_handheld(), autorange=True, open_above_ohms=4e7)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(distinct, "_ROOM", room)
        seen = observe(scan_of(said), meter, Limits())
    expected, contradictory = {}, []
    for pair in sorted({(min(a, b), max(a, b)) for a, b, _ in said}):
        ohms = [ohm for a, b, ohm in said if {a, b} == set(pair)]
        joined, over = [r for r in ohms if r < 100], np.inf in ohms
        if joined and over:
            contradictory.append(list(pair))
        elif joined:
            expected[pair] = (JOINED, min(r for r in ohms), False)
        elif np.isfinite(ohms).any():
            expected[pair] = (APART, min(ohms), False)
        else:
            expected[pair] = (APART, 4e7, True)
    pairs = zip(seen.pair_start.tolist(), seen.pair_end.tolist(), strict=True)
    told = zip(seen.pair_state.tolist(), seen.pair_low_ohm.tolist(), seen.pair_over.tolist(), strict=True)
    assert list(zip(pairs, told, strict=True)) == sorted(expected.items())
    assert seen.contradictory.tolist() == contradictory


net = st.lists(st.integers(0, 4), min_size=8, max_size=8)


@given(net, net, st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=30))
def test_nets_are_shown_apart_group_by_group(
    nets: list[int], groups: list[int], cleared: list[tuple[int, int]]
) -> None:
    """Eight points in nets 0 to 3 (4: no net of the harness)."""
    own = [{groups[p] for p in range(8) if nets[p] == n} for n in range(4)]
    ends = np.array(cleared, dtype=np.int64).reshape(-1, 2)
    count = np.array([len(of) for of in own])
    found = coverage._shown(np.array(nets), np.array(groups), count, ends[:, 0], ends[:, 1])
    expected = []
    for x in range(4):
        for y in range(x + 1, 4):
            pieces = {
                (groups[a], groups[b])
                for one, other in cleared
                for a, b in ((one, other), (other, one))
                if (nets[a], nets[b]) == (x, y)
            }
            if pieces and len(pieces) >= len(own[x]) * len(own[y]):
                expected.append(4 * x + y)
    assert found.tolist() == expected


@pytest.mark.parametrize("seed", range(6))
def test_a_scene_weighed_as_a_loom_of_its_own_is_weighed_as_in_the_whole_loom(seed: int) -> None:
    rng = np.random.default_rng(seed)
    loom = draw(rng, Order(2, overlap=bool(seed % 2), wires=(15, 40)))
    readings = measure.full_scan(loom, rng, measure.Handheld())
    meter, harness = generic_handheld(), loom.harness
    run = weighing.MeasuredLoom(harness, readings, meter, expectation_of(harness))
    scenes = scenes_of(harness, readings.points, observe(readings, meter, harness.limits))
    assert scenes
    for scene, rows in zip(scenes, weighing._rows(readings, scenes), strict=True):
        inside = np.isin(readings.start, scene.codes) & np.isin(readings.end, scene.codes)
        assert rows.tolist() == np.flatnonzero(inside).tolist()
        own = weighing._by_itself(run, scene, rows)
        solution = explain(scene, likeliness_of(harness, readings.points, scene))[0][0]
        alone = estimate(own.harness, weighing._wiring(scene, solution), own.readings, meter, own.expectation)
        whole = estimate(
            harness,
            in_the_whole(harness, scene, solution),
            measure.taken(readings, rows),
            meter,
            run.expectation,
        )
        faults = [(f.fault, f.points) for f in whole.findings]
        assert [(f.fault, f.points) for f in alone.findings] == faults
        # messages about the shared leads end within a tolerance, and the other nets take part in them
        assert alone.log_likelihood == pytest.approx(whole.log_likelihood, abs=0.2)
        told = {row.wire: row for row in whole.rows}
        for row in alone.rows:
            assert (row.verdict, row.ohms) == (
                told[row.wire].verdict,
                pytest.approx(told[row.wire].ohms, abs=2e-3),
            )


def in_the_whole(harness, scene, solution) -> Wiring:
    drawn = as_drawn(harness)
    start, end, joined = drawn.start.copy(), drawn.end.copy(), drawn.joined.copy()
    for edge, (a, b) in enumerate(solution.moves.placement(scene)):
        start[scene.wire[edge]], end[scene.wire[edge]] = scene.codes[a], scene.codes[b]
    joined[[scene.wire[edge] for edge in solution.repair.opens]] = False
    shorts = [(scene.codes[a], scene.codes[b]) for a, b, _ in solution.repair.shorts]
    return Wiring(start, end, joined, np.array(shorts, dtype=np.int64).reshape(-1, 2))
