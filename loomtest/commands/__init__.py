"""The command line: one short file a verb. `main` is the program's entry point."""

from __future__ import annotations

import io
import os
import sys
from contextlib import suppress


def main() -> None:
    """Run the command line; every LoomtestError becomes one message and exit status 2."""
    if sys.argv[1:] == ["--version"]:  # answered before anything is imported
        print(version_line())
        return
    from typer import Abort

    from loomtest.commands.app import app
    from loomtest.commands.terminal.text import shown_lines
    from loomtest.commands.terminal.verbs import UsageMistake, usage_sentence
    from loomtest.errors import ColumnsUnknown, LoomtestError

    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a console without Ω still gets the answer
    if isinstance(sys.stdout, io.TextIOWrapper) and not sys.stdout.isatty():
        from loomtest.commands.terminal.pipe import patient

        sys.stdout = patient(sys.stdout)
    try:
        try:
            status = app(standalone_mode=False)
        except ColumnsUnknown as unknown:  # may be asked for; then everything begins again
            from loomtest.commands.terminal.columns import answered

            if not answered(unknown.source):
                raise
            status = app(standalone_mode=False)
        sys.stdout.flush()  # here a full disk can still be told
    except UsageMistake as mistake:
        print(f"loomtest: {shown_lines(usage_sentence(mistake))}", file=sys.stderr)
        sys.exit(2)
    except LoomtestError as error:
        print(f"loomtest: {shown_lines(str(error))}", file=sys.stderr)
        sys.exit(2)
    except (KeyboardInterrupt, Abort):
        print("loomtest: interrupted; what was recorded is safe on disk", file=sys.stderr)
        sys.exit(130)
    except (OSError, MemoryError) as error:  # the machine's fault, and never to be taken for a verdict
        _say_of_the_machine(error)
        sys.exit(2)
    except Exception as error:  # a mistake of this program's own, never to be taken for a verdict
        from loomtest.commands.terminal.failure import say_of_failure

        say_of_failure(error)
        sys.exit(2)
    sys.exit(status if isinstance(status, int) else 0)


def _say_of_the_machine(error: OSError | MemoryError) -> None:
    from loomtest.commands.terminal.text import shown

    # What could not be written is not tried again when Python closes its streams.
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if isinstance(error, BrokenPipeError):
        return  # whoever read our answer has read enough
    if isinstance(error, MemoryError):
        found = "too little memory for this"
    else:
        found = (error.strerror or str(error)).lower()
        found += f" ({error.filename})" if error.filename else ""
    with suppress(OSError):
        print(f"loomtest: found {shown(found)}; expected room to work in", file=sys.stderr)


def version_line() -> str:
    """What `--version` prints."""
    from importlib.metadata import version

    return f"loomtest {version('loomtest')}"
