"""`loomtest judge` and `loomtest report` on the sample runs, as a person runs them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest
from tests.documents import play as run
from tests.documents import run as run_alone
from tests.evidence.example import LAUNCH, TRACTOR

FAULTS = {
    "1_before": {
        ("open", frozenset({"X1:2", "X4:2"})),
        ("crossed", frozenset({"X2:3", "X2:4"})),
        ("high-resistance", frozenset({"X3:4", "GND3"})),
    }
}


def judged(tmp_path: Path, *arguments: str) -> tuple[int, dict[str, object]]:
    status, text = run(" ".join(("loomtest judge", *arguments, "--json")), tmp_path)
    return status, json.loads(text)


@pytest.mark.parametrize(("name", "status"), [("1_before", 1), ("2_after", 3), ("3_final", 0)])
def test_the_three_runs_of_the_tractor_fail_stay_open_and_pass(
    tmp_path: Path, name: str, status: int
) -> None:
    found, verdict = judged(tmp_path, str(TRACTOR), str(TRACTOR / name))
    assert found == status
    assert verdict["schema"] == "loomtest-verdict/1"
    assert verdict["verdict"] == {0: "pass", 1: "fail", 3: "not-proven"}[status]


def test_the_first_run_names_all_four_faults_and_no_other(tmp_path: Path) -> None:
    # what the generator of the sample runs put in, not what the diagnosis printed
    findings = judged(tmp_path, str(TRACTOR), str(TRACTOR / "1_before"))[1]["findings"]
    assert isinstance(findings, list)
    found = {(f["fault"], frozenset(f["points"])) for f in findings}
    assert FAULTS["1_before"] <= found
    assert len(findings) == 4
    short = next(f for f in findings if f["fault"] == "short")
    starter, ground = {"X1:3", "SOL"}, {"X1:12", "GND1", "X5:2", "SP1"}
    assert len(set(short["points"]) & starter) == len(set(short["points"]) & ground) == 1


def test_the_second_run_leaves_only_the_rear_ground_open(tmp_path: Path) -> None:
    verdict = judged(tmp_path, str(TRACTOR), str(TRACTOR / "2_after"))[1]
    assert verdict["findings"] == []
    rows = [row for row in verdict["wires"] if row["verdict"] != "pass"]
    assert [row["wire"] for row in rows] == ["W20"]
    assert rows[0]["next"]


def test_the_boat_measured_with_an_ordinary_meter(tmp_path: Path) -> None:
    meter = f"--instrument {LAUNCH / 'meter.toml'}"
    status, verdict = judged(tmp_path, str(LAUNCH), str(LAUNCH / "1_first.csv"), meter)
    assert status == 1
    kinds = sorted(finding["fault"] for finding in verdict["findings"])
    assert kinds == ["crossed", "high-resistance"]
    assert judged(tmp_path, str(LAUNCH), str(LAUNCH / "2_second.csv"), meter)[0] == 0


def test_a_person_gets_sentences_and_the_same_exit_status(tmp_path: Path) -> None:
    status, text = run(f"loomtest judge {TRACTOR} {TRACTOR / '1_before'}", tmp_path)
    assert status == 1
    assert text.splitlines()[1].startswith("REHEARSAL:")  # an invented run says so before its answer
    assert text.splitlines()[2] == "Not right yet: 4 faults found."
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    commands = [f"loomtest judge {TRACTOR} {TRACTOR / '1_before'} --json"] * 2
    assert len({run_alone(command, tmp_path)[1] for command in commands}) == 1  # two hash seeds


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ("nowhere readings.csv", "nowhere"),
        (f"{TRACTOR} nowhere.csv", "nowhere.csv"),
        (f"{TRACTOR} {TRACTOR / '1_before'} --instrument nowhere.toml", "nowhere.toml"),
    ],
)
def test_what_cannot_be_read_is_one_message_and_status_2(tmp_path: Path, arguments: str, told: str) -> None:
    for verb in ("judge", "report"):
        out = " --out out" if verb == "report" else ""
        status, text = run(f"loomtest {verb} {arguments}{out}", tmp_path)
        assert status == 2
        assert told in text
        assert "Traceback" not in text


def test_what_is_odd_in_the_readings_is_said_beside_the_answer(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text("from;to;value\nX1:1;X2:1;0,3\nX1:9;X2:1;OL\n", encoding="utf-8")
    done = loomtest("judge", str(LAUNCH), "r.csv", "--json", cwd=tmp_path)
    assert json.loads(done.stdout)["verdict"] == "not-proven"
    assert done.stderr.startswith("Look at this again: r.csv, line 2")
    assert "X1:9" in done.stderr
    assert max(map(len, done.stderr.splitlines())) <= 80
    assert "X1:9" in loomtest("compare", str(LAUNCH), "r.csv", "r.csv", cwd=tmp_path).stderr


def test_report_writes_its_files_and_is_done_with_status_0(tmp_path: Path) -> None:
    status, text = run(f"loomtest report {TRACTOR} {TRACTOR / '1_before'} --out out", tmp_path)
    assert status == 0
    assert text.splitlines()[0] == "Not right yet: 4 faults found."
    assert "Not right yet: 4 faults found." in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    status, text = run(f"loomtest report {TRACTOR} {TRACTOR / '3_final'} --out out2 --json", tmp_path)
    told = json.loads(text)
    assert told["verdict"]["verdict"] == "pass"
    assert all((tmp_path / name).is_file() for name in told["files"])
    (tmp_path / "file").write_text("", encoding="utf-8")
    status, text = run(f"loomtest report {TRACTOR} {TRACTOR / '3_final'} --out file", tmp_path)
    assert status == 2
    assert "file" in text
