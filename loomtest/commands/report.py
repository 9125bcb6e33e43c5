"""`loomtest report`: one self-contained page, and the pictures."""

from typing import Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.verbs import HARNESS_HELP, INSTRUMENT_HELP, JSON_HELP, QUIET_HELP, READINGS_HELP


@app.command(epilog="Example: loomtest report tractor tractor/before --out report")
def report(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    readings: Annotated[str, typer.Argument(help=READINGS_HELP)],
    out: Annotated[
        str, typer.Option(help="The folder to write into; files of an earlier report in it are replaced.")
    ],
    instrument: Annotated[str | None, typer.Option(help=INSTRUMENT_HELP)] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Write the verdict as one page that opens and prints without a network, and the loom as a picture.

    Hand report.html on, or print it: it begins with the answer in plain words and needs nothing beside it.
    The pictures (loom.svg, loom.png) and verdict.json stand there for whoever wants them apart.

    The JSON object: files (paths written), verdict (as judge --json prints it).
    """
    from pathlib import Path

    from loomtest.commands.progress import Progress
    from loomtest.commands.screen import show, show_json, warn
    from loomtest.diagnosis.judge import judge
    from loomtest.evidence.page import write_report
    from loomtest.evidence.plain import Line, folded, headline
    from loomtest.harness.load import load_harness
    from loomtest.readings.load import load_readings

    with Progress(f"reading {harness}", quiet) as progress:
        expected = load_harness(harness)
        progress.say(f"reading {readings}")
        measured = load_readings(readings, expected)
        meter = None
        if instrument is not None:
            from loomtest.readings.instrument import load_instrument

            meter = load_instrument(instrument)
        progress.say("judging")
        verdict = judge(expected, measured, meter)
        progress.say("drawing the report")
        paths = write_report(expected, measured, verdict, Path(out), meter)
    warn(measured.warnings)
    if as_json:
        show_json({"files": [path.as_posix() for path in paths], "verdict": verdict.to_json()})
        return
    told = [Line(text, "head") for text in folded(headline(verdict, expected), 80)]
    show([*told, *(Line(f"  {path.as_posix()}") for path in paths)])
