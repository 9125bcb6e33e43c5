"""`loomtest compare`: before and after, pair by pair and fault by fault."""

from __future__ import annotations

from typing import Annotated

import typer

from loomtest.commands.app import app


@app.command(epilog="Example: loomtest compare tractor tractor/before tractor/after --out pictures")
def compare(
    harness: Annotated[str, typer.Argument(help="A folder, a harness.toml or a wire list.")],
    before: Annotated[str, typer.Argument(help="A readings file or a run folder.")],
    after: Annotated[str, typer.Argument(help="A readings file or a run folder.")],
    out: Annotated[str | None, typer.Option(help="A folder for the plots (PNG and SVG).")] = None,
    instrument: Annotated[str | None, typer.Option(help="An instrument file or name, for both runs.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the change as JSON.")] = False,
) -> None:
    """Say what became better or worse between two runs, and which faults are gone, remain or are new.

    Exit status, by the run after: 0 pass, 1 fail, 3 not proven; 2 could not be carried out.
    """
    from pathlib import Path

    from loomtest.commands.screen import exit_status, show, show_json, warn
    from loomtest.diagnosis.change import Side, change_between
    from loomtest.diagnosis.follow import follow_readings, follow_verdict
    from loomtest.diagnosis.judge import judge
    from loomtest.harness.load import load_harness
    from loomtest.readings.earlier import load_earlier

    expected = load_harness(harness)
    meter = None
    if instrument is not None:
        from loomtest.readings.instrument import load_instrument

        meter = load_instrument(instrument)

    def side(path: str) -> Side:
        taken_on, readings = load_earlier(path, expected)
        warn(readings.warnings)
        verdict = judge(taken_on, readings, meter)
        if taken_on is not expected:  # taken before a connector change: told in the points of today
            readings, verdict = follow_readings(readings, expected), follow_verdict(verdict, expected)
        return Side(readings, verdict, meter)

    earlier, later = side(before), side(after)
    change = change_between(expected, earlier, later)
    written: list[Path] = []
    if out is not None:
        from loomtest.evidence.plots import write_plots

        written = write_plots(expected, change, earlier, later, Path(out))
    if as_json:
        show_json(change.to_json())
    else:
        from loomtest.evidence.plain_change import change_lines

        show(change_lines(change, expected, written))
    raise typer.Exit(exit_status(change.after))
