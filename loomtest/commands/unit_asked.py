"""A unit's number that was kept before is asked about, or, where nobody can answer, told."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from loomtest.evidence.archive.folder import Archive
    from loomtest.evidence.archive.keep import KeptRun
    from loomtest.evidence.archive.same_unit import UnitTested


def ask_about_unit(run: Path, archive: Archive, rehearsal: bool) -> None:
    """Before a run is kept: its unit's number may be another loom's. Raises ArchiveError where the person
    says that it is; without a terminal nothing is asked."""
    import typer

    tested = unit_of_run(run)
    if tested is None or rehearsal or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return
    from datetime import datetime

    from loomtest.errors import ArchiveError
    from loomtest.evidence.archive.same_unit import kept_under_that_number
    from loomtest.evidence.archive.words import SAME_UNIT_QUESTION, same_unit_words

    found = kept_under_that_number(archive, tested, datetime.now().astimezone())
    if found is not None:
        typer.echo(same_unit_words(found))
        if not typer.confirm(SAME_UNIT_QUESTION):
            raise ArchiveError(
                "Nothing was kept. Record the run again with the unit's own number (log --unit)"
            )


def told_about_unit(run: Path, archive: Archive, kept: KeptRun) -> str:
    """After a run was kept: what there is to say of its number, also of a bench that kept meanwhile; ""."""
    tested = unit_of_run(run)
    if tested is None or kept.verdict.rehearsal:
        return ""
    from datetime import datetime

    from loomtest.evidence.archive.same_unit import kept_under_that_number
    from loomtest.evidence.archive.words import same_unit_words

    found = kept_under_that_number(archive, tested, datetime.now().astimezone(), kept.entry.folder)
    return "" if found is None else f"{same_unit_words(found)} Both runs are kept."


def unit_of_run(run: Path) -> UnitTested | None:
    """What a run folder says of its unit; None where it names none, or cannot be read."""
    from loomtest.errors import LoomtestError
    from loomtest.evidence.archive.folder import default_bench
    from loomtest.evidence.archive.keep import harness_of
    from loomtest.evidence.archive.same_unit import UnitTested
    from loomtest.readings.runfile import RUN_FILE, read_run_file

    if not (run / RUN_FILE).is_file():
        return None
    try:
        told = read_run_file(run)
        if not told.job.unit:
            return None
        harness = harness_of(run).name
    except LoomtestError:
        return None  # keeping it says what is wrong
    job = told.job
    return UnitTested(harness=harness, unit=job.unit, job=job.number, stage=told.stage, bench=default_bench())
