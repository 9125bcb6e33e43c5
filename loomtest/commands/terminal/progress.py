"""A word of progress on standard error: only on a terminal, and only for what takes longer than a second."""

from __future__ import annotations

import sys
import threading
import time
from types import TracebackType
from typing import TextIO

AFTER_S = 1.0
EVERY_S = 0.5


class Progress:
    """`with Progress("reading the harness") as progress: ...; progress.say("judging")`.

    After a second the line says what is being done and for how long; it is wiped when the work is over, so
    that nothing of it stays above the answer. A thread of its own writes it: the work itself is not slowed
    by asking the time.
    """

    def __init__(
        self, what: str, quiet: bool = False, stream: TextIO | None = None, after_s: float = AFTER_S
    ) -> None:
        self._what = what
        self._stream = stream if stream is not None else sys.stderr
        self._after_s = after_s
        self._wide = 0
        self._over = threading.Event()
        self._thread: threading.Thread | None = None
        if not quiet and self._stream.isatty():
            self._thread = threading.Thread(target=self._tell, daemon=True)

    def __enter__(self) -> Progress:
        if self._thread is not None:
            self._thread.start()
        return self

    def say(self, what: str) -> None:
        """What is being done from here on."""
        self._what = what

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        if self._thread is not None:
            self._thread.join()
        if self._wide:
            self._stream.write("\r" + " " * self._wide + "\r")
            self._stream.flush()

    def _tell(self) -> None:
        begun_s = time.monotonic()
        wait_s = self._after_s
        while not self._over.wait(wait_s):
            wait_s = EVERY_S
            line = f"{self._what}: {time.monotonic() - begun_s:.0f} s"[:78]
            self._wide = max(self._wide, len(line))
            self._stream.write("\r" + line.ljust(self._wide))
            self._stream.flush()
