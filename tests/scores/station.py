"""The station: how long a unit takes beyond its scan, and what kills cost.

    python -m tests.scores.station            # 60 units of 128 points through the verb; 200 kills
    python -m tests.scores.station 60 200

The units go through `loomtest station` itself, a board of 128 pins on a pseudo-terminal, the archive on this
disk. From the last byte of a scan to the prompt for the next unit is what counts: reading, judging, keeping,
showing. The kills (SIGKILL) hit a process that has just scanned a unit and is keeping it, at random times.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.verify import verify_archive
from tests.bench.scanner.on_a_line import remembered
from tests.evidence.station.stopped import Bench

ROOT = Path(__file__).parents[2]


def line_loom(folder: Path, wires: int = 64) -> Path:
    """A loom of `wires` plain wires between connectors of sixteen, on 128 points where there are 64."""
    folder.mkdir(parents=True)
    rows = [f"X{1 + i // 16}:{1 + i % 16},Y{1 + i // 16}:{1 + i % 16},W{i + 1},1,1.0" for i in range(wires)]
    (folder / "wires.csv").write_text("from,to,wire,size,length\n" + "\n".join(rows) + "\n", "utf-8")
    (folder / "harness.toml").write_text('name = "line loom"\nwires = "wires.csv"\n', "utf-8")
    return folder


def latencies(place: Path, units: int) -> tuple[list[float], int]:
    """(seconds beyond the scan of each unit, bytes of the largest bag of a right unit)."""
    loom = line_loom(place / "loom")
    board = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.scanner.on_a_line", str(loom)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert board.stdout is not None
    port = board.stdout.readline().strip()
    words = [
        "station",
        str(loom),
        "--scanner",
        port,
        "--archive",
        str(place / "archive"),
        "--operator",
        "Kim",
    ]
    station = subprocess.Popen(
        [sys.executable, "-m", "loomtest", *words],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert station.stdin is not None and station.stdout is not None
    found = []
    try:
        _until(station.stdout, "Next unit")
        for number in range(units):
            station.stdin.write(f"U-{number:04}\n")
            station.stdin.flush()
            told = _until(station.stdout, "Next unit")
            ready_s = time.monotonic()
            assert "RIGHT" in told, told
            found.append(ready_s - float(board.stdout.readline().split()[1]))
        station.stdin.write("q\n")
        station.stdin.close()
        station.wait(timeout=60)
    finally:
        for process in (station, board):
            process.kill()
            process.wait()
    bags = [bag for bag in (place / "archive").iterdir() if (bag / "bagit.txt").is_file()]
    assert len(bags) == units
    return found, max(sum(f.stat().st_size for f in bag.rglob("*") if f.is_file()) for bag in bags)


def _until(stream: object, begin: str) -> str:
    """The lines up to the one that begins so."""
    told = ""
    while True:
        line = stream.readline()  # type: ignore[attr-defined]
        assert line, told
        if line.startswith(begin):
            return told
        told += line


def kills(place: Path, count: int, seed: int = 20260314) -> tuple[int, int, int, int]:
    """(scans that were finished, lost, kept twice, kills that came before the bag stood in the ledger)."""
    loom = line_loom(place / "loom", 16)
    bench = Bench(loom, place)
    bench.one(remembered([loom]), "warm up")  # what is imported once
    _, keep_s = bench.one(remembered([loom]), "timed")
    rng = random.Random(seed)
    early = 0
    for number in range(count):
        bench.killed(f"K-{number:04}", rng.uniform(0.0, 1.15 * keep_s), signal.SIGKILL, scanned=True)
        early += any(one.kept is not None for one in bench.settle())
    finished, kept = bench.finished(), bench.kept()
    lost = sum(kept.count(one) == 0 for one in finished)
    doubled = sum(kept.count(one) > 1 for one in set(kept))
    wrong = [one for one in verify_archive(Archive(place / "archive")) if one.wrong]
    assert not wrong, wrong
    return len(finished), lost, doubled, early


def main(units: int = 60, count: int = 200) -> None:
    """Print both."""
    with tempfile.TemporaryDirectory() as folder:
        seconds, largest = latencies(Path(folder), units)
        beyond = np.array(seconds)
        print(
            f"station, {units} right units of 128 points on {os.cpu_count()} cores, seconds beyond the scan:"
        )
        print(
            f"  median {np.median(beyond):.2f}, 95 % {np.quantile(beyond, 0.95):.2f}, most {beyond.max():.2f}"
        )
        print(f"  largest bag of a right unit: {largest:,} bytes")
    with tempfile.TemporaryDirectory() as folder:
        finished, lost, doubled, early = kills(Path(folder), count)
        print(
            f"killed {count} times between scan and ready, {early} times before the bag stood in the ledger:"
        )
        print(f"  of {finished} finished scans lost {lost}, kept twice {doubled}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
