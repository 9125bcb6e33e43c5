"""Files and folders that an ordinary person may not use: one message that names them, status 2, no trace."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.injections import TRACTOR
from tests.tools import need

ROOT = Path(__file__).parents[2]


def ordinary(*arguments: str, cwd: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    """The program without the right to pass by permissions, which only an administrator has."""
    drop = []
    if os.geteuid() == 0:
        drop = [need("setpriv", "util-linux"), "--bounding-set=-all", "--inh-caps=-all"]
    return subprocess.run(
        [*drop, sys.executable, "-m", "loomtest", *arguments],
        cwd=cwd, input=typed, capture_output=True, text=True, check=False, timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1", "MPLBACKEND": "Agg"},
    )  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A loom that may be read, a file and a folder that may not, and a folder that may only be read."""
    home = tmp_path_factory.mktemp("permission")
    (home / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    (home / "r.csv").write_text("from,to,value\nX1:1,X2:1,0.3\n")
    (home / "map.csv").write_text("old,new\nX2:1,X7:1\n")
    (home / "secret.csv").write_text("from,to\nX1:1,X2:1\n")
    shutil.copytree(TRACTOR / "1_before", home / "run")
    for name in ("locked", "readonly"):
        (home / name).mkdir()
    (home / "secret.csv").chmod(0)
    (home / "locked").chmod(0)
    (home / "readonly").chmod(0o555)
    (home / "run" / "readings.csv").chmod(0)
    yield home
    for name, mode in (("secret.csv", 0o600), ("locked", 0o700), ("readonly", 0o700)):
        (home / name).chmod(mode)


COMMANDS = [
    ("check", "secret.csv"),
    ("check", "locked"),
    ("judge", "wires.csv", "locked/x.csv"),
    ("judge", "wires.csv", "run"),
    ("judge", "wires.csv", "r.csv", "--instrument", "locked/meter.toml"),
    ("new", "loom", "--notes", "secret.csv", "--no-questions"),
    ("verify", "--archive", "locked"),
    ("history", "--archive", "locked"),
    ("keep", "run", "--rehearsal", "--archive", "kept"),
    ("keep", "r.csv", "--harness", "wires.csv", "--key", "secret.csv", "--archive", "kept"),
    ("keep", "--from-zip", "secret.csv", "--archive", "kept"),
    ("keep", "--new-key", "readonly/key"),
    ("keep", "r.csv", "--harness", "wires.csv", "--archive", "readonly/kept"),
    ("report", "wires.csv", "r.csv", "--out", "readonly/page"),
    ("new", "readonly/loom", "--no-questions"),
    ("swap", "wires.csv", "map.csv", "--out", "readonly/loom"),
    ("plan", "wires.csv", "--sheet", "locked/sheet"),
    ("demo", "--out", "readonly/demo"),
    ("log", "wires.csv", "--by-hand", "--out", "readonly/run"),
    ("log", "wires.csv", "--by-hand", "--out", "locked/run"),
]


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_it_is_said_in_one_message(place: Path, command: tuple[str, ...]) -> None:
    done = ordinary(*command, cwd=place, typed="X1:1 X2:1 0.3\n")
    said = " ".join(done.stderr.split())
    assert done.returncode == 2 and done.stdout == "", done.stdout + said
    assert said.startswith("loomtest: ") and "the program failed" not in said and "Traceback" not in said
    assert any(name in said for name in ("secret.csv", "locked", "readonly", "run")), said
    assert "ermission denied" in said, said
    assert sorted(path.name for path in (place / "readonly").iterdir()) == []


def test_what_may_be_read_is_judged_in_a_folder_that_may_not_be_written(place: Path) -> None:
    done = ordinary("judge", "../wires.csv", "../r.csv", cwd=place / "readonly")
    assert (done.returncode, done.stderr) == (0, "")
