"""The typer application: every verb is a module of this package and is registered here.

Nothing heavy is imported before a verb runs: verbs import the library inside their functions.
"""

from __future__ import annotations

from typing import Annotated

import typer

from loomtest.commands.terminal.verbs import Application, Verbs

app = Application(
    name="loomtest",
    cls=Verbs,
    help="Proves a rebuilt vehicle wiring loom right before it goes back in.",
    epilog="Example: loomtest demo\nExample: loomtest new my_loom\nExample: loomtest judge my_loom before",
    invoke_without_command=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"loomtest {version('loomtest')}")
        raise typer.Exit


@app.callback()
def _root(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    if context.invoked_subcommand is None:
        from loomtest.commands.terminal.help import start_page

        typer.echo(start_page(), nl=False)


# Importing a verb registers it with the application above, which it imports: last, and for that alone.
from loomtest.commands import (  # noqa: E402, F401
    bench,
    check,
    compare,
    demo,
    expect,
    history,
    judge,
    keep,
    markers,
    new,
    plan,
    ports,
    report,
    station,
    swap,
    verify,
    wiggle,
    yielded,
)
from loomtest.commands.log import verb  # noqa: E402, F401
