"""A loom and its readings mean the same from files as from memory."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given, settings

from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.words.verdict import judge
from tests.laws.looms import Bench, benches, differences
from tests.looms.files import write_harness, write_readings


@settings(max_examples=10)
@given(benches(wires=(5, 20)))
def test_a_loom_written_and_read_back_gets_the_same_verdict(bench: Bench) -> None:
    before = judge(bench.loom.harness, bench.readings, bench.readings.instrument).to_json()
    with tempfile.TemporaryDirectory() as folder:
        harness = load_harness(write_harness(bench.loom.harness, Path(folder)))
        readings = load_readings(write_readings(bench.readings, Path(folder) / "readings.csv"), harness)
    assert harness.points == bench.loom.harness.points
    assert [w.name for w in harness.wires] == [w.name for w in bench.loom.harness.wires]
    assert [net.points for net in harness.nets] == [net.points for net in bench.loom.harness.nets]
    assert readings.points == bench.readings.points
    assert np.array_equal(readings.start, bench.readings.start)
    after = judge(harness, readings, bench.readings.instrument).to_json()
    assert differences(before, after) == []
