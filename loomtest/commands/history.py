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
    parquet: Annotated[str | None, typer.Option(help="The same as Parquet, for a database engine.")] = None,
    since: Annotated[str | None, typer.Option(help="Only runs begun on this day or later.")] = None,
    until: Annotated[str | None, typer.Option(help="Only runs begun on this day or earlier.")] = None,
    bench: Annotated[str | None, typer.Option(help="Only the runs of this bench.")] = None,
    operator: Annotated[str | None, typer.Option(help="Only the runs of this person.")] = None,
    job: Annotated[str, typer.Option(help="Only the runs of this job.")] = "",
    unit: Annotated[str, typer.Option(help="Only the runs of this unit, by its serial number.")] = "",
    stage: Annotated[str | None, typer.Option(help="Only the runs of this stage, such as after.")] = None,
    verdict: Annotated[str | None, typer.Option(help="Only runs with this verdict.")] = None,
    fault: Annotated[
        str | None, typer.Option(help="Only runs with such a fault: open, short, crossed and so on.")
    ] = None,
    place: Annotated[
        str | None, typer.Option(help="Only runs with a fault at this point, such as X1:3.")
    ] = None,
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

    All choices may be combined. "will pass its limit about" is said only when at least five runs, and the
    whole 95 % interval of the trend, agree.

    The JSON object, "schema": "loomtest-history/1": runs (bag, harness, stage, started, verdict and more),
    courses (each circuit's resistance run by run, with its trend), files.
    """
    from pathlib import Path
    from typing import get_args

    from loomtest.commands.chosen import day_of, harness_name, one_of_these
    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.diagnosis.verdict import Fault, Outcome
    from loomtest.evidence.archive.folder import Archive, default_archive
    from loomtest.evidence.archive.history import history_json, history_of, runs_table
    from loomtest.evidence.archive.index import Wanted
    from loomtest.evidence.archive.words import MOST_RUNS, history_lines
    from loomtest.evidence.tablefile import write_tables
    from loomtest.words.lines import Line

    wanted = Wanted(
        harness=harness_name(harness) if harness is not None else None,
        since=day_of(since, "--since"),
        until=day_of(until, "--until"),
        bench=bench,
        operator=operator,
        job=job or None,
        unit=unit or None,
        stage=stage,
        verdict=one_of_these(verdict, get_args(Outcome), "--verdict"),
        fault=one_of_these(fault, get_args(Fault), "--fault"),
        place=place,
    )
    with Progress("reading the archive", quiet):
        at = Archive(archive if archive is not None else default_archive(), index)
        found = history_of(at, wanted, None if everything or jobs or as_json else MOST_RUNS)
        written = write_tables(runs_table(at, wanted), csv, parquet) if csv or parquet else []
    if jobs:
        _show_jobs(found, as_json)
        return
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
