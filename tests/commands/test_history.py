"""`loomtest history` by what is asked: the choices combine, and the table for an engine has the same runs."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest
from tests.evidence.archive.many import HARNESS, MadeRun, made_runs, many

COUNT = 700


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("shop") / "archive"
    many(folder, COUNT)
    return str(folder)


def faults(run: MadeRun) -> list[dict[str, object]]:
    return list(run.verdict["findings"])


@pytest.mark.parametrize(
    ("arguments", "belongs"),
    [
        (["--bench", "bench-2"], lambda run: run.info["Bench"] == "bench-2"),
        (["--operator", "A. Nobody 1"], lambda run: run.info["Operator"] == "A. Nobody 1"),
        (["--job", "1001"], lambda run: run.info["Job"] == "1001"),
        (["--unit", "U000007"], lambda run: run.info["Unit"] == "U000007"),
        (["--verdict", "fail"], lambda run: run.verdict["verdict"] == "fail"),
        (["--fault", "open"], lambda run: any(one["fault"] == "open" for one in faults(run))),
        (
            ["--since", "2026-05-02", "--until", "2026-05-02", "--bench", "bench-4", "--verdict", "pass"],
            lambda run: (
                run.info["Run-Started"].startswith("2026-05-02")
                and run.info["Bench"] == "bench-4"
                and run.verdict["verdict"] == "pass"
            ),
        ),
    ],
)
def test_the_choices_take_just_the_runs_that_are_meant(
    archive: str, arguments: list[str], belongs: Callable[[MadeRun], bool]
) -> None:
    expected = [run.name for run in made_runs(COUNT) if belongs(run)]
    assert 0 < len(expected) < COUNT
    done = loomtest("history", HARNESS, "--archive", archive, *arguments, "--json")
    assert done.returncode == 0
    assert [run["bag"] for run in json.loads(done.stdout)["runs"]] == expected


def test_a_place_is_that_point_and_no_other(archive: str) -> None:
    points = [run for run in made_runs(COUNT) if faults(run) and "X1:1" in faults(run)[0]["points"]]  # type: ignore[operator]
    others = [run for run in made_runs(COUNT) if faults(run) and "X1:11" in faults(run)[0]["points"]]  # type: ignore[operator]
    assert others
    done = loomtest("history", HARNESS, "--archive", archive, "--place", "X1:11", "--json")
    assert [run["bag"] for run in json.loads(done.stdout)["runs"]] == [run.name for run in others]
    done = loomtest("history", HARNESS, "--archive", archive, "--place", "X1:1", "--json")
    assert done.returncode == (0 if points else 2)


def test_the_same_runs_as_parquet(archive: str, tmp_path: Path) -> None:
    file = tmp_path / "runs.parquet"
    done = loomtest(
        "history", "--archive", archive, "--verdict", "fail", "--parquet", str(file), cwd=tmp_path
    )
    assert done.returncode == 0 and "runs.parquet" in done.stdout
    import pandas as pd

    frame = pd.read_parquet(file)
    failed = [run for run in made_runs(COUNT) if run.verdict["verdict"] == "fail"]
    assert frame["bag"].tolist() == [run.name for run in failed]
    assert frame["bench"].tolist() == [run.info["Bench"] for run in failed]
    assert frame["findings"].tolist() == [1] * len(failed)
    assert frame["rehearsal"].dtype == bool and frame["run"].is_monotonic_increasing


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--verdict", "right"], '--verdict: found "right"; expected one of pass, fail, not-proven'),
        (["--fault", "broken"], '--fault: found "broken"; expected one of open, short'),
        (["--since", "2026-13-01"], '--since: found "2026-13-01"; expected a day written as 2026-05-01'),
        (["--stage", "before"], "nothing of that stage has been kept"),
        (["--bench", "bench-9"], "nothing of that bench has been kept"),
    ],
)
def test_what_is_no_choice_is_told(archive: str, arguments: list[str], message: str) -> None:
    done = loomtest("history", "--archive", archive, *arguments)
    assert done.returncode == 2 and message in " ".join(done.stderr.split())
