"""How the archive grows: `python -m tests.speed.archive [RUNS]` (10,000 by default; some 200 MB of disk).

Prints the time of `loomtest history` from a ready index, and the processor time of making the index again,
for a tenth of the runs and for all of them, beside a bare Python process that imports the same libraries.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from loomtest.evidence.archive.bag import FIRST, close_bag
from loomtest.evidence.archive.folder import INDEX, LEDGER, Archive
from loomtest.evidence.archive.index import Index
from loomtest.evidence.archive.keep import Keeping, keep_run
from tests.evidence.archive.kept import BEGIN

WIRES = 30


def fill(folder: Path, first: int, count: int) -> None:
    """So many kept runs of one loom of 30 wires, one a day: what the index reads, and the ledger."""
    lines = []
    for number in range(first, first + count):
        day = BEGIN + timedelta(days=number)
        name = f"{day:%Y%m%d-%H%M%S}-orchard-tractor-{number:05}"
        bag = folder / name
        (bag / "data" / "run").mkdir(parents=True)
        info = {"External-Identifier": name, "Harness": "orchard tractor, invented", "Stage": "yearly"}
        info |= {"Run-Started": day.isoformat(), "Kept": day.isoformat(), "Tool-Version": "0.1.0"}
        (bag / "bag-info.txt").write_text("".join(f"{k}: {v}\n" for k, v in info.items()), "utf-8")
        (bag / "data" / "run" / "readings.csv").write_text(f"from,to,value\nX1:1,X2:1,{number}\n", "utf-8")
        wires = [
            {
                "wire": f"W{w}",
                "from": f"X1:{w}",
                "to": f"X2:{w}",
                "ohms": round(0.01 * w + 1e-6 * number + 1e-4 * ((number * 7919 + w) % 10), 6),
                "uncertainty_ohms": 0.002,
                "limit_ohms": 0.01 * w + 0.02,
                "with": [],
                "verdict": "pass",
            }
            for w in range(1, WIRES + 1)
        ]
        nets = [{"net": f"circuit {w}", "points": [f"X1:{w}", f"X2:{w}"]} for w in range(1, WIRES + 1)]
        verdict = {
            "verdict": "pass",
            "wiring": "pass",
            "joints": "pass",
            "findings": [],
            "wires": wires,
            "nets": nets,
        }
        (bag / "data" / "verdict.json").write_text(json.dumps(verdict), "utf-8")
        lines.append(f"{hashlib.sha256(name.encode()).hexdigest()}  {name}/tagmanifest-sha256.txt\n")
    with (folder / LEDGER).open("a", encoding="utf-8", newline="\n") as ledger:
        ledger.writelines(lines)


def template(folder: Path) -> Path:
    """The payload of a bag of 0.4 MB: a kept run of the sample tractor, with its page and pictures."""
    from loomtest.evidence.page.page import write_report
    from loomtest.words.verdict import judge

    how = Keeping(judge, write_report, BEGIN, "template", rehearsal=True)
    kept = keep_run(Path("sample_runs/orchard_tractor/1_before"), Archive(folder), how)
    return kept.folder / "data"


def copies(payload: Path, archive: Archive, count: int) -> None:
    """So many whole bags of that payload."""
    last = FIRST
    for number in range(1, count + 1):
        day = BEGIN + timedelta(minutes=number)
        name = f"{day:%Y%m%d-%H%M%S}-orchard-tractor-{number:05}"
        info = {"External-Identifier": name, "Harness": "orchard tractor, invented", "Kept": day.isoformat()}
        info |= {"Previous-Tag-Manifest": last, "Sequence": str(number)}
        with archive.workplace(name) as aside:
            shutil.copytree(payload, aside, dirs_exist_ok=True)
            last = close_bag(aside, info)
            with archive.locked():
                archive.place(aside, last)
    Index(archive).catch_up()


def cost(*command: str) -> tuple[float, float]:
    """(elapsed, processor) seconds of a process, the least of five."""
    least = [float("inf"), float("inf")]
    for _ in range(5):
        begun, before = time.perf_counter(), os.times()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        after = os.times()
        used = after.children_user + after.children_system - before.children_user - before.children_system
        least = [min(least[0], time.perf_counter() - begun), min(least[1], used)]
    return least[0], least[1]


def main(runs: int) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as place:
        archive = Archive(place)
        bare = cost(sys.executable, "-c", "import typer, numpy, sqlite3")
        print(f"bare process (typer, numpy, sqlite3): {bare[0]:.2f} s, {bare[1]:.2f} s of processor")
        print(f"{'runs':>7} {'index anew':>12} {'a run':>8} {'history':>9} {'processor':>10} {'of bare':>8}")
        kept = 0
        for count in (runs // 10, runs):
            fill(archive.folder, kept, count - kept)
            kept = count
            (archive.folder / INDEX).unlink(missing_ok=True)
            begun = time.process_time()
            Index(archive).catch_up()
            made = time.process_time() - begun
            history = cost(sys.executable, "-m", "loomtest", "history", "--archive", place)
            row = f"{count:>7} {made:>10.2f} s {made / count * 1e3:>5.2f} ms {history[0]:>7.2f} s"
            print(f"{row} {history[1]:>8.2f} s {history[1] / bare[1]:>7.2f}x")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
