"""The sitting in a real terminal with a meter on a real line that sends what it likes."""

from __future__ import annotations

import os
import re
import select
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from tests.commands.in_process import loomtest

WIRES = "from,to,wire\nX1:1,X2:1,W1\nX1:2,X2:2,W2\n"
METER = """name = "a meter (invented)"
[serial]
baud = 9600
pattern = '(?P<value>[-+]?[0-9.eE+-]+)\\s*(?P<unit>.*)|(?P<overload>OL)'
[[range]]
up_to_ohms = 200.0
percent = 0.8
counts = 3
resolution_ohms = 0.01
"""
ESCAPES = b"\x1b]0;owned\x07\x1b[2J\x1b[31m"
SENT = {
    "commands to a terminal": [
        b"0.30 " + ESCAPES + b"\r\n",
        ESCAPES + b"\r\n",
        b"12.3 V" + ESCAPES + b"\r\n",
        "0.30 \u202eohm\r\n".encode(),
    ],
    "lines that never end": [b"0" * 4000, b"\0" * 4000, b"0." + b"3" * 3000],
    "numbers that cannot be": [b"-5000 ohm\r\n", b"1e200 ohm\r\n", b"1e-999 ohm\r\n", b"9.91E37\r\n"],
}


class Line:
    """A meter at the end of a pseudo-terminal, which sends its pieces over and over as fast as it can."""

    def __init__(self, pieces: list[bytes]) -> None:
        self._master, slave = os.openpty()
        tty.setraw(slave)
        self.name, self._slave = os.ttyname(slave), slave
        self._pieces, self._stop, self.sent = pieces, threading.Event(), 0
        os.set_blocking(self._master, False)
        self._thread = threading.Thread(target=self._send)
        self._thread.start()

    def _send(self) -> None:
        while not self._stop.wait(0.002):
            for piece in self._pieces:
                try:
                    self.sent += os.write(self._master, piece)
                except BlockingIOError:
                    break

    def end(self) -> None:
        self._stop.set()
        self._thread.join()
        os.close(self._slave)
        os.close(self._master)


def seen_until(terminal: int, good: Callable[[bytes], bool], seconds: float) -> bytes:
    seen, until_s = b"", time.monotonic() + seconds
    while time.monotonic() < until_s and not good(seen):
        if select.select([terminal], [], [], 0.1)[0]:
            try:
                seen += os.read(terminal, 65536)
            except OSError:  # the program has ended
                break
    return seen


def memory_kb(pid: int) -> int:
    """The most that the process itself has held; what wait4 tells begins with the one it was forked from."""
    status = Path(f"/proc/{pid}/status").read_text("utf-8")
    return int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM:")))


@pytest.fixture(params=list(SENT))
def line(request: pytest.FixtureRequest) -> Iterator[Line]:
    made = Line(SENT[request.param])
    yield made
    made.end()


def test_it_neither_commands_the_terminal_nor_hangs(tmp_path: Path, line: Line) -> None:
    loom = tmp_path / "loom"
    loom.mkdir()
    (loom / "wires.csv").write_text(WIRES)
    (loom / "harness.toml").write_text('name = "launch \\u001b]0;owned\\u0007"\n')
    (tmp_path / "meter.toml").write_text(METER)
    terminal, slave = os.openpty()
    termios.tcsetwinsize(slave, (24, 80))
    words = [
        "log",
        "loom",
        "--out",
        "run",
        "--meter",
        line.name,
        "--instrument",
        "meter.toml",
        "--quiet",
    ]
    process = subprocess.Popen(
        [sys.executable, "-m", "loomtest", *words],
        stdin=slave, stdout=slave, stderr=slave, cwd=tmp_path, start_new_session=True,
        env={**os.environ, "TERM": "xterm-256color"},
    )  # fmt: skip
    os.close(slave)
    seen = seen_until(terminal, lambda seen: b"Press Enter to begin" in seen, 60)
    os.write(terminal, b"\r")
    seen += seen_until(terminal, lambda _: line.sent > 100_000, 1.5)
    most_kb = memory_kb(process.pid)
    for key in (b"\r", b"\r", b"q"):
        os.write(terminal, key)
        seen += seen_until(terminal, lambda _: False, 0.2)
    seen += seen_until(terminal, lambda _: False, 30)
    process.wait(60)
    os.close(terminal)
    assert process.returncode == 0, seen[-500:]
    assert not re.search(rb"(?<!x1b\]0;)owned", seen), seen[-500:]
    assert b"\x1b]" not in seen and "\u202e".encode() not in seen and b"\0" not in seen
    assert most_kb < 400_000  # nothing piles up
    harness = load_harness(loom)
    read = load_readings(tmp_path / "run", harness)  # whatever was taken can be read back
    assert all(-1.0 <= value <= 1e15 or value == float("inf") for value in read.value.tolist())
    assert loomtest("judge", "loom", "run", cwd=tmp_path).returncode in (1, 3)
