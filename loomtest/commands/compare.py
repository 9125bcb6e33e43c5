"""`loomtest compare`: before and after, pair by pair and fault by fault."""

from typing import Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import HARNESS_HELP, INSTRUMENT_HELP, JSON_HELP, QUIET_HELP


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
    from loomtest.commands.two_runs import two_runs
    from loomtest.diagnosis.change.change import change_between

    written: list[Path] = []
    with Progress(f"reading {harness}", quiet) as progress:
        both = two_runs(harness, (before, after), instrument, progress)
        change = change_between(both.harness, both.before, both.after)
        if out is not None:
            from loomtest.evidence.plots.plots import write_plots

            progress.say("drawing")
            written = write_plots(both.harness, change, both.before, both.after, Path(out))
    warn(both.warnings)
    if as_json:
        show_long_json(change.to_json_but_pairs(), "pairs", change.pairs_json())
    else:
        from loomtest.words.change import FOR_THE_CUSTOMER, change_lines
        from loomtest.words.lines import Line, wrapped

        show(change_lines(change, both.harness, written))
        show([Line(""), *wrapped(FOR_THE_CUSTOMER, tone="soft")])
    raise typer.Exit(exit_status(change.after))
