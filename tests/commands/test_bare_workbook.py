"""Every verb that takes a harness, with a bare workbook: it works, or says what to do."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from loomtest.harness.load import load_harness
from tests.commands.in_process import loomtest
from tests.harness.test_workbook import ends, ods, xlsx

ROWS = [
    ["Orchard tractor, rear loom (invented)"],
    ["Connector", "Pin", "Wire colour", "Size", "Goes to", "Shop note"],
    ["X1", 1, "red", 1.5, "X2 1", "k1"],
    ["X1", 2, "blue", 1, "X2 2", "k2"],
    ["X1", 3, "black", 2.5, "GND1", "k3"],
]
WIRES = [("X1:1", "X2:1"), ("X1:2", "X2:2"), ("X1:3", "GND1")]
READINGS = (
    "from,to,value\nX1:1,X2:1,0.1\nX1:2,X2:2,0.1\nX1:3,GND1,0.1\nX1:1,X1:2,OL\nX1:2,X1:3,OL\nX1:1,X1:3,OL\n"
)


@pytest.fixture(params=["loom.xlsx", "loom.ods", "loom.xlsx#Rear", "X1.csv"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, str]:
    name = str(request.param)
    if name.endswith("#Rear"):
        other = [["from", "to"], ["X9:1", "X9:2"]]
        xlsx(tmp_path / "loom.xlsx", ("Front", other), ("Rear", ROWS))
    elif name.endswith(".ods"):
        ods(tmp_path / name, ROWS)
    elif name.endswith(".csv"):
        rows = "\n".join(f"{row[1]};{row[2]};{row[3]};{row[4]};{row[5]}" for row in ROWS[2:])
        (tmp_path / name).write_text(
            f"Pin;Wire colour;Size;Goes to;Shop note\n{rows}\n".replace("1.5", "1,5").replace("2.5", "2,5")
        )
    else:
        xlsx(tmp_path / name, ("Rear", ROWS))
    (tmp_path / "readings.csv").write_text(READINGS)
    return tmp_path, name


def test_the_whole_job(place: tuple[Path, str]) -> None:
    folder, name = place
    for words in (
        ("check", name),
        ("check", name, "--json"),
        ("plan", name),
        ("plan", name, "--sheet", "sheet"),
        ("markers", name),
        ("report", name, "readings.csv", "--out", "page"),
        ("compare", name, "readings.csv", "readings.csv", "--json"),
    ):
        done = loomtest(*words, cwd=folder)
        assert done.returncode == 0, (words, done.stderr)
    judged = loomtest("judge", name, "readings.csv", "--json", cwd=folder)
    assert judged.returncode in (0, 3) and json.loads(judged.stdout)["findings"] == []


def record(folder: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    import io
    import sys

    lines = "X1:1 X2:1 0.1\nX1:2 X2:2 0.1\nX1:3 GND1 0.1\nX1:1 X1:2 OL\nX1:2 X1:3 OL\nX1:1 X1:3 OL\n"
    monkeypatch.setattr(sys, "stdin", io.StringIO(lines))
    done = loomtest("log", name, "--out", "run", "--by-hand", cwd=folder)
    assert done.returncode == 0, done.stderr


def test_a_run_holds_what_was_read_and_the_workbook(
    place: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, name = place
    record(folder, name, monkeypatch)
    copy = folder / "run" / "harness"
    file = name.partition("#")[0]
    assert (copy / file).read_bytes() == (folder / file).read_bytes()
    with (copy / "wires.csv").open(newline="") as text:
        rows = list(csv.DictReader(text))
    assert [(row["from"], row["to"], row["Shop note"]) for row in rows] == [
        (*pair, f"k{n}") for n, pair in enumerate(WIRES, 1)
    ]
    assert ends(copy) == WIRES
    assert [w.size_mm2 for w in load_harness(copy).wires] == [1.5, 1, 2.5]
    judged = loomtest("judge", name, "run", cwd=folder)
    assert judged.returncode in (0, 3) and "another harness" not in judged.stderr + judged.stdout
    assert "changed" not in judged.stderr
    kept = loomtest("keep", "run", "--archive", "archive", cwd=folder)
    assert kept.returncode == 0, kept.stderr
    assert loomtest("verify", "--archive", "archive", cwd=folder).returncode == 0
    assert (
        loomtest("keep", "readings.csv", "--harness", name, "--archive", "archive", cwd=folder).returncode
        == 0
    )
    history = loomtest("history", name, "--archive", "archive", cwd=folder)
    assert history.returncode == 0 and len(history.stdout.splitlines()) > 2, history


def test_a_connector_change(place: tuple[Path, str]) -> None:
    folder, name = place
    (folder / "map.csv").write_text("old,new\nX2:1,X5N:2\nX2:2,X5N:1\n")
    done = loomtest("swap", name, "map.csv", "--out", "new", "--cavities", "X5N=2", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert ends(folder / "new") == [("X1:1", "X5N:2"), ("X1:2", "X5N:1"), ("X1:3", "GND1")]
    assert ends(folder / "new" / "before_change") == WIRES
    wires = load_harness(folder / "new").wires
    assert [dict(wire.extra)["Shop note"] for wire in wires] == ["k1", "k2", "k3"]
    assert [wire.colour for wire in wires] == ["red", "blue", "black"]
    assert loomtest("check", "new", cwd=folder).returncode == 0


def test_a_connector_change_of_a_folder_whose_workbook_has_sheets(tmp_path: Path) -> None:
    """Rows of two sheets have the same numbers: each wire keeps what stands beside it."""
    header = ["Pin", "Colour", "Goes to"]
    xlsx(tmp_path / "loom.xlsx", ("X1", [header, [1, "red", "X2 4"]]), ("X3", [header, [1, "blue", "X2 5"]]))
    (tmp_path / "harness.toml").write_text('wires = "loom.xlsx"\n[columns]\nfrom = "Pin"\nto = "Goes to"\n')
    (tmp_path / "map.csv").write_text("old,new\nX2:4,X9:1\nX2:5,X9:2\n")
    done = loomtest("swap", ".", "map.csv", "--out", "new", "--cavities", "X9=2", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    wires = load_harness(tmp_path / "new").wires
    assert [(w.start, w.end, w.colour) for w in wires] == [("X1:1", "X9:1", "red"), ("X3:1", "X9:2", "blue")]
    assert ends(tmp_path / "new" / "before_change") == [("X1:1", "X2:4"), ("X3:1", "X2:5")]


def test_where_a_folder_is_wanted_it_is_said(place: tuple[Path, str]) -> None:
    folder, name = place
    for words in (
        ("bench", name, "--no-browser"),
        ("new", name.partition("#")[0]),
        ("new", "fresh", "--notes", name),
        ("log", name, "--out", "r", "--meter", f"rehearse:{name}"),
    ):
        done = loomtest(*words, cwd=folder)
        assert done.returncode == 2 and "Traceback" not in done.stderr, words
        assert done.stderr.count("\n") <= 5, (words, done.stderr)
    assert not (folder / "fresh").exists() and not (folder / "r").exists()


def test_a_folder_is_made_from_it(place: tuple[Path, str]) -> None:
    folder, name = place
    done = loomtest("new", "fresh", "--from", name, "--json", cwd=folder)
    assert done.returncode == 0 and json.loads(done.stdout)["wires"] == 3, done.stderr
    assert ends(folder / "fresh") == WIRES
    assert [dict(w.extra)["Shop note"] for w in load_harness(folder / "fresh").wires] == ["k1", "k2", "k3"]
    assert loomtest("check", "fresh", cwd=folder).returncode == 0
