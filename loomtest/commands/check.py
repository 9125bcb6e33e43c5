"""`loomtest check`: reads the harness and reports every mistake at once."""

from __future__ import annotations

from typing import Annotated

import typer

from loomtest.commands.app import app


@app.command()
def check(harness: Annotated[str, typer.Argument(help="A folder, a harness.toml or a wire list.")]) -> None:
    """Read the harness and report every mistake at once."""
