"""Whatever a harness says, nothing that the program writes commands a terminal or runs in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomtest.harness.outward import json_pieces
from tests.commands.in_process import loomtest

ESCAPE, TURN = "\x1b]0;owned\x07", "\u202egnp.exe"
FORMULA = "=cmd|' /C calc'!A0"
WIRES = f"""wire,from,to,colour,circuit,note
W1,X1:1,X2:1,red,horn {TURN},{FORMULA}
W2,X1:2,X2:2,blue,"{FORMULA}",bent {ESCAPE}
"""
READINGS = "from,to,value,note\nX1:1,X2:1,0.3,{0}\nX1:2,X2:2,{1},{0}\nX1:1,X1:2,OL,\n"
COPIES = (
    "harness",
    "run",
    "before_change",
    "connector_map.csv",
)  # the person's own files, kept byte for byte


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which every command that writes was run; what they printed stands in *.out."""
    home = tmp_path_factory.mktemp("clean")
    loom = home / "harness"
    loom.mkdir()
    (loom / "wires.csv").write_text(WIRES)
    name = json.dumps(f"launch {ESCAPE}{TURN}")
    (loom / "harness.toml").write_text(f"name = {name}\n[places]\nX1 = {json.dumps('stern ' + TURN)}\n")
    for run, value in (("before", "OL"), ("after", "0.3")):
        (loom / f"{run}.csv").write_text(READINGS.format(ESCAPE, value))
    (loom / "map.csv").write_text(f"old,new,note\nX2:1,X7:1,{FORMULA}\nX2:2,X7:2,\n")
    judged = ("harness", "harness/before.csv")
    typed = ("--harness", "harness", "--stage", f"old {ESCAPE}", "--archive", "kept")
    commands = [
        ("check", "harness"),
        ("check", "harness", "--json"),
        ("plan", "harness", "--json"),
        ("plan", "harness", "--sheet", "sheet"),
        ("judge", *judged),
        ("judge", *judged, "--json"),
        ("report", *judged, "--out", "report"),
        ("compare", "harness", "harness/before.csv", "harness/after.csv", "--out", "plots"),
        ("compare", "harness", "harness/before.csv", "harness/after.csv", "--json"),
        ("swap", "harness", "harness/map.csv", "--out", "swapped"),
        ("swap", "harness", "harness/map.csv", "--out", "again", "--json"),
        ("keep", "harness/before.csv", *typed),
        ("history", "--archive", "kept", "--csv", "history.csv"),
        ("history", "--archive", "kept", "--json"),
        ("verify", "--archive", "kept", "--redraw"),
        ("verify", "--archive", "kept", "--json"),
    ]
    for number, command in enumerate(commands):
        done = loomtest(*command, cwd=home)
        assert done.returncode in (0, 1, 3), (command, done.stderr)
        (home / f"{number:02}-{command[0]}.out").write_text(done.stdout + done.stderr)
    return home


def texts(home: Path) -> list[Path]:
    ends = {".out", ".csv", ".html", ".svg", ".json", ".txt", ".toml", ".md"}
    files = [path for path in sorted(home.rglob("*")) if path.is_file() and path.suffix in ends]
    return [path for path in files if not set(COPIES) & set(path.relative_to(home).parts)]


def test_no_character_commands_whoever_looks(written: Path) -> None:
    assert len(texts(written)) > 25
    for path in texts(written):
        text = path.read_bytes().decode("utf-8")
        odd = {c for c in text if not c.isprintable() and c not in "\n\r\t\u00a0\u202f"} - {"\ufeff"}
        assert not odd, (path.relative_to(written), odd)


def test_no_cell_runs_in_a_spreadsheet(written: Path) -> None:
    tables = [path for path in texts(written) if path.suffix == ".csv"]
    assert {"wires.csv", "history.csv", "bench_sheet.csv"} <= {path.name for path in tables}
    for path in tables:
        for row in csv.reader(io.StringIO(path.read_text("utf-8-sig"))):
            for cell in row:
                assert not cell.lstrip().startswith(("=", "@")), (path.relative_to(written), cell)


def test_json_still_says_the_names_as_they_are(written: Path) -> None:
    said = json.loads((written / "05-judge.out").read_text("utf-8").split("\nLook at")[0])
    assert said["harness"] == f"launch {ESCAPE}{TURN}"


def test_a_long_list_is_written_as_it_is_read_and_says_the_same() -> None:
    made: list[int] = []

    def items(count: int) -> Iterator[dict[str, object]]:
        for number in range(count):
            made.append(number)
            yield {"name": f'"list": [] {ESCAPE}{TURN}\n', "number": number}

    around = {"before": '\n  "list": [', "list": [], "after": {"list": [1]}}
    for count in (0, 1, 3):
        text = "".join(json_pieces(around, "list", items(count)))
        assert json.loads(text) == {**around, "list": list(items(count))}
        assert list(json.loads(text)) == ["before", "list", "after"]
        assert text.replace("\n", "").isprintable()
    made.clear()
    pieces = json_pieces(around, "list", items(1_000))
    assert "before" in next(pieces) and not made
    next(pieces)
    assert made == [0]
