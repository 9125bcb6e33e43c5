"""`loomtest swap` and `check --against`, as a person meets them. The loom is invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest

WIRES = (
    "wire,from,to,colour,size,length,circuit\n"
    "W1,X5:1,X1:1,RD,2.5,1.8,bilge pump\n"
    "W2,X5:2,X1:2,BK/WH,1.5,1.8,nav lights\n"
    "W3,X5:3,GND1,BK,2.5,1.2,helm ground\n"
)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    (tmp_path / "helm").mkdir()
    (tmp_path / "helm" / "wires.csv").write_text(WIRES, encoding="utf-8")
    (tmp_path / "map.csv").write_text("old,new\nX5:1,X5N:4\nX5:2,X5N:1\nX5:3,unused\n", encoding="utf-8")
    return tmp_path


def test_cards_list_and_folder(bench: Path) -> None:
    options = ("--cavities", "X5N=4", "--face", "X5N=2")
    done = loomtest("swap", "helm", "map.csv", "--out", "new", *options, cwd=bench)
    assert (done.returncode, done.stderr) == (0, "")
    new = bench / "new"
    assert sorted(path.name for path in new.iterdir()) == [
        "before_change", "check_list.txt", "connector_map.csv", "harness.toml", "pinout.svg", "pinout.txt",
        "wires.csv",
    ]  # fmt: skip
    cards = (new / "pinout.txt").read_text(encoding="utf-8")
    ticks = (new / "check_list.txt").read_text(encoding="utf-8")
    assert cards in done.stdout and ticks in done.stdout
    wire_side, mating_side = cards.split("X5N, mating side")
    # numbered across as seen on the mating side: 1 2 over 3 4; from the back it is 2 1 over 4 3
    assert [line.split() for line in mating_side.splitlines() if "[" in line] == [
        ["[1]", "[2]"],
        ["[3]", "[4]"],
    ]
    assert [line.split() for line in wire_side.splitlines() if "[" in line] == [
        ["[2]", "[1]"],
        ["[4]", "[3]"],
    ]
    assert "was X5:2" in mating_side
    assert [line for line in ticks.splitlines() if line.startswith("[ ]")] == [
        "[ ]  X5:2 → X5N:1  BK/WH 1.5 mm²  W2  to X1:2  nav lights",
        "[ ]  X5:1 → X5N:4  RD 2.5 mm²     W1  to X1:1  bilge pump",
        "[ ]  X5:3  BK 2.5 mm²  W3  to GND1  helm ground",
    ]
    assert "Stays empty in X5N: 2, 3." in ticks
    assert "negative off first" in ticks
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert loomtest("check", "new", cwd=bench).returncode == 0


def test_cavities_by_name_and_a_face_counted_from_the_back(bench: Path) -> None:
    (bench / "map.csv").write_text("old,new\nX5:1,Y:A\nX5:2,Y:D\nX5:3,Y:B\n", encoding="utf-8")
    options = ("--cavities", "Y=A,B,C,D", "--face", "Y=2,down,wire", "--side", "wire")
    done = loomtest("swap", "helm", "map.csv", "--out", "new", *options, cwd=bench)
    assert (done.returncode, done.stderr) == (0, "")
    rows = [line.split() for line in done.stdout.splitlines() if line.startswith("  [")]
    assert rows == [["[A]", "[C]"], ["[B]", "[D]"]]
    toml = (bench / "new" / "harness.toml").read_text(encoding="utf-8")
    assert 'Y = ["A", "B", "C", "D"]' in toml
    assert 'Y = {rows = 2, numbering = "down", seen_from = "wire"}' in toml


@pytest.mark.parametrize(("side", "other"), [("wire", "mating"), ("mating", "wire")])
def test_the_person_chooses_the_side(bench: Path, side: str, other: str) -> None:
    done = loomtest("swap", "helm", "map.csv", "--out", "new", "--side", side, cwd=bench)
    assert f"X5N, {side} side" in done.stdout
    assert f"X5N, {other} side" not in done.stdout
    picture = (bench / "new" / "pinout.svg").read_text(encoding="utf-8")
    assert f"X5N, {side} side" in picture and f"X5N, {other} side" not in picture


def test_json(bench: Path) -> None:
    done = loomtest("swap", "helm", "map.csv", "--out", "new", "--json", cwd=bench)
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert found["schema"] == "loomtest-swap/1"
    assert found["moves"] == [
        {"wire": "W2", "end": "from", "colour": "BK/WH", "old": "X5:2", "new": "X5N:1"},
        {"wire": "W1", "end": "from", "colour": "RD", "old": "X5:1", "new": "X5N:4"},
    ]
    assert found["unused"] == [{"wire": "W3", "end": "from", "colour": "BK", "old": "X5:3", "new": None}]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--side", "back"], "one of wire, mating, both"),
        (["--cavities", "X5N="], "a cavity's name"),
        (["--cavities", "X5N=99999"], "a count from 1"),
        (["--cavities", "X5N"], "X5N=8"),
        (["--cavities", "X5N=2"], "a cavity of X5N: 1, 2"),
        (["--face", "X5N=two"], "a whole number"),
        (["--face", "X5N=2,upwards"], "across, down"),
        (["--face", "X5N=2,across,top"], "mating, wire"),
        (["--face", "X5N=2,across,wire,4"], "X5N=2,across,mating"),
        (["--face", "X5N"], "X5N=2,across,mating"),
        (["--cavities", "X5N=4\n[limits]"], "a cavity's name"),
    ],
)
def test_options_that_cannot_be(bench: Path, options: list[str], words: str) -> None:
    done = loomtest("swap", "helm", "map.csv", "--out", "new", *options, cwd=bench)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert words in done.stderr
    assert not (bench / "new").exists()


def test_a_refused_map_writes_nothing(bench: Path) -> None:
    (bench / "map.csv").write_text("old,new\nX5:1,X5N:4\nX5:2,X5N:4\n", encoding="utf-8")
    done = loomtest("swap", "helm", "map.csv", "--out", "new", cwd=bench)
    assert (done.returncode, done.stdout) == (2, "")
    assert "map.csv, line 3, new: found X5N:4 for X5:1 (line 2) and X5:2 (line 3)" in done.stderr
    assert "no row for X5:3 (BK W3)" in done.stderr
    assert not (bench / "new").exists()


def test_check_against_the_harness_before(bench: Path) -> None:
    loomtest("swap", "helm", "map.csv", "--out", "new", cwd=bench)
    path = bench / "new" / "wires.csv"
    extra = "X1:9,GND2,W9,BN,4,0.4,second ground,,\n"
    header = path.read_text(encoding="utf-8").splitlines()[0]
    assert header == "wire,from,to,colour,size,length,circuit,was_from,was_to"
    with path.open("a", encoding="utf-8") as file:
        file.write("W9,X1:9,GND2,BN,4,0.4,second ground,,\n")
    toml = bench / "new" / "harness.toml"
    toml.write_text(toml.read_text(encoding="utf-8").split("[cavities]")[0], encoding="utf-8")
    done = loomtest("check", "new", "--against", "helm", cwd=bench)
    assert done.returncode == 0, done.stderr
    assert extra not in done.stdout
    told = done.stdout.split("Against helm: 0 rows the same\n")[1]
    assert told.split("\n") == [
        "  Added",
        "      W9  X1:9 – GND2  BN  4 mm²  0.4 m  second ground",
        "  Removed",
        "      W3  X5:3 – GND1  BK  2.5 mm²  1.2 m  helm ground",
        "  Changed",
        "      W1 (bilge pump) from X5N:4, was X5:1",
        "      W2 (nav lights) from X5N:1, was X5:2",
        "",
    ]
    found = json.loads(loomtest("check", "new", "--against", "helm", "--json", cwd=bench).stdout)["changes"]
    assert [row["wire"] for row in found["added"]] == ["W9"]
    assert [row["wire"] for row in found["removed"]] == ["W3"]
    assert found["changed"][0] == {
        "wire": "W1", "fields": [{"column": "from", "was": "X5:1", "is": "X5N:4"}]
    }  # fmt: skip
    same = loomtest("check", "helm", "--against", "helm", cwd=bench).stdout
    assert "Nothing was added, removed or changed." in same
