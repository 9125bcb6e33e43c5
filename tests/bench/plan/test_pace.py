"""A person's own pace, from the times of a run."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

from loomtest.bench.plan.pace import own_seconds
from loomtest.harness.load import load_harness
from loomtest.readings.run import About, Reading, create_run

TRACTOR = Path(__file__).parents[3] / "sample_runs" / "orchard_tractor"


def test_the_pace_is_the_median_gap_of_the_newest_run_pauses_left_out(tmp_path: Path) -> None:
    loom = tmp_path / "loom"
    loom.mkdir()
    for name in ("harness.toml", "wires.csv"):
        shutil.copy(TRACTOR / name, loom / name)
    harness = load_harness(loom)
    assert own_seconds(harness) is None
    at = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
    gaps = [7, 8, 9, 600, 8, 8, 7, 9, 8, 8, 30, 8]  # a pause of ten minutes is no pace
    with create_run(loom / "before", harness, About(), clock=lambda: at) as writer:
        writer.record(Reading("X1:3", "X1:4", "OL"))
        for gap in gaps:
            at += timedelta(seconds=gap)
            writer.record(Reading("X1:3", "X1:4", "OL"))
    assert own_seconds(harness) == 8.0


def test_a_rehearsal_has_no_pace(tmp_path: Path) -> None:
    loom = tmp_path / "loom"
    loom.mkdir()
    for name in ("harness.toml", "wires.csv"):
        shutil.copy(TRACTOR / name, loom / name)
    harness = load_harness(loom)
    at = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
    with create_run(loom / "run", harness, About(rehearsal=True), clock=lambda: at) as writer:
        for _ in range(15):
            at += timedelta(seconds=2)
            writer.record(Reading("X1:3", "X1:4", "OL"))
    assert own_seconds(harness) is None
