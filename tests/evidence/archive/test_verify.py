"""Verifying less than everything, by several processes, and with clocks that differ."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from loomtest.evidence.archive import crew
from loomtest.evidence.archive.bag import state_of_files
from loomtest.evidence.archive.folder import INDEX, Archive
from loomtest.evidence.archive.index import Index
from loomtest.evidence.archive.verify import Checked, Scope, verify_archive
from tests.commands.in_process import loomtest
from tests.evidence.archive import kept

CHANGED = Scope(changed=True)


def checked(archive: Archive, scope: Scope) -> list[Checked]:
    return list(verify_archive(archive, scope=scope))


def spoil(archive: Archive, place: int) -> Path:
    """One letter of a kept run's readings is another, and the file no longer or shorter."""
    path = archive.folder / archive.entries()[place - 1].folder / "data" / "run" / "readings.csv"
    path.write_bytes(path.read_bytes().replace(b"0.1", b"0.7", 1))
    return path


def test_what_did_not_change_is_not_read_again_and_what_did_is(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path)
    assert [one.name for one in checked(archive, CHANGED)][-1] == "4 of 4 runs were read"  # the first time
    (summary,) = checked(archive, CHANGED)
    assert summary.name == "0 of 4 runs were read" and "4 have the names, sizes and times" in summary.said[0]
    path = spoil(archive, 3)
    told, summary = checked(archive, CHANGED)
    assert told.name == archive.entries()[2].folder and told.wrong == ("data/run/readings.csv was changed",)
    assert summary.name == "1 of 4 runs were read"
    path.write_bytes(path.read_bytes().replace(b"0.7", b"0.1", 1))
    told, _ = checked(archive, CHANGED)  # as it was, but written since: it is read
    assert told.good
    assert len(checked(archive, CHANGED)) == 1


def test_a_whole_verify_does_not_believe_what_the_index_says_was_read(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path)
    kept.checked(archive, judge=False)
    path = spoil(archive, 3)
    bag = archive.folder / archive.entries()[2].folder
    with closing(sqlite3.connect(archive.folder / INDEX)) as base, base:
        base.execute("UPDATE checked SET state = ? WHERE sequence = 3", (state_of_files(bag),))
    assert [one.name for one in checked(archive, CHANGED)] == ["0 of 4 runs were read"]
    assert list(kept.wrong(archive, judge=False)) == [bag.name]
    assert path.is_file()


def test_runs_since_a_date_are_read_with_their_place_in_the_chain(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path)
    entries = archive.entries()
    found = checked(archive, Scope(since="2026-05-02"))
    assert [one.name for one in found] == [*(e.folder for e in entries[2:]), "2 of 4 runs were read"]
    assert all(one.good for one in found)
    spoil(archive, 1)
    assert all(one.good for one in checked(archive, Scope(since="2026-05-02")))
    assert not all(one.good for one in checked(archive, Scope(since="2026-05-01")))
    # The bag before the first that is read is another: the chain shows it, though that bag is not read.
    (archive.folder / entries[0].folder / "bag-info.txt").write_text("Harness: another\n")
    told = checked(archive, Scope(since="2026-05-02"))[0]
    assert "is out of its place in the chain" in told.wrong[0]


def test_a_sample_says_how_much_it_is_worth(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path)
    found = checked(archive, Scope(sample=3))
    assert len(found) == 4 and found[-1].name == "3 of 4 runs were read"
    # 1 - 0.05 ** (1/3): so many wrong, and three good ones come up one time in twenty.
    assert found[-1].said == ("with 95 % confidence fewer than 632 in 1000 are wrong",)
    assert len({checked(archive, Scope(sample=1))[0].name for _ in range(40)}) == 4  # another one each time


@pytest.mark.parametrize("damaged", [False, True])
def test_several_processes_find_what_one_finds(
    tmp_path: Path, damaged: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = kept.filled(tmp_path)
    if damaged:
        spoil(archive, 2)
    alone = checked(archive, Scope())
    monkeypatch.setattr(crew, "_LEAST", 1)
    monkeypatch.setattr(crew, "_AT_ONCE", 1)
    many = Archive(archive.folder, processes=2)
    assert checked(many, Scope()) == alone
    assert [one.good for one in alone] == [True, not damaged, True, True]
    (archive.folder / INDEX).unlink()
    assert Index(many).catch_up() == 4
    by_many = Index(many).kept()
    (archive.folder / INDEX).unlink()
    assert Index(archive).catch_up() == 4
    assert by_many == Index(archive).kept()


def test_verify_brings_the_index_up_where_all_is_in_order(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path)
    (archive.folder / INDEX).unlink()
    spoil(archive, 2)
    assert kept.wrong(archive, judge=False) and not (archive.folder / INDEX).exists()
    path = archive.folder / archive.entries()[1].folder / "data" / "run" / "readings.csv"
    path.write_bytes(path.read_bytes().replace(b"0.7", b"0.1", 1))
    assert kept.wrong(archive, judge=False) == {}
    assert Index(archive).counted() == 4


def test_clocks_that_differ_are_told_and_the_order_stays_that_of_keeping(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 1)
    kept.keep(archive, tmp_path / "run0", "late", 3.0)
    kept.keep(archive, tmp_path / "run0", "slow-clock", 2.0)
    found = checked(archive, Scope())
    assert all(one.good for one in found)
    assert [one.said for one in found if one.said] == [
        ("kept by a clock 24 h behind that of the run before",)
    ]
    assert [run.folder for run in Index(archive).kept()] == [entry.folder for entry in archive.entries()]


def test_a_date_that_is_none_is_refused(tmp_path: Path) -> None:
    done = loomtest("verify", "--archive", str(kept.filled(tmp_path, 1).folder), "--since", "last week")
    assert done.returncode == 2 and "YYYY-MM-DD" in done.stderr
