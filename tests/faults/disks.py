"""Disks that are small or read-only, for real: a tmpfs where mounting is allowed, else the nearest thing."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

Before = Callable[[], None] | None


def _mount(*options: str) -> bool:
    try:
        return subprocess.run(["mount", *options], capture_output=True, check=False).returncode == 0
    except OSError:
        return False


@contextmanager
def small_disk(place: Path, kilobytes: int) -> Iterator[Before]:
    """A disk of that size at `place`. Yields what a process on it must do before it starts: nothing where it
    could be mounted; else limit the size of its files, so that its writes fail in the same calls.
    """
    place.mkdir(parents=True, exist_ok=True)
    mounted = _mount("-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(place))

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (kilobytes * 512, kilobytes * 512))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    try:
        yield None if mounted else limited
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(place)], check=False)


@contextmanager
def read_only(place: Path) -> Iterator[None]:
    """The folder as on a write-protected card: mounted so, or without its owner's right to write."""
    if _mount("--bind", str(place), str(place)) and _mount("-o", "remount,bind,ro", str(place)):
        try:
            yield
        finally:
            subprocess.run(["umount", "-l", str(place)], check=False)
        return
    subprocess.run(["umount", "-l", str(place)], capture_output=True, check=False)
    mode = place.stat().st_mode
    place.chmod(0o555)
    try:
        assert not os.access(place, os.W_OK), "this user may write everywhere, and may not mount"
        yield
    finally:
        place.chmod(mode)
