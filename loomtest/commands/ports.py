"""`loomtest ports`: the serial ports that are here, and what answers on them."""

from typing import Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import JSON_HELP


@app.command(epilog="Example: loomtest ports\nExample: loomtest ports /dev/ttyUSB0 --ask")
def ports(
    address: Annotated[
        list[str] | None, typer.Argument(help="Ports to check (default: all that are plugged in).")
    ] = None,
    ask: Annotated[
        bool, typer.Option("--ask", help="Listen on each, and ask it who it is, at the usual speeds.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
) -> None:
    """List serial ports and, when asked, what answers on them.

    Asking sends a few harmless bytes to every port: leave it out where something listens that must not be
    spoken to.

    The JSON object, "schema": "loomtest-ports/1": ports (port, description, and with --ask answers).
    """
    from loomtest.bench.connect import identify
    from loomtest.bench.meter.ask import who_answers
    from loomtest.bench.meter.port import FoundPort, ports_found
    from loomtest.commands.terminal.screen import show_json
    from loomtest.commands.terminal.text import shown

    found = [FoundPort(each, "", "") for each in address] if address else ports_found()
    rows = []
    for port in found:
        row = {"port": port.device, "description": port.description}
        if ask:
            row["answers"] = identify(port.device) or who_answers(port.device)
        rows.append(row)
        if not as_json:
            words = [row["port"], row["description"], row.get("answers", "")]
            typer.echo(shown("  ".join(word for word in words if word)))
    if as_json:
        show_json({"schema": "loomtest-ports/1", "ports": rows})
    elif not rows:
        typer.echo("No serial port is plugged in. A USB cable shows up here once it is in.")
