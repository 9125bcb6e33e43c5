"""Signatures: Ed25519 as published, bound to one bag, and no less than that."""

from __future__ import annotations

import os
import stat
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ed25519, x25519
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from loomtest.errors import InputError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.keep import KeptRun, keep_run
from loomtest.evidence.archive.sign import (
    SIGNATURE_FILE,
    key_name,
    load_key,
    load_public_key,
    new_key,
    sign_bag,
    signed_by,
)
from loomtest.evidence.archive.verify import verify_archive
from tests.evidence.archive import kept

# RFC 8032, section 7.1, TEST 3: secret key, public key, message, signature.
SECRET = "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7"
PUBLIC = "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025"
MESSAGE = "af82"
SIGNATURE = (
    "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
    "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"
)


def signed(folder: Path) -> tuple[Archive, KeptRun, bytes]:
    new_key(folder / "bench.key")
    run = kept.make_run(folder / "run", kept.loom(folder / "loom"))
    archive = Archive(folder / "archive")
    done = keep_run(run, archive, replace(kept.keeping("one"), key=load_key(folder / "bench.key")))
    return archive, done, load_public_key(folder / "bench.key.pub")


def wrong(archive: Archive, *keys: bytes) -> list[str]:
    return [text for one in verify_archive(archive, None, keys) for text in one.wrong]


def test_the_signature_is_the_published_one(tmp_path: Path) -> None:
    (tmp_path / "tagmanifest-sha256.txt").write_bytes(bytes.fromhex(MESSAGE))
    sign_bag(tmp_path, ed25519.Ed25519PrivateKey.from_private_bytes(bytes.fromhex(SECRET)))
    text = (tmp_path / SIGNATURE_FILE).read_text()
    assert f"public-key: {PUBLIC}\n" in text
    assert f"signature: {SIGNATURE}\n" in text
    assert signed_by(tmp_path) == bytes.fromhex(PUBLIC)


def test_a_new_key_is_its_owners_alone_and_overwrites_nothing(tmp_path: Path) -> None:
    name = new_key(tmp_path / "bench.key")
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / "bench.key").stat().st_mode) == 0o600
    public = load_public_key(tmp_path / "bench.key.pub")
    assert load_key(tmp_path / "bench.key").public_key().public_bytes_raw() == public
    assert key_name(public) == name
    before = kept.tree(tmp_path)
    with pytest.raises(InputError, match="of that name"):
        new_key(tmp_path / "bench.key")
    (tmp_path / "bench.key").rename(tmp_path / "other.key")
    with pytest.raises(InputError, match="of that name"):
        new_key(tmp_path / "bench.key")
    assert set(kept.tree(tmp_path).values()) == set(before.values())


def test_a_signed_bag_is_said_to_be_and_by_whom(tmp_path: Path) -> None:
    archive, done, public = signed(tmp_path)
    assert signed_by(done.folder) == public
    (line,) = verify_archive(archive, kept.SIMPLE)
    assert line.wrong == ()
    assert line.said[0] == f"signed by {key_name(public)}"
    assert wrong(archive, public) == []


def test_a_key_that_is_not_among_those_given_and_no_key_at_all_are_wrong(tmp_path: Path) -> None:
    archive, _, public = signed(tmp_path)
    new_key(tmp_path / "stranger.key")
    stranger = load_public_key(tmp_path / "stranger.key.pub")
    assert "none of the keys given" in wrong(archive, stranger)[0]
    assert wrong(archive, stranger, public) == []
    kept.keep(archive, tmp_path / "run", "two")
    assert wrong(archive, public) == ["is not signed"]
    assert wrong(archive) == []


def test_a_signature_that_is_gone_changed_moved_or_anothers_is_reported(tmp_path: Path) -> None:
    archive, done, _ = signed(tmp_path)
    path = done.folder / SIGNATURE_FILE
    data = path.read_bytes()
    path.unlink()
    assert "was signed by" in wrong(archive)[0]
    for place in range(len(data)):
        for byte in {data[place] ^ 1, data[place] ^ 0x20}:
            path.write_bytes(data[:place] + bytes([byte]) + data[place + 1 :])
            assert wrong(archive), place
    path.write_bytes(data + b"\n")
    assert wrong(archive)
    path.unlink()
    new_key(tmp_path / "stranger.key")
    sign_bag(done.folder, load_key(tmp_path / "stranger.key"))  # signed again by somebody else
    assert "it was closed for" in wrong(archive)[0]
    path.write_bytes(data)
    assert wrong(archive) == []
    other = kept.keep(archive, tmp_path / "run", "two")
    (other.folder / SIGNATURE_FILE).write_bytes(data)
    assert "does not belong" in wrong(archive)[0]


def test_what_is_no_key_is_refused_with_words(tmp_path: Path) -> None:
    (tmp_path / "text").write_text("hello")
    other = x25519.X25519PrivateKey.generate()
    (tmp_path / "x").write_bytes(other.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    new_key(tmp_path / "bench.key")
    for load, name in [
        (load_key, "none"),
        (load_key, "text"),
        (load_key, "x"),
        (load_key, "bench.key.pub"),
        (load_public_key, "none"),
        (load_public_key, "text"),
        (load_public_key, "bench.key"),
    ]:
        with pytest.raises(InputError, match="Ed25519 key"):
            load(tmp_path / name)
