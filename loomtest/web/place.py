"""What is served: one loom's folder, or a workshop of them. Nothing outside it can be named."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

from loomtest.errors import InputError, LoomtestError, Problem

if TYPE_CHECKING:
    from loomtest.diagnosis.verdict import Verdict
    from loomtest.harness.model import Harness
    from loomtest.readings.model import Readings

RUNS = "runs"
_RECORD = ("readings.csv", "run.toml")
_LISTS = ("harness.toml", "wires.csv")


def now() -> datetime:
    """The time with its offset."""
    return datetime.now().astimezone()


def holds_loom(folder: Path) -> bool:
    """Whether a folder has a wire list, or settings that name one."""
    return any((folder / name).is_file() for name in _LISTS)


@dataclass(frozen=True)
class JudgedRun:
    """A run of a loom, and what it means."""

    harness: Harness
    readings: Readings
    verdict: Verdict


class Loom:
    """A loom's folder with its runs. What was read is kept until a file of it changes."""

    def __init__(self, name: str, folder: Path) -> None:
        self.name, self.folder = name, folder
        self._lock = Lock()
        self._harness: tuple[object, Harness] | None = None
        self._judged: dict[str, tuple[object, JudgedRun]] = {}

    def harness(self) -> Harness:
        """The loom as it should be. Raises InputError."""
        from loomtest.harness.load import load_harness

        stamp = _stamps(self.folder.glob("*.*"))
        with self._lock:
            if self._harness is None or self._harness[0] != stamp:
                self._harness = stamp, load_harness(self.folder)
            return self._harness[1]

    def runs(self) -> list[str]:
        """The names of the runs, the oldest first."""
        from loomtest.harness.points import natural

        place = self.folder / RUNS
        if not place.is_dir():
            return []
        found = [run.name for run in place.iterdir() if not run.is_symlink() and (run / "run.toml").is_file()]
        return sorted(found, key=natural)

    def run(self, name: str) -> Path:
        """The folder of a run that there is. Raises InputError for any other name."""
        if name not in self.runs():
            raise InputError([Problem(self.name, None, "run", name, "one of its runs")])
        return self.folder / RUNS / name

    def next_run(self) -> Path:
        """A folder for a new run."""
        place = self.folder / RUNS
        number = 1 + max(
            (int(n) for run in self.runs() if (n := run.removeprefix("run-")).isdigit()), default=0
        )
        while (place / f"run-{number}").exists():
            number += 1
        return place / f"run-{number}"

    def before(self, run: str) -> list[str]:
        """The run, and those that it goes on from after mending, the oldest first."""
        from loomtest.readings.mended import mended_of
        from loomtest.readings.runfile import read_run_file

        there, chain = self.runs(), [run]
        while (earlier := mended_of(read_run_file(self.run(chain[0])).raw).after) in there:
            if earlier in chain:
                break
            chain.insert(0, earlier)
        return chain

    def judged(self, run: str) -> JudgedRun:
        """What a run means with those that it goes on from. Raises LoomtestError as the readers do."""
        from loomtest.readings.together import load_together
        from loomtest.words.verdict import judge

        folders = [self.run(name) for name in self.before(run)]
        harness = self.harness()
        stamp = (id(harness), _stamps([each / name for each in folders for name in _RECORD]))
        with self._lock:
            known = self._judged.get(run)
        if known is not None and known[0] == stamp:
            return known[1]
        readings = load_together(folders, harness)
        judged = JudgedRun(harness, readings, judge(harness, readings))
        with self._lock:
            self._judged[run] = stamp, judged
        return judged

    def last_answer(self) -> JudgedRun | None:
        """What the last run that holds readings means; None where there is none, or it cannot be read."""
        for run in reversed(self.runs()):
            try:
                judged = self.judged(run)
            except LoomtestError:
                continue
            if len(judged.readings):
                return judged
        return None


class Place:
    """The served folder: one loom where it holds a wire list, else a workshop."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._looms: dict[str, Loom] = {}
        self._single = Loom(folder.resolve().name or "loom", folder) if holds_loom(folder) else None

    @property
    def single(self) -> Loom | None:
        """The one loom; None for a workshop."""
        return self._single

    def looms(self) -> list[Loom]:
        """The looms of a workshop by name; the one loom of a loom's folder."""
        if self._single is not None:
            return [self._single]
        found = {}
        if self.folder.is_dir():
            for folder in sorted(self.folder.iterdir(), key=lambda path: path.name.casefold()):
                if not folder.name.startswith(".") and not folder.is_symlink() and holds_loom(folder):
                    found[folder.name] = self._looms.get(folder.name) or Loom(folder.name, folder)
        self._looms = found
        return list(found.values())

    def loom(self, name: str | None) -> Loom | None:
        """The loom of that name, found by looking at what there is; None: the one loom."""
        if name is None:
            return self._single
        known = self._looms.get(name)
        if known is not None and holds_loom(known.folder):
            return known
        return next((loom for loom in self.looms() if loom.name == name and self._single is None), None)


def _stamps(files: Iterator[Path] | list[Path]) -> tuple[tuple[str, int, int], ...]:
    """Names, times and sizes: what is the same while nothing was written."""
    found = []
    for file in files:
        try:
            stat = file.stat()
        except OSError:
            continue
        found.append((file.name, stat.st_mtime_ns, stat.st_size))
    return tuple(sorted(found))
