"""Enormous files for real: what becomes of each, in what time and memory.

    python -m tests.strangers.sizes [NAME ...]

Each is written to a temporary folder (2 GB at most), read by a program of its own, and deleted.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from itertools import chain, repeat
from pathlib import Path

WIRES = "from,to\nX1:1,X2:1\nX1:2,X2:2\n"
_READ = """
import resource, sys, time
from loomtest.errors import LoomtestError
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
began = time.process_time()
try:
    harness = load_harness(sys.argv[1])
    read = load_readings(sys.argv[2], harness) if len(sys.argv) > 2 else harness.wires
    said = f"{len(read):,} rows read"
except LoomtestError as error:
    last = str(error).split("\\n")[-1].split(": found", 1)[-1][:110]
    said = f"refused, {len(str(error).splitlines())} lines: ...{last}"
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
print(f"{time.process_time() - began:7.1f} s of processor, {peak:6} MB, {said}")
"""


def _lines(head: str, lines: Iterator[str]) -> Iterator[bytes]:
    yield head.encode()
    block: list[str] = []
    for line in lines:
        block.append(line)
        if len(block) == 100_000:
            yield "".join(block).encode()
            block = []
    yield "".join(block).encode()


HEAD = "from,to,value\n"
READINGS: dict[str, Callable[[], Iterator[bytes]]] = {
    "readings of 2 GB": lambda: _lines(HEAD, repeat("X1:1,X2:1,0.3\n", 143_000_000)),
    "readings of 300 MB": lambda: _lines(HEAD, repeat("X1:1,X2:1,0.3\n", 21_000_000)),
    "readings of 250 MB, row by row": lambda: _lines(HEAD + "\n", repeat("X1:1,X2:1,0.3\n", 17_800_000)),
    "a line of 100 MB": lambda: iter((HEAD.encode(), b"X1:1,X2:1,", b"1" * 100_000_000, b"\n")),
    "a header of 100 MB": lambda: iter((b"f" * 100_000_000, b",to,value\n")),
    "a million columns": lambda: iter((b"from,to,value", b",valu" * 1_000_000, b"\n")),
    "10 million unknown points": lambda: _lines(HEAD, (f"Q{n}:1,X2:1,0.3\n" for n in range(10_000_000))),
    "10 million empty cavities": lambda: _lines(HEAD, (f"X1:c{n},X2:1,0.3\n" for n in range(10_000_000))),
    "10 million bad values": lambda: _lines(HEAD, (f"X1:1,X2:1,x{n}\n" for n in range(10_000_000))),
}
LISTS: dict[str, tuple[str, Callable[[], Iterator[bytes]]]] = {
    "a million wires": (
        "list.csv", lambda: _lines("from,to\n", (f"X{n}:1,Y{n}:1\n" for n in range(1_000_000)))
    ),
    "a million wires, all bad": ("list.csv", lambda: _lines("from,to\n", repeat("X 1,\n", 1_000_000))),
    "TOML, 2 MB of brackets": ("harness.toml", lambda: iter((b"name = ", b"[" * 1_999_000))),
    "TOML, a key of a million parts": (
        "harness.toml", lambda: chain((b"a",), repeat(b".a", 990_000), (b" = 1",))
    ),
    "TOML, 180,000 tables": (
        "harness.toml", lambda: _lines("", (f"[a.b{n}]\n" for n in range(180_000)))
    ),
}  # fmt: skip


def one(name: str) -> str:
    """What became of it, in a line."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "wires.csv").write_text(WIRES, "utf-8")
        arguments = (
            [folder / "wires.csv", folder / "r.csv"] if name in READINGS else [folder / LISTS[name][0]]
        )
        with arguments[-1].open("wb") as stream:
            for block in (READINGS[name] if name in READINGS else LISTS[name][1])():
                stream.write(block)
        command = [sys.executable, "-c", _READ, *map(str, arguments)]
        began = time.monotonic()
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=1800)
        return done.stdout.strip() or f"{done.stderr[-300:]} after {time.monotonic() - began:.0f} s"


def main() -> None:
    for name in sys.argv[1:] or [*READINGS, *LISTS]:
        print(f"{name:<32} {one(name)}", flush=True)


if __name__ == "__main__":
    main()
