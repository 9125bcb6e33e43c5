"""A clock that jumps back: the order of kept runs is that of keeping, and nothing is called wrong."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from loomtest.evidence.archive.folder import Archive
from tests.evidence.archive import kept
from tests.faults.injections import ROOT, TRACTOR
from tests.tools import need


def test_runs_kept_with_a_clock_that_went_back_verify(tmp_path: Path) -> None:
    harness = kept.loom(tmp_path / "loom")
    archive = Archive(tmp_path / "archive")
    for number, day in enumerate((3.0, 1.0, -9000.0)):
        run = kept.make_run(tmp_path / f"run{number}", harness, (0.1, 0.2), day)
        kept.keep(archive, run, f"id{number}", day)
    assert [entry.sequence for entry in archive.entries()] == [1, 2, 3]
    assert kept.wrong(archive) == {}


def test_keep_verify_and_history_in_another_century(tmp_path: Path) -> None:
    faketime = need("faketime", "faketime")

    def at(when: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        command = [faketime, when, sys.executable, "-m", "loomtest", *map(str, arguments)]
        return subprocess.run(
            command,
            cwd=ROOT,
            env={**os.environ, "MPLBACKEND": "Agg"},
            capture_output=True,
            text=True,
            check=False,
        )

    place = ("--archive", tmp_path / "archive")
    for when in ("2031-05-01 12:00:00", "1999-05-01 12:00:00"):
        done = at(when, "keep", TRACTOR / "3_final", "--rehearsal", *place)
        assert done.returncode == 0 and when[:4] in done.stdout, done.stderr
    checked = at("1980-01-02 00:00:00", "verify", *place)
    assert checked.returncode == 0 and checked.stdout.count("good ") == 2, checked.stdout + checked.stderr
    told = at("1980-01-02 00:00:00", "history", *place)
    assert told.returncode == 0 and "Traceback" not in told.stderr, told.stderr
