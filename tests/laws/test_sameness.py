"""The verdict depends on what was measured, not on how the rows and names happen to be written."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given

from loomtest.words.verdict import judge
from tests.laws.looms import Bench, benches, differences, rename_connectors, rename_wires, renamed
from tests.looms.measure import shuffled, taken, turned


@given(benches())
def test_the_order_of_rows_changes_nothing(bench: Bench) -> None:
    before = judge(bench.loom.harness, bench.readings).to_json()
    after = judge(bench.loom.harness, shuffled(bench.readings, bench.rng)).to_json()
    for verdict in (before, after):  # a doubted reading is told by its line, which is another now
        lines = [{key: said for key, said in doubt.items() if key != "row"} for doubt in verdict["doubted"]]
        verdict["doubted"] = sorted(lines, key=lambda line: (line["from"], line["to"], line["value"]))
    assert differences(before, after) == []


@given(benches())
def test_exchanging_the_leads_changes_nothing(bench: Bench) -> None:
    flip = bench.rng.random(len(bench.readings)) < 0.5
    before = judge(bench.loom.harness, bench.readings).to_json()
    after = judge(bench.loom.harness, turned(bench.readings, flip)).to_json()
    assert differences(before, after) == []


@given(benches())
def test_renaming_wires_renames_the_findings_and_nothing_else(bench: Bench) -> None:
    harness = bench.loom.harness
    order = bench.rng.permutation(len(harness.wires))
    names = {w.name: f"Cable{order[n]}" for n, w in enumerate(harness.wires)}
    before = judge(harness, bench.readings).to_json()
    after = judge(rename_wires(harness, names.__getitem__), bench.readings).to_json()
    assert differences(renamed(before, names), after) == []


@given(benches())
def test_renaming_connectors_renames_the_findings_and_nothing_else(bench: Bench) -> None:
    harness = bench.loom.harness
    connectors = list(dict.fromkeys(p.rpartition(":")[0] for p in bench.readings.points if ":" in p))
    order = bench.rng.permutation(len(connectors))
    names = {old: f"Plug{order[n]}" for n, old in enumerate(connectors)}
    changed, point = rename_connectors(harness, names)
    readings = replace(bench.readings, points=tuple(map(point, bench.readings.points)))
    before = judge(harness, bench.readings).to_json()
    after = judge(changed, readings).to_json()
    assert differences(renamed(before, names), after) == []


@given(benches())
def test_the_same_input_gives_the_same_bytes(bench: Bench) -> None:
    harness, readings = bench.loom.harness, bench.readings
    assert judge(harness, readings).to_json() == judge(harness, readings).to_json()


@given(benches())
def test_repeating_a_reading_never_untests_anything(bench: Bench) -> None:
    harness, readings = bench.loom.harness, bench.readings
    if not len(readings):
        return
    again = bench.rng.integers(0, len(readings), size=int(bench.rng.integers(1, 8)))
    repeated = taken(readings, np.append(np.arange(len(readings)), again))
    before, after = judge(harness, readings), judge(harness, repeated)
    for count in ("wires_tested", "isolation_pairs_tested", "parts_tested"):
        assert getattr(after.coverage, count) >= getattr(before.coverage, count)
    assert {u.points for u in after.untested} <= {u.points for u in before.untested}
    untested = {row.wire for row in before.wires if row.verdict == "untested"}
    assert {row.wire for row in after.wires if row.verdict == "untested"} <= untested
