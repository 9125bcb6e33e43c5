"""What `new` and `swap` write is whole or not there, wherever they are killed or the disk is full."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.harness.newfolder import Answers, files_of, write_new
from loomtest.harness.whole import ASIDE, take_back, written_whole
from tests.faults.disks import small_disk
from tests.faults.injections import run

ROOT = Path(__file__).parents[2]


def test_killed_at_any_line_nothing_is_half() -> None:
    memory = Path("/dev/shm")  # a disk would be waited for at every file
    place = {"TMPDIR": str(memory)} if os.access(memory, os.W_OK) else {}
    command = [sys.executable, "-m", "tests.faults.stopped", "6"]
    done = subprocess.run(
        command, cwd=ROOT, env={**os.environ, **place}, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    kills = [int(number) for number in re.findall(r"(\d+) kills, 0 problems", done.stdout)]
    assert len(kills) == 4 and min(kills) >= 10


def test_an_exception_on_the_way_leaves_nothing(tmp_path: Path) -> None:
    place = tmp_path / "loom"
    with pytest.raises(KeyboardInterrupt), written_whole(place) as aside:
        (aside / "wires.csv").write_text("from,to\n")
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []


def test_what_was_changed_since_is_not_taken_back(tmp_path: Path) -> None:
    (tmp_path / ASIDE).mkdir()
    for name, there in (("a.txt", "a"), ("b.txt", "changed"), ("wires.csv", None)):
        (tmp_path / ASIDE / name).write_text(name[0])
        if there is not None:
            (tmp_path / name).write_text(there)
    take_back(tmp_path)  # wires.csv, the last, is missing: it was stopped before the end
    assert [path.name for path in tmp_path.iterdir()] == ["b.txt"]


def test_a_whole_folder_stays_whole_when_only_tidying_was_cut_short(tmp_path: Path) -> None:
    for folder in (tmp_path, tmp_path / ASIDE):
        folder.mkdir(exist_ok=True)
        (folder / "harness.toml").write_text('name = "x"\n')
        (folder / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:9\n")  # the person went on working
    take_back(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["harness.toml", "wires.csv"]


def test_a_file_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("mine")
    with pytest.raises(InputError, match="there already"):
        write_new(tmp_path, files_of(Answers("x")))
    with pytest.raises(FileExistsError), written_whole(tmp_path) as aside:
        (aside / "harness.toml").write_text("name")
        (aside / "wires.csv").write_text("other")
    assert [path.name for path in tmp_path.iterdir()] == ["wires.csv"]
    assert (tmp_path / "wires.csv").read_text() == "mine"


@pytest.mark.parametrize("exists", [False, True])
def test_on_a_full_disk_new_says_that_nothing_was_written(tmp_path: Path, exists: bool) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("".join(f"X1 {n} red to X2 {n}\n" for n in range(1, 3_000)))
    with small_disk(tmp_path / "disk", 64) as before:
        place = tmp_path / "disk" / "loom"
        if exists:
            place.mkdir()
        done = run("new", place, "--notes", notes, "--no-questions", before=before)
        assert done.returncode == 2 and "nothing was written there" in done.stderr, done.stderr
        left = [path.name for path in (tmp_path / "disk").rglob("*")]
        assert left == (["loom"] if exists else [])


def test_on_a_full_disk_swap_says_that_nothing_was_written(tmp_path: Path) -> None:
    rows = "".join(f"X1:{n},X{3 if n > 1 else 2}:{n},{'a long note ' * 4}\n" for n in range(1, 600))
    (tmp_path / "wires.csv").write_text("from,to,note\n" + rows)
    (tmp_path / "map.csv").write_text("old,new\nX2:1,X7:1\n")
    with small_disk(tmp_path / "disk", 40) as before:
        place = tmp_path / "disk" / "loom"
        done = run("swap", tmp_path / "wires.csv", tmp_path / "map.csv", "--out", place, before=before)
        assert done.returncode == 2 and "nothing was written there" in done.stderr, done.stderr
        assert list((tmp_path / "disk").iterdir()) == []
