"""`loomtest markers`, `plan --markers`, `log --markers`, `judge --markers`, as a person runs them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

WIRES = "from,to,colour\nX1:1,X2:1,red\nX1:2,X2:2,yellow\nX1:3,X2:3,green\nX1:4,GND1,black\n"
KIT = "marker,ohms\nM1,8250\nM2,9310\nM3,10500\nM4,11800\n"
MEASURED = [(1, 8250), (2, 9310), (3, 10500), (4, 11800)]
SOUND = "next\nGND1 COMMON 11.8k\nX2:1 COMMON 8250\nX2:2 COMMON 9310\nX2:3 COMMON 10.5k\nnext\n"


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    (tmp_path / "wires.csv").write_text(WIRES)
    (tmp_path / "kit.csv").write_text(KIT)
    return tmp_path


def run(folder: Path, *words: str, typed: str = "", ends: int = 0) -> str:
    command = [sys.executable, "-m", "loomtest", *words]
    done = subprocess.run(
        command, cwd=folder, input=typed, capture_output=True, text=True, check=False, encoding="utf-8"
    )
    assert done.returncode == ends, done.stderr
    return done.stdout + done.stderr


def test_the_kit_for_a_loom_has_a_clip_for_each_circuit(bench: Path) -> None:
    told = json.loads(run(bench, "markers", "wires.csv", "--json"))
    assert told["circuits"] == 4
    assert len(told["kits"][0]["ohms"]) == 4
    assert "Buy, of E96" in run(bench, "markers", "--clips", "24")


def test_a_kit_that_the_meter_cannot_tell_apart_is_named_and_refused(bench: Path) -> None:
    (bench / "kit.csv").write_text(KIT.replace("9310", "8280"))
    assert "change M2 for another value" in run(bench, "markers", "--kit", "kit.csv")
    refused = run(bench, "plan", "wires.csv", "--markers", "kit.csv", ends=2)
    assert "M1 and M2 stand 0.36 % apart" in refused
    run(bench, "log", "wires.csv", "--out", "run", "--markers", "kit.csv", typed="next\n", ends=2)
    assert not (bench / "run").exists()


def test_a_kit_of_another_meter_is_refused(bench: Path) -> None:
    (bench / "kit.csv").write_text("marker,ohms,instrument\nM1,8250,bench meter\nM2,9310,bench meter\n")
    words = ("log", "wires.csv", "--out", "run", "--markers", "kit.csv", "--instrument", "handheld-3half")
    assert "measured with bench meter" in run(bench, *words, typed="next\n", ends=2)


def test_a_sound_loom_is_proven_in_a_touch_a_wire(bench: Path) -> None:
    words = ("log", "wires.csv", "--out", "run", "--markers", "kit.csv")
    said = run(bench, *words, typed=SOUND).splitlines()
    assert said[0] == "round 1, place: M1 X1:1, M2 X1:2, M3 X1:3, M4 X1:4"
    assert said[1] == "recorded 1: GND1 COMMON 11.8k"
    assert said[-1].startswith("nothing more. Count the clips back into the bag")
    verdict = json.loads(run(bench, "judge", "wires.csv", "run", "--json", ends=3))
    assert (verdict["wiring"], verdict["joints"]) == ("pass", "not-proven")
    assert verdict["coverage"]["wires_tested"] == 4
    assert verdict["marked"] == 4
    (bench / "run" / "markers.csv").rename(bench / "seats.csv")
    (bench / "run" / "readings.csv").rename(bench / "readings.csv")
    again = ("judge", "wires.csv", "readings.csv", "--markers", "seats.csv", "--json")
    assert json.loads(run(bench, *again, ends=3))["wiring"] == "pass"


def test_what_is_odd_asks_for_the_marked_point_and_then_tells(bench: Path) -> None:
    crossed = "next\nGND1 COMMON 11.8k\nX2:1 COMMON 8250\nX2:2 COMMON 10.5k\nX2:3 COMMON 9310\nnext\n"
    crossed += "X1:2 COMMON 9310\nnext\nX1:3 COMMON 10.5k\nnext\n"
    said = run(bench, "log", "wires.csv", "--out", "run", "--markers", "kit.csv", typed=crossed)
    assert "touch X1:2\n" in said
    assert "touch X1:3\n" in said
    verdict = json.loads(run(bench, "judge", "wires.csv", "run", "--json", ends=1))
    assert [f["fault"] for f in verdict["findings"]] == ["crossed"]


def test_a_plug_is_drawn_remembered_measured_and_used(bench: Path) -> None:
    (bench / "kit.csv").unlink()
    told = run(bench, "markers", "wires.csv", "--plug", "X1", "--picture", "plug.svg")
    assert "4       M4" in told and "write the ohms into kit.csv" in " ".join(told.split())
    drawn = (bench / "plug.svg").read_text(encoding="utf-8")
    kit = (bench / "kit.csv").read_text(encoding="utf-8").splitlines()
    assert kit[0] == "marker,ohms,point,nominal_ohms"
    assert [row.split(",")[2] for row in kit[1:]] == ["X1:1", "X1:2", "X1:3", "X1:4"]
    assert all(f">M{n}<" in drawn for n in range(1, 5))
    assert "expected measured ohms" in run(bench, "plan", "wires.csv", "--markers", "kit.csv", ends=2)
    rows = [",".join([*kit[n].split(",")[:1], str(ohm), *kit[n].split(",")[2:]]) for n, ohm in MEASURED]
    (bench / "kit.csv").write_text("\n".join([kit[0], *rows]) + "\n")
    again = run(bench, "markers", "wires.csv", "--plug", "X1")
    assert "All its markers are measured" in again and "8250 Ω" in again
    made = json.loads(run(bench, "plan", "wires.csv", "--markers", "kit.csv", "--json"))
    assert {one["plug"] for one in made["placements"]} == {"X1"} and made["totals"]["plugs"] == 1
    assert "marker plug X1 on X1 (M1 to M4)" in run(bench, "plan", "wires.csv", "--markers", "kit.csv")
    words = ("log", "wires.csv", "--out", "run", "--markers", "kit.csv")
    said = run(bench, *words, typed=SOUND).splitlines()
    assert said[0] == "round 1, place: plug X1, M1 X1:1, M2 X1:2, M3 X1:3, M4 X1:4"
    verdict = json.loads(run(bench, "judge", "wires.csv", "run", "--json", ends=3))
    assert (verdict["wiring"], verdict["coverage"]["wires_tested"]) == ("pass", 4)


def test_a_run_is_not_resumed_with_another_kit(bench: Path) -> None:
    words = ("log", "wires.csv", "--out", "run", "--markers", "kit.csv")
    run(bench, *words, typed="next\n")
    (bench / "kit.csv").write_text(KIT.replace("9310", "9350"))
    assert "the kit that run was begun with" in run(bench, *words, typed="next\n", ends=2)


def test_a_touch_before_any_clip_sits_is_not_recorded(bench: Path) -> None:
    words = ("log", "wires.csv", "--out", "run", "--markers", "kit.csv")
    assert "say next" in run(bench, *words, typed="X2:1 COMMON 8250\n", ends=2)


def test_the_plan_stands_beside_the_other_levels(bench: Path) -> None:
    made = json.loads(run(bench, "plan", "wires.csv", "--markers", "kit.csv", "--json"))
    assert made["totals"]["marked"] == 4
    assert {level["isolation"] for level in made["levels"]} >= {"full", "bonded", "neighbours"}
    beside = made["with_markers"]
    assert (beside["touches"], beside["placings"], beside["assumed"]) == (4, 4, False)
    assert beside["minutes"] == made["totals"]["minutes"]
    told = run(bench, "plan", "wires.csv", "--markers", "kit.csv")
    assert "or with 4 marker clips: 4 touches, 4 clips put on, " in told
    assert told.index("neighbours") < told.index("or with 4") < told.index("Round 1")
    bare = run(bench, "plan", "wires.csv")
    assert "or with 4 marker clips: 4 touches" in bare
    assert json.loads(run(bench, "plan", "wires.csv", "--json"))["with_markers"]["assumed"] is True
    assert all(step["proves"] for step in made["steps"])
    every = json.loads(run(bench, "plan", "wires.csv", "--markers", "kit.csv", "--every-clip", "--json"))
    assert every["totals"]["marked"] == 8
