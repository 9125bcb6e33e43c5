"""`loomtest compare` on the sample runs."""

from __future__ import annotations

import json
from pathlib import Path

from loomtest.diagnosis.change.change import Side, change_between
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.words.verdict import judge
from tests.documents import play as run
from tests.evidence.example import TRACTOR


def test_first_to_last_all_faults_are_gone(tmp_path: Path) -> None:
    status, text = run(
        f"loomtest compare {TRACTOR} {TRACTOR / '1_before'} {TRACTOR / '3_final'} --json", tmp_path
    )
    told = json.loads(text)
    assert status == 0
    assert (told["before"], told["after"]) == ("fail", "pass")
    assert sorted(f["fault"] for f in told["faults"]["gone"]) == [
        "crossed",
        "high-resistance",
        "open",
        "short",
    ]
    assert [told["faults"][name] for name in ("remaining", "new", "not_shown_gone")] == [[], [], []]
    ground = next(p for p in told["pairs"] if {p["from"], p["to"]} == {"X3:4", "GND3"})
    assert ground["change"] == "better"
    assert abs(ground["change_ohms"] + 0.38) < 0.005  # what the generator added to that joint


def test_a_doubtful_joint_is_not_called_gone(tmp_path: Path) -> None:
    status, text = run(
        f"loomtest compare {TRACTOR} {TRACTOR / '1_before'} {TRACTOR / '2_after'} --json", tmp_path
    )
    faults = json.loads(text)["faults"]
    assert status == 3
    assert [f["fault"] for f in faults["not_shown_gone"]] == ["high-resistance"]
    assert len(faults["gone"]) == 3


def test_the_other_way_round_they_are_new(tmp_path: Path) -> None:
    status, text = run(f"loomtest compare {TRACTOR} {TRACTOR / '3_final'} {TRACTOR / '1_before'}", tmp_path)
    assert status == 1
    assert "New: 4 faults" in text
    assert "worse" in text
    assert max(map(len, text.splitlines())) <= 80


def test_plots_go_where_they_are_asked(tmp_path: Path) -> None:
    command = f"loomtest compare {TRACTOR} {TRACTOR / '1_before'} {TRACTOR / '3_final'} --out plots"
    status, text = run(command, tmp_path)
    assert status == 0
    for name in ("circuits.png", "circuits.svg", "faults.png", "faults.svg"):
        assert (tmp_path / "plots" / name).stat().st_size > 2000
        assert f"plots/{name}" in text
    assert "over-range before, 31 mΩ after" in (tmp_path / "plots" / "circuits.svg").read_text(
        encoding="utf-8"
    )


def test_json_is_written_pair_by_pair_and_is_that_of_the_library(tmp_path: Path) -> None:
    runs = (TRACTOR / "1_before", TRACTOR / "3_final")
    _, text = run(f"loomtest compare {TRACTOR} {runs[0]} {runs[1]} --json", tmp_path)
    harness = load_harness(TRACTOR)
    sides = [Side(readings := load_readings(place, harness), judge(harness, readings)) for place in runs]
    whole = change_between(harness, *sides).to_json()
    assert json.loads(text) == whole and len(whole["pairs"]) > 100
    lines = [line for line in text.splitlines() if line.startswith('    {"from"')]
    assert len(lines) == len(whole["pairs"])
