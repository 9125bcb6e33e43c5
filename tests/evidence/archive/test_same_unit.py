"""A unit's number that was kept before is asked about at a terminal, and told without one."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.keep import Keeping, keep_run
from loomtest.evidence.archive.names import bag_of_readings, kept_before
from loomtest.evidence.archive.same_unit import UnitTested, kept_under_that_number
from loomtest.readings.model import Job
from loomtest.readings.run import About, Reading, create_run
from tests.commands.in_process import loomtest
from tests.evidence.archive import kept

TRACTOR = "orchard tractor, invented"


def unit_run(folder: Path, unit: str, ohms: tuple[float, float] = (0.1, 0.2), job: str = "1041") -> Path:
    harness = kept.loom(folder.parent / "loom")
    about = About("final", "A. Nobody", job=Job(job, unit))
    with create_run(folder, harness, about, clock=lambda: kept.BEGIN) as writer:
        for wire, value in zip(harness.wires, ohms, strict=True):
            writer.record(Reading(wire.start, wire.end, value))
    return folder


def keep_at(archive: Archive, run: Path, bench: str, minutes: float) -> str:
    now = kept.BEGIN + timedelta(minutes=minutes)
    keeping = Keeping(kept.simple_judge, kept.simple_report, now, f"{bench}-{minutes:g}", bench=bench)
    return keep_run(run, archive, keeping).entry.folder


def at_bench(bench: str, unit: str = "U7", job: str = "1041", stage: str = "final") -> UnitTested:
    return UnitTested(harness=TRACTOR, unit=unit, job=job, stage=stage, bench=bench)


@pytest.mark.parametrize("verdict", ["pass", "fail"])
def test_a_number_kept_at_another_bench_about_now_is_told(
    tmp_path: Path, index_at: str | None, verdict: str
) -> None:
    archive = Archive(tmp_path / "archive", index_at)
    run = unit_run(tmp_path / "run", "U7", (0.1, 0.2 if verdict == "pass" else 1.2))
    folder = keep_at(archive, run, "bench-1", 0)

    def said(minutes: float, about: UnitTested, besides: str = "") -> tuple[str, bool] | None:
        now = kept.BEGIN + timedelta(minutes=minutes)
        found = kept_under_that_number(archive, about, now, besides)
        return None if found is None else (found.kept.folder, found.together)

    assert said(5, at_bench("bench-2")) == (folder, True)
    assert said(-5, at_bench("bench-2")) == (folder, True)  # its clock is behind
    assert said(5, at_bench("bench-2"), folder) is None
    assert said(5, at_bench("bench-2", "U8")) is None
    assert said(5, at_bench("bench-2", "")) is None
    # An hour later one that failed has been mended and comes again; one that passed is done.
    later = (folder, False) if verdict == "pass" else None
    assert said(60, at_bench("bench-2")) == later
    assert said(5, at_bench("bench-1")) == later
    assert said(60, at_bench("bench-1", job="1042")) is None
    assert said(60, at_bench("bench-1", stage="after a year")) is None


def test_without_a_terminal_the_run_is_kept_and_it_is_told(tmp_path: Path) -> None:
    archive = Archive(tmp_path / "archive")
    keep_at(archive, unit_run(tmp_path / "first", "U7"), "bench-1", 0)
    second = unit_run(tmp_path / "second", "U7", (0.1, 0.3))
    done = loomtest("keep", str(second), "--archive", str(archive.folder), "--json")
    assert done.returncode == 0
    told = json.loads(done.stdout)["same_unit"]
    assert told == "Unit U7 has passed already: kept on 2026-05-01 at 12:00 at bench-1. Both runs are kept."
    assert len(archive.entries()) == 2
    other = unit_run(tmp_path / "third", "U8")
    assert "same_unit" not in loomtest("keep", str(other), "--archive", str(archive.folder), "--json").stdout


@pytest.mark.parametrize(("answer", "kept_runs", "status"), [("y", 2, 0), ("n", 1, 2)])
def test_at_a_terminal_the_person_says_whether_it_is_that_loom(
    tmp_path: Path, answer: str, kept_runs: int, status: int
) -> None:
    archive = Archive(tmp_path / "archive")
    keep_at(archive, unit_run(tmp_path / "first", "U7"), "bench-1", 0)
    second = unit_run(tmp_path / "second", "U7", (0.1, 0.3))
    words = [sys.executable, "-m", "loomtest", "keep", str(second), "--archive", str(archive.folder)]
    ours, theirs = os.openpty()
    with subprocess.Popen(words, stdin=theirs, stdout=theirs, stderr=theirs) as program:
        os.close(theirs)
        shown = b""
        while b"tested again? [y/N]" not in shown:
            shown += os.read(ours, 1000)
        assert b"Unit U7 has passed already: kept on 2026-05-01" in shown
        os.write(ours, answer.encode() + b"\n")
        with contextlib.suppress(OSError):  # its end of the terminal is closed
            while os.read(ours, 1000):
                pass
    os.close(ours)
    assert program.returncode == status
    assert len(archive.entries()) == kept_runs


def test_the_same_readings_are_found_by_what_the_index_says(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 2)
    again = kept.keep(archive, tmp_path / "run0", "again").entry
    first, *_, last = archive.entries()
    assert kept_before(archive, again) == first
    assert kept_before(archive, first) is None
    digest = last.digest
    assert bag_of_readings(archive, digest) is None
    (archive.folder / "index.sqlite").unlink()
    assert kept_before(archive, again) == first
