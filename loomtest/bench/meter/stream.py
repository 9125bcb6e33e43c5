"""A steady stream from one pair, kept on disk as it comes: `time_s,value_ohms`, whole lines only."""

from __future__ import annotations

import math
import os
from pathlib import Path
from types import TracebackType

import numpy as np

from loomtest.errors import InputError, Problem, RunFolderError
from loomtest.harness.model import FloatArray
from loomtest.harness.table import lines_of, read_text
from loomtest.readings.values import ValueSyntaxError, no_resistance, parse_value

HEADER = "time_s,value_ohms\n"
FLUSH_EVERY_S = 0.25


class StreamFile:
    """Appends samples; what was added is on disk at the latest `FLUSH_EVERY_S` after `flush_due` says so.

    Raises RunFolderError when the file is there already or cannot be written.
    """

    def __init__(self, path: Path, start: str, end: str, now_s: float) -> None:
        self.path, self._began_s = path, now_s
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = path.open("xb", buffering=0)
        except OSError as error:
            raise RunFolderError(f"{path} cannot be made: {error.strerror or error}") from error
        self._lines = [f"# {start} {end}\n", HEADER]
        self._flushed_s = now_s
        self._size = 0
        self.samples = 0
        self._write(now_s)

    def add(self, time_s: float, value_ohm: float) -> None:
        """One sample; over-range is OL. Raises ValueError for what no circuit can have."""
        if why := no_resistance(value_ohm):
            raise ValueError(why)
        value = "OL" if math.isinf(value_ohm) else f"{value_ohm:.7g}"
        self._lines.append(f"{time_s - self._began_s:.4f},{value}\n")
        self.samples += 1

    def flush_due(self, now_s: float) -> None:
        """Write what waits, when it is time; call it often."""
        if self._lines and now_s - self._flushed_s >= FLUSH_EVERY_S:
            self._write(now_s)

    def _write(self, now_s: float) -> None:
        """Always from where the last whole write ended: an interrupted one is done again over itself."""
        data = "".join(self._lines).encode("utf-8", "replace")
        try:
            self._file.seek(self._size)
            rest = memoryview(data)
            while rest:
                rest = rest[self._file.write(rest) or 0 :]
            os.fsync(self._file.fileno())
        except OSError as error:
            words = f"{self.path} cannot be written ({error.strerror or error}): the stream ends here"
            raise RunFolderError(words) from error
        self._size, self._lines, self._flushed_s = self._size + len(data), [], now_s

    def __enter__(self) -> StreamFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if self._lines and not isinstance(error, RunFolderError):
                self._write(self._flushed_s)
        finally:
            self._file.close()


def read_stream(path: Path) -> tuple[FloatArray, FloatArray]:
    """(n,) seconds and (n,) ohms from a file of time and value; a torn last line is left out.

    Any two columns will do, with or without a header, separated by comma, semicolon or tab; lines with `#`
    are remarks. Raises InputError with every bad line, at most twenty of them.
    """
    refused: list[Problem] = []
    text = read_text(path, str(path), refused)
    if text is None:
        raise InputError(refused)
    lines = [f"{line}\n" for line in lines_of(text)]
    lines[-1] = lines[-1].removesuffix("\n")
    if lines and lines[0].startswith("#") and not lines[-1].endswith("\n"):
        lines.pop()  # one of our own, and the program was stopped while it wrote
    separator = next((mark for mark in (";", "\t", ",") if any(mark in line for line in lines[:3])), ",")
    rows: list[tuple[float, float]] = []
    problems: list[Problem] = []
    header_over = False
    for number, cells in enumerate((line.strip().split(separator) for line in lines), 1):
        if not cells or not cells[0].strip() or cells[0].startswith("#"):
            continue
        try:
            row = _sample(cells, rows[-1][0] if rows else -math.inf)
        except ValueSyntaxError as error:
            if header_over or rows:
                problems.append(Problem(str(path), number, "", error.found, error.expected))
            header_over = True
            if len(problems) == 20:
                break
        else:
            rows.append(row)
    if not rows and not problems:
        problems = [Problem(str(path), None, "", "no samples", "lines of time in seconds and value in ohms")]
    if problems:
        raise InputError(problems)
    table = np.array(rows, dtype=np.float64)
    return table[:, 0], table[:, 1]


def _sample(cells: list[str], before_s: float) -> tuple[float, float]:
    if len(cells) < 2:
        raise ValueSyntaxError(repr(",".join(cells)), "time in seconds and value in ohms")
    try:
        time_s = float(cells[0].strip(' "').replace("_", "x").replace(",", "."))  # no 1_000 as in Python
    except ValueError:
        time_s = math.nan
    if not math.isfinite(time_s):
        raise ValueSyntaxError(repr(cells[0]), "a time in seconds")
    if time_s < before_s:
        raise ValueSyntaxError(f"time {time_s:g} s after {before_s:g} s", "times that go forward")
    return time_s, parse_value(cells[1].strip(' "'), comma_is_decimal=True).number
