"""Which runs may say what is healthy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.units.sound import UnitRun, sound_units
from loomtest.harness.model import Expect, Harness
from loomtest.readings.model import Readings
from tests.looms.units import measured_units
from tests.scores.healthy import loom


def runs_of(count: int) -> tuple[Harness, list[UnitRun]]:
    rng = np.random.default_rng(11)
    harness = loom(rng, 8)
    harness = replace(harness, wires=harness.wires[:-1])  # of two wires side by side one may hide the other
    quiet = Expect(copper_spread_percent=1.0, length_spread_percent=1.0, joint_spread_milliohms=0.5)
    made = measured_units(harness, rng, quiet, count)
    return harness, [UnitRun(f"runs/{k + 1:03d}", harness, one) for k, one in enumerate(made)]


def with_run(run: UnitRun, **changed: object) -> UnitRun:
    assert run.readings.run is not None
    return replace(run, readings=replace(run.readings, run=replace(run.readings.run, **changed)))


def poor(readings: Readings, ohm: float) -> Readings:
    value = readings.value.copy()
    value[2] += ohm
    return replace(readings, value=value)


def test_faulty_and_rehearsed_and_other_looms_are_refused_each_with_its_reason() -> None:
    harness, runs = runs_of(8)
    runs[1] = replace(runs[1], readings=poor(runs[1].readings, 0.4))
    runs[2] = with_run(runs[2], rehearsal=True)
    longer = replace(harness.wires[3], length_m=9.0)
    other = replace(harness, wires=(*harness.wires[:3], longer, *harness.wires[4:]))
    runs[3] = replace(runs[3], recorded=other)
    kept = replace(runs[4].readings, value=runs[4].readings.value[:3])
    short = {
        name: getattr(kept, name)[:3]
        for name in (
            "start", "end", "quantity", "above_ohm", "current_a", "uncertainty", "temperature_c", "row"
        )
    }  # fmt: skip
    runs[4] = replace(runs[4], readings=replace(kept, **short))
    sound = sound_units(harness, runs, judge)
    assert [(one.source, one.why) for one in sound.refused] == [
        ("runs/002", "fail"),
        ("runs/003", "rehearsal"),
        ("runs/004", "loom"),
        ("runs/005", "joints"),
    ]
    assert sound.refused[0].faults == 1 and sound.refused[2].wires == ("W4",)
    assert len(sound.runs) == 4 and not sound.enough
    assert len(sound_units(harness, runs, judge, rehearsals=True).runs) == 5


def test_the_settings_of_the_loom_may_have_changed_since() -> None:
    harness, runs = runs_of(5)
    older = replace(harness, expect=replace(harness.expect, copper_factor=1.2), name="of old")
    sound = sound_units(harness, [replace(run, recorded=older) for run in runs], judge)
    assert sound.enough and not sound.refused


def test_a_unit_counts_once_by_its_latest_run() -> None:
    harness, runs = runs_of(6)
    job = runs[0].readings.run.job  # type: ignore[union-attr]
    runs[0] = with_run(runs[0], started="2026-03-01T10:00:00+00:00")
    runs[5] = with_run(runs[5], job=job, started="2026-03-09T10:00:00+00:00")
    sound = sound_units(harness, runs, judge)
    assert sound.earlier == ("runs/001",)
    assert [run.source for run in sound.runs] == [f"runs/00{k}" for k in range(2, 7)]


def test_meters_and_missing_numbers_are_told() -> None:
    harness, runs = runs_of(6)
    runs[0] = with_run(runs[0], job=replace(runs[0].readings.run.job, unit=""))  # type: ignore[union-attr]
    meter = replace(runs[1].readings.instrument, name="another meter")  # type: ignore[type-var]
    runs[1] = replace(runs[1], readings=replace(runs[1].readings, instrument=meter))
    sound = sound_units(harness, runs, judge)
    assert sound.nameless == ("runs/001",)
    assert sound.meters == (("milliohm meter of the tests", 5), ("another meter", 1))
    assert len(sound.open_else) == 6  # nobody looked for shorts
