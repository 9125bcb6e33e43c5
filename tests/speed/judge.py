"""`loomtest judge` on full scans beside a bare script on the same file: `python -m tests.speed judge`.

The bare script does the least that anybody could: pandas reads the CSV, the points become codes, what reads
under 100 Ω is joined, scipy finds the components. It finds no fault and judges no joint.
"""

from __future__ import annotations

import gzip
import tempfile
from pathlib import Path

import pandas as pd

from tests.speed.processes import Cost, costs, loomtest
from tests.speed.scans import FAULTY, HEALTHY, Scanned, write_scan

BARE = """
import sys
import numpy as np, pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
table = pd.read_csv(sys.argv[1], na_values=["OL"])
codes, names = pd.factorize(pd.concat([table["from"], table["to"]]))
start, end = codes[:len(table)], codes[len(table):]
value = table["value"]
joined = (value < 100 if value.dtype.kind == "f" else value == "yes").to_numpy()
edges = (np.ones(int(joined.sum())), (start[joined], end[joined]))
print(connected_components(coo_array(edges, shape=(len(names),) * 2))[0])
"""
GOAL_TIME, GOAL_MEMORY = 1.0, 2.0


def line(what: str, cost: Cost, bare: Cost) -> str:
    """One row of the table."""
    return f"{what:<44} {cost.against(bare)}   exit {cost.status}"


def main(pins: int = 1024, rounds: int = 3) -> None:
    """Print one line a kind of scan: healthy and faulty, in ohms, beeps and megohms, packed and not."""
    print(
        f"judge, {pins:,} pins, {pins * (pins - 1) // 2:,} readings, against a bare script on the same file "
        f"(goal {GOAL_TIME} x time, {GOAL_MEMORY} x memory)"
    )
    with tempfile.TemporaryDirectory() as name:
        for kind in ("analog", "beeps", "megohms"):
            scans = {
                word: write_scan(Path(name) / f"{kind}_{word}", pins, faults, kind)
                for word, faults in (("healthy", HEALTHY), ("faulty", FAULTY))
            }
            commands = {"bare": ["-c", BARE, str(scans["healthy"].readings)]}
            commands |= {word: judge(scan) for word, scan in scans.items()}
            if kind == "analog":
                commands |= packed(scans["faulty"])
            found = costs(commands, rounds)
            for what, cost in found.items():
                print(line(f"  {kind}: {what}", cost, found["bare"]), flush=True)


def judge(scan: Scanned, readings: Path | None = None) -> list[str]:
    """The command."""
    return loomtest("judge", scan.harness, readings or scan.readings)


def packed(scan: Scanned) -> dict[str, list[str]]:
    """The same readings as .csv.gz and as Parquet, beside the CSV."""
    gz, parquet = scan.readings.with_suffix(".csv.gz"), scan.readings.with_suffix(".parquet")
    gz.write_bytes(gzip.compress(scan.readings.read_bytes(), 1))
    pd.read_csv(scan.readings, dtype=str).to_parquet(parquet)
    return {"faulty, .csv.gz": judge(scan, gz), "faulty, .parquet": judge(scan, parquet)}


def compare(pins: int = 1024, rounds: int = 2) -> None:
    """`loomtest compare` of a faulty scan and a healthy one, against twice the bare script."""
    print(f"compare, {pins:,} pins, two scans, against the bare script on one of them")
    with tempfile.TemporaryDirectory() as name:
        before, after = (
            write_scan(Path(name) / word, pins, faults) for word, faults in (("b", FAULTY), ("a", HEALTHY))
        )
        found = costs(
            {
                "bare": ["-c", BARE, str(before.readings)],
                "compare": loomtest("compare", before.harness, before.readings, after.readings),
            },
            rounds,
        )
    for what, cost in found.items():
        print(line(f"  {what}", cost, found["bare"]))


def growth(rounds: int = 1) -> None:
    """From 256 to 4,096 pins: time and memory a reading."""
    print("judge, growth with the pins (a faulty scan; microseconds and bytes of peak memory a reading)")
    for pins in (256, 1024, 2048, 4096):
        with tempfile.TemporaryDirectory() as name:
            scan = write_scan(Path(name), pins, FAULTY)
            size = scan.readings.stat().st_size / 1e6
            found = costs({"bare": ["-c", BARE, str(scan.readings)], "judge": judge(scan)}, rounds)
        one = found["judge"]
        each = f"{one.seconds / scan.rows * 1e6:6.2f} us {one.megabytes / scan.rows * 1e6:7.0f} B"
        print(f"{f'  {pins:,} pins, {scan.rows:,} readings, {size:.0f} MB':<44} "
              f"{one.against(found['bare'])} {each}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
