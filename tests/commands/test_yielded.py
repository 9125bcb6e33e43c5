"""`loomtest yield` as it is typed: words, pictures and tables."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest
from tests.evidence.archive.many import HARNESS, many


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("shop") / "archive"
    many(folder, 600)
    return str(folder)


def test_in_words_of_eighty_columns(archive: str) -> None:
    done = loomtest("yield", HARNESS, "--archive", archive)
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == HARNESS and lines[1].startswith("Right at the first try: ")
    assert "Commonest faults by place" in done.stdout and "open: X1 cavity" in done.stdout
    assert "At bench-3, circuit 7 (W7) has risen by" in done.stdout
    assert max(map(len, lines)) <= 80
    assert " more (--all shows them)" in done.stdout
    everything = loomtest("yield", HARNESS, "--archive", archive, "--all").stdout
    assert " more (--all shows them)" not in everything
    assert all(f"circuit {wire} (W{wire}): " in everything for wire in range(1, 31))


def test_plots_and_tables_go_where_they_are_asked(archive: str, tmp_path: Path) -> None:
    out = ["--out", str(tmp_path / "plots"), "--circuit", "W7"]
    files = ["--csv", str(tmp_path / "units.csv"), "--parquet", str(tmp_path / "units.parquet")]
    done = loomtest("yield", HARNESS, "--archive", archive, *out, *files, "--newest", "80", "--json")
    told = json.loads(done.stdout)
    names = [Path(name).name for name in told["files"]]
    assert names == [
        "units.csv",
        "units.parquet",
        "faults.png",
        "faults.svg",
        "chart-1.png",
        "chart-1.svg",
    ]
    assert told["units_measured"] == 80
    with (tmp_path / "units.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    import pandas as pd

    frame = pd.read_parquet(tmp_path / "units.parquet")
    assert len(rows) == len(frame) > 80 * 29
    assert [float(row["ohms"]) for row in rows] == pytest.approx(frame["ohms"].tolist())
    svg = (tmp_path / "plots" / "chart-1.svg").read_text("utf-8")
    assert "circuit 7 (W7)" in svg
    assert svg.count("<circle") >= 80


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--since", "1 May"], '--since: found "1 May"; expected a day written as 2026-05-01'),
        (["--until", "2026-02-30"], "--until"),
        (["--stage", "before"], "nothing of that kind has been kept"),
        (["--bench", "nobody's"], "nothing of that kind has been kept"),
        (["--out", "plots", "--circuit", "horn"], '--circuit: found "horn"; expected one of circuit 1'),
        (["--csv", "no/such/folder.csv"], "--csv: found a place that cannot be written"),
    ],
)
def test_what_cannot_be_done_is_told(
    archive: str, arguments: list[str], message: str, tmp_path: Path
) -> None:
    done = loomtest("yield", HARNESS, "--archive", archive, *arguments, cwd=tmp_path)
    assert done.returncode == 2 and message in done.stderr.replace("\n  ", " ")
    assert "Traceback" not in done.stderr
