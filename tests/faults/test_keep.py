"""Killed keepers and crowded archives: a kept run is there whole, or not at all.

The numbers are small here; LOOMTEST_LAWS=deep runs the full ones (100 kills, 20 keepers of 5 runs each).
"""

from __future__ import annotations

import multiprocessing
import os
import random
import shutil
import signal
import time
from multiprocessing.connection import Connection
from pathlib import Path

import bagit
import pytest

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.folder import LEDGER, Archive
from loomtest.evidence.archive.index import Index
from tests.evidence.archive import kept

DEEP = os.environ.get("LOOMTEST_LAWS") == "deep"
KILLS = 100 if DEEP else 12
KEEPERS = 20
RUNS_EACH = 5 if DEEP else 1
# A forked child has everything imported already, so that a kill falls into keeping and not into starting.
FORK = multiprocessing.get_context("fork")


def keep_on(archive: Archive, run: Path, told: Connection, label: str, most: int = 1000) -> None:
    for number in range(most):
        entry = kept.keep(archive, run, f"{label}-{number}").entry
        told.send(entry.folder)


def started(archive: Archive, run: Path, label: str, most: int = 1000) -> tuple[object, Connection]:
    ear, mouth = FORK.Pipe(duplex=False)
    child = FORK.Process(target=keep_on, args=(archive, run, mouth, label, most))
    child.start()
    mouth.close()
    return child, ear


def heard(ear: Connection) -> list[str]:
    said = []
    try:
        while True:
            said.append(ear.recv())
    except EOFError:
        return said


def test_a_keeper_killed_at_any_moment_leaves_the_old_state_or_the_whole_new_bag(tmp_path: Path) -> None:
    run = kept.make_run(tmp_path / "run", kept.loom(tmp_path / "loom"))
    archive = Archive(tmp_path / "archive")
    begun = time.perf_counter()
    acknowledged = [kept.keep(archive, run, "first").entry.folder]
    usual_s = time.perf_counter() - begun  # how long one keep takes here and now
    moments = random.Random(7)
    for kill in range(KILLS):
        child, ear = started(archive, run, f"k{kill}")
        longest = 2.5 if len(acknowledged) > 1 else 2.5 + kill  # until one has finished, on a busy machine
        time.sleep(moments.uniform(0.0, longest * usual_s))
        assert child.pid is not None
        os.kill(child.pid, signal.SIGKILL)
        child.join()
        acknowledged += heard(ear)
        assert kept.wrong(archive, judge=False) == {}
        folders = [entry.folder for entry in archive.entries()]
        assert set(acknowledged) <= set(folders)  # nothing that was acknowledged is lost
        assert len(folders) <= len(acknowledged) + kill + 1  # at most one was being placed at each kill
        there = {p.name for p in archive.folder.glob("2*")}
        assert there == set(folders)  # neither half-visible nor missing
    for folder in {*random.Random(1).sample(folders, min(5, len(folders))), folders[-1]}:
        assert bagit.Bag(str(archive.folder / folder)).validate()
    kept.keep(archive, run, "last")  # and the archive goes on, clearing up what was left
    assert archive.leftovers() == []
    assert kept.wrong(archive) == {}
    assert len(acknowledged) > 1, (
        "no keeper ever finished before its kill: the moments are too early to show anything"
    )


@pytest.mark.parametrize("moment", ["before the rename", "after a torn line"])
def test_a_keep_cut_short_at_its_last_step_is_finished_or_undone(tmp_path: Path, moment: str) -> None:
    archive = kept.filled(tmp_path, 2)
    last, data = archive.entries()[-1], (archive.folder / LEDGER).read_bytes()
    (archive.folder / ".new").mkdir(exist_ok=True)
    (archive.folder / last.folder).rename(archive.folder / ".new" / last.folder)
    if moment == "after a torn line":
        (archive.folder / LEDGER).write_bytes(data[:-30])
    (archive.folder / "index.sqlite").unlink()
    assert kept.wrong(archive) == {}
    kept.keep(archive, tmp_path / "run0", "next")
    names = [entry.folder for entry in archive.entries()]
    assert (last.folder in names) == (moment == "before the rename")
    assert kept.wrong(archive) == {}
    assert (archive.folder / LEDGER).read_bytes().endswith(b"\n")


def test_many_keepers_at_once_lose_nothing(tmp_path: Path) -> None:
    harness = kept.loom(tmp_path / "loom")
    archive = Archive(tmp_path / "archive")
    children = []
    for number in range(KEEPERS):
        run = kept.make_run(tmp_path / f"run{number}", harness, (0.1, 0.1 + number / 100))
        children.append(started(archive, run, f"keeper{number}", RUNS_EACH))
    said = [folder for _, ear in children for folder in heard(ear)]
    for child, _ in children:
        child.join()
        assert child.exitcode == 0
    assert len(set(said)) == KEEPERS * RUNS_EACH
    assert {entry.folder for entry in archive.entries()} == set(said)
    assert archive.leftovers() == []
    assert kept.wrong(archive) == {}
    assert [k.folder for k in Index(archive).kept()] == [e.folder for e in archive.entries()]


def test_a_full_disk_leaves_the_archive_as_it_was(tmp_path: Path) -> None:
    """The limit on the size of a file stands in for a full disk: writes fail in the same place."""
    import resource

    archive = kept.filled(tmp_path, 1)
    before = kept.tree(archive.folder)
    run = kept.make_run(tmp_path / "big", kept.loom(tmp_path / "loom"))
    (run / "stream.csv").write_bytes(b"0.1\n" * 5000)

    def keep_with_little_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, 10_000))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        try:
            kept.keep(archive, run, "big")
        except ArchiveError:
            os._exit(3)
        os._exit(0)

    child = FORK.Process(target=keep_with_little_room)
    child.start()
    child.join()
    assert child.exitcode == 3
    after = kept.tree(archive.folder)
    assert {k: v for k, v in after.items() if not k.startswith(".")} == {
        k: v for k, v in before.items() if not k.startswith(".")
    }
    assert kept.wrong(archive) == {}
    shutil.rmtree(archive.folder)
