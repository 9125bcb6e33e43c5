"""`loomtest judge`: what the readings say about the loom."""

from typing import Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import (
    HARNESS_HELP,
    INSTRUMENT_HELP,
    JSON_HELP,
    QUIET_HELP,
    SEVERAL_HELP,
)


@app.command(
    epilog="Example: loomtest judge wires.csv readings.csv\n"
    "Example: loomtest judge tractor tractor/before --instrument milliohm-meter --json"
)
def judge(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    readings: Annotated[list[str], typer.Argument(help=SEVERAL_HELP)],
    instrument: Annotated[str | None, typer.Option(help=INSTRUMENT_HELP)] = None,
    markers: Annotated[
        str | None,
        typer.Option(
            help="Where marker clips sat (round, marker, point, ohms); a run folder says it itself."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Say what is right, what is wrong and what was not measured.

    Several runs of one loom are judged together, each with its own leads, meter and temperature: a scan in
    parts, or what was measured again after mending. Earlier readings are left out only where a later run
    says that what they read was mended since.

    Each physical fault is one finding, the most dangerous first, with the wires that explain it, what it
    would do in service and the one step that would settle or mend it. What was not measured is counted and
    listed; it is never taken for right. The verdict is about the bench: it does not say that a vehicle is
    safe.

    The JSON object, "schema": "loomtest-verdict/1": verdict, wiring and joints (pass, fail, not-proven),
    findings and undecided, wires with their estimates, nets, coverage, untested.
    """
    from loomtest.commands.judged import judged
    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import exit_status, show, show_json, warn

    with Progress(f"reading {harness}", quiet) as progress:
        done = judged(harness, readings, instrument, progress, markers)
    warn(done.readings.warnings)
    if as_json:
        show_json(done.verdict.to_json())
    else:
        from loomtest.words.lines import wrapped
        from loomtest.words.plain import verdict_lines
        from loomtest.words.sittings import runs_said

        show([*verdict_lines(done.verdict, done.harness), *wrapped(*runs_said(done.readings), tone="soft")])
    raise typer.Exit(exit_status(done.verdict.verdict))
