"""The typer application: every verb is a module of this package and is registered here.

Nothing heavy is imported before a verb runs: verbs import the library inside their functions.
"""

from __future__ import annotations

from typing import Annotated

import typer

from loomtest.commands import version_line

app = typer.Typer(
    name="loomtest",
    help="Proves a rebuilt vehicle wiring loom right before it goes back in.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(version_line())
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


from loomtest.commands import (  # noqa: E402, F401
    check,
    compare,
    demo,
    history,
    judge,
    keep,
    log,
    new,
    plan,
    ports,
    report,
    swap,
    verify,
    wiggle,
)
