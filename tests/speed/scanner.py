"""How long a scan takes on the chip, in simulated time, and what the firmware needs of it.

python -m tests.speed.scanner
"""

from __future__ import annotations

import re
import subprocess

import numpy as np
import serial

from loomtest.bench.rehearsal.network import Network
from loomtest.bench.scanner.driver import BAUD
from tests.firmware.simulated import SILENCE_S, board, built


def loom_of(pins: int) -> Network:
    """Two thirds of the pins in pairs, a ground of a sixth of them, the rest apart."""
    rng = np.random.default_rng(pins)
    pairs = [(n, n + 1, float(rng.uniform(0.01, 0.1))) for n in range(0, 2 * pins // 3, 2)]
    first = 2 * pins // 3 + 1
    ground = [(first, n, float(rng.uniform(0.01, 0.1))) for n in range(first + 1, first + pins // 6)]
    return Network(pins, pins, pins, (*pairs, *ground))


def scan_ms(chip: str, pins: int) -> int:
    """Milliseconds of the chip's own clock from the request to the last line."""
    with board(loom_of(pins), chip) as name, serial.Serial(name, BAUD, timeout=SILENCE_S) as port:
        port.readline()
        port.write(b"scan\n")
        while b" end " not in (line := port.readline()):
            assert line
    return int(line.split(b"*")[0].split(b" ")[-1])


def main() -> None:
    """The table, printed."""
    for chip, pins, limit in (
        ("328p", 64, 3000),
        ("2560", 64, 3000),
        ("328p", 128, 10_000),
        ("2560", 128, 10_000),
    ):
        ms = scan_ms(chip, pins)
        binary = built() / f"scanner-{chip}-{pins}.elf"
        text = subprocess.run(
            ["avr-size", "-A", str(binary)], capture_output=True, text=True, check=True
        ).stdout
        size = {m[1]: int(m[2]) for m in re.finditer(r"^\.(\w+)\s+(\d+)", text, re.MULTILINE)}
        flash, ram = size["text"] + size["data"], size["data"] + size["bss"]
        print(f"{chip} {pins:3} pins: scan {ms / 1000:.2f} s of {limit / 1000:.0f} s;", end=" ")
        print(f"flash {flash} B, RAM {ram} B and stack")


if __name__ == "__main__":
    main()
