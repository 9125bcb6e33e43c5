"""One bag to a zip file and back; nothing in a zip from elsewhere is trusted before it has been checked."""

from __future__ import annotations

import re
import stat
import struct
import zipfile
import zlib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from loomtest.errors import ArchiveError, IndexAwayError, InputError, Problem
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.folder import IMPORTED, UNPROVEN, Archive, Entry
from loomtest.evidence.archive.index import Index
from loomtest.evidence.archive.redraw import Redraw, redrawn
from loomtest.evidence.archive.sign import signed_by

MOST_FILES = 5_000
MOST_BYTES = 4_000_000_000
# Readings compress some ten-fold, a stream of one value perhaps a hundred-fold; a bomb a thousand-fold.
MOST_RATIO = 300
_FREE_BYTES = 1_000_000  # below this no ratio is a bomb
_DEVICES = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)", re.IGNORECASE)
# What the library lets through for damaged bytes besides its own error.
_UNPACKABLE = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError, NotImplementedError,
    RuntimeError,
)  # fmt: skip
_ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)


def export_bag(archive: Archive, name: str, target: Path) -> Path:
    """Write the bag of that name to a zip file, after it has been checked; the zip's path.

    Raises ArchiveError for a bag that is not there or damaged, InputError when `target` cannot be written.
    """
    found = [entry for entry in archive.entries() if name in (entry.name, entry.folder)]
    if not found:
        raise ArchiveError(f"{archive.folder} holds no bag named {name}")
    bag = archive.folder / found[-1].folder
    wrong = archive_bag.bag_problems(bag)
    if wrong:
        raise ArchiveError(f"{bag} is damaged and is not exported: {wrong[0]}")
    partial = target.with_name(f".{target.name}.new")
    try:
        if target.exists():
            raise InputError([Problem(str(target), None, "", "a file of that name", "a name that is free")])
        with zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as packed:
            for path in sorted(p for p in bag.rglob("*") if p.is_file()):
                name_in_zip = f"{bag.name}/{path.relative_to(bag).as_posix()}"
                # One fixed time, so that the same bag is the same zip wherever it is packed.
                info = zipfile.ZipInfo(name_in_zip, _ZIP_EPOCH)
                info.compress_type = zipfile.ZIP_DEFLATED
                info.external_attr = (stat.S_IFREG | 0o644) << 16
                packed.writestr(info, path.read_bytes())
        partial.rename(target)
    except OSError as error:
        found_text = f"a place that cannot be written ({error.strerror})"
        raise InputError([Problem(str(target), None, "", found_text, "a zip file to write")]) from error
    finally:
        partial.unlink(missing_ok=True)
    return target


@dataclass(frozen=True, slots=True)
class Imported:
    """A bag that was taken in, and why it stands among the unproven ones; `why` is empty for a good one."""

    entry: Entry
    why: tuple[str, ...]


def import_bag(archive: Archive, source: Path, redraw: Redraw) -> Imported:
    """Put the bag of a zip file among the imported ones, after every byte of it has been checked, its
    readings judged and its page and pictures drawn again.

    One that does not follow from its readings, or whose page cannot be compared, goes among the unproven
    ones, where every later check says so.

    Raises InputError when the zip is no bag or not to be trusted, ArchiveError when it cannot be kept.
    """
    try:
        with zipfile.ZipFile(source) as packed:
            name, members = _checked_members(packed, str(source))
            with archive.workplace(name) as aside:
                _unpack(packed, members, aside, str(source))
                _check_bag(aside, name, str(source))
                again = redrawn(aside, redraw)
                why = (*again.wrong, *again.unchecked)
                digest = archive_bag.digest_of(aside / archive_bag.TAG_MANIFEST)
                archive_bag.sync_tree(aside)
                with archive.locked():
                    there = [entry.folder for entry in archive.entries() if entry.digest == digest]
                    if there:
                        raise ArchiveError(f"{archive.folder} holds this bag already: {there[0]}")
                    entry = archive.place(aside, digest, among=UNPROVEN if why else IMPORTED)
        with suppress(IndexAwayError):  # it goes in with the next keep, history or verify
            Index(archive).catch_up()
        return Imported(entry, why)
    except _UNPACKABLE as error:
        raise _refused(str(source), f"a file that cannot be unpacked ({error})") from error


def _refused(file: str, found: str, expected: str = "a zip file of one kept run") -> InputError:
    return InputError([Problem(file, None, "", found, expected)])


def _checked_members(
    packed: zipfile.ZipFile, file: str
) -> tuple[str, list[tuple[zipfile.ZipInfo, PurePosixPath]]]:
    """The bag's name, and (member, path below the bag) of every file. Raises InputError with all problems."""
    infos = packed.infolist()
    problems: list[Problem] = []
    members: list[tuple[zipfile.ZipInfo, PurePosixPath]] = []
    tops: set[str] = set()
    seen: set[str] = set()
    if len(infos) > MOST_FILES:
        raise _refused(file, f"{len(infos)} files", f"at most {MOST_FILES}")
    size, packed_size = sum(i.file_size for i in infos), sum(i.compress_size for i in infos)
    if size > MOST_BYTES or size > MOST_RATIO * packed_size + _FREE_BYTES:
        raise _refused(file, f"{size} bytes packed into {packed_size}", "the size of a kept run")
    for info in infos:
        reason = _refusal(info)
        if not reason and not info.is_dir():
            parts = PurePosixPath(info.filename).parts
            tops.add(parts[0])
            folded = info.filename.casefold()
            reason = "the same name twice" if folded in seen else ""
            reason = "a file outside the bag" if len(parts) < 2 else reason
            seen.add(folded)
            members.append((info, PurePosixPath(*parts[1:])))
        if reason:
            found = f"{info.orig_filename[:80]!r}, {reason}"
            problems.append(Problem(file, None, "", found, "plain files inside one folder"))
    if not problems and len(tops) != 1:
        problems.append(Problem(file, None, "", f"{len(tops)} folders", "one folder, the bag"))
    if problems:
        raise InputError(problems)
    return tops.pop(), members


def _refusal(info: zipfile.ZipInfo) -> str:
    """Why a member is not unpacked; "" for a plain one."""
    name = info.orig_filename
    mode = stat.S_IFMT(info.external_attr >> 16)
    if info.flag_bits & 0x1:
        return "which is encrypted"
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "which is packed in a way that loomtest does not use"
    if mode not in (0, stat.S_IFREG, stat.S_IFDIR):
        return "which is a link or a device"
    if not name.isprintable() or "\\" in name or ":" in name:
        return "which is no plain name"
    if name.startswith("/") or any(part in ("", ".", "..") for part in name.rstrip("/").split("/")):
        return "which leads out of its folder"
    if any(part.endswith((".", " ")) or _DEVICES.match(part) for part in name.rstrip("/").split("/")):
        return "which some systems cannot store"
    return "" if len(name) <= 240 else "which is too long a name"


def _unpack(
    packed: zipfile.ZipFile, members: list[tuple[zipfile.ZipInfo, PurePosixPath]], place: Path, file: str
) -> None:
    for info, name in members:
        target = place.joinpath(*name.parts)
        target.parent.mkdir(parents=True, exist_ok=True)
        left = info.file_size
        with packed.open(info) as source, target.open("xb") as out:
            while block := source.read(min(1 << 20, left + 1)):
                left -= len(block)
                if left < 0:  # the list of contents told a smaller size than there is
                    raise _refused(file, f"{info.filename!r}, larger than stated")
                out.write(block)


def _check_bag(bag: Path, name: str, file: str) -> None:
    problems = [Problem(file, None, "", found, "an unchanged bag") for found in archive_bag.bag_problems(bag)]
    if not problems:
        info = archive_bag.read_info(bag)
        if info.get("External-Identifier") != name or archive_bag.HARNESS not in info:
            problems.append(Problem(file, None, "", f"a folder named {name}", "a run kept by loomtest"))
        try:
            if signed_by(bag) is None and info.get(archive_bag.KEY):
                problems.append(Problem(file, None, "", "no signature", "the one its description names"))
        except ArchiveError as error:
            problems.append(Problem(file, None, "", str(error), "the bag's own signature"))
    if problems:
        raise InputError(problems)
