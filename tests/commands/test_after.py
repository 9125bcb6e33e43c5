"""Mend and go on, on the command line: `plan --after`, `log --after`, and judging both runs together."""

from __future__ import annotations

import io
import json
import tomllib
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest

WIRES = "wire,from,to\n" + "".join(f"W{n},X1:{n},X2:{n}\n" for n in range(1, 5))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "wires.csv").write_text(WIRES, "utf-8")
    lines = [f"X1:{n} X2:{n} {'OL' if n == 2 else 0.3}" for n in range(1, 5)]
    lines += [f"X1:{n} X1:{n + 1} OL" for n in range(1, 4)]
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))
    assert loomtest("log", "wires.csv", "--out", "before", "--isolation", "none").returncode == 0
    return tmp_path


def test_only_the_mended_wire_is_asked_and_both_runs_pass_together(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert loomtest("judge", "wires.csv", "before").returncode == 1
    made = json.loads(loomtest("plan", "wires.csv", "--after", "before", "--json").stdout)
    assert [{step["from"], step["to"]} for step in made["steps"]] == [{"X1:2", "X2:2"}]
    assert made["isolation"] == "none"  # the level that the run was planned for
    monkeypatch.setattr("sys.stdin", io.StringIO("X1:2 X2:2 0.3\n"))
    assert loomtest("log", "wires.csv", "--out", "mended", "--after", "before").returncode == 0
    table = tomllib.loads((folder / "mended" / "run.toml").read_text("utf-8"))
    assert table["mended"] == {"after": "before", "wires": ["W2"], "places": [], "pairs": []}
    assert table["isolation"] == "none"
    both = loomtest("judge", "wires.csv", "before", "mended")
    verdict = json.loads(loomtest("judge", "wires.csv", "before", "mended", "--json").stdout)
    assert not verdict["findings"] and verdict["coverage"]["wires_tested"] == 4
    assert "Run 1, before" in both.stdout and "6 readings. 1 more does not count" in both.stdout
    assert "Mended before it: W2." in both.stdout.replace("\n", " ")


def test_the_page_says_which_reading_came_from_which_run(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("X1:2 X2:2 0.3\n"))
    loomtest("log", "wires.csv", "--out", "mended", "--after", "before")
    done = loomtest("report", "wires.csv", "before", "mended", "--out", "page")
    assert done.returncode == 0, done.stderr
    page = (folder / "page" / "report.html").read_text("utf-8")
    day = tomllib.loads((folder / "mended" / "run.toml").read_text("utf-8"))["started"][:10]
    assert f"Run 2, mended, {day}: 1 reading." in page


def test_an_open_that_nobody_mended_still_counts(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("X1:2 X2:2 0.3\n"))
    loomtest("log", "wires.csv", "--out", "again", "--isolation", "none")  # no --after: nothing was mended
    verdict = json.loads(loomtest("judge", "wires.csv", "before", "again", "--json").stdout)
    told = [finding["fault"] for finding in (*verdict["findings"], *verdict["undecided"])]
    assert told == ["intermittent"]


def test_a_run_that_is_not_there_is_one_message(folder: Path) -> None:
    done = loomtest("plan", "wires.csv", "--after", "nothing")
    assert done.returncode == 2 and "nothing" in done.stderr and "Traceback" not in done.stderr
