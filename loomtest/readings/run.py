"""The run folder: one sitting at the bench, recorded so that nothing taken is ever lost or rewritten.

    writer = create_run(folder, harness, About(stage="before", instrument=meter), clock=clock)
    row = writer.record(Reading("X1:3", "X4:1", "0.42"))   # on disk when it returns
    writer.withdraw(row)                                   # one more row; nothing is erased
    writer.close("complete")
    writer = resume_run(folder, clock=clock)               # goes on where it stopped

The only file that grows is `readings.csv`, line by line, and the table `[events]` at the end of `run.toml`.
"""

from __future__ import annotations

import csv
import os
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from loomtest.errors import RunFolderError
from loomtest.harness.model import Harness
from loomtest.readings import runfile, values
from loomtest.readings.appended import AppendedFile, csv_line
from loomtest.readings.kitfile import SEATS_COLUMNS, SEATS_FILE, SEATS_HEADER
from loomtest.readings.marked import Clip
from loomtest.readings.model import Quantity
from loomtest.readings.newrun import About, fill_run

if TYPE_CHECKING:
    from filelock import BaseFileLock

__all__ = ["About", "Clock", "Reading", "RunWriter", "create_run", "held_run", "resume_run"]

Clock = Callable[[], datetime]

# A stream is on disk within this time of being recorded; a reading of a guided session at once.
FLUSH_WITHIN_S = 1.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One row to record. `value` is what the meter showed (`0.42`, `OL`), or a number in `unit` (+inf: over-
    range); `uncertainty` is in `unit` too. `time` "" is filled by the clock. `withdraws` takes back that row.
    `round`: of a touch against the common of marker clips.
    """

    start: str
    end: str
    value: str | float
    quantity: Quantity = Quantity.RESISTANCE
    unit: str = ""
    current_a: float | None = None
    uncertainty: float | None = None
    range_ohms: float | None = None
    bonded_start: tuple[str, ...] = ()
    bonded_end: tuple[str, ...] = ()
    time: str = ""
    withdraws: int | None = None
    instrument: str = ""
    temperature_c: float | None = None
    note: str = ""
    round: int | None = None


def create_run(folder: str | Path, harness: Harness, about: About, *, clock: Clock) -> RunWriter:
    """A new run folder, locked for this program; it appears whole or not at all.

    `clock` gives aware times. Raises RunFolderError when there is something in the way.
    """
    place = Path(folder)
    if (place / runfile.RUN_FILE).exists():
        raise RunFolderError(f"{place} already holds a run: go on with it, or choose another folder")
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise RunFolderError(f"{place} is there already and is no run folder: choose another name")
    aside = place.with_name(f".{place.name}.{os.getpid()}.new")
    try:
        aside.mkdir(parents=True)
        fill_run(aside, harness, about, clock())
        if place.exists():
            place.rmdir()  # empty, as seen above
        aside.rename(place)
    except OSError as error:
        shutil.rmtree(aside, ignore_errors=True)
        raise RunFolderError(f"{place} cannot be made: {error.strerror or error}") from error
    return RunWriter(place, _locked(place), clock)


def resume_run(
    folder: str | Path, *, clock: Clock, harness: Harness | None = None, rehearsal: bool = False
) -> RunWriter:
    """Go on with a run; a torn last line is moved to `set-aside.txt`, never guessed.

    With `harness`, it must be the one the run was recorded against; with `rehearsal`, readings of a
    simulated meter never go into a run of a real loom (a rehearsal stays one, whoever goes on with it).

    Raises RunFolderError, or InputError
    when `run.toml` cannot be read.
    """
    place = Path(folder)
    if not (place / runfile.RUN_FILE).is_file():
        raise RunFolderError(f"{place} holds no run ({runfile.RUN_FILE} is not there)")
    lock = _locked(place)
    try:
        run = runfile.read_run_file(place)
        digest = runfile.harness_digest(harness) if harness else ""
        if digest and run.harness_digest and digest != run.harness_digest:
            raise RunFolderError(
                f"{place} was recorded against another version of the harness: begin a new run, or use "
                f"the copy in {place / runfile.HARNESS_FOLDER}"
            )
        if rehearsal and not run.rehearsal:
            raise RunFolderError(
                f"{place} was measured on a real loom: choose another folder for this rehearsal"
            )
        runfile.check_grows(place)
        writer = RunWriter(place, lock, clock)
        writer.note_event("resumed", after_row=writer.last_row)
    except BaseException:
        lock.release()
        raise
    return writer


@contextmanager
def held_run(folder: Path) -> Iterator[None]:
    """Holds a run folder's lock. Raises RunFolderError while another program records into it."""
    lock = _locked(folder)
    try:
        yield
    finally:
        lock.release()


class RunWriter:
    """An open run folder; made by `create_run` and `resume_run`, one at a time for each folder.

    A row's number is its line in `readings.csv`, the header being 1.
    """

    def __init__(self, folder: Path, lock: BaseFileLock, clock: Clock) -> None:
        self.folder = folder
        self._lock, self._clock = lock, clock
        self._readings = AppendedFile(folder / runfile.READINGS_FILE, folder / runfile.SET_ASIDE_FILE)
        self._events = AppendedFile(folder / runfile.RUN_FILE, folder / runfile.SET_ASIDE_FILE)
        self._event_number = runfile.last_event(runfile.read_run_file(folder).raw)
        self._pending: list[str] = []
        self._width = _columns_of(folder / runfile.READINGS_FILE)
        self._oldest_pending_s = 0.0
        self._closed = False

    @property
    def last_row(self) -> int:
        """Number of the last recorded reading, the first being 1; 0 while there is none."""
        return self._readings.lines - 1 + len(self._pending)

    def record(self, reading: Reading) -> int:
        """Append one reading; it is on disk when its row number is returned.

        Raises ValueError for what no reading can be, RunFolderError when the disk is full or gone.
        """
        row = self.record_later(reading)
        self.flush()
        return row

    def record_later(self, reading: Reading) -> int:
        """Append one reading of a stream: on disk within FLUSH_WITHIN_S, if this or `flush_due` is called."""
        self._check_open()
        line = self._line(reading)
        if not self._pending:
            self._oldest_pending_s = time.monotonic()
        self._pending.append(line)
        row = self.last_row
        self.flush_due()
        return row

    def flush_due(self) -> None:
        """Write what has waited for FLUSH_WITHIN_S; call it while the stream pauses."""
        if self._pending and time.monotonic() - self._oldest_pending_s >= FLUSH_WITHIN_S / 2:
            self.flush()

    def flush(self) -> None:
        """Everything recorded is on disk when this returns."""
        self._check_open()
        if self._pending:
            lines, self._pending = self._pending, []
            self._readings.append("".join(lines), len(lines))

    def withdraw(self, row: int, note: str = "") -> int:
        """Take back the reading in `row` by one more row, whose number is returned. Raises ValueError."""
        self.flush()
        cells = self._cells(row)
        if cells is None or not cells["value"]:
            raise ValueError(f"row {row} holds no reading to take back")
        return self.record(Reading(cells["from"], cells["to"], "", withdraws=row, note=note))

    def rows(self) -> list[tuple[int, dict[str, str]]]:
        """Every row of the run with its number, as cells by column: what was taken back among them."""
        self.flush()
        lines = (self.folder / runfile.READINGS_FILE).read_text("utf-8").split("\n")[:-1]
        header, *rows = csv.reader(lines)
        return [(number, dict(zip(header, cells, strict=True))) for number, cells in enumerate(rows, 1)]

    def reading_in(self, row: int) -> Reading:
        """The reading in `row` as it was recorded, but for its time. Raises ValueError."""
        cells = self._cells(row)
        if cells is None or not cells["value"]:
            raise ValueError(f"row {row} holds no reading")
        return Reading(
            cells["from"],
            cells["to"],
            cells["value"],
            quantity=Quantity[(cells["quantity"] or "resistance").upper()],
            unit=cells["unit"],
            current_a=_number(cells["current"]),
            uncertainty=_number(cells["uncertainty"]),
            range_ohms=_number(cells["range"]),
            bonded_start=tuple(cells["bonded_from"].split()),
            bonded_end=tuple(cells["bonded"].split()),
            instrument=cells["instrument"],
            temperature_c=_number(cells["temperature"]),
            note=cells["note"],
            round=int(cells["round"]) if cells.get("round") else None,
        )

    def time_now(self) -> str:
        """The time as a reading's row has it."""
        return self._clock().isoformat(timespec="milliseconds")

    def check(self, reading: Reading) -> None:
        """Raises ValueError for what `record` would refuse."""
        self._line(reading)

    def seat(self, number: int, seats: Sequence[tuple[Clip, str]]) -> None:
        """Marker clips sit on these points in this round; on disk when this returns.

        Raises RunFolderError.
        """
        self._check_open()
        if self._width < runfile.HEADER.count(",") + 1:
            raise RunFolderError(f"{self.folder} was begun before marker clips: begin a new run for them")
        path = self.folder / SEATS_FILE
        new = not path.exists()
        rows, width = ([SEATS_HEADER] if new else []), (SEATS_COLUMNS if new else _columns_of(path))
        for clip, point in seats:
            sd = _or_empty(clip.uncertainty_ohm)
            cells = (str(number), clip.marker, point, f"{clip.ohms:.12g}", sd, clip.plug)
            if clip.plug and width < len(cells):
                raise RunFolderError(f"{self.folder} was begun before marker plugs: begin a new run for them")
            rows.append(csv_line(cells[:width]))
        path.touch()
        with closing(AppendedFile(path, self.folder / runfile.SET_ASIDE_FILE)) as file:
            file.append("".join(rows), len(rows))

    def note_event(self, what: str, **facts: runfile.Fact) -> None:
        """One line in `[events]` of run.toml, with the time; on disk when this returns."""
        self._check_open()
        stamped = {"what": what, "at": self._clock().isoformat(timespec="seconds"), **facts}
        self._events.append(runfile.event_line(self._event_number + 1, stamped), 1)
        self._event_number += 1

    def note_meter(self, back: bool) -> None:
        """The meter's cable was pulled, or is back."""
        self.note_event("meter back" if back else "meter lost", after_row=self.last_row)

    def note_leads(self, when: str, ohms: float, uncertainty_ohms: float) -> None:
        """What the leads read with their tips together, at the "start" or the "end" of the run."""
        self.note_event("leads", when=when, ohms=ohms, uncertainty_ohms=uncertainty_ohms)

    def close(self, status: str, reason: str = "") -> None:
        """Flush, write the ended entry (`status`: complete, stopped, failed) and let the folder go."""
        if self._closed:
            return
        try:
            self.flush()
            reasons = {"reason": reason} if reason else {}
            self.note_event("ended", status=status, **reasons, last_row=self.last_row)
        finally:
            self._closed = True
            self._readings.close()
            self._events.close()
            self._lock.release()

    def __enter__(self) -> RunWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close("complete")
            return
        status = "stopped" if issubclass(kind, KeyboardInterrupt) else "failed"
        try:
            self.close(status, str(error) or kind.__name__)
        except RunFolderError:
            if not isinstance(error, RunFolderError):  # else the first message says it already
                raise

    def _check_open(self) -> None:
        if self._closed:
            raise RunFolderError(f"{self.folder}: this run is closed")

    def _cells(self, row: int) -> dict[str, str] | None:
        text = (self.folder / runfile.READINGS_FILE).read_text("utf-8")
        lines = text.split("\n")
        if not 1 <= row < len(lines) - 1:
            return None
        header, cells = csv.reader([lines[0], lines[row]])
        return dict(zip(header, cells, strict=True))

    def _line(self, reading: Reading) -> str:
        value = reading.value if isinstance(reading.value, str) else _shown(reading.value)
        if reading.withdraws is None or value:
            comma = values.parse_value(value, reading.quantity, reading.unit).comma
            # a run has one decimal sign, whatever hands and meters give
            value = value.replace(",", ".") if comma else value
        if not reading.start or not reading.end or reading.start == reading.end:
            raise ValueError(
                f"found the points {reading.start!r} and {reading.end!r}; expected two different ones"
            )
        if reading.withdraws is not None and not 1 <= reading.withdraws <= self.last_row:
            raise ValueError(f"row {reading.withdraws} is no earlier row")
        _check_beside(reading)
        quantity = "" if reading.quantity is Quantity.RESISTANCE else reading.quantity.name.lower()
        cells = (
            reading.start,
            reading.end,
            value,
            quantity,
            reading.unit,
            _or_empty(reading.current_a),
            _or_empty(reading.uncertainty),
            _or_empty(reading.range_ohms),
            " ".join(reading.bonded_start),
            " ".join(reading.bonded_end),
            reading.time or self.time_now(),
            "" if reading.withdraws is None else str(reading.withdraws),
            reading.instrument,
            _or_empty(reading.temperature_c),
            reading.note,
            "" if reading.round is None else str(reading.round),
        )[: self._width]
        return csv_line(cells)


def _check_beside(reading: Reading) -> None:
    """Raises ValueError for what could not be read back: whatever sends it, a run stays one that opens."""
    drop = reading.quantity is Quantity.VOLTAGE_DROP and reading.withdraws is None
    if drop and reading.current_a is None:
        raise ValueError("found nothing; expected the amperes that flowed")
    if both := {reading.start, *reading.bonded_start} & {reading.end, *reading.bonded_end}:
        raise ValueError(f"found {', '.join(sorted(both))} on both sides; expected each point on one")
    for number, parse in (
        (reading.current_a, values.parse_current),
        (reading.uncertainty, values.parse_uncertainty),
        (reading.range_ohms, values.parse_range),
        (reading.temperature_c, values.parse_temperature),
    ):
        if number is not None:
            parse(repr(float(number)))


def _columns_of(file: Path) -> int:
    """How many columns a run's readings have: one less where it began before marker clips."""
    with file.open("rb") as stream:
        return stream.readline(1000).count(b",") + 1


def _shown(number: float) -> str:
    return "OL" if number == float("inf") else repr(float(number))


def _number(cell: str) -> float | None:
    return float(cell) if cell else None


def _or_empty(number: float | None) -> str:
    return "" if number is None else repr(float(number))


def _locked(folder: Path) -> BaseFileLock:
    """The folder's lock; the system lets it go when its holder ends, however it ends."""
    from filelock import FileLock, Timeout  # its import takes longer than all of this module

    lock = FileLock(folder / runfile.LOCK_FILE)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise RunFolderError(f"{folder} is being recorded by another program: end that first") from None
    except OSError as error:
        raise RunFolderError(f"{folder} cannot be locked: {error.strerror or error}") from error
    return lock
