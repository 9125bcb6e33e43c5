"""A switch is tested once it was seen on and off; joined only, nothing tells it from a short."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.words.verdict import judge

WIRES = "X1:1,X2:1,\nX1:2,X2:2,\n"
SWITCH = "X2:1,X2:2,switch\n"
GOOD = "X1:1,X2:1,0.3,\nX1:2,X2:2,0.3,\n"
ON, OFF = "X1:1,X1:2,0.4,\n", "X1:1,X1:2,OL,\n"


def judged(folder: Path, wires: str, readings: str) -> Verdict:
    (folder / "wires.csv").write_text("from,to,kind\n" + wires)
    (folder / "readings.csv").write_text("from,to,value,note\n" + readings)
    harness = load_harness(folder / "wires.csv")
    return judge(harness, load_readings(folder / "readings.csv", harness))


@pytest.mark.parametrize("both", [ON + OFF, OFF + ON, ON + OFF + ON])
def test_seen_both_ways_it_is_tested_and_shows_its_circuits_apart(tmp_path: Path, both: str) -> None:
    verdict = judged(tmp_path, WIRES + SWITCH, GOOD + both)
    assert (verdict.wiring, verdict.findings, verdict.undecided) == ("pass", (), ())
    assert (verdict.coverage.parts_tested, verdict.coverage.isolation_pairs_tested) == (1, 1)


def test_joined_only_it_is_asked_about_and_nothing_passes(tmp_path: Path) -> None:
    verdict = judged(tmp_path, WIRES + SWITCH, GOOD + ON)
    assert (verdict.verdict, verdict.findings) == ("not-proven", ())
    first = verdict.undecided[0]
    assert (first.fault, set(first.points), first.suspects[0].wire) == ("short", {"X2:1", "X2:2"}, "W3")
    assert "X1:1 to X1:2" in first.next
    assert verdict.coverage.isolation_pairs_tested == 0


def test_seen_apart_only_it_is_not_tested(tmp_path: Path) -> None:
    verdict = judged(tmp_path, WIRES + SWITCH, GOOD + OFF)
    assert (verdict.verdict, verdict.coverage.parts_tested) == ("not-proven", 0)


def test_said_to_be_off_and_joined_is_a_short_with_the_switch_first(tmp_path: Path) -> None:
    verdict = judged(tmp_path, WIRES + SWITCH, GOOD + "X1:1,X1:2,0.4,switch off\n")
    assert [f.fault for f in verdict.findings] == ["short"]
    assert [s.wire for s in verdict.findings[0].suspects] == ["W3", "W1", "W2"]


@pytest.mark.parametrize("ohm", [0.3, 1.5])
def test_a_switch_left_on_is_asked_before_a_short(tmp_path: Path, ohm: float) -> None:
    wires = "X1:1,SW1:1,\nX1:2,SW1:2,\n"
    readings = f"X1:1,SW1:1,0.3,\nX1:2,SW1:2,0.3,\nX1:1,X1:2,{ohm},\n"
    verdict = judged(tmp_path, wires, readings)
    assert verdict.verdict != "pass"
    assert "still plugged in" in verdict.undecided[0].text
    assert verdict.undecided[0].next.startswith("Turn every switch off")


def test_two_wires_open_along_their_own_pairs_may_be_swapped(tmp_path: Path) -> None:
    readings = "X1:1,X2:1,OL,\nX1:2,X2:2,OL,\n" + OFF
    verdict = judged(tmp_path, WIRES, readings)
    first = verdict.undecided[0]
    assert first.fault == "crossed" and len(first.alternatives) == 2
    told = next(f.next for f in verdict.findings)
    assert first.next == told and "swapped" in told
    assert all((f.probability or 1) < 0.5 for f in verdict.findings)  # no surer than the swap leaves them
    across = judged(tmp_path, WIRES, readings + "X1:1,X2:2,OL,\nX1:2,X2:1,OL,\n")
    assert not any(f.fault == "crossed" for f in across.undecided)
    assert all((f.probability or 0) > 0.5 for f in across.findings)
