"""A file that only grows by whole lines, each on disk before the call returns."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from pathlib import Path

from loomtest.errors import RunFolderError


def split_torn(data: bytes) -> tuple[bytes, bytes]:
    """(whole lines, torn rest): what stands behind the last line feed was never finished.

    After a power cut some file systems show zero bytes at the end; they belong to the torn rest.
    """
    end = data.rstrip(b"\0").rfind(b"\n") + 1
    return data[:end], data[end:]


class AppendedFile:
    """Opens `path` for appending; a torn last line, if there is one, is first moved to `set_aside`.

    `lines` is the number of whole lines in the file.
    """

    def __init__(self, path: Path, set_aside: Path) -> None:
        self.path = path
        try:
            whole, torn = split_torn(path.read_bytes())
            if torn:
                _append_durably(set_aside, f"# torn off {path.name}:\n".encode() + torn + b"\n")
                with path.open("r+b") as stream:
                    stream.truncate(len(whole))
                    os.fsync(stream.fileno())
            self._stream = path.open("ab", buffering=0)
        except OSError as error:
            raise RunFolderError(f"{path} cannot be written: {error.strerror or error}") from error
        self.lines = whole.count(b"\n")
        self._size = len(whole)

    def append(self, text: str, lines: int) -> None:
        """Add `lines` whole lines. Raises RunFolderError with the file as it was before.

        A file that is no longer at its place is refused too: it would take what is written with it.
        """
        data = text.encode("utf-8", "replace")
        try:
            rest = memoryview(data)
            while rest:
                rest = rest[self._stream.write(rest) or 0 :]
            os.fsync(self._stream.fileno())
            there = self.path.exists() and os.path.samestat(self.path.stat(), os.fstat(self._stream.fileno()))
        except OSError as error:
            self._cut_back()
            raise RunFolderError(
                f"{self.path} cannot be written ({error.strerror or error}): everything up to line "
                f"{self.lines} is safe, what came after it is not recorded"
            ) from error
        if not there:
            self._cut_back()
            raise RunFolderError(
                f"{self.path} is gone: its folder was moved, deleted or unplugged, and what was recorded is "
                "where the folder is. Put it back, and begin again where it stopped"
            )
        self.lines += lines
        self._size += len(data)

    def close(self) -> None:
        """Close the file."""
        self._stream.close()

    def _cut_back(self) -> None:
        try:
            os.ftruncate(self._stream.fileno(), self._size)
        except OSError:
            # Then the piece stays behind the last line feed, where every reader knows it for torn.
            return


def csv_line(cells: Sequence[str]) -> str:
    """One row of CSV with its line feed."""
    line = ",".join(cells)
    if line.isprintable() and '"' not in line and line.count(",") == len(cells) - 1:
        return line + "\n"  # nothing to quote: a stream has thousands of these a second
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(map(_printable, cells))
    return out.getvalue()


def _printable(cell: str) -> str:
    """One reading is one line: an end of line in a note would break the numbering of rows."""
    return "".join(letter if letter.isprintable() else " " for letter in cell)


def _append_durably(path: Path, data: bytes) -> None:
    with path.open("ab") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
