"""`loomtest report`: one self-contained page, and the pictures; or the page for a customer."""

from typing import Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.keep import ARCHIVE_HELP, BAG_HELP, NEWEST_HELP
from loomtest.commands.terminal.verbs import (
    HARNESS_HELP,
    INSTRUMENT_HELP,
    JSON_HELP,
    QUIET_HELP,
    SEVERAL_HELP,
)


@app.command(
    epilog="Example: loomtest report tractor tractor/before --out report\n"
    "Example: loomtest report tractor --before tractor/before --after tractor/final --out for-the-customer\n"
    "Example: loomtest report --bag final --newest --archive evidence --out report"
)
def report(
    harness: Annotated[str | None, typer.Argument(help=HARNESS_HELP)] = None,
    readings: Annotated[list[str] | None, typer.Argument(help=SEVERAL_HELP)] = None,
    out: Annotated[
        str, typer.Option(help="The folder to write into; files of an earlier report in it are replaced.")
    ] = "",
    before: Annotated[
        str | None, typer.Option(help="With --after: the run before the work, for the customer's page.")
    ] = None,
    after: Annotated[str | None, typer.Option(help="With --before: the run after the work.")] = None,
    shop: Annotated[
        str | None, typer.Option(help="Your heading (default: shop.toml in the loom's folder or above it).")
    ] = None,
    bag: Annotated[str | None, typer.Option(help=f"Draw the pages of a kept run: {BAG_HELP}")] = None,
    newest: Annotated[bool, typer.Option("--newest", help=NEWEST_HELP)] = False,
    archive: Annotated[str | None, typer.Option(help=ARCHIVE_HELP)] = None,
    instrument: Annotated[str | None, typer.Option(help=INSTRUMENT_HELP)] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Write the verdict as one page that opens and prints without a network, and the loom as a picture.

    Print report.html or pass it on: it begins with the answer in plain words and needs no other file. The
    pictures (loom.svg, loom.png) and verdict.json are there too.

    With --before and --after it writes customer.html instead: what was wrong, what was done and what it
    measures now, under your own heading; where the run after is kept, with the digest that proves it.

    The JSON object: files (paths written), verdict (as judge --json prints it; of the run after).
    """
    from pathlib import Path

    from loomtest.commands.reported import page_of_two, pages_of_bag, report_of_readings
    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json, warn
    from loomtest.words.lines import Line, folded

    if not out:
        raise typer.BadParameter("give the folder to write into: --out FOLDER", param_hint="--out")
    two = before is not None and after is not None
    if (before is None) != (after is None):
        raise typer.BadParameter("--before RUN and --after RUN go together", param_hint="--before")
    if (bag is None) == (harness is None) or (two or bag is not None) == bool(readings):
        wanted = "give HARNESS and READINGS, or HARNESS with --before and --after, or --bag"
        raise typer.BadParameter(wanted, param_hint="HARNESS")
    with Progress(f"reading {bag or harness}", quiet) as progress:
        if bag is not None:
            done = pages_of_bag(bag, newest, archive, (Path(out), shop), progress)
        elif before is not None and after is not None:
            done = page_of_two(
                str(harness), (before, after), instrument, (Path(out), shop, archive), progress
            )
        else:
            done = report_of_readings(str(harness), readings or [], instrument, Path(out), progress)
    warn(done.warnings)
    if as_json:
        show_json({"files": [path.as_posix() for path in done.paths], "verdict": done.verdict})
        return
    told = [Line(text, "head") for text in folded(done.said, 80)]
    show([*told, *(Line(f"  {path.as_posix()}") for path in done.paths)])
