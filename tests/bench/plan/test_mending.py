"""Mend and go on: what is asked again after repairs, and what the runs say together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from loomtest.bench.plan.mending import mended_by, mending, plan_after
from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.verdict import Finding, Suspect
from loomtest.harness.model import Harness, Limits, Wire
from loomtest.readings.generic import generic_handheld
from loomtest.readings.mended import Mended, mended_of, void
from loomtest.readings.model import VoltageRange
from loomtest.readings.run import About, Reading, create_run
from loomtest.readings.together import load_together
from tests.diagnosis.place.looms import harness_of
from tests.looms.faults import Fault, Loom, healthy_loom
from tests.looms.measure import measure
from tests.looms.person import Person, sit


def fifty() -> Harness:
    """Fifty plain circuits from two trunk connectors to devices of three, sizes and lengths known."""
    ends = [(f"X{1 + n // 25}:{1 + n % 25}", f"D{1 + n // 3}:{1 + n % 3}") for n in range(50)]
    wires = tuple(Wire(f"W{n}", *pair, size_mm2=1.0, length_m=1.0) for n, pair in enumerate(ends))
    points = tuple(dict.fromkeys(p for wire in wires for p in (wire.start, wire.end)))
    return Harness("fifty circuits, invented", wires, points, limits=Limits(isolation="neighbours"))


def five_faults(loom: Loom) -> list[Fault]:
    ends = [(wire.start, wire.end) for wire in loom.harness.wires]
    return [
        Fault("open", "cut W3", ends[3], (3,), cut=(3,)),
        Fault("open", "cut W30", ends[30], (30,), cut=(30,)),
        Fault("high-resistance", "2 ohm in W12", ends[12], (12,), ohms={12: 2.0}),
        Fault("short", "0.2 ohm", (ends[20][0], ends[21][0]), bridge=(ends[20][0], ends[21][0], 0.2)),
        Fault(
            "crossed",
            "swap",
            (ends[40][0], ends[41][0]),
            (40, 41),
            moves={ends[40][0]: ends[41][0], ends[41][0]: ends[40][0]},
            moved={(40, 0): ends[41][0], (41, 0): ends[40][0]},
        ),
    ]


def sittings(tmp_path: Path, left: Sequence[int] = ()) -> tuple[Harness, list[Path], int]:
    """The loom with five faults sat through; mended, but for those in `left`; and sat through again."""
    rng = np.random.default_rng(5)
    healthy = healthy_loom(fifty(), rng)
    faults = five_faults(healthy)
    first, second = tmp_path / "before", tmp_path / "mended"
    loom = healthy.with_faults(faults)
    sit(loom, "neighbours", first, Person(loom, rng))
    loom = healthy.with_faults([faults[index] for index in left])
    again = sit(loom, "neighbours", second, Person(loom, rng), after=first)
    assert again.ended
    return again.harness, [first, second], again.touches


def test_five_repairs_of_fifty_circuits_take_at_most_fifteen_touches(tmp_path: Path) -> None:
    harness, runs, touches = sittings(tmp_path)
    told = judge(harness, load_together(runs[:1], harness))
    assert sorted(f.fault for f in told.findings) == ["crossed", "high-resistance", "open", "open", "short"]
    assert 5 <= touches <= 15
    both = load_together(runs, harness)
    verdict = judge(harness, both)
    assert not verdict.findings and not verdict.undecided and verdict.wiring == "pass", verdict.untested
    assert verdict.coverage.isolation_pairs_tested == verdict.coverage.isolation_pairs
    assert both.sittings[0].left_out > 0 and both.sittings[1].left_out == 0
    assert judge(harness, load_together(runs[1:], harness)).verdict == "not-proven"  # by itself it is a piece


def test_what_was_not_mended_is_found_again(tmp_path: Path) -> None:
    harness, runs, _ = sittings(tmp_path, left=[1])
    (finding,) = judge(harness, load_together(runs, harness)).findings
    assert finding.fault == "open" and {s.wire for s in finding.suspects} == {"W30"}


def test_the_plan_after_a_run_asks_the_mended_places_first(tmp_path: Path) -> None:
    rng = np.random.default_rng(6)
    healthy = healthy_loom(fifty(), rng)
    loom = healthy.with_faults(five_faults(healthy)[:1])
    sat = sit(loom, "neighbours", tmp_path / "before", Person(loom, rng))
    made = plan_after(sat.harness, None, tmp_path / "before")
    assert [{step.start, step.end} for step in made.steps] == [{"X1:4", "D2:1"}]
    assert made.totals["continuity"] == 1 and made.totals["isolation"] == 0
    assert mending(sat.harness, tmp_path / "before").mended.wires == ("W3",)


def test_an_open_read_well_later_without_mending_comes_and_goes(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    healthy = healthy_loom(fifty(), rng)
    loom = healthy.with_faults(five_faults(healthy)[:1])
    sit(loom, "none", tmp_path / "one", Person(loom, rng))
    sit(healthy, "none", tmp_path / "two", Person(healthy, rng))
    harness = replace(loom.harness, limits=replace(loom.harness.limits, isolation="none"))
    told = judge(harness, load_together([tmp_path / "one", tmp_path / "two"], harness))
    assert [f.fault for f in (*told.findings, *told.undecided)] == ["intermittent"]


def test_each_run_keeps_its_own_leads(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    healthy = healthy_loom(fifty(), rng)
    for name, lead_ohm in (("one", 0.1), ("two", 0.4)):
        person = Person(healthy, rng)
        person.lead_ohm = lead_ohm
        sit(healthy, "none", tmp_path / name, person)
    harness = replace(healthy.harness, limits=replace(healthy.harness.limits, isolation="none"))
    both = load_together([tmp_path / "one", tmp_path / "two"], harness)
    # 50 wires of 22 mΩ and a display of 0.1 Ω: leads to within a digit
    leads = [sitting.instrument.lead_ohms for sitting in both.sittings]
    assert leads == pytest.approx([0.1, 0.4], abs=0.1)
    verdict = judge(harness, both)
    assert not verdict.findings and not verdict.undecided
    alone = [judge(harness, load_together([tmp_path / name], harness)) for name in ("one", "two")]
    limits = [one.joints_judged_at_ohms or 9.9 for one in (verdict, *alone)]
    assert limits[0] <= max(limits[1:])


def test_what_is_void_goes_by_wires_places_and_pairs() -> None:
    harness = fifty()
    rng = np.random.default_rng(9)
    pairs = [("X1:4", "D2:1"), ("X1:5", "D2:2"), ("X1:4", "X1:5"), ("D2:1", "D2:2"), ("X1:6", "X1:7")]
    code = harness.code_of
    readings = measure(healthy_loom(harness, rng), [(code[a], code[b]) for a, b in pairs], rng)
    assert void(readings, harness, Mended(wires=("W3",))).tolist() == [True, False, False, False, False]
    assert void(readings, harness, Mended(places=("D2:1",))).tolist() == [True, False, False, True, False]
    between = Mended(pairs=(("D2:1", "X1:5"),))
    assert void(readings, harness, between).tolist() == [False, False, True, True, False]
    assert not void(readings, harness, Mended()).any()


def test_mended_is_read_as_it_is_written_and_names_what_a_finding_blames() -> None:
    found = (
        Finding("open", ("X1:1", "X2:1"), (Suspect("W1"), Suspect("W2"))),
        Finding("short", ("X1:3", "X1:4")),
        Finding("crossed", ("X1:5", "X1:6"), moves={"X1:5": "X1:6", "X1:6": "X1:5"}),
    )
    mended = mended_by(found, "before")
    assert mended == Mended("before", ("W1", "W2"), ("X1:5", "X1:6"), (("X1:3", "X1:4"),))
    assert mended_of({"mended": mended.facts()}) == mended
    assert not mended_of({"mended": "nothing"}) and not mended_of({})


def test_the_plan_after_a_short_asks_for_its_place_before_it_is_mended(tmp_path: Path) -> None:
    harness = harness_of(tmp_path, ["W1,X1:1,X2:1,0.5,2", "W2,X1:2,X2:2,0.5,2"])
    volts = (VoltageRange(0.2, 0.5, 2, 1e-4),)
    for name, meter in (("with", replace(generic_handheld(), assumed=False, voltage_ranges=volts)),
                        ("without", replace(generic_handheld(), assumed=False))):  # fmt: skip
        about = About(instrument=meter)
        with create_run(tmp_path / name, harness, about, clock=lambda: datetime.now(UTC)) as writer:
            for pair in (("X1:1", "X2:1"), ("X1:2", "X2:2"), ("X1:1", "X1:2")):
                writer.record(Reading(*pair, "0.2"))
    made = plan_after(harness, None, tmp_path / "with")
    assert [(step.what, step.start, step.end) for step in made.steps] == [
        ("place", "X1:1", "X2:1"), ("place", "X1:2", "X2:2"),
        ("place", "X2:1", "X1:1"), ("place", "X2:2", "X1:2"), ("isolation", "X1:1", "X1:2"),
    ]  # fmt: skip
    assert made.to_json()["steps"][2]["feed"] == ["X2:1", "X2:2"]
    assert [step.what for step in plan_after(harness, None, tmp_path / "without").steps] == ["isolation"]
