"""A line of units at one bench: scan a unit into a run folder, keep it, and go on where a crash stopped.

    RUNS/
      hull-7-20261125-101500-1a2b3c4d5e6f/   a unit's run folder until it is kept
      unfinished/                            scans that stopped, once their unit was scanned anew
      .done-…                                kept, and being removed

A scan is finished when its run folder says `ended`, `complete`, which is on disk before anything else
happens. From there on it is kept, however often the program is stopped: the run's identifier ends its bag's
name, so that a run whose bag stands in the ledger is never kept twice.
"""

from __future__ import annotations

import re
import shutil
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.run import instrument_of, keep_sockets, ready, record_scan
from loomtest.bench.scanner.sockets import Sockets
from loomtest.diagnosis.verdict import Verdict
from loomtest.errors import IndexAwayError, RunFolderError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.index import Index, Kept, Wanted
from loomtest.evidence.archive.keep import Keeping, KeptRun, Report, keep_run
from loomtest.harness.model import Harness
from loomtest.readings.model import Job, Readings
from loomtest.readings.run import About, create_run
from loomtest.readings.runfile import RUN_FILE, events_of, read_run_file

UNFINISHED = "unfinished"
_DONE = ".done-"
LONGEST_UNIT = 60

Judge = Callable[[Harness, Readings], Verdict]


@dataclass(frozen=True, kw_only=True, slots=True)
class LineSettings:
    """What does not change from unit to unit. `harness`: the kind of loom; `runs`: where scans lie until they
    are kept; `rehearsal`: the scanner is a simulated one."""

    harness: Harness
    archive: Archive
    runs: Path
    judge: Judge
    report: Report
    clock: Callable[[], datetime]
    stage: str = ""
    operator: str = ""
    bench: str = ""
    job: str = ""
    customer: str = ""
    rehearsal: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class LeftOver:
    """A run folder that was found at the start: `kept` None where its scan was never finished; `again` where
    its bag stood in the archive already."""

    unit: str
    kept: KeptRun | None = None
    again: bool = False


class UnitLine:
    """The units of one bench, one after the other."""

    def __init__(self, settings: LineSettings) -> None:
        """Raises RunFolderError while another program works in the same folder of runs."""
        from filelock import FileLock, Timeout

        self.settings = settings
        try:
            settings.runs.mkdir(parents=True, exist_ok=True)
            self._lock = FileLock(settings.runs / ".lock")
            self._lock.acquire(timeout=0)
        except Timeout:
            found = f"{settings.runs} is in use by another station: give each its own --runs"
            raise RunFolderError(found) from None
        except OSError as error:
            raise RunFolderError(f"{settings.runs} cannot be written: {error.strerror or error}") from error

    def close(self) -> None:
        """Let the folder of runs go."""
        self._lock.release()

    def settle(self) -> Iterator[LeftOver]:
        """Finish what an earlier start left: finished scans are kept, others are told.

        Raises LoomtestError where the archive cannot be written.
        """
        folders = sorted(path for path in self.settings.runs.iterdir() if path.is_dir())
        for folder in folders:
            if folder.name.startswith("."):
                shutil.rmtree(folder, ignore_errors=True)  # never begun, or kept already
        runs = [folder for folder in folders if (folder / RUN_FILE).is_file() and folder.name != UNFINISHED]
        kept = self._names() if runs else frozenset[str]()
        for folder in runs:
            run = read_run_file(folder)
            if _is_finished(run.raw) and any(name.endswith(f"-{_identifier(folder)}") for name in kept):
                _remove(folder)
                yield LeftOver(unit=run.job.unit, again=True)
            elif _is_finished(run.raw):
                yield LeftOver(unit=run.job.unit, kept=self.keep(folder))
            else:
                yield LeftOver(unit=run.job.unit)

    def _names(self) -> frozenset[str]:
        """The names of all kept runs; a keep that was cut short is finished first."""
        archive = self.settings.archive
        if not archive.exists():
            return frozenset()
        with archive.locked():
            return frozenset(entry.name for entry in archive.entries())

    def kept_before(self, unit: str) -> Kept | None:
        """The last kept run of such a loom with that number; None: there is none, or no index."""
        if not self.settings.archive.exists():
            return None
        index = Index(self.settings.archive)
        try:
            index.catch_up()
            found = index.kept(Wanted(harness=self.settings.harness.name, unit=unit), newest=1)
        except IndexAwayError:
            return None
        return found[-1] if found else None

    def scan(self, unit: str, scanner: Scanner, sockets: Sockets) -> Path:
        """Scan a unit; its run folder, which is whole on disk. Raises InstrumentError and RunFolderError."""
        settings = self.settings
        budget = ready(scanner, sockets)
        begun = settings.clock()
        identifier = uuid.uuid4().hex[:12]
        folder = settings.runs / f"{_slug(unit)}-{begun:%Y%m%d-%H%M%S}-{identifier}"
        limits = settings.harness.limits
        about = About(
            stage=settings.stage,
            operator=settings.operator,
            instrument=instrument_of(scanner, budget),
            identifier=identifier,
            rehearsal=settings.rehearsal,
            job=Job(settings.job, unit, settings.customer),
            isolation=limits.isolation if limits.isolation_written else "full",
        )
        with create_run(folder, settings.harness, about, clock=settings.clock) as writer:
            keep_sockets(writer, sockets)
            for _ in record_scan(scanner, sockets, budget, writer, done=frozenset(), by_row=False):
                pass
        return folder

    def keep(self, folder: Path) -> KeptRun:
        """Keep a finished scan, and remove its run folder. Raises LoomtestError with the folder as it is."""
        settings = self.settings
        keeping = Keeping(
            judge=settings.judge,
            report=settings.report,
            now=settings.clock(),
            identifier=_identifier(folder),
            rehearsal=settings.rehearsal or read_run_file(folder).rehearsal,
            bench=settings.bench,
            pages="when wrong",
        )
        kept = keep_run(folder, settings.archive, keeping)
        unit = read_run_file(folder).job.unit
        _remove(folder)
        self._set_aside(unit)
        return kept

    def waiting(self) -> list[Path]:
        """Finished scans that are not kept yet: the archive could not be written."""
        runs = [path for path in self.settings.runs.iterdir() if (path / RUN_FILE).is_file()]
        return sorted(path for path in runs if _is_finished(read_run_file(path).raw))

    def _set_aside(self, unit: str) -> None:
        """Scans of a unit that stopped are told no longer, once it was scanned whole."""
        for folder in list(self.settings.runs.iterdir()):
            if (folder / RUN_FILE).is_file() and not folder.name.startswith("."):
                run = read_run_file(folder)
                if run.job.unit == unit and not _is_finished(run.raw):
                    (self.settings.runs / UNFINISHED).mkdir(exist_ok=True)
                    folder.rename(self.settings.runs / UNFINISHED / folder.name)


def _is_finished(raw: object) -> bool:
    events = events_of(raw) if isinstance(raw, dict) else []
    return any(event.get("what") == "ended" and event.get("status") == "complete" for event in events)


def _identifier(folder: Path) -> str:
    return folder.name.rpartition("-")[2]


def _remove(folder: Path) -> None:
    """First out of sight in one step, so that a half-removed folder is never taken for a run."""
    done = folder.with_name(_DONE + folder.name)
    folder.rename(done)
    shutil.rmtree(done, ignore_errors=True)


def _slug(unit: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", unit.lower()).strip("-")[:40].strip("-") or "unit"


def unit_of(text: str) -> str | None:
    """The unit's number as typed or read off a label; None for what is none: empty, too long, unprintable."""
    unit = " ".join(text.split())
    return unit if unit and unit.isprintable() and len(unit) <= LONGEST_UNIT else None
