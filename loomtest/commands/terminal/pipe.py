"""Output that somebody may close: `loomtest judge … | head` still ends with the verdict's status."""

from __future__ import annotations

import errno
import io
import os
from typing import Any

_CLOSED = {errno.EPIPE, errno.ESHUTDOWN} | ({errno.EINVAL} if os.name == "nt" else set())


class _Unread(io.FileIO):
    """A file that takes what is written after its reader has gone, and drops it.

    `message`: of messages nothing is ever told, because they are where one would tell it.
    """

    message = False

    def write(self, data: Any) -> int:
        """Bytes taken; all of them once nobody reads."""
        try:
            return super().write(data) or 0
        except OSError as error:
            if error.errno not in _CLOSED and not self.message:
                raise
            return len(memoryview(data).cast("B"))


def patient(stream: io.TextIOWrapper, *, message: bool = False) -> io.TextIOWrapper:
    """The stream, on which a reader who has read enough is no error; letters it lacks are escaped.

    `message`: it is standard error; each line is handed on as it ends, and a full disk is no error either.
    """
    raw = _Unread(stream.fileno(), "wb", closefd=False)
    raw.message = message
    return io.TextIOWrapper(
        io.BufferedWriter(raw),
        encoding=stream.encoding,
        errors="backslashreplace",
        line_buffering=message or stream.isatty(),
    )
