"""A short code in the job book shows what nothing inside an archive can: that all of it was written anew."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.evidence.archive.anchor import chain_codes, found_at
from loomtest.evidence.archive.sign import load_key, new_key
from loomtest.evidence.archive.verify import verify_archive
from loomtest.harness.load import load_harness
from tests.commands.in_process import loomtest
from tests.evidence.archive import kept


def test_an_archive_written_anew_has_another_code(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path / "one", 2)
    entries = archive.entries()
    codes = chain_codes(entries)
    assert len(set(codes)) == len(entries) and all(len(code) == 29 for code in codes)
    assert [found_at(code, entries) for code in codes] == [1, 2, 3]
    # The newest run is taken back and another kept in its place: ledger, index and chain agree again.
    newest = entries[-1]
    shutil.rmtree(archive.folder / newest.folder)
    ledger = archive.folder / "tag-manifests.sha256"
    ledger.write_text("".join(ledger.read_text().splitlines(keepends=True)[:-1]))
    (archive.folder / "index.sqlite").unlink()
    kept.keep(
        archive,
        kept.make_run(tmp_path / "other", load_harness(tmp_path / "one" / "loom"), (0.1, 0.1), 1),
        "id1",
        1,
    )
    assert all(one.good for one in verify_archive(archive))
    assert found_at(codes[-1], archive.entries()) is None
    assert found_at(codes[0], archive.entries()) == 1


def test_letters_that_look_alike_are_taken_for_one_another(tmp_path: Path) -> None:
    entries = kept.filled(tmp_path, 1).entries()
    code = chain_codes(entries)[-1]
    typed = code.lower().replace("o", "0").replace("i", "1").replace("b", "8").replace("-", " ")
    assert found_at(typed, entries) == len(entries)
    assert found_at("AAAA", entries) is None


def test_keep_prints_it_and_verify_takes_it(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    (tmp_path / "r.csv").write_text("from,to,value\nX1:1,X2:1,0.3\n")
    words = ("--harness", "wires.csv", "--archive", "kept")
    said = loomtest("keep", "r.csv", *words, cwd=tmp_path).stdout
    code = next(
        line.split(": ")[1] for line in said.splitlines() if line.startswith("code for your job book")
    )
    good = loomtest("verify", "--archive", "kept", "--digest", code, cwd=tmp_path)
    assert good.returncode == 0 and "the first 1 of 1 kept runs" in good.stdout
    other = code[:-1] + ("A" if code[-1] != "A" else "C")
    assert loomtest("verify", "--archive", "kept", "--digest", other, cwd=tmp_path).returncode == 1


def test_a_key_that_others_may_read_is_refused_with_the_mend(tmp_path: Path) -> None:
    new_key(tmp_path / "bench.key")
    load_key(tmp_path / "bench.key")
    (tmp_path / "bench.key").chmod(0o644)
    with pytest.raises(InputError, match="chmod 600"):
        load_key(tmp_path / "bench.key")
