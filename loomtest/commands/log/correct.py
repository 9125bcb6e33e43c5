"""`loomtest log --correct`: the readings of a run as a list, any of them said again or taken back."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import typer

from loomtest.commands.log.request import LogRequest, now
from loomtest.commands.terminal.text import shown

if TYPE_CHECKING:
    from loomtest.bench.session.corrections import Listed
    from loomtest.harness.model import Harness
    from loomtest.readings.run import RunWriter


def correct_run(harness: Harness, request: LogRequest) -> None:
    """Show the list; then take lines `LINE VALUE` or `LINE x` until an empty one or the end of the input."""
    from loomtest.bench.session.corrections import listed
    from loomtest.readings.run import resume_run
    from loomtest.readings.runfile import events_of, read_run_file

    run = read_run_file(request.out)
    before = [event for event in events_of(run.raw) if event.get("what") == "ended"]
    status = str(before[-1].get("status")) if before else "stopped"
    refused = 0
    writer = resume_run(request.out, clock=now, harness=harness, rehearsal=run.rehearsal)
    with writer:
        for one in listed(writer):
            typer.echo(shown(_listed(one)))
        asks = "Line and right value (12 0.3), or line and x to take it back; Enter when done: "
        while True:
            if sys.stdin.isatty():
                typer.echo(asks, nl=False)
            text = sys.stdin.readline().strip()
            if not text:
                break
            answer, good = _correct(writer, text)
            refused += not good
            typer.echo(shown(answer))
            sys.stdout.flush()
        writer.close(status)
    if refused and not sys.stdin.isatty():
        typer.echo(f"loomtest: {refused} of the lines could not be used (see above)", err=True)
        raise typer.Exit(2)


def _listed(one: Listed) -> str:
    back = f"  taken back: {one.why}" if one.withdrawn else ""
    return f"{one.row:>5}  {one.start} {one.end}  {one.value}{back}"


def _correct(writer: RunWriter, text: str) -> tuple[str, bool]:
    """What to answer to a line, and whether it was used."""
    from loomtest.bench.session.corrections import say_again, take_back

    number, _, value = text.partition(" ")
    value = value.strip()
    if not number.isdigit() or not value:
        return f"not used: found {text!r}; expected a line of the list and its right value, or x", False
    row = int(number)
    try:
        if value.casefold() == "x":
            return f"recorded {take_back(writer, row)}: line {row} is taken back", True
        back, again = say_again(writer, row, "OL" if value.casefold() == "o" else value)
    except ValueError as error:
        return f"not used: {error}", False
    return f"recorded {back}: line {row} is taken back; recorded {again}: {value}", True
