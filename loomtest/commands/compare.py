"""`loomtest compare`: before and after, pair by pair and fault by fault."""

from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import HARNESS_HELP, INSTRUMENT_HELP, JSON_HELP, QUIET_HELP

if TYPE_CHECKING:
    from loomtest.errors import Problem


@app.command(
    epilog="Example: loomtest compare wires.csv first.csv second.csv\n"
    "Example: loomtest compare tractor tractor/before tractor/after --out pictures"
)
def compare(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    before: Annotated[str, typer.Argument(help="The first run: a readings file (CSV) or a run folder.")],
    after: Annotated[str, typer.Argument(help="The later run; use the same meter if you can.")],
    out: Annotated[
        str | None, typer.Option(help="Also draw before and after into this folder (PNG and SVG).")
    ] = None,
    instrument: Annotated[str | None, typer.Option(help=INSTRUMENT_HELP)] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Say what became better or worse between two runs, and which faults are gone, remain or are new.

    A pair is better or worse only if it changed by more than the meter can be off; otherwise it is the same,
    or "cannot tell". A run from before a connector change is shown at the points of today.

    The JSON object, "schema": "loomtest-change/1": before and after (verdicts), pairs (from, to,
    before_ohms, after_ohms, change_ohms, uncertainty_ohms, change), faults (gone, remaining, new).
    """
    from pathlib import Path

    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import exit_status, show, show_long_json, warn
    from loomtest.diagnosis.change.change import Side, change_between
    from loomtest.diagnosis.change.follow import follow_readings, follow_verdict
    from loomtest.harness.load import load_harness
    from loomtest.readings.earlier import load_earlier
    from loomtest.words.verdict import judge

    warnings: list[Problem] = []
    written: list[Path] = []
    with Progress(f"reading {harness}", quiet) as progress:
        expected = load_harness(harness)
        meter = None
        if instrument is not None:
            from loomtest.readings.instrument import load_instrument

            meter = load_instrument(instrument)

        def side(path: str) -> Side:
            progress.say(f"reading {path}")
            taken_on, readings = load_earlier(path, expected)
            warnings.extend(readings.warnings)
            progress.say(f"judging {path}")
            verdict = judge(taken_on, readings, meter)
            if taken_on is not expected:  # taken before a connector change: told in the points of today
                readings, verdict = follow_readings(readings, expected), follow_verdict(verdict, expected)
            return Side(readings, verdict, meter)

        earlier, later = side(before), side(after)
        change = change_between(expected, earlier, later)
        if out is not None:
            from loomtest.evidence.plots.plots import write_plots

            progress.say("drawing")
            written = write_plots(expected, change, earlier, later, Path(out))
    warn(warnings)
    if as_json:
        show_long_json(change.to_json_but_pairs(), "pairs", change.pairs_json())
    else:
        from loomtest.words.change import change_lines

        show(change_lines(change, expected, written))
    raise typer.Exit(exit_status(change.after))
