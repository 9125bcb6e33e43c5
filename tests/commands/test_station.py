"""`loomtest station`: a board on a pseudo-terminal, labels typed by a reader, right and wrong units."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest
from tests.documents import ROOT

# 40 points of 64 pins: the board is asked for the whole scan, not row by row.
WIRES = "from,to,wire,size,length\n" + "".join(f"X1:{n},X2:{n},W{n},1,1\n" for n in range(1, 21))


@pytest.fixture(scope="module")
def looms(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """A right unit of the loom, and one with two wires swapped."""
    place = tmp_path_factory.mktemp("looms")
    for name in ("right", "wrong"):
        (place / name).mkdir()
        (place / name / "wires.csv").write_text(WIRES, "utf-8")
        (place / name / "harness.toml").write_text(
            'name = "line loom"\n[cavities]\nX1 = 21\nX2 = 21\n', "utf-8"
        )
    (place / "wrong" / "faults.csv").write_text("fault,wire,from,to\nmisplaced,W1,X2:1,X2:21\n", "utf-8")
    return [place / "right", place / "wrong"]


def at_the_bench(looms: list[Path], place: Path, labels: str, *more: str) -> str:
    """What the station prints for these labels; the right and the wrong unit are plugged in by turns."""
    board = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.scanner.on_a_line", *map(str, looms)],
        cwd=ROOT, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert board.stdout is not None
        port = board.stdout.readline().strip()
        words = ["station", str(looms[0]), "--scanner", port, "--archive", str(place / "archive")]
        done = subprocess.run(
            [sys.executable, "-m", "loomtest", *words, "--runs", str(place / "runs"), *more],
            cwd=ROOT, input=labels, capture_output=True, text=True, check=False, timeout=120,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout
    finally:
        board.kill()
        board.wait()
        board.stdout.close()


def test_right_and_wrong_units_are_shown_and_kept_and_a_number_again_is_asked_about(
    looms: list[Path], tmp_path: Path
) -> None:
    told = at_the_bench(
        looms, tmp_path, "U-1\nU-2\nU-1\n\n\n\x1b[2J\nq\nU-9\n", "--operator", "Kim", "--bench", "B2"
    )
    assert told.index("RIGHT\nUnit U-1") < told.index("WRONG\nUnit U-2")
    assert "X2 cavity 21" in told and "Next: " in told
    assert "Unit U-1 was kept on" in told and told.count("Unit U-1, kept as") == 1  # Enter was no
    assert "That is no unit's number" in told and "U-9" not in told
    assert "It does not say that the vehicle is safe" in told
    history = json.loads(loomtest("history", "--archive", "archive", "--json", cwd=tmp_path).stdout)
    assert [(run["unit"], run["verdict"], run["operator"]) for run in history["runs"]] == [
        ("U-1", "pass", "Kim"),
        ("U-2", "fail", "Kim"),
    ]
    bags = sorted(path for path in (tmp_path / "archive").iterdir() if (path / "bagit.txt").is_file())
    assert "Bench: B2\n" in (bags[0] / "bag-info.txt").read_text()
    assert [(bag / "data" / "report").exists() for bag in bags] == [False, True]
    screen = (tmp_path / "runs" / "station.html").read_text("utf-8")
    assert "WRONG" in screen and "U-2" in screen and "<svg" in screen
    assert loomtest("verify", "--redraw", "--archive", "archive", cwd=tmp_path).returncode == 0


def test_its_label_once_more_scans_a_unit_again(looms: list[Path], tmp_path: Path) -> None:
    told = at_the_bench([looms[0]], tmp_path, "U-1\nU-1\nU-1\n")
    assert told.count("Unit U-1, kept as") == 2
