"""A fast meter: 5,000 lines a second through a pseudo-terminal into the file, for 60 s.

Run it: python -m tests.speed.stream [SECONDS] [LINES A SECOND]

The sender never waits: what does not fit into the terminal's buffer is lost, as on a real wire. Printed:
lines sent and found in the file, the longest time until a line stood there, and the processor time that the
program used while it listened, as a share of one core. Linux only (it reads /proc).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
import tty
from pathlib import Path

BATCH_S = 0.01
LEAD_IN_S = 3.0  # a constant value, on which the program's clips settle


class Sender:
    """Writes numbered lines at a steady pace; `log` holds (time, lines sent so far)."""

    def __init__(self, master: int, rate: int) -> None:
        self._master, self._rate = master, rate
        self.lost = 0
        self.seconds = 0.0
        self.sent = 0
        self.log: list[tuple[float, int]] = []

    def run(self, seconds: float, watch: Watch) -> None:
        start = began = time.monotonic()
        per_batch = round(self._rate * BATCH_S)
        ticks = round((LEAD_IN_S + seconds) / BATCH_S)
        for tick in range(ticks):
            behind = start + tick * BATCH_S - time.monotonic()
            if behind > 0:
                time.sleep(behind)
            elif behind < -2 * BATCH_S:
                start -= behind  # a wire never catches up by sending faster: the pace is kept, the end moves
            if tick * BATCH_S < LEAD_IN_S:
                self._write(b"0.000 ohm\r\n" * per_batch)
                continue
            numbers = range(self.sent + 1, self.sent + per_batch + 1)
            self._write("".join(f"{number / 1000:.3f} ohm\r\n" for number in numbers).encode())
            self.sent += per_batch
            self.log.append((time.monotonic(), self.sent))
            if tick % 20 == 0:
                watch.look(self.log)

        self.seconds = time.monotonic() - began - LEAD_IN_S

    def _write(self, data: bytes) -> None:
        try:
            written = os.write(self._master, data)
        except BlockingIOError:
            written = 0
        self.lost += (len(data) - written) // 11


class Watch:
    """Looks into the file while it grows."""

    def __init__(self, path: Path) -> None:
        self._path, self._at, self._found = path, 0, 0
        self.longest_s = 0.0

    def look(self, log: list[tuple[float, int]]) -> None:
        now = time.monotonic()
        with self._path.open("rb") as stream:
            stream.seek(self._at)
            data = stream.read()
        end = data.rfind(b"\n") + 1
        self._at += end
        if end and not data[:end].endswith(b"value_ohms\n"):
            self._found = max(self._found, round(1000 * float(data[:end].splitlines()[-1].split(b",")[1])))
        waiting = next((at for at, sent in log if sent > self._found), now)
        self.longest_s = max(self.longest_s, now - waiting)


def processor_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measure(seconds: float, rate: int) -> dict[str, float]:
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "flexed"
        arguments = ["--meter", os.ttyname(slave), "--from", "X1:1", "--to", "X2:1", "--out", str(out)]
        process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "loomtest",
                "wiggle",
                *arguments,
                "--quiet",
                "--seconds",
                str(seconds + 60),
            ],
            stdout=subprocess.DEVNULL,
        )
        stream = out / "wiggle.csv"
        while not stream.exists():
            time.sleep(0.05)
        sender, watch = Sender(master, rate), Watch(stream)
        before_s, began = processor_s(process.pid), time.monotonic()
        sender.run(seconds, watch)
        used_s = (processor_s(process.pid) - before_s) / (time.monotonic() - began)
        time.sleep(1.5)
        process.terminate()
        process.wait()
        lines = stream.read_text("utf-8").splitlines()[2:]
    numbers = [round(1000 * float(line.split(",")[1])) for line in lines]
    kept = [number for number in numbers if number > 0]
    os.close(master)
    os.close(slave)
    return {
        "sent": sender.sent,
        "lines a second, really": sender.sent / sender.seconds,
        "in the file": len(kept),
        "in order and complete": float(kept == list(range(1, sender.sent + 1))),
        "refused by the buffer": sender.lost,
        "longest until in the file (s)": watch.longest_s,
        "share of one core": used_s,
    }


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    rate = int(sys.argv[2]) if len(sys.argv) > 2 else 5000
    print(f"{rate} lines a second for {seconds:g} s")
    for name, value in measure(seconds, rate).items():
        print(f"  {name:32} {value:g}")


if __name__ == "__main__":
    main()
