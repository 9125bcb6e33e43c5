"""The guided session in a real terminal, captured by tmux at two sizes. The looms are invented.

`python -m tests.commands.log.session_screens` writes the captures into `screens/`, to be looked at and kept.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from itertools import count
from pathlib import Path

KEPT = Path(__file__).parent / "screens"
SIZES = ((80, 24), (160, 50))

HARNESS = """name = "Fishing launch, stern loom (invented)"
[limits]
isolation = "none"
[places]
X1 = "helm, behind the switch panel"
X12 = "stern locker, port side"
GND1 = "engine block"
"""
WIRES = """wire,from,to,colour,size,length,circuit
W1,X1:3,X12:1,RDWH,1.5,4.2,stern light
W2,X1:4,X12:2,BN,2.5,4.0,bilge pump
W3,X12:3,GND1,BK,2.5,1.1,stern ground
"""
METER = """name = "milliohm meter (invented)"
method = "four-wire"
[[range]]
up_to_ohms = 20.0
percent = 0.1
counts = 2
resolution_ohms = 0.001
"""
TALK = """every 0.05
meter says OL
hold 0.5
meter says 0.061 ohm
hold 2
meter says OL
hold 0.5
meter says 0.830 ohm
hold 2
meter says OL
hold 900
"""


_SERVERS = count()  # a server that was just killed may still be going


class Terminal:
    """One program in a tmux pane of a server of its own."""

    def __init__(self, command: list[str], folder: Path, width: int, height: int) -> None:
        self._server = ["tmux", "-L", f"loomtest-{os.getpid()}-{next(_SERVERS)}", "-f", "/dev/null"]
        sizes = ("COLUMNS", "LINES")  # a parallel test runner sets them; here the terminal's own size counts
        kept = {name: value for name, value in os.environ.items() if name not in sizes}
        environment = dict(kept, TERM="xterm-256color", LC_ALL="C.UTF-8")
        shell = f"cd {shlex.quote(str(folder))} && exec {shlex.join(command)}"
        size = ["-x", str(width), "-y", str(height)]
        subprocess.run([*self._server, "-u", "new-session", "-d", *size, shell], env=environment, check=True)

    def keys(self, *names: str) -> None:
        subprocess.run([*self._server, "send-keys", *names], check=True)

    def screen(self) -> str:
        done = subprocess.run(
            [*self._server, "capture-pane", "-p"],
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=True,
        )
        return "".join(line.rstrip() + "\n" for line in done.stdout.splitlines())

    def wait_for(self, text: str, seconds: float = 60.0) -> str:
        """The screen once it shows the text and has come to rest."""
        until_s, before = time.monotonic() + seconds, ""
        while time.monotonic() < until_s:
            now = self.screen()
            if text in now and now == before:
                return now
            before = now
            time.sleep(0.4)
        raise AssertionError(f"no {text!r} on the screen:\n{before}")

    def end(self) -> None:
        subprocess.run([*self._server, "kill-server"], check=False, capture_output=True)


def screens(folder: Path, width: int, height: int) -> Iterator[tuple[str, str]]:
    """(name, screen): the cautions, typed values, a doubtful value, a pair being typed, the question that
    follows a value which fits, the list, and a meter."""
    for name, text in (
        ("harness.toml", HARNESS),
        ("wires.csv", WIRES),
        ("meter.toml", METER),
        ("talk.txt", TALK),
    ):
        (folder / name).write_text(text, "utf-8")
    log = [sys.executable, "-m", "loomtest", "log", "harness.toml", "--stage", "before", "--quiet"]
    hand = Terminal([*log, "--out", "typed", "--by-hand"], folder, width, height)
    try:
        yield "cautions", hand.wait_for("Press Enter to begin")
        hand.keys("Enter")
        yield "leads", hand.wait_for("Touch the two tips together")
        hand.keys("0.2", "Enter")
        yield "prompt", hand.wait_for("Red lead")
        hand.keys("1.03", "Enter")
        yield "doubtful", hand.wait_for("touch again or press Enter to keep")
        hand.keys("p", "Enter", "X1:3 X1:4")
        yield "pair", hand.wait_for("X1:3 X1:4")
        hand.keys("Escape", "0.3", "Enter")
        yield "question", hand.wait_for("3 it jumps by itself")
        hand.keys("3", "l", "Enter")
        yield "list", hand.wait_for("Escape leaves the list")
    finally:
        hand.end()
    more = ["--out", "metered", "--meter", "rehearse:talk.txt", "--instrument", "meter.toml"]
    metered = Terminal([*log, *more], folder, width, height)
    try:
        metered.wait_for("Press Enter to begin")
        metered.keys("Enter")
        yield "meter", metered.wait_for("0.83 Ω where")
    finally:
        metered.end()


def main() -> None:
    for width, height in SIZES:
        with tempfile.TemporaryDirectory() as folder:
            for name, screen in screens(Path(folder), width, height):
                (KEPT / f"{name}_{width}x{height}.txt").write_text(screen, "utf-8")
                print(screen)


if __name__ == "__main__":
    main()
