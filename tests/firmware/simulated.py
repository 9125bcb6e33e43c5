"""Builds the firmware and its simulated board, and starts them; a missing tool is a failure, not a skip."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import serial

from loomtest.bench.rehearsal.network import Network

SOURCES = Path(__file__).parents[2] / "firmware_notes" / "firmware"
CHIPS = {"328p": "atmega328p", "2560": "atmega2560"}
SILENCE_S = 60.0  # of a machine that does other things too; simulated time is measured, not this


@cache
def built() -> Path:
    """The folder with all binaries, built once in a test run, warnings being errors."""
    folder = Path(tempfile.mkdtemp(prefix="scanner-build-"))
    done = subprocess.run(
        ["make", "-C", str(SOURCES), f"BUILD={folder}", "all"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-4000:]
    assert "warning" not in done.stderr.lower(), done.stderr
    return folder


@contextmanager
def board(network: Network, chip: str = "328p", times: Path | None = None) -> Iterator[str]:
    """The real firmware on a simulated chip; gives the name of its serial port."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "network.txt"
        network.write(file)
        binary = built() / f"scanner-{chip}-{network.pins}.elf"
        command = [str(built() / "board"), str(binary), CHIPS[chip], str(network.pins), str(file)]
        process = subprocess.Popen(
            command + ([str(times)] if times else []), stdout=subprocess.PIPE, text=True, cwd=folder
        )
        assert process.stdout is not None
        try:
            yield process.stdout.readline().strip()
        finally:
            process.kill()
            process.wait()
            process.stdout.close()


def native(network: Network, requests: list[str], checked: bool = True) -> list[str]:
    """What the host build of the firmware answers to these lines."""
    kind = "-checked" if checked and network.pins == 64 else ""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "network.txt"
        network.write(file)
        done = subprocess.run(
            [str(built() / f"native-{network.pins}{kind}"), str(file)],
            input="".join(line + "\n" for line in requests).encode("latin-1"),
            capture_output=True,
            check=False,
        )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout.decode("ascii").split("\r\n")[:-1]


def on_chip(network: Network, requests: list[str], chip: str = "328p") -> list[str]:
    """What the firmware on the simulated chip answers to the same lines, one after the other."""
    lines: list[str] = []
    with board(network, chip) as name, serial.Serial(name, 115_200, timeout=SILENCE_S) as port:
        lines.append(_line(port))
        for request in requests:
            port.write(request.encode("ascii") + b"\n")
            while True:
                lines.append(_line(port))
                if last_of(request, lines[-1]):
                    break
    return lines


def last_of(request: str, line: str) -> bool:
    """Whether this line ends the answer to the request."""
    word = line.split(" ")[1].split("*")[0]
    several = request.split(" ")[0] in ("range", "cal", "scan")
    return not several or word in ("end", "error")


def _line(port: serial.Serial) -> str:
    line = port.readline()
    assert line.endswith(b"\r\n"), f"the board went silent after {line!r}"
    return bytes(line).decode("ascii").removesuffix("\r\n")
