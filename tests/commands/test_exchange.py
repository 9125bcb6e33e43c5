"""A harness file on the command line: read as it is, and made a folder of our own."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pytest

from loomtest.harness.load import load_harness
from tests.commands import in_process
from tests.harness.exchange.made import Loom, Made, random_loom, written


def loomtest(*arguments: str) -> tuple[int, str, str]:
    done = in_process.loomtest(*arguments)
    return done.returncode, done.stdout, done.stderr


WIRES = [Made("1", "X1:1", "X2:1", 1.5, 0.8, ("RD", "WH"), "horn"), Made("2", "X1:2", "GND1", 0.5, 0.4)]
LOOM = Loom(
    WIRES,
    modules={"radio": ["2"], "horn": ["1"]},
    configurations={"north": ["radio", "horn"], "south": ["horn"]},
    segments=[("N1", "N2", 0.5), ("N2", "N3", 0.4), ("N2", "N4", 0.2)],
    sits={"N1": ["X1"], "N3": ["X2"], "N4": ["GND1"]},
)


def file_of(folder: Path, loom: Loom = LOOM) -> Path:
    path = folder / "loom.kbl"
    path.write_text(written(loom), encoding="utf-8")
    return path


def test_check_reads_one_configuration(tmp_path: Path) -> None:
    path = file_of(tmp_path)
    status, out, _ = loomtest("check", str(path), "--configuration", "south", "--json")
    told = json.loads(out)
    assert (status, told["counts"]["wires"], told["warnings"]) == (0, 1, [])
    status, out, _ = loomtest("check", str(path))
    assert status == 0 and "north (configuration, 2 wires), south (configuration, 1 wire)" in " ".join(
        out.split()
    )


@pytest.mark.parametrize("seed", range(3))
def test_new_writes_the_same_loom(tmp_path: Path, seed: int) -> None:
    path = file_of(tmp_path, random_loom(60, seed))
    status, _, _ = loomtest("new", str(tmp_path / "made"), "--from", str(path))
    assert status == 0
    made, read = load_harness(tmp_path / "made"), load_harness(path)
    key = [(w.name, w.start, w.end, w.kind, w.colour, w.size_mm2, w.length_m, w.circuit) for w in read.wires]
    assert key == [
        (w.name, w.start, w.end, w.kind, w.colour, w.size_mm2, w.length_m, w.circuit) for w in made.wires
    ]
    assert made.cavities == read.cavities and made.places == read.places and made.name == read.name
    assert made.lie is not None and read.lie is not None
    assert [(b.start, b.end, b.length_m) for b in made.lie.branches] == [
        (b.start, b.end, pytest.approx(b.length_m)) for b in read.lie.branches
    ]
    assert list(made.lie.at_m) == list(read.lie.at_m)
    for name, place in read.lie.at_m.items():
        assert made.lie.at_m[name] == pytest.approx(place)


def test_new_takes_one_configuration_and_tells_it_as_json(tmp_path: Path) -> None:
    path = file_of(tmp_path)
    status, out, _ = loomtest(
        "new", str(tmp_path / "made"), "--from", str(path), "--configuration", "south", "--json"
    )
    told = json.loads(out)
    assert (status, told["wires"], told["look_at"]) == (0, 1, [])
    assert {Path(name).name for name in told["files"]} == {
        "wires.csv", "harness.toml", "readings.csv", "branches.csv"
    }  # fmt: skip
    assert load_harness(tmp_path / "made").name == "Invented loom, south"


@pytest.mark.parametrize(
    "arguments",
    [
        ("new", "made", "--from", "none.csv"),
        ("new", "made", "--from", "loom.kbl", "--notes", "notes.txt"),
        ("new", "made", "--configuration", "south"),
        ("new", "made", "--from", "loom.kbl", "--configuration", "east"),
        ("new", "made", "--from", "none.kbl"),
        ("check", "wires.csv", "--configuration", "south"),
    ],
)
def test_what_cannot_be_taken_is_one_message(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    file_of(tmp_path)
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    monkeypatch.chdir(tmp_path)
    status, out, err = loomtest(*arguments)
    assert status == 2 and not out and re.search(r"found .*; expected ", err.replace("\n", " "))
    assert not (tmp_path / "made").exists()


def test_a_run_is_recorded_and_judged_straight_from_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file_of(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO("X1:1 X2 0.03\n"))
    status, out, err = loomtest("log", "loom.kbl#south", "--out", "run", "--by-hand")
    assert status == 0, (out, err)
    kept = load_harness(tmp_path / "run" / "harness")
    assert [wire.name for wire in kept.wires] == ["1"] and kept.lie is not None
    status, out, _ = loomtest("judge", "loom.kbl#south", "run")
    assert status in (0, 3) and "changed harness" not in out
    assert loomtest("judge", "run/harness", "run")[1] == out


def test_the_commands_of_the_documents_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = (Path(__file__).parents[2] / "docs" / "from-the-drawing.md").read_text(encoding="utf-8")
    commands = re.findall(r"^    loomtest (.+)$", page, re.MULTILINE)
    assert len(commands) == 5
    file_of(tmp_path)
    monkeypatch.chdir(tmp_path)
    for command in commands:
        status, out, err = loomtest(*command.split())
        assert status == 0 and out, (command, err)


def test_a_connector_change_asks_for_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file_of(tmp_path)
    (tmp_path / "map.csv").write_text("old,new\nX1:1,X9:1\nX1:2,X9:2\n")
    monkeypatch.chdir(tmp_path)
    status, _, err = loomtest("swap", "loom.kbl", "map.csv", "--out", "made")
    assert status == 2 and "loomtest new FOLDER --from loom.kbl" in " ".join(err.split())
    assert not (tmp_path / "made").exists()
