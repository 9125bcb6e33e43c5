"""The command line: one short file a verb. `main` is the program's entry point."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; every LoomtestError becomes one message and exit status 2."""
    if sys.argv[1:] == ["--version"]:  # answered before anything is imported
        print(version_line())
        return
    from loomtest.commands.terminal.guard import guarded

    sys.exit(guarded(_command))


def _command() -> object:
    from typer import Abort

    from loomtest.commands.app import app
    from loomtest.commands.terminal.guard import FAILED, INTERRUPTED, say
    from loomtest.commands.terminal.text import shown_lines
    from loomtest.commands.terminal.verbs import UsageMistake, usage_sentence
    from loomtest.errors import ColumnsUnknown, LoomtestError

    try:
        try:
            status = app(standalone_mode=False)
        except ColumnsUnknown as unknown:  # may be asked for; then everything begins again
            from loomtest.commands.terminal.columns import answered

            if not answered(unknown.source):
                raise
            status = app(standalone_mode=False)
        if status == INTERRUPTED:  # typer's word for Ctrl-C in a verb
            raise KeyboardInterrupt
        return status
    except UsageMistake as mistake:
        say(shown_lines(usage_sentence(mistake)))
    except LoomtestError as error:
        say(shown_lines(str(error)))
    except Abort:
        raise KeyboardInterrupt from None
    return FAILED


def version_line() -> str:
    """What `--version` prints."""
    from importlib.metadata import version

    return f"loomtest {version('loomtest')}"
