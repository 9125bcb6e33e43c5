"""Around every command: closed streams, requests to end, and whatever went wrong, each with its status.

A status of 0, 1 or 3 is a verdict: whatever else ends the program ends it with 2, or with 130 where it was
asked to end.
"""

from __future__ import annotations

import io
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType

from loomtest.commands.terminal.pipe import patient

FAILED, INTERRUPTED = 2, 130
_REQUESTS = ("SIGTERM", "SIGHUP")  # SIGINT raises KeyboardInterrupt by itself


def guarded(command: Callable[[], object]) -> int:
    """Run a command; the status that the program ends with."""
    _open_streams()
    try:
        with _requests_to_end():
            status = command()
            sys.stdout.flush()  # here a full disk can still be told
            return status if isinstance(status, int) else 0
    except KeyboardInterrupt:
        say("interrupted; what was recorded is safe on disk")
        return INTERRUPTED
    except SystemExit as ended:  # typer's parser ends so, with 1 where a reader has gone
        return FAILED if ended.code else 0
    except (OSError, MemoryError) as error:  # the machine's fault
        _say_of_the_machine(error)
        return FAILED
    except Exception as error:  # a mistake of this program's own
        from loomtest.commands.terminal.failure import say_of_failure

        say_of_failure(error)
        return FAILED


def say(text: str) -> None:
    """One message on standard error, whether or not anybody reads it."""
    with suppress(OSError, ValueError):
        print(f"loomtest: {text}", file=sys.stderr, flush=True)


def _open_streams() -> None:
    """Streams that are there and never fail over a letter or a reader who has read enough.

    A stream that was closed before the program began is opened on nothing: else the next file would get its
    number, and what is meant for the screen would go into it.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115, PTH123 - until the end
        elif mode == "w" and isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a console without Ω still gets the answer
            if not stream.isatty():
                setattr(sys, name, patient(stream, message=name == "stderr"))


@contextmanager
def _requests_to_end() -> Iterator[None]:
    """Asked to end, the program ends as after Ctrl-C; what the caller ignores (nohup) is ignored."""
    before: dict[int, object] = {}

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    if threading.current_thread() is threading.main_thread():
        for name in _REQUESTS:
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is signal.SIG_DFL:
                before[number] = signal.signal(number, stop)
    try:
        yield
    finally:
        for number in before:
            signal.signal(number, signal.SIG_DFL)


def _say_of_the_machine(error: OSError | MemoryError) -> None:
    from loomtest.commands.terminal.text import shown

    # What could not be written is not tried again when Python closes its streams.
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if isinstance(error, MemoryError):
        found = "too little memory for this"
    else:
        found = (error.strerror or str(error)).lower()
        found += f" ({error.filename})" if error.filename else ""
    expected = "room to work in"
    if isinstance(error, PermissionError):
        expected = "a file or a folder that you may use: its owner can allow it (chmod), or choose another"
    say(f"found {shown(found)}; expected {expected}")
