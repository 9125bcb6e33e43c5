"""Reading harness files of 100 to 5,000 wires, and one of 20 MB: time and memory.

    python -m tests.speed.exchange

Beside it the time of a bare XML parse of the same file (Python's own ElementTree, which keeps nothing out).
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from tests.harness.exchange.made import random_loom, written

LARGE_BYTES = 20_000_000
_OURS = """
import resource, sys, time
from loomtest.harness.load import load_harness
before = time.process_time()
harness = load_harness(sys.argv[1])
taken = time.process_time() - before
print(taken, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, len(harness.wires))
"""
_BARE = """
import resource, sys, time
from xml.etree import ElementTree
before = time.process_time()
ElementTree.parse(sys.argv[1])
print(time.process_time() - before, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 0)
"""


def measured(script: str, path: Path) -> tuple[float, float, int]:
    """Seconds of processor time, peak memory in MiB, wires."""
    out = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True
    )
    seconds, memory, wires = out.stdout.split()
    return float(seconds), float(memory), int(wires)


def main() -> None:
    """Print a row for each size."""
    print("   wires      MB   ours s    MiB   bare parse s    MiB")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "loom.kbl"
        for count in (100, 1_000, 5_000, 0):
            text = written(random_loom(count or 5_000, 1))
            if not count:  # what a maker's file holds beside: approvals, changes, drawings
                note = '<Change_description id="d"><Description>invented</Description></Change_description>\n'
                text = text.replace("<Unit ", note * ((LARGE_BYTES - len(text)) // len(note)) + "<Unit ", 1)
                text = unique(text)
            path.write_text(text, encoding="utf-8")
            ours, bare = measured(_OURS, path), measured(_BARE, path)
            size = path.stat().st_size / 1e6
            print(
                f"{ours[2]:8,}{size:8.1f}{ours[0]:9.2f}{ours[1]:7.0f}{bare[0]:15.2f}{bare[1]:7.0f}",
                flush=True,
            )


def unique(text: str) -> str:
    """Every padding element with an id of its own."""
    pieces = text.split('id="d"')
    return "".join(piece + (f'id="d{n}"' if n < len(pieces) - 1 else "") for n, piece in enumerate(pieces))


if __name__ == "__main__":
    main()
