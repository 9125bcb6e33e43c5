"""Speed of the plan beside a bare script that only reads the wire list and finds its nets.

Run: python -m tests.speed.plan

Whole processes, one after another, in processor time (so that a busy machine does not matter):
`loomtest plan`, and a script that reads the same CSV with the standard library and joins its wires with
scipy. Looms of 1,024 and 4,096 pins.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.looms.generate import Recipe, random_harness

BARE = """
import csv, sys
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
rows = list(csv.DictReader(open(sys.argv[1], encoding="utf-8")))
code = {}
a = [code.setdefault(r["from"], len(code)) for r in rows]
b = [code.setdefault(r["to"], len(code)) for r in rows]
print(connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(len(code),) * 2))[0])
"""


def wire_lists(folder: Path, pins: int) -> list[tuple[str, Path]]:
    """Straight wires between two rows of connectors, and a drawn loom of about as many points."""
    straight = folder / f"straight_{pins}.csv"
    half = pins // 2
    rows = [f"A{i // 64}:{i % 64 + 1},B{i // 50}:{i % 50 + 1},1,1" for i in range(half)]
    straight.write_text("from,to,size,length\n" + "\n".join(rows) + "\n", encoding="utf-8")
    drawn = folder / f"drawn_{pins}.csv"
    recipe = Recipe(wires=int(pins * 0.75), parts=False, fuses=False, declared=0.0)
    harness = random_harness(np.random.default_rng(pins), recipe)
    rows = [f"{w.start},{w.end},{w.size_mm2},{w.length_m}" for w in harness.wires]
    drawn.write_text("from,to,size,length\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return [("straight", straight), ("drawn", drawn)]


def seconds(command: list[str]) -> float:
    """Least processor time of three runs."""
    best = float("inf")
    for _ in range(3):
        before = os.times()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        after = os.times()
        spent = after.children_user - before.children_user + after.children_system - before.children_system
        best = min(best, spent)
    return best


def main() -> None:
    print(f"{'pins':>6} {'loom':<10} {'level':<12} {'plan / bare script':>20} {'under its limit':>16}")
    with tempfile.TemporaryDirectory() as name:
        for pins, limit in ((1024, 2.0), (4096, 10.0)):
            for kind, path in wire_lists(Path(name), pins):
                bare = seconds([sys.executable, "-c", BARE, str(path)])
                for level in ("bonded", "neighbours", "none", "full"):
                    command = [sys.executable, "-m", "loomtest", "plan", str(path), "--isolation", level]
                    took = seconds(command)
                    told = "yes" if took < limit else f"no, {took / limit:.1f} x"
                    print(f"{pins:>6} {kind:<10} {level:<12} {took / bare:>19.1f}x {told:>16}")


if __name__ == "__main__":
    main()
