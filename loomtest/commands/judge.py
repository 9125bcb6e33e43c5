"""`loomtest judge`: what the readings say about the loom."""

from __future__ import annotations

from typing import Annotated

import typer

from loomtest.commands.app import app


@app.command(epilog="Example: loomtest judge wires.csv readings.csv")
def judge(
    harness: Annotated[str, typer.Argument(help="A folder, a harness.toml or a wire list.")],
    readings: Annotated[str, typer.Argument(help="A readings file or a run folder.")],
    instrument: Annotated[
        str | None, typer.Option(help="An instrument file, or the name of one that comes along.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the verdict as JSON.")] = False,
) -> None:
    """Say what is right, what is wrong and what was not measured.

    Exit status: 0 pass, 1 fail, 3 not proven, 2 could not be carried out.
    """
    from loomtest.commands.screen import exit_status, show, show_json, warn
    from loomtest.diagnosis.judge import judge as judge_readings
    from loomtest.harness.load import load_harness
    from loomtest.readings.load import load_readings

    expected = load_harness(harness)
    measured = load_readings(readings, expected)
    warn(measured.warnings)
    meter = None
    if instrument is not None:
        from loomtest.readings.instrument import load_instrument

        meter = load_instrument(instrument)
    verdict = judge_readings(expected, measured, meter)
    if as_json:
        show_json(verdict.to_json())
    else:
        from loomtest.evidence.plain import verdict_lines

        show(verdict_lines(verdict, expected))
    raise typer.Exit(exit_status(verdict.verdict))
