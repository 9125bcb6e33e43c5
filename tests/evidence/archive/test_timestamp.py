"""A time-stamp shows that the newest run was written anew, even where ledger and index were too."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

from loomtest.errors import ArchiveError, InputError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.timestamp import Stamper, check_stamps, load_authority
from loomtest.evidence.archive.verify import verify_archive
from loomtest.harness.load import load_harness
from tests.commands.in_process import loomtest
from tests.evidence.archive import kept
from tests.evidence.archive.stamping import authority, openssl_answer, serving
from tests.tools import need


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with two authorities, `one` and `other`."""
    folder = tmp_path_factory.mktemp("authorities")
    authority(folder / "one")
    authority(folder / "other")
    yield folder


def rewritten_newest(archive: Archive, folder: Path) -> None:
    """Another run in the place of the newest, with a ledger and an index that agree with it."""
    newest = archive.entries()[-1]
    shutil.rmtree(archive.folder / newest.folder)
    ledger = archive.folder / "tag-manifests.sha256"
    ledger.write_text("".join(ledger.read_text().splitlines(keepends=True)[:-1]))
    (archive.folder / "index.sqlite").unlink()
    run = kept.make_run(folder / "another", load_harness(folder / "loom"), (0.1, 0.1), 1)
    kept.keep(archive, run, "id1", 1)


def test_a_newest_run_written_anew_with_ledger_and_index_shows(tmp_path: Path, place: Path) -> None:
    archive, ca = kept.filled(tmp_path, 2), load_authority(place / "one" / "ca.pem")
    with serving(place / "one") as url:
        stamp = Stamper(url).stamp(archive)
    assert stamp.runs == 3
    (good,) = check_stamps(archive, ca)
    assert good.good and "the first 3 of 3 kept runs" in good.said[0] and stamp.time in good.said[0]
    rewritten_newest(archive, tmp_path)
    assert all(one.good for one in verify_archive(archive))  # nothing inside the archive shows it
    for told in (check_stamps(archive, ca), check_stamps(archive)):
        assert "stands for other runs" in told[0].wrong[0]
    # Nor does it help to remove the stamp: the runs are then covered by none.
    stamp.path.unlink()
    assert check_stamps(archive) == []
    (unsure,) = check_stamps(archive, ca)
    assert not unsure.good and "3 of 3" in unsure.unchecked[0]


def test_runs_kept_since_the_stamp_are_told(tmp_path: Path, place: Path) -> None:
    archive, ca = kept.filled(tmp_path, 1), load_authority(place / "one" / "ca.pem")
    with serving(place / "one") as url:
        Stamper(url).stamp(archive)
        kept.keep(archive, kept.make_run(tmp_path / "later", load_harness(tmp_path / "loom"), day=5), "l", 5)
        before, after = check_stamps(archive, ca)
        assert before.good and after.unchecked[0].startswith("1 of 3 kept runs")
        Stamper(url).stamp(archive)
    assert [one.good for one in check_stamps(archive, ca)] == [True, True]


def test_the_stamp_of_another_authority_is_wrong(tmp_path: Path, place: Path) -> None:
    archive = kept.filled(tmp_path, 1)
    with serving(place / "other") as url:
        Stamper(url).stamp(archive)
    told = check_stamps(archive, load_authority(place / "one" / "ca.pem"))
    assert told[0].wrong == ("is not signed by that time-stamp authority",) and told[1].unchecked
    assert check_stamps(archive, load_authority(place / "other" / "ca.pem"))[0].good


def test_a_stamp_that_was_moved_to_another_day_is_wrong(tmp_path: Path, place: Path) -> None:
    archive, ca = kept.filled(tmp_path, 1), load_authority(place / "one" / "ca.pem")
    with serving(place / "one") as url:
        path = Stamper(url).stamp(archive).path
    answered = path.read_bytes()
    year = answered.index(path.name[7:11].encode() + path.name[11:15].encode())  # 20261127…Z in the token
    path.write_bytes(answered[: year + 3] + b"1" + answered[year + 4 :])
    assert check_stamps(archive, ca)[0].wrong == ("is not signed by that time-stamp authority",)
    path.write_bytes(b"no token at all")
    assert check_stamps(archive)[0].wrong == ("is no time-stamp (RFC 3161)",)


def test_openssl_checks_what_was_kept_without_this_program(tmp_path: Path, place: Path) -> None:
    archive = kept.filled(tmp_path, 1)
    with serving(place / "one") as url:
        stamp = Stamper(url).stamp(archive)
    lines = tmp_path / "lines"
    lines.write_bytes((archive.folder / "tag-manifests.sha256").read_bytes())
    words = ["ts", "-verify", "-data", str(lines), "-in", str(stamp.path)]
    words += ["-CAfile", str(place / "one" / "ca.pem")]
    done = subprocess.run([need("openssl", "openssl"), *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0 and "Verification: OK" in done.stdout


def test_an_answer_that_is_none_or_about_something_else_is_not_kept(tmp_path: Path, place: Path) -> None:
    archive = kept.filled(tmp_path, 1)
    digest = hashlib.sha256((archive.folder / "tag-manifests.sha256").read_bytes()).digest()
    answer = partial(openssl_answer, place / "one")
    granted, modified, refused = (bytes.fromhex(f"30030201{status}") for status in ("00", "01", "02"))
    earlier = asked(digest)
    assert granted in answer(earlier)  # openssl takes that question
    spoilt: tuple[tuple[Callable[[bytes], bytes], str], ...] = (
        (lambda _: answer(earlier), "something else"),
        (lambda query: answer(query.replace(digest, bytes(32))), "something else"),
        (lambda query: answer(query).replace(granted, modified, 1), "did not answer"),
        (lambda _: bytes((48, len(refused))) + refused, "did not answer"),
        (lambda _: b"<html>", "did not answer"),
    )
    for spoil, said in spoilt:
        with serving(place / "one", spoil) as url, pytest.raises(ArchiveError, match=said):
            Stamper(url).stamp(archive)
    assert not (archive.folder / "time-stamps").exists()


def asked(digest: bytes) -> bytes:
    """A query for the stamp of a digest, with a nonce of its own (RFC 3161, 2.4.1), in DER."""
    sha256 = bytes.fromhex("300d06096086480165030402010500")
    imprint = sha256 + bytes((4, len(digest))) + digest
    body = bytes.fromhex("020101") + bytes((48, len(imprint))) + imprint + bytes.fromhex("0204010203040101ff")
    return bytes((48, len(body))) + body


@pytest.mark.parametrize(
    "url", ["file:///etc/passwd", "ftp://127.0.0.1/", "127.0.0.1", "http://", "http://[x"]
)
def test_an_address_that_is_none_is_refused_before_anything_is_kept(url: str) -> None:
    with pytest.raises(InputError, match="address of a time-stamp server"):
        Stamper(url)


def test_a_server_that_is_away_loses_no_run_and_is_asked_later(tmp_path: Path, place: Path) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    (tmp_path / "r.csv").write_text("from,to,value\nX1:1,X2:1,0.3\n")
    kept_in = ("--archive", "kept")
    with serving(place / "one") as url:
        pass  # it was there, and is gone
    done = loomtest("keep", "r.csv", "--harness", "wires.csv", "--time-stamp", url, *kept_in, cwd=tmp_path)
    assert done.returncode == 0 and "NOT STAMPED" in done.stdout and "kept as" in done.stdout
    assert f"loomtest keep --time-stamp {url}" in done.stdout
    assert loomtest("keep", "--time-stamp", url, *kept_in, cwd=tmp_path).returncode == 2
    with serving(place / "one") as url:
        later = loomtest("keep", "--time-stamp", url, *kept_in, "--json", cwd=tmp_path)
    assert later.returncode == 0 and json.loads(later.stdout)["time_stamp"]["runs"] == 1
    plain = loomtest("verify", *kept_in, cwd=tmp_path)
    assert plain.returncode == 0 and "signature was not checked" in plain.stdout
    ca = str(place / "one" / "ca.pem")
    full = loomtest("verify", *kept_in, "--time-stamp-authority", ca, cwd=tmp_path)
    assert full.returncode == 0 and "signed by that time-stamp authority" in full.stdout
    other = str(place / "other" / "ca.pem")
    assert loomtest("verify", *kept_in, "--time-stamp-authority", other, cwd=tmp_path).returncode == 1


def test_without_the_client_a_stamp_is_not_checked_and_never_good(
    tmp_path: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = kept.filled(tmp_path, 1)
    with serving(place / "one") as url:
        Stamper(url).stamp(archive)
    monkeypatch.setitem(sys.modules, "rfc3161_client", None)
    (one,) = check_stamps(archive)
    assert not one.good and "pip install" in one.unchecked[0]
    with pytest.raises(ArchiveError, match="time-stamp"):
        Stamper(url)


def test_a_file_without_a_certificate_that_signs_itself_is_refused(tmp_path: Path, place: Path) -> None:
    for name in ("one/tsa.pem", "one/tsa.key", "one/none.pem"):
        with pytest.raises(InputError, match="signs itself"):
            load_authority(place / name)
