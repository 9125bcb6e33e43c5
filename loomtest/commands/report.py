"""`loomtest report`: one self-contained page, and the pictures."""

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


@app.command(epilog="Example: loomtest report tractor tractor/before --out report")
def report(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    readings: Annotated[list[str], typer.Argument(help=SEVERAL_HELP)],
    out: Annotated[
        str, typer.Option(help="The folder to write into; files of an earlier report in it are replaced.")
    ],
    instrument: Annotated[str | None, typer.Option(help=INSTRUMENT_HELP)] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Write the verdict as one page that opens and prints without a network, and the loom as a picture.

    Print report.html or pass it on: it begins with the answer in plain words and needs no other file. The
    pictures (loom.svg, loom.png) and verdict.json are there too.

    The JSON object: files (paths written), verdict (as judge --json prints it).
    """
    from pathlib import Path

    from loomtest.commands.judged import judged
    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json, warn
    from loomtest.evidence.page.page import write_report
    from loomtest.words.lines import Line, folded
    from loomtest.words.plain import headline

    with Progress(f"reading {harness}", quiet) as progress:
        done = judged(harness, readings, instrument, progress)
        progress.say("drawing the report")
        paths = write_report(done.harness, done.readings, done.verdict, Path(out), done.instrument)
    warn(done.readings.warnings)
    if as_json:
        show_json({"files": [path.as_posix() for path in paths], "verdict": done.verdict.to_json()})
        return
    told = [Line(text, "head") for text in folded(headline(done.verdict, done.harness), 80)]
    show([*told, *(Line(f"  {path.as_posix()}") for path in paths)])
