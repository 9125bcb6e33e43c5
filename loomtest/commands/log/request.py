"""What `loomtest log` was asked for, and the run folder it records into, whoever takes the readings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from loomtest.bench.plan.markers import MarkedPlan
    from loomtest.bench.plan.mending import Mending
    from loomtest.harness.model import Harness, IsolationLevel
    from loomtest.readings.kitfile import Kit
    from loomtest.readings.model import Instrument, Job, Range
    from loomtest.readings.run import RunWriter


@dataclass(frozen=True, slots=True)
class LogRequest:
    """The options of the command line that every way of reading shares."""

    out: Path
    stage: str = ""
    operator: str = ""
    instrument: str = ""
    temperature_c: float | None = None
    isolation: IsolationLevel | None = None
    joints: bool = False
    open_after_s: float | None = None
    quiet: bool = False
    rehearsal: bool = False
    after: str = ""
    mending: Mending | None = None
    job: Job | None = None
    markers: Path | None = None

    def marked_plan(self, harness: Harness, instrument: Instrument) -> tuple[MarkedPlan, Range]:
        """The plan with the kit that was named, and the range it is read on. Raises InputError."""
        from loomtest.bench.plan.kit import usable
        from loomtest.bench.plan.markers import plan_marked
        from loomtest.readings.kitfile import read_kit

        assert self.markers is not None
        kit = read_kit(self.markers)
        held = usable(kit, instrument, harness)
        check_kit(self.out, kit)
        return plan_marked(harness, kit.clips, self.planned_level(harness), held=held), held

    def stated_instrument(self) -> Instrument | None:
        """The instrument that was named, else that of the run which is resumed, else None."""
        from loomtest.readings.instrument import load_instrument
        from loomtest.readings.runfile import INSTRUMENT_FILE

        if self.instrument:
            return load_instrument(self.instrument)
        runs = [self.out, *([Path(self.after)] if self.after else [])]
        kept = next((run / INSTRUMENT_FILE for run in runs if (run / INSTRUMENT_FILE).is_file()), None)
        return load_instrument(kept) if kept is not None else None

    def planned_level(self, harness: Harness) -> IsolationLevel:
        """The isolation level to measure: what was asked for, else the resumed run's own, else the loom's."""
        from loomtest.readings.runfile import RUN_FILE, read_run_file

        runs = [self.out, *([Path(self.after)] if self.after else [])]
        kept = next((read_run_file(run).isolation for run in runs if (run / RUN_FILE).is_file()), None)
        return self.isolation or kept or harness.limits.isolation

    def open_run(self, harness: Harness, instrument: Instrument | None) -> RunWriter:
        """A new run folder, or the one that is there, to go on where it stopped. Raises RunFolderError."""
        from loomtest.readings.model import NO_JOB
        from loomtest.readings.run import About, create_run, resume_run
        from loomtest.readings.runfile import RUN_FILE

        if (self.out / RUN_FILE).is_file():
            return resume_run(self.out, clock=now, harness=harness, rehearsal=self.rehearsal)
        about = About(
            stage=self.stage,
            operator=self.operator,
            instrument=instrument,
            temperature_c=self.temperature_c,
            rehearsal=self.rehearsal,
            job=self.job or NO_JOB,
            isolation=self.planned_level(harness),
            mended=self.mending.mended if self.mending is not None else None,
        )
        return create_run(self.out, harness, about, clock=now)


def check_kit(out: Path, kit: Kit) -> None:
    """Raises InputError where the run that is resumed had its clips from another kit."""
    from loomtest.errors import InputError, Problem
    from loomtest.readings.runfile import seats_in

    ohms = {clip.marker: clip.ohms for clip in kit.clips}
    for seat in seats_in(out):
        if ohms.get(seat.clip.marker) != seat.clip.ohms:
            found = f"a kit in which {seat.clip.marker} is not {seat.clip.ohms:g} ohm"
            expected = f"the kit that {out} was begun with, or a new run"
            raise InputError([Problem(kit.file, None, "ohms", found, expected)])


def now() -> datetime:
    """The time with its offset."""
    return datetime.now().astimezone()
