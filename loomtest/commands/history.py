"""`loomtest history`: what was kept, and where each circuit is going."""

from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.keep import ARCHIVE_HELP, INDEX_HELP
from loomtest.commands.terminal.verbs import JSON_HELP, QUIET_HELP

if TYPE_CHECKING:
    from loomtest.evidence.archive.history import History


@app.command(epilog="Example: loomtest history\nExample: loomtest history tractor --out plots")
def history(
    harness: Annotated[str | None, typer.Argument(help="A harness or its name (default: all).")] = None,
    out: Annotated[str | None, typer.Option(help="Also draw resistance over time into this folder.")] = None,
    csv: Annotated[str | None, typer.Option(help="Also write the runs as a table to this file.")] = None,
    job: Annotated[str, typer.Option(help="Only the runs of this job.")] = "",
    unit: Annotated[str, typer.Option(help="Only the runs of this unit, by its serial number.")] = "",
    jobs: Annotated[
        bool, typer.Option("--jobs", help="List the jobs instead: open or done, last verdict, days since.")
    ] = False,
    everything: Annotated[bool, typer.Option("--all", help="Show every run and every circuit.")] = False,
    archive: Annotated[str | None, typer.Option(help=ARCHIVE_HELP)] = None,
    index: Annotated[str | None, typer.Option(help=INDEX_HELP)] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Show the kept runs, their verdicts, and each circuit's resistance over time with its trend.

    "will pass its limit about" is said only when at least five runs, and the whole 95 % interval of the
    trend, agree.

    The JSON object, "schema": "loomtest-history/1": runs (bag, harness, stage, started, verdict and more),
    courses (each circuit's resistance run by run, with its trend), files.
    """
    from pathlib import Path

    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.evidence.archive.folder import archive_at
    from loomtest.evidence.archive.history import history_csv, history_json, history_of
    from loomtest.evidence.archive.index import Wanted
    from loomtest.evidence.archive.words import MOST_RUNS, history_lines
    from loomtest.harness.load import is_there
    from loomtest.words.lines import Line

    name = harness
    if harness is not None and is_there(Path(harness)):
        from loomtest.harness.load import load_harness

        name = load_harness(harness).name
    with Progress("reading the archive", quiet):
        place = archive_at(archive, index)
        wanted = Wanted(harness=name, job=job or None, unit=unit or None)
        whole = everything or jobs or as_json or csv is not None
        found = history_of(place, wanted, None if whole else MOST_RUNS)
    if jobs:
        _show_jobs(found, as_json)
        return
    written: list[Path] = []
    if csv is not None:
        from loomtest.errors import InputError, Problem

        try:
            Path(csv).write_text(history_csv(found), "utf-8", newline="")
        except OSError as error:
            why = f"a place that cannot be written ({error.strerror})"
            raise InputError([Problem(csv, None, "--csv", why, "a file to write")]) from error
        written.append(Path(csv))
    if out is not None:
        from loomtest.evidence.archive.plot import write_history_plot

        with Progress("drawing", quiet):
            written += write_history_plot(found, Path(out))
    if as_json:
        show_json({**history_json(found), "files": [path.as_posix() for path in written]})
        return
    show([*history_lines(found, everything), *(Line(f"  {path.as_posix()}") for path in written)])


def _show_jobs(found: "History", as_json: bool) -> None:
    from dataclasses import asdict
    from datetime import UTC, datetime

    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.evidence.archive.database.rows import EPOCH
    from loomtest.evidence.archive.jobs import jobs_of
    from loomtest.evidence.archive.words import jobs_lines

    listed = jobs_of(found.runs, (datetime.now(UTC) - EPOCH).total_seconds() / 86400)
    if as_json:
        show_json({"schema": "loomtest-jobs/1", "jobs": [asdict(job) for job in listed]})
    else:
        show(jobs_lines(listed))
