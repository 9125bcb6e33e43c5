"""The line of a station: nothing that was scanned is lost or kept twice, whenever the program is stopped."""

from __future__ import annotations

import random
import shutil
import signal
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.sockets import proposed
from loomtest.errors import InstrumentError, LoomtestError, RunFolderError
from loomtest.evidence.archive.bag import read_info
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.redraw import Redraw
from loomtest.evidence.archive.verify import verify_archive
from loomtest.evidence.page.page import write_report
from loomtest.evidence.station.line import UnitLine, unit_of
from loomtest.words.verdict import judge
from tests.evidence.station.stopped import Bench


@pytest.fixture(scope="module")
def loom(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("loom")
    rows = [f"X1:{n},X2:{n},W{n},1,1.0" for n in range(1, 5)]
    (folder / "wires.csv").write_text("from,to,wire,size,length\n" + "\n".join(rows) + "\n", "utf-8")
    (folder / "harness.toml").write_text('name = "line loom"\nwires = "wires.csv"\n', "utf-8")
    return folder


@pytest.fixture(scope="module")
def first(loom: Path, tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return Bench(loom, tmp_path_factory.mktemp("first"))


@pytest.fixture
def bench(first: Bench, tmp_path: Path) -> Bench:
    """A bench of its own archive; the board's answers are known from the first."""
    own = Bench.__new__(Bench)
    own.harness, own.port, own.log = first.harness, first.port, tmp_path / "finished.log"
    own.log.touch()
    own.settings = replace(first.settings, archive=Archive(tmp_path / "archive"), runs=tmp_path / "runs")
    return own


def test_a_unit_is_kept_with_who_where_and_which_and_its_run_is_gone(bench: Bench) -> None:
    bench.settings = replace(bench.settings, job="1042", customer="the harbour")
    bench.one(bench.port, "hull 7")
    (entry,) = bench.settings.archive.entries()
    info = read_info(bench.settings.archive.folder / entry.folder)
    told = {key: info[key] for key in ("Unit", "Job", "Customer", "Operator", "Bench", "Stage", "Rehearsal")}
    assert told == {
        "Unit": "hull 7", "Job": "1042", "Customer": "the harbour", "Operator": "Kim", "Bench": "bench 1",
        "Stage": "line", "Rehearsal": "true",
    }  # fmt: skip
    assert [path.name for path in bench.settings.runs.iterdir()] == [".lock"]
    checked = list(verify_archive(bench.settings.archive, Redraw(judge, write_report)))
    assert len(checked) == 1 and checked[0].good and "verdict pass" in " ".join(checked[0].said)


def test_a_number_that_was_kept_before_is_known(bench: Bench) -> None:
    line = UnitLine(bench.settings)
    assert line.kept_before("hull 7") is None
    line.close()
    bench.one(bench.port, "hull 7")
    line = UnitLine(bench.settings)
    found = line.kept_before("hull 7")
    assert found is not None and (found.verdict, found.unit) == ("pass", "hull 7")
    assert line.kept_before("hull") is None
    line.close()


def test_killed_at_any_moment_nothing_is_lost_and_nothing_kept_twice(bench: Bench) -> None:
    scan_s, keep_s = bench.one(bench.port, "whole")
    rng = random.Random(7)
    for number in range(14):
        scanned = number >= 4
        most_s = 1.1 * keep_s if scanned else scan_s
        bench.killed(f"unit {number}", rng.uniform(0.0, most_s), signal.SIGKILL, scanned)
        bench.settle()
    assert len(bench.finished()) >= 11
    finished, kept = bench.finished(), bench.kept()
    assert sorted(set(kept)) == sorted(kept)
    assert set(finished) <= set(kept)
    assert not [one for one in verify_archive(bench.settings.archive) if one.wrong]


def scanned(bench: Bench, unit: str) -> Path:
    line = UnitLine(bench.settings)
    with Scanner(bench.port) as scanner:
        folder = line.scan(unit, scanner, proposed(bench.harness, scanner.identity.pins))
    line.close()
    return folder


def test_a_scan_that_was_finished_is_kept_at_the_next_start_and_one_that_was_not_is_told(
    bench: Bench,
) -> None:
    scanned(bench, "done")
    begun = scanned(bench, "begun")
    lines = (begun / "run.toml").read_text().splitlines(keepends=True)
    (begun / "run.toml").write_text("".join(line for line in lines if '"ended"' not in line))
    found = {one.unit: one for one in bench.settle()}
    assert found["done"].kept is not None and found["begun"].kept is None
    assert [one.unit for one in bench.settle()] == ["begun"]  # told at every start ...
    bench.one(bench.port, "begun")
    assert bench.settle() == []  # ... until the unit was scanned whole
    assert (bench.settings.runs / "unfinished" / begun.name / "readings.csv").is_file()


def test_a_run_whose_bag_stands_already_is_not_kept_again(bench: Bench, tmp_path: Path) -> None:
    folder = scanned(bench, "twice")
    shutil.copytree(folder, tmp_path / "copy")
    line = UnitLine(bench.settings)
    line.keep(folder)
    line.close()
    shutil.copytree(tmp_path / "copy", folder)  # as if stopped between the bag and the removal
    (again,) = bench.settle()
    assert again.again and len(bench.kept()) == 1 and not folder.exists()


def test_an_archive_that_cannot_be_written_leaves_the_scan_and_takes_it_later(
    bench: Bench, tmp_path: Path
) -> None:
    folder = scanned(bench, "later")
    (tmp_path / "archive").write_text("in the way")
    line = UnitLine(bench.settings)
    with pytest.raises((LoomtestError, OSError)):
        line.keep(folder)
    assert line.waiting() == [folder]
    (tmp_path / "archive").unlink()
    line.keep(folder)
    assert line.waiting() == [] and len(bench.kept()) == 1
    line.close()


def test_a_scan_that_fails_is_no_finished_scan(bench: Bench) -> None:
    class Gone(Scanner):
        def scan(self, rows=None):  # type: ignore[no-untyped-def]
            yield from list(super().scan(rows))[:3]
            raise InstrumentError("the connection to the scanner is lost")

    line = UnitLine(bench.settings)
    with Gone(bench.port) as scanner, pytest.raises(InstrumentError):
        line.scan("gone", scanner, proposed(bench.harness, scanner.identity.pins))
    assert line.waiting() == []
    line.close()
    assert [(one.unit, one.kept) for one in bench.settle()] == [("gone", None)]


def test_two_stations_do_not_share_a_folder_of_runs(bench: Bench) -> None:
    line = UnitLine(bench.settings)
    with pytest.raises(RunFolderError, match="--runs"):
        UnitLine(bench.settings)
    line.close()
    UnitLine(bench.settings).close()


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("  hull 7 \n", "hull 7"),
        ("77-B", "77-B"),
        ("", None),
        ("\x1b[2J", None),
        ("x" * 61, None),
        ("Nº 4", "Nº 4"),
    ],
)
def test_what_is_a_units_number(text: str, unit: str | None) -> None:
    assert unit_of(text) == unit


def test_the_time_of_a_run_is_the_benchs_own(bench: Bench) -> None:
    at = datetime.fromisoformat("2026-03-14T10:00:00+01:00")
    bench.settings = replace(bench.settings, clock=lambda: at)
    folder = scanned(bench, "clock")
    assert "20260314-100000" in folder.name
    assert "2026-03-14T10:00:00.000+01:00" in (folder / "readings.csv").read_text()
