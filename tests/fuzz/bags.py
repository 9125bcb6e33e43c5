"""Targets for the archive: a bag that somebody changed or made, and a zip from elsewhere."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
import zipfile
from io import BytesIO
from pathlib import Path

from loomtest.errors import LoomtestError
from loomtest.evidence.archive.bag import ALGORITHMS, TAG_MANIFEST, digest_of
from loomtest.evidence.archive.folder import LEDGER, Archive
from loomtest.evidence.archive.history import history_json, history_of, runs_table
from loomtest.evidence.archive.verify import verify_archive
from loomtest.evidence.archive.words import history_lines
from loomtest.evidence.archive.zip import export_bag, import_bag
from tests.evidence.archive import kept


class _Kept:
    """An archive of one small bag, and the bag as a zip."""

    def __init__(self) -> None:
        memory = Path("/dev/shm")  # where there is one
        self._held = tempfile.TemporaryDirectory(
            prefix=f"loomtest-fuzz-{os.getpid()}-", dir=memory if memory.is_dir() else None
        )
        self.folder = Path(self._held.name)
        run = kept.make_run(self.folder / "run", kept.loom(self.folder / "loom"))
        self.archive = Archive(self.folder / "archive")
        self.bag = self.archive.folder / kept.keep(self.archive, run, "id").entry.folder
        self.clean = kept.tree(self.bag)
        self.names = sorted(self.clean)
        zipped = export_bag(self.archive, self.bag.name, self.folder / "bag.zip")
        self.zip_bytes = zipped.read_bytes()

    def reset(self) -> None:
        for path in sorted(self.bag.rglob("*"), reverse=True):
            if path.is_file() and self.clean.get(path.relative_to(self.bag).as_posix()) != path.read_bytes():
                path.unlink()
        for name, data in self.clean.items():
            path = self.bag / name
            if not path.exists():
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(data)
        (self.archive.folder / "index.sqlite").unlink(missing_ok=True)


_KEPT: list[_Kept] = []


def example() -> _Kept:
    if not _KEPT:
        _KEPT.append(_Kept())
    return _KEPT[0]


_VERDICT = (
    b'{"verdict": "pass", "wiring": "pass", "joints": "pass", "findings": [], '
    b'"wires": [{"wire": "W1", "from": '
    b'"X1:1", "ohms": 0.1, "with": ["W2"], "limit_ohms": 1, "uncertainty_ohms": 0.1, "verdict": "pass"}], '
    b'"nets": [{"net": "horn", "points": ["X1:1"]}]}'
)
# Byte 1: which file; byte 2: what happens to it; then its new content.
BAG_SEEDS = (b"\x00\x00changed", b'\x03\x01{"verdict": "pass"}', b"\x03\x01" + _VERDICT, b"\x05\x02a,b\n")
BAG_WORDS = (
    b"[[[[[[",
    b"null",
    b"1e999",
    b"\\ud800",
    b"NaN",
    b"{}",
    b"-1",
    b'"wires":',
    b'"nets":',
    b"12345678901234567890123",
)


def bag(data: bytes) -> None:
    """Byte 1 names a file of the bag, byte 2 what happens to it, the rest is its new content.

    Kind 0 changes the file and leaves the manifests: that must be told. Kinds 1 and 2 make the manifests
    anew, as a stranger could: the readers must cope with what then stands in verdict.json or elsewhere.
    """
    if len(data) < 2:
        return
    have = example()
    name = "data/verdict.json" if data[1] % 3 == 1 else have.names[data[0] % len(have.names)]
    content = data[2:]
    (have.bag / name).write_bytes(content)
    ledger = (have.archive.folder / LEDGER).read_bytes()
    try:
        if data[1] % 3:
            _close_again(have)
        wrong = [one for one in verify_archive(have.archive, kept.SIMPLE) if one.wrong]
        assert data[1] % 3 or wrong or content == have.clean[name], f"{name} was changed and nobody said so"
        history = history_of(have.archive)
        history_json(history), runs_table(have.archive), list(history_lines(history))
    except LoomtestError as error:
        assert str(error)
    finally:
        (have.archive.folder / LEDGER).write_bytes(ledger)
        have.reset()


def _close_again(have: _Kept) -> None:
    """All manifests and the ledger anew; those of the payload first, since the others hold their digests."""
    tags = ["bag-info.txt", "bagit.txt", *(f"manifest-{algorithm}.txt" for algorithm in ALGORITHMS)]
    payload = [name for name in have.names if name.startswith("data/")]
    for kind, names in (("manifest", payload), ("tagmanifest", tags)):
        for algorithm in ALGORITHMS:
            digests = (hashlib.new(algorithm, (have.bag / name).read_bytes()).hexdigest() for name in names)
            lines = [f"{digest}  {name}\n" for digest, name in zip(digests, names, strict=True)]
            (have.bag / f"{kind}-{algorithm}.txt").write_text("".join(lines), "utf-8")
    digest = digest_of(have.bag / TAG_MANIFEST)
    (have.archive.folder / LEDGER).write_text(f"{digest}  {have.bag.name}/{TAG_MANIFEST}\n", "utf-8")


def _zip(*members: tuple[str, bytes]) -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed_file:
        for name, data in members:
            packed_file.writestr(name, data)
    return out.getvalue()


ZIP_SEEDS = (_zip(("a/bagit.txt", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"),
                  ("a/data/x", b"1")), _zip(("../x", b"1")), _zip(("a/b", b"0" * 3000)))  # fmt: skip


def packed(data: bytes) -> None:
    """The zip as it is; and the good zip with a few of its bytes written over by the input."""
    have = example()
    spoilt = bytearray(have.zip_bytes)
    for index in range(0, len(data) - 3, 4):
        place = int.from_bytes(data[index : index + 3], "little") % len(spoilt)
        spoilt[place] = data[index + 3]
    other = Archive(have.folder / "other")
    for content in (data, bytes(spoilt)):
        shutil.rmtree(other.folder, ignore_errors=True)
        path = have.folder / "in.zip"
        path.write_bytes(content)
        before = set(have.folder.iterdir())
        try:
            entry = import_bag(other, path, kept.SIMPLE).entry
        except LoomtestError as error:
            assert str(error)
            assert not list(other.folder.glob("imported/*")) and other.leftovers() == []
        else:
            assert kept.tree(other.folder / entry.folder) == have.clean  # what got in is what was kept
        assert set(have.folder.iterdir()) - before <= {other.folder}
