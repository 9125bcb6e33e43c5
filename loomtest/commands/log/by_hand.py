"""`loomtest log --by-hand`: typed values; lines from a script are answered one by one."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import typer

from loomtest.commands.log.request import LogRequest

if TYPE_CHECKING:
    from loomtest.harness.model import Harness


def log_by_hand(harness: Harness, request: LogRequest) -> None:
    """Guided on a terminal, line by line elsewhere."""
    if sys.stdin.isatty() and sys.stdout.isatty():
        from loomtest.commands.log.guided import log_typed

        log_typed(harness, request)
        return
    refused = answer_lines(harness, request)
    if refused:
        typer.echo(f"loomtest: {refused} of the lines could not be recorded (see above)", err=True)
        raise typer.Exit(2)


def answer_lines(harness: Harness, request: LogRequest) -> int:
    """Record `POINT POINT VALUE [note]` lines; each is answered once it is safe on disk.

    A line that cannot be recorded is answered with the reason, and the rest goes on. Returns how many.
    """
    from loomtest.bench.session.by_hand import line_of, read_line
    from loomtest.commands.terminal.text import shown
    from loomtest.readings.marked import COMMON

    instrument = request.stated_instrument()
    four_wire = instrument is not None and instrument.method == "four-wire"
    refused = 0
    marks = None
    if request.markers is not None:
        from loomtest.commands.log.marked_lines import MarkedLines

        marks = MarkedLines(harness, request, instrument)
    with request.open_run(harness, instrument) as writer:
        for number, line in enumerate(sys.stdin, 1):
            words = line.split()
            if not words or words[0].startswith("#"):
                continue
            if marks is not None and words == ["next"]:
                typer.echo(shown(marks.next(writer)))
                sys.stdout.flush()
                continue
            try:
                touch = marks is not None and COMMON in words[:2]
                reading = marks.read(line) if marks and touch else read_line(line, harness, four_wire)
                row = writer.record(reading)
            except ValueError as error:
                refused += 1
                typer.echo(shown(f"not recorded, line {number}: {error}"))
            else:
                typer.echo(shown(f"recorded {row}: {line_of(reading)}"))
            sys.stdout.flush()
    return refused
