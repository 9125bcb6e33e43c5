"""`loomtest yield`: what many units of one loom say together."""

from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.keep import ARCHIVE_HELP, INDEX_HELP
from loomtest.commands.terminal.verbs import JSON_HELP, QUIET_HELP

if TYPE_CHECKING:
    from pathlib import Path

    from loomtest.diagnosis.units.report import ManyUnits


@app.command(
    "yield",
    epilog="Example: loomtest yield tractor --since 2026-05-01\n"
    "Example: loomtest yield tractor --bench bench-2 --out plots --parquet units.parquet",
)
def yielded(
    harness: Annotated[str, typer.Argument(help="A harness or its name.")],
    since: Annotated[str | None, typer.Option(help="Only runs begun on this day or later.")] = None,
    until: Annotated[str | None, typer.Option(help="Only runs begun on this day or earlier.")] = None,
    bench: Annotated[str | None, typer.Option(help="Only the runs of this bench.")] = None,
    operator: Annotated[str | None, typer.Option(help="Only the runs of this person.")] = None,
    job: Annotated[str | None, typer.Option(help="Only the runs of this job.")] = None,
    stage: Annotated[str | None, typer.Option(help="Only the runs of this stage, such as after.")] = None,
    circuit: Annotated[str, typer.Option(help="With --out: draw the control chart of this one.")] = "",
    newest: Annotated[
        int, typer.Option(help="Look at the resistances of so many units, the newest.", min=1)
    ] = 1000,
    everything: Annotated[bool, typer.Option("--all", help="Show every fault and every circuit.")] = False,
    out: Annotated[str | None, typer.Option(help="Also draw faults and control charts here.")] = None,
    csv: Annotated[str | None, typer.Option(help="Also write the resistances to this file.")] = None,
    parquet: Annotated[str | None, typer.Option(help="The same as Parquet, for a database engine.")] = None,
    archive: Annotated[str | None, typer.Option(help=ARCHIVE_HELP)] = None,
    index: Annotated[str | None, typer.Option(help=INDEX_HELP)] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Say how many units are right, which faults are the commonest, and what is usual of each circuit.

    A unit is one loom with a serial number (log --unit); its retests are its later tries. Limits are made of
    sound units only. With runs of several benches it says which joint reads otherwise at which bench, or
    wanders there.

    The JSON object, "schema": "loomtest-yield/1": harness, runs, units, first and last (right, share,
    interval, not_proven), benches, faults, circuits (mean, spread, tolerance limits, control chart), shifts,
    files.
    """
    from pathlib import Path

    from loomtest.commands.chosen import day_of, harness_name
    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.evidence.archive.folder import Archive, default_archive
    from loomtest.evidence.archive.index import Wanted
    from loomtest.evidence.archive.units import unit_rows, units_of
    from loomtest.evidence.tablefile import write_tables
    from loomtest.words.lines import Line
    from loomtest.words.units import units_lines

    name = harness_name(harness)
    wanted = Wanted(
        harness=name,
        since=day_of(since, "--since"),
        until=day_of(until, "--until"),
        bench=bench,
        operator=operator,
        job=job,
        stage=stage,
    )
    with Progress("reading the archive", quiet) as progress:
        place = Archive(archive if archive is not None else default_archive(), index)
        kept = units_of(place, wanted, newest)
        written = write_tables(unit_rows(kept), csv, parquet) if csv or parquet else []
        if out is not None:
            progress.say("drawing")
            written += _plots(name, kept.units, circuit, Path(out))
    if as_json:
        from loomtest.evidence.archive.unitjson import units_object

        files = [path.as_posix() for path in written]
        show_json({**units_object(name, kept), "files": files})
        return
    lines = units_lines(name, kept.units, kept.rehearsed, everything)
    show([*lines, *(Line(f"  {path.as_posix()}") for path in written)])


def _plots(name: str, units: "ManyUnits", circuit: str, out: "Path") -> "list[Path]":
    from loomtest.errors import InputError, Problem
    from loomtest.evidence.archive.unitplots import chosen_circuits, write_unit_plots

    chosen = chosen_circuits(units, circuit)
    if circuit and not chosen:
        known = ", ".join(sorted({one.circuit or one.wires for one in units.circuits})) or "none"
        raise InputError([Problem("--circuit", None, "", f'"{circuit}"', f"one of {known}")])
    return write_unit_plots(name, units, chosen, out)
