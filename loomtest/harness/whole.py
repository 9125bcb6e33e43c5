"""The files of a folder, all of them or none: written aside and on the disk before they stand in their place.

A folder that is not there yet appears by one rename. Into a folder that is there the files go one by one;
where a program is stopped in between, `take_back` removes what it had put there, before anything else is
written.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

ASIDE = ".loomtest-new"
_PART = ".part"
_LAST = "wires.csv"  # without it a folder is no harness: while it is missing, nothing passes for whole


@contextmanager
def written_whole(folder: Path) -> Iterator[Path]:
    """An empty folder aside; what it holds at the end stands in `folder` then, whole or not at all.

    Nothing is written over. Raises OSError (FileExistsError where a file of that name is there).
    """
    folder = folder.resolve()
    take_back(folder)
    there = folder.exists()
    aside = folder / ASIDE if there else _beside(folder)
    try:
        aside.mkdir(parents=True)
        yield aside
        for path in _files(aside):
            _sync(path)
        if there:
            pairs = [(path, folder / path.relative_to(aside)) for path in _files(aside)]
            for _, place in pairs:
                if place.exists() or place.is_symlink():
                    raise FileExistsError(errno.EEXIST, "a file that is there already", str(place))
            for path, place in pairs:
                _put(path, place, aside / _PART)
            shutil.rmtree(aside)
        else:
            aside.rename(folder)
            _sync(folder.parent)
    except BaseException:
        with suppress(OSError):
            take_back(folder)
        raise


def take_back(folder: Path) -> None:
    """Remove what a stopped program left: its folder aside, and the files that it had put in place already.

    Where the last of them stands in its place, all do, and they stay; so does a file that was changed since.
    Raises OSError.
    """
    folder = folder.resolve()
    for aside in (folder / ASIDE, _beside(folder)):
        if not aside.is_dir() or aside.is_symlink():
            continue
        if aside.parent == folder:
            pairs = [(path, folder / path.relative_to(aside)) for path in _files(aside)]
            if pairs and not pairs[-1][1].exists():
                for path, place in reversed(pairs):
                    if place.is_file() and place.read_bytes() == path.read_bytes():
                        place.unlink()
                for inner in sorted((path for path in aside.rglob("*") if path.is_dir()), reverse=True):
                    with suppress(OSError):
                        (folder / inner.relative_to(aside)).rmdir()
        shutil.rmtree(aside)


def _beside(folder: Path) -> Path:
    return folder.parent / f".{folder.name}{ASIDE}"


def _files(aside: Path) -> list[Path]:
    """In the order in which they are put in place."""
    found = [path for path in aside.rglob("*") if path.is_file()]
    return sorted(found, key=lambda path: (path == aside / _LAST, path))


def _put(path: Path, place: Path, part: Path) -> None:
    """A copy, whole from the first moment on: the file aside stays, for `take_back` to know it by."""
    shutil.copyfile(path, part)
    _sync(part)
    place.parent.mkdir(parents=True, exist_ok=True)
    part.replace(place)


def _sync(path: Path) -> None:
    """The file, or a folder's list of files where the system can do that, is on the disk at return."""
    if path.is_dir() and os.name == "nt":
        return
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
