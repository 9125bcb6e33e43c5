"""What the program derives is never trusted: the index, and pages replaced before a bag was closed."""

from __future__ import annotations

import shutil
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import pytest

from loomtest.errors import ArchiveError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.folder import INDEX, Archive
from loomtest.evidence.archive.history import history_of
from loomtest.evidence.archive.redraw import redrawn
from loomtest.evidence.archive.verify import verify_archive
from loomtest.evidence.archive.zip import export_bag, import_bag
from tests.evidence.archive import kept


def wrong(archive: Archive) -> dict[str, str]:
    return {one.name: "; ".join(one.wrong) for one in verify_archive(archive) if one.wrong}


def test_a_verdict_changed_in_the_index_is_told_and_mended(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 3)
    true = [run.verdict for run in history_of(archive).runs]
    assert "fail" in true
    with closing(sqlite3.connect(archive.folder / INDEX)) as base, base:
        base.execute("UPDATE bag SET verdict = 'pass'")
    told = wrong(archive)
    assert list(told) == [INDEX] and "does not follow from the bags" in told[INDEX]
    assert wrong(archive) == {}
    assert [run.verdict for run in history_of(archive).runs] == true


def test_history_of_an_index_that_is_not_the_bags_says_so(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 3)
    true = history_of(archive)
    assert not true.index_was_wrong
    with closing(sqlite3.connect(archive.folder / INDEX)) as base, base:
        base.execute("UPDATE measured SET ohms = zeroblob(length(ohms))")
    now = history_of(archive)
    assert now.index_was_wrong
    assert (now.runs, now.courses) == (true.runs, true.courses)


ENDLESS = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n"


@pytest.mark.parametrize(
    "attack",
    [
        f"ALTER TABLE bag RENAME TO was; CREATE VIEW bag AS {ENDLESS}",
        "CREATE TRIGGER t AFTER INSERT ON bag BEGIN DELETE FROM measured; END",
        "CREATE TABLE more (x)",
        "UPDATE bag SET stage = zeroblob(5000000)",
    ],
)
def test_a_hostile_index_is_made_anew_within_seconds(tmp_path: Path, attack: str) -> None:
    archive = kept.filled(tmp_path, 2)
    true = history_of(archive).runs
    with closing(sqlite3.connect(archive.folder / INDEX)) as base, base:
        base.executescript(attack)
    began = time.monotonic()
    wrong(archive)
    assert time.monotonic() - began < 20  # the endless view would never come back
    assert wrong(archive) == {}
    assert history_of(archive).runs == true


def test_an_index_that_is_a_link_is_replaced_and_its_aim_left_alone(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 1)
    aim = tmp_path / "precious"
    aim.write_bytes(b"not ours")
    (archive.folder / INDEX).unlink()
    (archive.folder / INDEX).symlink_to(aim)
    assert len(history_of(archive).runs) == 2
    assert aim.read_bytes() == b"not ours"
    assert not (archive.folder / INDEX).is_symlink()


def forged(archive: Archive, folder: str, change: dict[str, str] | None = None) -> Path:
    """The bag's page replaced and every checksum made good, as an insider would; `change`: of bag-info."""
    bag = archive.folder / folder
    (bag / "data" / "report" / "report.html").write_text("<h1>Everything checks out</h1>")
    info = {**archive_bag.read_info(bag), **(change or {})}
    aside = archive.folder.parent / "aside"
    shutil.copytree(bag / "data", aside)
    shutil.rmtree(bag)
    aside.rename(bag)
    archive_bag.sync_tree(bag)
    archive_bag.close_bag(bag, {k: v for k, v in info.items() if k not in ("Payload-Oxum",)})
    assert archive_bag.bag_problems(bag) == []
    return bag


@pytest.mark.parametrize("claims", ["", "0.0.1", "99.0"])
def test_a_replaced_page_is_never_good_whatever_version_it_claims(tmp_path: Path, claims: str) -> None:
    archive = kept.filled(tmp_path, 1)
    entry = archive.entries()[0]
    assert redrawn(archive.folder / entry.folder, kept.SIMPLE).unchecked == ()
    bag = forged(archive, entry.folder, {archive_bag.TOOL: claims} if claims else None)
    again = redrawn(bag, kept.SIMPLE)
    assert again.wrong or again.unchecked
    assert "report/report.html" in " ".join(again.wrong + again.unchecked)


def test_a_stranger_s_page_is_taken_in_only_under_that_mark(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 1)
    entry = archive.entries()[0]
    forged(archive, entry.folder)
    packed = export_bag(archive, entry.name, tmp_path / "run.zip")
    mine = Archive(tmp_path / "mine")
    taken = import_bag(mine, packed, kept.SIMPLE)
    assert taken.entry.unproven and "report.html is not what the readings give" in taken.why[0]
    for _ in range(2):
        assert "does not follow from its readings" in wrong(mine)[taken.entry.folder]


def test_a_folder_that_is_no_archive_is_told_so_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "holiday" / "pictures").mkdir(parents=True)
    with pytest.raises(ArchiveError, match="no archive"):
        list(verify_archive(Archive(tmp_path)))
    assert [path.name for path in tmp_path.iterdir()] == ["holiday"]
