"""The command line called in this process: as a new process would behave, without the second it takes."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from loomtest.commands import main


@dataclass(frozen=True)
class Done:
    """What a process would have left."""

    returncode: int
    stdout: str
    stderr: str


@contextlib.contextmanager
def _standing_in(folder: Path | None, arguments: tuple[str, ...]) -> Iterator[None]:
    before, argv = Path.cwd(), sys.argv
    try:
        sys.argv = ["loomtest", *arguments]
        if folder is not None:
            os.chdir(folder)
        yield
    finally:
        os.chdir(before)
        sys.argv = argv


def loomtest(*arguments: str, cwd: Path | None = None, typed: str | None = None) -> Done:
    """Run `loomtest` with these arguments in the folder `cwd`; `typed`: what stands on its input."""
    out, error = io.StringIO(), io.StringIO()
    status = 0
    before = sys.stdin
    if typed is not None:
        sys.stdin = io.StringIO(typed)
    with _standing_in(cwd, arguments), contextlib.redirect_stdout(out), contextlib.redirect_stderr(error):
        try:
            main()
        except SystemExit as ended:
            status = ended.code if isinstance(ended.code, int) else 1
        finally:
            sys.stdin = before
    return Done(status, out.getvalue(), error.getvalue())
