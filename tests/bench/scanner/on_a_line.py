"""A rehearsed board on a pseudo-terminal, so that the station opens a real serial port.

    python -m tests.bench.scanner.on_a_line FOLDER [FOLDER…]

prints the name of the port, then a line `scanned SECONDS` (CLOCK_MONOTONIC) when the last byte of a scan was
sent. A line of the answer takes LINE_S; a real board needs four times that at 115,200 baud. An answer is
computed once and said again from memory: of 128 pins it takes seconds. Of several looms the next is plugged
in after each scan, and the first again after the last.
"""

from __future__ import annotations

import os
import sys
import time
import tty
from collections.abc import Iterator
from pathlib import Path

from loomtest.bench.rehearsal.board import Board, RehearsalPort
from loomtest.bench.rehearsal.scanner import rehearsal_port


class Remembered:
    """Boards that say again what they have once answered; one loom after the other is plugged in."""

    def __init__(self, boards: list[Board]) -> None:
        self.boards = boards
        self.pins, self.switches = boards[0].pins, boards[0].switches
        self.scans = 0
        self._known: dict[tuple[int, str], list[str]] = {}

    def answers(self, words: list[str]) -> Iterator[str]:
        """The bodies of the answer to one request."""
        which = self.scans % len(self.boards)
        key = which, " ".join(words)
        if key not in self._known:
            self._known[key] = list(self.boards[which].answers(words))
        yield from self._known[key]
        self.scans += words == ["scan"]

    def learned(self) -> Remembered:
        """The same, with every scan known from the start."""
        for _ in self.boards:
            list(self.answers(["scan"]))
        self.scans = 0
        return self


LINE_S = 0.02


def remembered(folders: list[Path], line_s: float = 0.0) -> RehearsalPort:
    """A port of the looms in these folders."""
    boards = Remembered([rehearsal_port(folder).board for folder in folders]).learned()
    return RehearsalPort(boards, line_s)  # type: ignore[arg-type]


def serve(port: RehearsalPort) -> None:
    """Be the board on a pseudo-terminal until the other end of the program is gone."""
    master, slave = os.openpty()
    tty.setraw(slave)
    print(os.ttyname(slave), flush=True)
    board = port.board
    while True:
        port.write(os.read(master, 4096))
        before = board.scans  # type: ignore[attr-defined]
        while port.in_waiting:
            data = port.read(4096)
            while data:
                data = data[os.write(master, data) :]
        if board.scans > before:  # type: ignore[attr-defined]
            print(f"scanned {time.monotonic():.6f}", flush=True)


if __name__ == "__main__":
    serve(remembered([Path(name) for name in sys.argv[1:]], LINE_S))
