"""A bag to a zip and back; and every zip that must not be unpacked."""

from __future__ import annotations

import shutil
import stat
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from loomtest.errors import ArchiveError, InputError
from loomtest.evidence.archive import zip as archive_zip
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.keep import keep_run
from loomtest.evidence.archive.sign import SIGNATURE_FILE, load_key, new_key
from loomtest.evidence.archive.zip import export_bag, import_bag
from tests.evidence.archive import kept

Member = tuple[zipfile.ZipInfo, bytes]


def packed(folder: Path) -> tuple[Archive, Path]:
    archive = kept.filled(folder, 2)
    return archive, export_bag(archive, archive.entries()[2].name, folder / "bag.zip")


def members(path: Path) -> list[Member]:
    with zipfile.ZipFile(path) as source:
        return [(info, source.read(info)) for info in source.infolist()]


def written(path: Path, content: list[Member]) -> Path:
    with zipfile.ZipFile(path, "w") as out:
        for info, data in content:
            out.writestr(info, data)
    return path


def named(name: str, mode: int = stat.S_IFREG | 0o644) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo("x")
    info.filename = name  # past the tidying that the constructor does
    info.external_attr = mode << 16
    return info


def test_there_and_back_every_byte_is_the_same(tmp_path: Path) -> None:
    archive, path = packed(tmp_path)
    other = Archive(tmp_path / "other")
    entry = import_bag(other, path, kept.SIMPLE).entry
    source = archive.folder / archive.entries()[2].folder
    assert kept.tree(other.folder / entry.folder) == kept.tree(source)
    assert entry.folder == f"imported/{source.name}"
    assert entry.digest == archive.entries()[2].digest
    assert kept.wrong(other) == {}  # though the bag before it is not here
    assert other.leftovers() == []


def test_the_same_bag_is_the_same_zip(tmp_path: Path) -> None:
    archive, path = packed(tmp_path)
    again = export_bag(archive, archive.entries()[2].folder, tmp_path / "again.zip")
    assert again.read_bytes() == path.read_bytes()


def test_what_is_kept_after_an_import_has_its_own_chain(tmp_path: Path) -> None:
    _, path = packed(tmp_path)
    other = Archive(tmp_path / "other")
    import_bag(other, path, kept.SIMPLE)
    kept.keep(other, tmp_path / "run0", "own")
    kept.keep(other, tmp_path / "run0", "own2")
    assert kept.wrong(other) == {}


def test_a_bag_that_is_here_already_is_refused(tmp_path: Path) -> None:
    archive, path = packed(tmp_path)
    with pytest.raises(ArchiveError, match="already"):
        import_bag(archive, path, kept.SIMPLE)
    other = Archive(tmp_path / "other")
    import_bag(other, path, kept.SIMPLE)
    with pytest.raises(ArchiveError, match="already"):
        import_bag(other, path, kept.SIMPLE)


def test_a_damaged_bag_is_not_exported_and_no_zip_is_overwritten(tmp_path: Path) -> None:
    archive, path = packed(tmp_path)
    before = path.read_bytes()
    with pytest.raises(InputError, match="of that name"):
        export_bag(archive, archive.entries()[2].name, path)
    assert path.read_bytes() == before
    with pytest.raises(ArchiveError, match="no bag named"):
        export_bag(archive, "nothing", tmp_path / "new.zip")
    with (archive.folder / archive.entries()[2].folder / "data" / "verdict.json").open("a") as stream:
        stream.write(" ")
    with pytest.raises(ArchiveError, match="damaged"):
        export_bag(archive, archive.entries()[2].name, tmp_path / "new.zip")
    assert not list(tmp_path.glob("*new.zip*"))


@pytest.mark.parametrize(
    ("name", "mode"),
    [
        ("/etc/passwd", stat.S_IFREG),
        ("../outside.txt", stat.S_IFREG),
        ("{top}/../../outside.txt", stat.S_IFREG),
        ("{top}/data/../../../outside.txt", stat.S_IFREG),
        ("{top}/./data/x", stat.S_IFREG),
        ("{top}//data/x", stat.S_IFREG),
        ("C:/outside.txt", stat.S_IFREG),
        ("C:outside.txt", stat.S_IFREG),
        ("{top}/data/x:stream", stat.S_IFREG),
        ("..\\outside.txt", stat.S_IFREG),
        ("{top}\\data\\x", stat.S_IFREG),
        ("\\\\server\\share\\x", stat.S_IFREG),
        ("{top}/data/new\nline", stat.S_IFREG),
        ("{top}/data/nul", stat.S_IFREG),
        ("{top}/data/COM1.csv", stat.S_IFREG),
        ("{top}/data/x. ", stat.S_IFREG),
        ("{top}/data/" + "x" * 250, stat.S_IFREG),
        ("{top}/data/link", stat.S_IFLNK),
        ("{top}/data/pipe", stat.S_IFIFO),
        ("{top}/data/disk", stat.S_IFBLK),
        ("{top}/DATA/verdict.json", stat.S_IFREG),  # the same file on some systems
        ("outside.txt", stat.S_IFREG),
        ("another/bagit.txt", stat.S_IFREG),
    ],
)
def test_a_path_that_leads_elsewhere_is_refused_and_nothing_is_written(
    tmp_path: Path, name: str, mode: int
) -> None:
    _, path = packed(tmp_path)
    content = members(path)
    top = content[0][0].filename.split("/")[0]
    bad = written(
        tmp_path / "bad.zip", [*content, (named(name.format(top=top), mode | 0o644), b"/etc/passwd")]
    )
    before = set(kept.tree(tmp_path))
    other = Archive(tmp_path / "other")
    with pytest.raises(InputError):
        import_bag(other, bad, kept.SIMPLE)
    left = {p for p in set(kept.tree(tmp_path)) - before if not p.endswith(".lock")}
    assert left == set()
    assert not other.exists()


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    _, path = packed(tmp_path)
    content = members(path)
    top = content[0][0].filename.split("/")[0]
    bomb = named(f"{top}/data/run/zeros")
    bomb.compress_type = zipfile.ZIP_DEFLATED
    bad = written(tmp_path / "bomb.zip", [*content, (bomb, b"\0" * 50_000_000)])
    assert bad.stat().st_size < 200_000
    with pytest.raises(InputError, match="packed into"):
        import_bag(Archive(tmp_path / "other"), bad, kept.SIMPLE)


def test_too_many_files_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _, path = packed(tmp_path)
    monkeypatch.setattr(archive_zip, "MOST_FILES", 5)
    with pytest.raises(InputError, match="at most 5"):
        import_bag(Archive(tmp_path / "other"), path, kept.SIMPLE)


def test_a_size_that_was_told_too_small_does_not_help(tmp_path: Path) -> None:
    _, path = packed(tmp_path)
    data = bytearray(path.read_bytes())
    place = data.find(b"PK\x01\x02")  # the first entry of the list of contents: its size, made smaller
    data[place + 24 : place + 28] = (1).to_bytes(4, "little")
    (tmp_path / "lie.zip").write_bytes(bytes(data))
    with pytest.raises(InputError):
        import_bag(Archive(tmp_path / "other"), tmp_path / "lie.zip", kept.SIMPLE)


@pytest.mark.parametrize("change", ["changed", "left out", "renamed folder", "extra", "encrypted"])
def test_a_bag_that_was_tampered_with_is_refused(tmp_path: Path, change: str) -> None:
    _, path = packed(tmp_path)
    content = members(path)
    top = content[0][0].filename.split("/")[0]
    place = next(i for i, (info, _) in enumerate(content) if info.filename.endswith("readings.csv"))
    if change == "changed":
        content[place] = (content[place][0], content[place][1].replace(b"0.1", b"0.2"))
    elif change == "left out":
        del content[place]
    elif change == "renamed folder":
        for info, _ in content:
            info.filename = info.filename.replace(top, "another-name")
    elif change == "extra":
        content.append((named(f"{top}/note.txt"), b"x"))
    bad = written(tmp_path / "bad.zip", content)
    if change == "encrypted":
        data = bytearray(bad.read_bytes())
        data[6] |= 1
        data[data.find(b"PK\x01\x02") + 8] |= 1
        bad.write_bytes(bytes(data))
    other = Archive(tmp_path / "other")
    with pytest.raises(InputError):
        import_bag(other, bad, kept.SIMPLE)
    assert not other.exists()
    assert other.leftovers() == []


def test_a_bag_without_the_signature_it_promises_is_refused(tmp_path: Path) -> None:
    new_key(tmp_path / "bench.key")
    run = kept.make_run(tmp_path / "run", kept.loom(tmp_path / "loom"))
    archive = Archive(tmp_path / "archive")
    done = keep_run(run, archive, replace(kept.keeping("one"), key=load_key(tmp_path / "bench.key")))
    path = export_bag(archive, done.entry.name, tmp_path / "bag.zip")
    without = [(info, data) for info, data in members(path) if not info.filename.endswith(SIGNATURE_FILE)]
    with pytest.raises(InputError, match="no signature"):
        import_bag(Archive(tmp_path / "other"), written(tmp_path / "bad.zip", without), kept.SIMPLE)
    assert import_bag(Archive(tmp_path / "other"), path, kept.SIMPLE).entry.imported


@pytest.mark.parametrize("data", [None, b"", b"no zip", b"PK\x05\x06" + b"\0" * 18])
def test_what_is_no_zip_is_refused_with_words(tmp_path: Path, data: bytes | None) -> None:
    path = tmp_path / "x.zip"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(InputError, match=r"x\.zip"):
        import_bag(Archive(tmp_path / "other"), path, kept.SIMPLE)
    shutil.rmtree(tmp_path / "other", ignore_errors=True)
