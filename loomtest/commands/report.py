"""`loomtest report`: one self-contained page, and the pictures."""

from __future__ import annotations

from typing import Annotated

import typer

from loomtest.commands.app import app


@app.command(epilog="Example: loomtest report tractor tractor/before --out report")
def report(
    harness: Annotated[str, typer.Argument(help="A folder, a harness.toml or a wire list.")],
    readings: Annotated[str, typer.Argument(help="A readings file or a run folder.")],
    out: Annotated[str, typer.Option(help="The folder to write into.")],
    instrument: Annotated[
        str | None, typer.Option(help="An instrument file, or the name of one that comes along.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the paths and the verdict as JSON.")] = False,
) -> None:
    """Write the verdict as one page that opens and prints without a network, and the loom as a picture."""
    from pathlib import Path

    from loomtest.commands.screen import show, show_json, warn
    from loomtest.diagnosis.judge import judge
    from loomtest.evidence.page import write_report
    from loomtest.evidence.plain import Line, headline
    from loomtest.harness.load import load_harness
    from loomtest.readings.load import load_readings

    expected = load_harness(harness)
    measured = load_readings(readings, expected)
    warn(measured.warnings)
    meter = None
    if instrument is not None:
        from loomtest.readings.instrument import load_instrument

        meter = load_instrument(instrument)
    verdict = judge(expected, measured, meter)
    paths = write_report(expected, measured, verdict, Path(out), meter)
    if as_json:
        show_json({"files": [path.as_posix() for path in paths], "verdict": verdict.to_json()})
        return
    show([Line(headline(verdict, expected), "head"), *(Line(f"  {path.as_posix()}") for path in paths)])
