"""The evidence archive: a folder of bags and a ledger of their digests.

    ARCHIVE/
      tag-manifests.sha256   the ledger: one line a bag, in the order of keeping; only grows
      NAME/                  a bag, written once
      imported/NAME/         a bag that came from another archive
      unproven/NAME/         such a bag whose verdict, page or pictures do not follow from its readings
      index.sqlite           derived from the bags; safe to delete
      time-stamps/           answers of a time-stamp server (RFC 3161), over the ledger's lines up to then
      .new/NAME/             bags being made

The ledger is written the way `sha256sum` writes, so that `sha256sum -c tag-manifests.sha256` in the archive
checks it. A bag is built aside; then its line is added to the ledger and the folder renamed into place,
both under one lock. Whoever comes next finishes a rename that was cut short, so that a kept run is either
there whole or not at all.
"""

from __future__ import annotations

import os
import platform
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from loomtest.errors import ArchiveError, RunFolderError
from loomtest.evidence.archive.bag import TAG_MANIFEST, digest_of, sync_file

if TYPE_CHECKING:
    from filelock import BaseFileLock

LEDGER = "tag-manifests.sha256"
IMPORTED = "imported"
UNPROVEN = "unproven"
STAMPS = "time-stamps"
INDEX = "index.sqlite"
_ASIDE = ".new"
_LOCK = ".lock"
_SET_ASIDE = "set-aside.txt"
# Keeping holds the lock for as long as the digests of one run take; on a crowded machine, where two minutes
# were seen to be too short for twenty at once, nobody is to lose a run over impatience.
_LOCK_WAIT_S = 900.0
_OWN_LOCK_WAIT_S = 10.0
_LINE = re.compile(rf"([0-9a-f]{{64}})  ((?:(?:{IMPORTED}|{UNPROVEN})/)?[^/\n]+)/{re.escape(TAG_MANIFEST)}")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger: `sequence` from 1, the bag's folder, the SHA-256 of its tag manifest."""

    sequence: int
    folder: str
    digest: str

    @property
    def imported(self) -> bool:
        """True for a bag that came from another archive."""
        return self.folder.startswith(IMPORTED + "/")

    @property
    def unproven(self) -> bool:
        """True for a bag from elsewhere that does not follow from its own readings."""
        return self.folder.startswith(UNPROVEN + "/")

    @property
    def foreign(self) -> bool:
        """True for any bag from elsewhere: it has no place in this archive's chain."""
        return self.imported or self.unproven

    @property
    def name(self) -> str:
        """The bag's own name."""
        return self.folder.rpartition("/")[2]


def ledger_line(entry: Entry) -> str:
    """The entry as it stands in the ledger."""
    return f"{entry.digest}  {entry.folder}/{TAG_MANIFEST}\n"


def default_archive() -> Path:
    """LOOMTEST_ARCHIVE where it is set, else `loomtest-archive` in the person's home folder."""
    named = os.environ.get("LOOMTEST_ARCHIVE")
    return Path(named) if named else Path.home() / "loomtest-archive"


def default_bench() -> str:
    """LOOMTEST_BENCH where it is set, else the name of this computer: what a kept run says of its bench."""
    return os.environ.get("LOOMTEST_BENCH") or platform.node()


def archive_at(folder: str | None, index: str | None) -> Archive:
    """The archive that a command means, with all of this computer's processors to work on it."""
    return Archive(folder if folder is not None else default_archive(), index, os.cpu_count() or 1)


class Ledger:
    """The whole lines of the ledger as they were read. Lines are told apart only where somebody asks."""

    def __init__(self, path: Path, data: bytes) -> None:
        self.path = path
        self.data = data

    def __len__(self) -> int:
        return self.data.count(b"\n")

    def entries(self, skipped: int = 0, offset: int = 0) -> tuple[Entry, ...]:
        """The lines after the first `skipped` ones, which end at byte `offset`. Raises ArchiveError when one
        of them is no such line."""
        lines = self.data[offset:].split(b"\n")[:-1]
        return tuple(self._entry(number, line) for number, line in enumerate(lines, skipped + 1))

    def up_to(self, runs: int) -> memoryview:
        """The bytes of the first so many lines."""
        end = 0
        for _ in range(runs):
            end = self.data.index(b"\n", end) + 1
        return memoryview(self.data)[:end]

    def first(self) -> Entry | None:
        """The first line. Raises ArchiveError as `entries` does."""
        end = self.data.find(b"\n")
        return self._entry(1, self.data[:end]) if end >= 0 else None

    def entry(self, sequence: int) -> Entry:
        """The line of that number, from 1. Raises ArchiveError as `entries` does."""
        lines = self.data.split(b"\n", sequence)
        return self._entry(sequence, lines[sequence - 1])

    def newest_first(self) -> Iterator[Entry]:
        """The lines from the last to the first. Raises ArchiveError as `entries` does."""
        end, number = len(self.data) - 1, len(self)
        while end > 0:
            begin = self.data.rfind(b"\n", 0, end) + 1
            yield self._entry(number, self.data[begin:end])
            end, number = begin - 1, number - 1

    def _entry(self, number: int, line: bytes) -> Entry:
        match = _LINE.fullmatch(line.decode("utf-8", "replace"))
        if match is None:
            raise ArchiveError(f"{self.path}, line {number}: this was not written by loomtest")
        return Entry(number, match[2], match[1])


class Archive:
    """An archive folder; made where it is not there yet when something is kept.

    `index`: the address of its index where one was given; else archive.toml in the folder says it.
    `processes`: how many may work on many bags at once.
    """

    def __init__(self, folder: str | Path, index: str | None = None, processes: int = 1) -> None:
        self.folder = Path(folder)
        self.index = index
        self.processes = processes

    def exists(self) -> bool:
        """True where something has been kept."""
        return (self.folder / LEDGER).is_file()

    def holds_bags(self) -> bool:
        """True where a folder in it is a bag, ledger or not; nothing is written to find out."""
        try:
            return any((path / "bagit.txt").is_file() for path in self.folder.iterdir())
        except OSError:
            return False

    def ledger(self) -> Ledger:
        """The whole lines of the ledger as they are now. Raises ArchiveError."""
        from loomtest.readings.appended import split_torn

        path = self.folder / LEDGER
        try:
            whole, _ = split_torn(path.read_bytes())
        except FileNotFoundError:
            whole = b""
        except OSError as error:
            raise ArchiveError(f"{path} cannot be read: {error.strerror}") from error
        return Ledger(path, whole)

    def entries(self) -> tuple[Entry, ...]:
        """The whole lines of the ledger. Raises ArchiveError when one of them is no such line."""
        return self.ledger().entries()

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Hold the archive; an interrupted keep is finished first. Raises ArchiveError."""
        with _held(self.folder / _LOCK, _LOCK_WAIT_S, f"{self.folder} is in use by another program"):
            self._finish_interrupted()
            yield

    @contextmanager
    def workplace(self, name: str) -> Iterator[Path]:
        """An empty folder aside for a bag of that name; whatever is left in it at the end is removed."""
        _check_name(name)
        aside = self.folder / _ASIDE
        try:
            aside.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise ArchiveError(f"{self.folder} cannot be written: {error.strerror}") from error
        lock = aside / f"{name}.lock"
        # Not zero: whoever clears up may hold it for a moment.
        with _held(lock, _OWN_LOCK_WAIT_S, f"a bag named {name} is being made by another program"):
            place = aside / name
            try:
                place.mkdir()
                yield place
            except FileExistsError as error:
                raise ArchiveError(f"{place} is in the way") from error
            finally:
                shutil.rmtree(place, ignore_errors=True)
        lock.unlink(missing_ok=True)

    def place(self, aside: Path, digest: str, *, among: str = "") -> Entry:
        """Put a closed bag into the archive for good; the archive must be locked. Raises ArchiveError.

        The payload must be on disk (`sync_tree`). `among`: IMPORTED or UNPROVEN for a bag from elsewhere.
        """
        from loomtest.readings.appended import AppendedFile

        folder = f"{among}/{aside.name}" if among else aside.name
        target = self.folder / folder
        if target.exists():
            raise ArchiveError(f"{target} is there already")
        target.parent.mkdir(exist_ok=True)
        try:
            for path in aside.iterdir():
                if path.is_file():
                    sync_file(path)
            ledger_path = self.folder / LEDGER
            ledger_path.touch()
            ledger = AppendedFile(ledger_path, self.folder / _SET_ASIDE)
            try:
                ledger.append(ledger_line(Entry(0, folder, digest)), 1)
            finally:
                ledger.close()
            aside.rename(target)
            _sync_folder(target.parent)
        except (OSError, RunFolderError) as error:
            why = getattr(error, "strerror", None) or error
            raise ArchiveError(f"{target} cannot be kept: {why}") from error
        return Entry(ledger.lines, folder, digest)

    def leftovers(self) -> list[str]:
        """Unfinished bags that no running program is making."""
        aside = self.folder / _ASIDE
        return sorted(p.name for p in aside.iterdir() if p.is_dir()) if aside.is_dir() else []

    def strangers(self, entries: tuple[Entry, ...]) -> list[str]:
        """Folders that stand among the bags and are not in the ledger; loose files are nobody's evidence."""
        own = {_ASIDE, IMPORTED, UNPROVEN, STAMPS}
        known = {entry.folder for entry in entries}
        found = []
        for above in ("", f"{IMPORTED}/", f"{UNPROVEN}/"):
            if (self.folder / above).is_dir():
                names = (above + path.name for path in (self.folder / above).iterdir())
                found += [name for name in names if name not in known and name not in own]
        return sorted(name for name in found if (self.folder / name).is_dir())

    def _finish_interrupted(self) -> None:
        """Put the last bag of the ledger into place, if its keeper was stopped before it could.

        A torn line of the ledger belongs to a bag that was never renamed; it is cut off at the next keep.
        What other keepers left unfinished is removed, unless they are still at work.
        """
        aside = self.folder / _ASIDE
        if not aside.is_dir():
            return
        last = next(self.ledger().newest_first(), None)
        if last is not None and not (self.folder / last.folder).exists():
            unfinished = aside / last.name
            if (unfinished / TAG_MANIFEST).is_file() and digest_of(unfinished / TAG_MANIFEST) == last.digest:
                (self.folder / last.folder).parent.mkdir(exist_ok=True)
                unfinished.rename(self.folder / last.folder)
        for lock in aside.glob("*.lock"):
            try:
                with _held(lock, 0.0, "still at work"):
                    shutil.rmtree(aside / lock.name.removesuffix(".lock"), ignore_errors=True)
                lock.unlink(missing_ok=True)
            except (ArchiveError, OSError):
                continue


def _sync_folder(folder: Path) -> None:
    """The names in a folder are on disk when this returns, where the system can do that."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _check_name(name: str) -> None:
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}", name) or name.endswith((".", ".lock")):
        raise ArchiveError(f"{name!r} is no name for a bag: letters, figures, dots, dashes and underscores")


@contextmanager
def _held(path: Path, wait_s: float, busy: str) -> Iterator[None]:
    lock = _acquired(path, wait_s, busy)
    try:
        yield
    finally:
        lock.release()


def _acquired(path: Path, wait_s: float, busy: str) -> BaseFileLock:
    from filelock import FileLock, Timeout

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        lock = FileLock(path)
        lock.acquire(timeout=wait_s, poll_interval=0.02)
    except Timeout:
        raise ArchiveError(busy) from None
    except OSError as error:
        raise ArchiveError(f"{path.parent} cannot be written: {error.strerror or error}") from error
    return lock
