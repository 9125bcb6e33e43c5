"""Jobs and units go with a run from the bench into page, bag and history; two units are never one loom."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from loomtest.evidence.archive.index import Kept
from loomtest.evidence.archive.jobs import jobs_of
from tests.commands.in_process import loomtest

WIRES = "from,to\nX1:1,X2:1\nX1:2,X2:2\n"


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two launches of one kind, each measured twice by hand, for two customers of an invented yard."""
    (tmp_path / "wires.csv").write_text(WIRES)
    runs = [("a1", "1041", "hull 7", "0.3"), ("b1", "1042", "hull 9", "OL")]
    for run, job, unit, value in [*runs, ("a2", "1041", "hull 7", "0.4"), ("b2", "1042", "hull 9", "0.5")]:
        lines = f"X1:1 X2:1 {value}\nX1:2 X2:2 0.3\nX1:1 X1:2 OL\n"
        lines += f"X1:1 X2:1 {value}\n"
        words = ["--job", job, "--unit", unit, "--customer", "the harbour"]
        monkeypatch.setattr("sys.stdin", io.StringIO(lines))
        done = loomtest("log", "wires.csv", "--out", run, "--by-hand", *words, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        assert loomtest("keep", run, "--archive", "kept", cwd=tmp_path).returncode == 0
    return tmp_path


def test_the_run_the_verdict_and_the_page_name_them(archive: Path) -> None:
    assert '[job]\nnumber = "1041"\nunit = "hull 7"\ncustomer = "the harbour"\n' in (
        archive / "a1" / "run.toml"
    ).read_text("utf-8")
    said = json.loads(loomtest("judge", "wires.csv", "a1", "--json", cwd=archive).stdout)
    assert said["job"] == {"number": "1041", "unit": "hull 7", "customer": "the harbour"}
    assert (
        "job 1041, unit hull 7, for the harbour" in loomtest("judge", "wires.csv", "a1", cwd=archive).stdout
    )
    loomtest("report", "wires.csv", "a1", "--out", "page", cwd=archive)
    assert "unit hull 7" in (archive / "page" / "report.html").read_text("utf-8")


def test_two_units_have_courses_of_their_own(archive: Path) -> None:
    history = json.loads(loomtest("history", "--archive", "kept", "--json", cwd=archive).stdout)
    courses = {(c["unit"], c["wires"][0]): c["ohms"] for c in history["courses"]}
    assert {unit for unit, _ in courses} == {"hull 7", "hull 9"}
    assert len(courses["hull 7", "W1"]) == 2
    only = json.loads(
        loomtest("history", "--unit", "hull 9", "--archive", "kept", "--json", cwd=archive).stdout
    )
    assert [run["unit"] for run in only["runs"]] == ["hull 9", "hull 9"]
    nothing = loomtest("history", "--job", "9", "--archive", "kept", cwd=archive)
    assert nothing.returncode == 2 and "job" in nothing.stderr


def test_the_list_of_jobs(archive: Path) -> None:
    listed = json.loads(loomtest("history", "--jobs", "--archive", "kept", "--json", cwd=archive).stdout)[
        "jobs"
    ]
    assert {(job["job"], job["runs"], job["days_since"]) for job in listed} == {
        ("1041", 2, 0),
        ("1042", 2, 0),
    }
    assert (
        "job 1042, for the harbour" in loomtest("history", "--jobs", "--archive", "kept", cwd=archive).stdout
    )


def kept(job: str, unit: str, verdict: str, day: int, rehearsal: int = 0) -> Kept:
    date = f"2026-03-{day:02}T10:00:00+00:00"
    blank = dict.fromkeys(Kept._fields, "")
    facts = {
        "sequence": day,
        "day": float(day),
        "started": date,
        "harness": "loom",
        "verdict": verdict,
        "job": job,
        "unit": unit,
    }
    return Kept(**{**blank, "findings": 0, "rehearsal": rehearsal, **facts})


def test_a_job_is_done_when_the_last_run_of_every_unit_passed() -> None:
    runs = [
        kept("7", "a", "fail", 1), kept("7", "a", "pass", 3), kept("7", "b", "fail", 2),
        kept("8", "a", "fail", 1), kept("8", "a", "pass", 5), kept("", "a", "pass", 6),
        kept("9", "a", "pass", 6, rehearsal=1),
    ]  # fmt: skip
    found = [(job.job, job.done, job.runs) for job in jobs_of(runs, today=10_000.0)]
    assert found == [("7", False, 3), ("8", True, 2)]
