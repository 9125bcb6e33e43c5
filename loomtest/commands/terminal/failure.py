"""When the program itself makes a mistake: one message, and a file that tells what went wrong."""

from __future__ import annotations

import platform
import sys
import tempfile
import traceback
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from loomtest.commands.terminal.text import shown


def say_of_failure(error: Exception) -> None:
    """Write the failure to a file and say on standard error where it stands; never raises OSError."""
    kind = type(error).__name__
    place: Path | None = None
    with suppress(OSError):
        place = _saved(error)
    saved = f" Details are in {place}: please send that file with your report." if place else ""
    with suppress(OSError, ValueError):
        print(
            f"loomtest: the program failed ({shown(kind)}) and gives no answer. "
            f"What was recorded is safe on disk.{shown(saved)}",
            file=sys.stderr,
        )


def _saved(error: Exception) -> Path:
    """A file in the system's folder for temporary files, readable by its owner alone."""
    from loomtest.commands import version_line

    lines = [
        version_line(),
        f"Python {platform.python_version()} on {platform.platform()}",
        f"at {datetime.now().astimezone().isoformat(timespec='seconds')}",
        "command: " + " ".join(map(shown, sys.argv[1:])),
        "",
        *traceback.format_exception(error),
    ]
    with tempfile.NamedTemporaryFile(
        "w",
        prefix="loomtest-failure-",
        suffix=".txt",
        delete=False,
        encoding="utf-8",
        errors="backslashreplace",
    ) as stream:
        stream.write("\n".join(lines))
    return Path(stream.name)
