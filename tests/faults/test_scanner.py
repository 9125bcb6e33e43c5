"""A bad line between scanner and computer: bytes are changed, lost or doubled, and no reading is wrong.

    python -m tests.faults.test_scanner [--answers 100000]

asks for so many readings over a line that spoils one byte in a hundred each way, and counts the wrong ones.
"""

from __future__ import annotations

import argparse
import math
import os
import random
import select
import subprocess
import tempfile
from pathlib import Path

from loomtest.bench.rehearsal.network import Network, Parts
from loomtest.bench.scanner.driver import Scanner
from tests.firmware.simulated import built

OHMS = {(1, 2): 0.05, (3, 4): 12.0, (5, 6): 470.0, (7, 8): 33e3, (9, 10): 1e6}
# Without noise every pair always reads the same: any other answer is a wrong one.
QUIET = Network(64, 64, 64, tuple((a - 1, b - 1, r) for (a, b), r in OHMS.items()), parts=Parts(noise=0.0))


class HostBuild:
    """The firmware's host build behind a port, on a line that spoils a share of the bytes both ways."""

    def __init__(self, network: Network, spoilt: float, seed: int) -> None:
        self._chance, self._spoilt = random.Random(seed), spoilt
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "network.txt"
            network.write(file)
            command = [str(built() / f"native-{network.pins}"), str(file)]
            self._process = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0
            )
            select.select([self._process.stdout], [], [], 10.0)  # it has read its file
        self.spoilt = 0

    @property
    def in_waiting(self) -> int:
        return 4096

    def read(self, size: int = 1) -> bytes:
        out = self._process.stdout
        assert out is not None
        ready, _, _ = select.select([out], [], [], 0.01)
        return self._spoil(os.read(out.fileno(), size)) if ready else b""

    def write(self, data: bytes) -> int:
        assert self._process.stdin is not None
        self._process.stdin.write(self._spoil(data))
        return len(data)

    def close(self) -> None:
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(10)
        self._process.stdout.close()

    def _spoil(self, data: bytes) -> bytes:
        out = bytearray()
        for byte in data:
            if self._chance.random() >= self._spoilt:
                out.append(byte)
                continue
            self.spoilt += 1
            kind = self._chance.randrange(3)
            if kind == 0:
                out.append(self._chance.randrange(256))
            elif kind == 1:
                out += bytes([byte, byte])
        return bytes(out)


def wrong_of(answers: int, spoilt: float = 0.01, seed: int = 1) -> tuple[int, Scanner, int]:
    """(wrong readings among so many accepted ones, the scanner, bytes spoilt)."""
    clean = HostBuild(QUIET, 0.0, seed)
    with Scanner(clean) as scanner:
        pairs = [*OHMS, (1, 3), (11, 12)]
        right = {pair: scanner.pair(*pair) for pair in pairs}
    port, wrong = HostBuild(QUIET, spoilt, seed), 0
    with Scanner(port, silence_s=0.05) as scanner:
        for n in range(answers):
            pair = pairs[n % len(pairs)]
            wrong += scanner.pair(*pair) != right[pair]
        return wrong, scanner, port.spoilt


def test_no_wrong_reading_over_a_bad_line() -> None:
    wrong, scanner, spoilt = wrong_of(2000)
    assert wrong == 0
    assert spoilt > 500 and scanner.counts.damaged > 200  # the line was as bad as it was meant to be


def test_a_scan_over_a_bad_line_finishes_and_is_right() -> None:
    with Scanner(HostBuild(QUIET, 0.0, 2)) as scanner:
        right = {row.pin: row.values for row in scanner.scan()}
    with Scanner(HostBuild(QUIET, 0.01, 2), silence_s=0.1) as scanner:
        rows = list(scanner.scan())
        assert scanner.counts.damaged > 20
    assert sorted(row.pin for row in rows) == list(range(1, 65))
    for row in rows:
        for other, value in enumerate(row.values, 1):
            expected = right[row.pin][other - 1]
            if value.same or expected.same:  # a row asked for anew has what a scan leaves to another
                continue
            assert value.range == expected.range
            assert math.isnan(value.ohms) or value.ohms == expected.ohms


def main() -> None:
    """The whole count, printed."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--answers", type=int, default=100_000)
    chosen = options.parse_args()
    wrong, scanner, spoilt = wrong_of(chosen.answers)
    counts = scanner.counts
    print(f"{wrong} wrong of {chosen.answers} readings; {spoilt} bytes spoilt,")
    print(f"{counts.damaged} answers damaged, {counts.silent} lost, {counts.stale} stale")


if __name__ == "__main__":
    main()
