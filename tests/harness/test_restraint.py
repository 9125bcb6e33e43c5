"""Restraint systems are never measured: not planned, asked, typed, scanned or drawn up, in any mode."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loomtest.bench.connect import open_scanner
from loomtest.bench.scanner.sockets import proposed
from loomtest.bench.session.by_hand import point_of
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.harness.restraint import restraint_word
from tests.commands.in_process import loomtest

# An invented cab loom: W1 by its words, W2 by its kind, W3 an ordinary wire on the pin of W2's far end, W4
# the module's ground at a stud where the lamps end too, W5 and W6 ordinary.
WIRES = """wire,from,to,kind,circuit,note
W1,X1:1,SRS:1,wire,,airbag squib driver
W2,X1:2,Y7:2,restraint,left belt,
W3,X1:2,X9:4,wire,,
W4,Y7:3,GND1,restraint,,
W5,X1:3,GND1,wire,lamps,
W6,X1:4,X9:5,wire,horn,
"""
FORBIDDEN = {"X1:1", "SRS:1", "X1:2", "Y7:2", "X9:4", "Y7:3"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "wires.csv").write_text(WIRES)
    return tmp_path


@pytest.fixture
def harness(folder: Path) -> Harness:
    return load_harness(folder / "wires.csv")


def test_its_pins_and_what_is_joined_to_them_are_out_of_bounds(harness: Harness) -> None:
    assert harness.restraint == ("W1", "W2", "W4")
    assert harness.untouchable == FORBIDDEN  # the shared stud stays: else one earth rules out the loom


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Airbag, driver", "Airbag"),
        ("air-bag", "air-bag"),
        ("SRS unit", "SRS"),
        ("srs_4", "srs"),
        ("Squib 2", "Squib"),
        ("belt tensioner left", "belt tensioner"),
        ("seat-belt pretensioner", "seat-belt pretensioner"),
        ("pretensioner", "pretensioner"),
        ("horn", ""),
        ("conveyor belt motor", ""),
        ("users rear lamp", ""),
    ],
)
def test_which_words_speak_of_one(text: str, found: str, tmp_path: Path) -> None:
    (tmp_path / "w.csv").write_text(f'from,to,kind,circuit\nX1:1,X2:1,lamp,"{text}"\nX1:2,X2:2,wire,\n')
    harness = load_harness(tmp_path / "w.csv")
    assert restraint_word(harness.wires[0]) == found
    assert (harness.wires[0].kind == "restraint") == bool(found)


@pytest.mark.parametrize("level", ["full", "bonded", "neighbours", "none"])
def test_no_plan_or_sheet_asks_for_a_touch_there(folder: Path, level: str) -> None:
    plan = loomtest("plan", "wires.csv", "--isolation", level, "--joints", "--json", cwd=folder)
    assert plan.returncode == 0, plan.stderr
    steps = json.loads(plan.stdout)["steps"]
    touched = {step[key] for step in steps for key in ("from", "to")}
    touched |= {point for step in steps for point in step.get("bonded", [])}
    assert {"X1:3", "GND1", "X1:4", "X9:5"} <= touched
    assert not touched & FORBIDDEN


def test_nobody_may_type_a_reading_there(folder: Path, harness: Harness) -> None:
    with pytest.raises(ValueError, match="restraint system"):
        point_of("x1:1", harness)
    rows = ["from,to,value", "X1:1,SRS:1,2.1", "X1:3,GND1,0.3", "X1:4,X9:5,0.3", "X1:3,X1:4,OL", ""]
    (folder / "r.csv").write_text("\n".join(rows))
    done = loomtest("judge", "wires.csv", "r.csv", cwd=folder)
    assert "never a meter there" in " ".join(done.stderr.split())


def test_no_scanner_pin_stands_there(folder: Path, harness: Harness) -> None:
    assert not proposed(harness, 64).points & FORBIDDEN
    (folder / "sockets.csv").write_text("pin,point\n1,X1:1\n2,X1:3\n")
    done = loomtest("log", ".", "--out", "run", "--scanner", "rehearse:.", cwd=folder)
    assert done.returncode == 2 and "restraint system" in done.stderr
    (folder / "sockets.csv").unlink()
    with open_scanner(f"rehearse:{folder}") as scanner:
        assert scanner.identity.pins > 0


def test_it_counts_as_never_measured(folder: Path) -> None:
    (folder / "r.csv").write_text("from,to,value\nX1:3,GND1,0.3\nX1:4,X9:5,0.3\nX1:3,X1:4,OL\n")
    verdict = json.loads(loomtest("judge", "wires.csv", "r.csv", "--json", cwd=folder).stdout)
    assert verdict["coverage"]["restraint"] == 3
    assert verdict["verdict"] == "not-proven" and not verdict["findings"]
    assert verdict["coverage"]["parts"] == 0


def test_check_says_so_and_asks(folder: Path) -> None:
    said = " ".join(loomtest("check", "wires.csv", cwd=folder).stdout.split())
    assert "Never measured: wires W1, W2 and W4 belong to a restraint system" in said
    assert "Is it none?" in said
