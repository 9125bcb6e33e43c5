"""Kept runs: bags that anybody can check, a chain that shows what is missing, an index that may go."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
from pathlib import Path

import bagit
import pytest

from loomtest.errors import ArchiveError, InputError, RunFolderError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.database.upkeep import known_state
from loomtest.evidence.archive.folder import INDEX, LEDGER, Archive, default_archive
from loomtest.evidence.archive.index import Index
from loomtest.evidence.archive.keep import keep_run
from loomtest.evidence.archive.redraw import Redraw, verdict_differences
from loomtest.evidence.archive.verify import verify_archive
from loomtest.readings.run import resume_run
from tests.evidence.archive import kept

DEEP = os.environ.get("LOOMTEST_LAWS") == "deep"


def test_keeping_changes_nothing_in_the_run_and_takes_all_of_it(tmp_path: Path) -> None:
    run = kept.make_run(tmp_path / "run", kept.loom(tmp_path / "loom"))
    (run / "stream.csv").write_text("0.1\n")
    before = kept.tree(run)
    done = kept.keep(Archive(tmp_path / "archive"), run, "one")
    assert kept.tree(run) == before
    taken = kept.tree(done.folder / "data" / "run")
    assert taken == {name: data for name, data in before.items() if name != "run.lock"}
    assert {"run.toml", "readings.csv", "stream.csv", "harness/wires.csv"} <= set(taken)
    assert (done.folder / "data" / "report" / "report.html").is_file()
    assert json.loads((done.folder / "data" / "verdict.json").read_text())["verdict"] == "pass"


def test_a_bag_is_valid_to_the_library_and_to_sha256sum(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path)
    for entry in archive.entries():
        bag = archive.folder / entry.folder
        assert bagit.Bag(str(bag)).validate()
        assert (bag / "bagit.txt").read_text().startswith("BagIt-Version: 1.0\n")  # RFC 8493
        for manifest in ("manifest-sha256.txt", "manifest-sha512.txt"):
            tool = manifest[9:15] + "sum"
            subprocess.run([tool, "-c", "--quiet", "--strict", manifest], cwd=bag, check=True)
    subprocess.run(["sha256sum", "-c", "--quiet", "--strict", LEDGER], cwd=archive.folder, check=True)


def test_the_description_says_what_was_kept(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 2)
    entries = archive.entries()
    info = archive_bag.read_info(archive.folder / entries[2].folder)
    assert info["Harness"] == "orchard tractor, invented"
    assert (info["Stage"], info["Operator"], info["Bagging-Date"]) == ("after", "A. Nobody", "2026-05-02")
    assert info["Run-Started"] == "2026-05-02T12:00:00+02:00"
    assert info["Tool-Version"]
    assert (
        info["Previous-Tag-Manifest"] == entries[0].digest
    )  # of the same harness: the boat's is passed over
    assert archive_bag.read_info(archive.folder / entries[1].folder)["Previous-Tag-Manifest"].startswith(
        "none"
    )
    assert kept.wrong(archive) == {}


def test_every_change_of_a_single_byte_is_reported(tmp_path: Path) -> None:
    """Every byte of every file with LOOMTEST_LAWS=deep; otherwise both ends and a spread of each file."""
    archive = Archive(tmp_path / "archive")
    kept.keep(archive, kept.make_run(tmp_path / "run", kept.loom(tmp_path / "loom")), "one")
    (archive.folder / INDEX).unlink()  # what the index remembers is not to help
    bag = archive.folder / archive.entries()[0].folder
    tried = 0
    for path in sorted(p for p in bag.rglob("*") if p.is_file()):
        data = path.read_bytes()
        step = 1 if DEEP else max(1, len(data) // 4)
        for place in sorted({*range(0, len(data), step), len(data) - 1}):
            # another letter, the other case, a blank, an end of line in two ways
            changes = [data[place] ^ 1, data[place] ^ 0x20, 0x20, 0x0A, 0x0B]
            for byte in {*(changes if DEEP else (changes[0], changes[tried % 5]))} - {data[place]}:
                path.write_bytes(data[:place] + bytes([byte]) + data[place + 1 :])
                assert kept.wrong(archive, judge=False), (path.name, place, byte)
                tried += 1
        path.write_bytes(data)
    assert tried > 40
    assert kept.wrong(archive) == {}


def test_an_end_of_line_of_another_kind_in_a_manifest_is_reported(tmp_path: Path) -> None:
    # The library itself takes these for line feeds and finds nothing wrong.
    archive = kept.filled(tmp_path, 1)
    bag = archive.folder / archive.entries()[0].folder
    for name in ("manifest-sha256.txt", "tagmanifest-sha512.txt"):
        data = (bag / name).read_bytes()
        for end in (b"\x0b", b"\x0c", b"\x1c", b"\r", "\x85".encode(), "\u2028".encode()):
            (bag / name).write_bytes(data.replace(b"\n", end, 1))
            assert f"{name} was rewritten" in archive_bag.bag_problems(bag), end
        (bag / name).write_bytes(data)


def test_every_change_of_the_ledger_is_reported(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 2)
    (archive.folder / INDEX).unlink()
    path = archive.folder / LEDGER
    data = path.read_bytes()
    for place in range(0, len(data), 1 if DEEP else 9):
        path.write_bytes(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
        try:
            assert kept.wrong(archive, judge=False), place
        except ArchiveError as error:
            assert LEDGER in str(error)
    path.write_bytes(data)
    assert kept.wrong(archive) == {}


def test_a_file_that_is_gone_or_was_added_to_a_bag_is_reported(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 1)
    bag = archive.folder / archive.entries()[0].folder
    for path in sorted(p for p in bag.rglob("*") if p.is_file()):
        data = path.read_bytes()
        path.unlink()
        assert kept.wrong(archive, judge=False), path
        path.write_bytes(data)
    for name in (
        "note.txt",
        "data/extra.csv",
        "data/run/extra.csv",
        "tagmanifest-md5.txt",
        "signature-ed25519.txt",
    ):
        (bag / name).write_text("x\n")
        assert kept.wrong(archive, judge=False), name
        (bag / name).unlink()
    (bag / "link").symlink_to(bag / "bagit.txt")
    assert "a link" in str(kept.wrong(archive, judge=False))
    (bag / "link").unlink()
    assert kept.wrong(archive) == {}


@pytest.mark.parametrize("with_index", [True, False])
def test_a_bag_that_is_deleted_swapped_copied_or_added_is_reported(tmp_path: Path, with_index: bool) -> None:
    archive = kept.filled(tmp_path, 3)
    if not with_index:
        (archive.folder / INDEX).unlink()
    folders = [archive.folder / entry.folder for entry in archive.entries()]
    aside = tmp_path / "aside"
    for bag in folders:
        bag.rename(aside)
        assert set(kept.wrong(archive)) == {bag.name}
        assert kept.wrong(archive)[bag.name] == ("is missing",)
        aside.rename(bag)
    for one, other in ((0, 1), (0, 2), (2, 3)):
        folders[one].rename(aside)
        folders[other].rename(folders[one])
        aside.rename(folders[other])
        assert {folders[one].name, folders[other].name} <= set(kept.wrong(archive))
        folders[one].rename(aside)
        folders[other].rename(folders[one])
        aside.rename(folders[other])
    shutil.copytree(folders[-1], archive.folder / "a-copy")
    assert set(kept.wrong(archive)) == {"a-copy"}
    shutil.rmtree(archive.folder / "a-copy")
    (archive.folder / "imported").mkdir()
    shutil.copytree(folders[-1], archive.folder / "imported" / "a-copy")
    assert set(kept.wrong(archive)) == {"imported/a-copy"}
    shutil.rmtree(archive.folder / "imported")
    (archive.folder / ".DS_Store").write_bytes(b"what a file manager leaves behind is no bag")
    assert kept.wrong(archive) == {}


@pytest.mark.parametrize("with_index", [True, False])
def test_a_ledger_with_lines_moved_gone_or_added_is_reported(tmp_path: Path, with_index: bool) -> None:
    archive = kept.filled(tmp_path, 3)
    if not with_index:
        (archive.folder / INDEX).unlink()
    path = archive.folder / LEDGER
    lines = path.read_text().splitlines(keepends=True)
    for one in range(len(lines) - 1):
        moved = [*lines[:one], lines[one + 1], lines[one], *lines[one + 2 :]]
        path.write_text("".join(moved))
        assert kept.wrong(archive), one
    for one in range(len(lines)):
        path.write_text("".join(lines[:one] + lines[one + 1 :]))
        assert kept.wrong(archive), one
    path.unlink()
    assert LEDGER in kept.wrong(archive)
    path.write_text("".join(lines))
    assert kept.wrong(archive) == {}


def test_the_newest_bag_and_its_line_gone_together_show_in_the_index(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 2)
    last = archive.entries()[-1]
    shutil.rmtree(archive.folder / last.folder)
    path = archive.folder / LEDGER
    path.write_text("".join(path.read_text().splitlines(keepends=True)[:-1]))
    assert last.folder in str(kept.wrong(archive)[LEDGER])


def test_a_rewritten_bag_with_new_manifests_is_not_the_bag_that_was_kept(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 2)
    bag = archive.folder / archive.entries()[0].folder
    readings = bag / "data" / "run" / "readings.csv"
    readings.write_text(readings.read_text().replace("0.1", "0.3"))
    bagit.Bag(str(bag)).save(manifests=True)
    assert bagit.Bag(str(bag)).validate()  # which is why the chain is there
    assert "is not the bag that was kept" in str(kept.wrong(archive)[bag.name])


def test_judging_again_compares_faults_and_verdicts(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 2)  # the second run has a bad joint
    entries = archive.entries()
    said = {one.name: one.said for one in kept.checked(archive)}
    drawn = "page and pictures drawn again, same result"
    assert said[entries[0].folder] == ("verdict pass; judged again, same result", drawn)
    assert said[entries[2].folder] == ("verdict fail; judged again, same result", drawn)

    def lenient(harness: object, readings: object) -> object:
        verdict = kept.simple_judge(harness, readings)
        return verdict.__class__(**{**vars(verdict), "findings": (), "verdict": "pass"})

    found = {
        one.name: one.wrong
        for one in verify_archive(archive, Redraw(lenient, kept.simple_report))
        if one.wrong
    }
    assert set(found) == {entries[2].folder}
    assert "verdict was fail, is pass" in found[entries[2].folder][0]
    assert "high-resistance at X1:2 and X2:2" in found[entries[2].folder][0]


def test_a_changed_tool_version_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = kept.filled(tmp_path, 1)
    monkeypatch.setattr("loomtest.evidence.archive.redraw.version", lambda name: "99.0")
    assert "this is 99.0" in kept.checked(archive)[0].said[0]


def test_verdicts_that_differ_only_in_digits_are_the_same() -> None:
    fault = {"fault": "open", "points": ["A", "B"], "suspects": [{"wire": "W1", "ohms": 1.0}], "moves": {}}
    one = {
        "verdict": "fail", "wiring": "fail", "joints": "pass", "undecided": [],
        "findings": [fault],
        "wires": [{"wire": "W1", "verdict": "fail", "ohms": 1.0}],
    }  # fmt: skip
    other = json.loads(json.dumps(one))
    other["wires"][0]["ohms"] = 1.0000001
    other["findings"][0]["suspects"][0]["ohms"] = 1.0000001
    assert verdict_differences(one, other) == []
    other["wires"][0]["verdict"] = "pass"
    other["findings"][0]["points"] = ["A", "C"]
    assert len(verdict_differences(one, other)) == 3


def current(archive: Archive) -> bool:
    state = known_state(Index(archive).database)
    return state is not None and state.fits(archive.ledger()) and state.runs == len(archive.ledger())


def test_the_index_is_derived_and_safe_to_delete(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 3)
    index = Index(archive)
    before = (index.kept(), index.wires([1, 2, 3, 4]))
    assert current(archive)
    for damage in (b"", b"not a database at all, whatever it was before", None):
        if damage is None:
            (archive.folder / INDEX).unlink()
        else:
            (archive.folder / INDEX).write_bytes(damage)
        index.catch_up()
        assert (index.kept(), index.wires([1, 2, 3, 4])) == before
    with sqlite3.connect(archive.folder / INDEX) as base:
        base.execute("UPDATE about SET version = 'older'")
    base.close()
    assert not current(archive)
    index.catch_up()
    assert (index.kept(), index.wires([1, 2, 3, 4])) == before
    assert kept.wrong(archive) == {}


def test_an_index_of_another_ledger_is_made_again(tmp_path: Path) -> None:
    one, other = kept.filled(tmp_path / "one", 2), kept.filled(tmp_path / "other", 1)
    shutil.copy(one.folder / INDEX, other.folder / INDEX)
    assert not current(other)
    Index(other).catch_up()
    assert [(k.folder, k.digest) for k in Index(other).kept()] == [
        (e.folder, e.digest) for e in other.entries()
    ]


def test_a_run_that_is_being_recorded_is_not_kept(tmp_path: Path) -> None:
    run = kept.make_run(tmp_path / "run", kept.loom(tmp_path / "loom"))
    archive = Archive(tmp_path / "archive")
    with resume_run(run, clock=lambda: kept.BEGIN), pytest.raises(RunFolderError, match="another program"):
        kept.keep(archive, run, "one")
    assert kept.keep(archive, run, "one").folder.is_dir()


def test_what_cannot_be_kept_leaves_nothing_behind(tmp_path: Path) -> None:
    harness = kept.loom(tmp_path / "loom")
    run = kept.make_run(tmp_path / "run", harness)
    archive = Archive(tmp_path / "archive")
    (run / "link").symlink_to(run / "run.toml")
    with pytest.raises(InputError, match="a link"):
        kept.keep(archive, run, "one")
    (run / "link").unlink()
    shutil.rmtree(run / "harness")
    with pytest.raises(InputError, match="no harness"):
        kept.keep(archive, run, "one")
    with pytest.raises(InputError, match="no such"):
        kept.keep(archive, tmp_path / "none", "one")
    with pytest.raises(ZeroDivisionError):
        other = kept.make_run(tmp_path / "other", harness)
        failing = kept.keeping("two").__class__(lambda *_: 1 / 0, kept.simple_report, kept.BEGIN, "two")
        keep_run(other, archive, failing)
    assert archive.entries() == ()
    assert archive.leftovers() == []


def test_two_bags_of_one_name_are_refused(tmp_path: Path) -> None:
    run = kept.make_run(tmp_path / "run", kept.loom(tmp_path / "loom"))
    archive = Archive(tmp_path / "archive")
    kept.keep(archive, run, "one")
    with pytest.raises(ArchiveError, match="there already"):
        kept.keep(archive, run, "one")
    kept.keep(archive, run, "two")
    assert kept.wrong(archive) == {}


def test_an_archive_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="nothing has been kept"):
        kept.checked(Archive(tmp_path / "none"))
    with pytest.raises(ArchiveError, match="no bags"):
        (tmp_path / "empty").mkdir()
        kept.checked(Archive(tmp_path / "empty"))


def test_where_the_archive_is_by_default(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("LOOMTEST_ARCHIVE", str(tmp_path / "here"))
    assert default_archive() == tmp_path / "here"
    monkeypatch.delenv("LOOMTEST_ARCHIVE")
    assert default_archive() == Path.home() / "loomtest-archive"
