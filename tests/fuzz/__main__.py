"""Fuzz every reader, and go on where it stopped.

    pip install -e '.[fuzz]'
    python -m tests.fuzz                       # 1,000,000 inputs a reader: a night or more; Ctrl-C, and again
    python -m tests.fuzz --minutes 5           # all readers, five minutes in all
    python -m tests.fuzz zip bag --inputs 5000 --kept FOLDER

Each reader in turn gets a minute. Inputs tried, what reached something new and what failed stay in FOLDER
(fuzz-kept). What fails belongs, as short as it can be, in tests/fuzz/seeds/READER, where the suite tries it
every time. A failure is a traceback, a wrong reading, more than 10 s, more than 1 GB. Ends with status 1 when
anything failed.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tests.fuzz.run import MOST_FAILURES, SLICE_S, Progress, instrument, one_slice, progress_of


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m tests.fuzz", description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("readers", nargs="*", metavar="READER")
    parser.add_argument("--inputs", type=int, default=1_000_000, help="of each reader, earlier ones counted")
    parser.add_argument("--minutes", type=float, help="stop after so long")
    parser.add_argument("--kept", type=Path, default=Path("fuzz-kept"), metavar="FOLDER")
    parser.add_argument("--counts", action="store_true", help="only print what was done so far")
    chosen = parser.parse_args()
    if not chosen.counts:
        instrument()
    from tests.fuzz.targets import TARGETS

    names = chosen.readers or list(TARGETS)
    if strange := [name for name in names if name not in TARGETS]:
        parser.error(f"no reader {strange[0]}; there are {', '.join(TARGETS)}")
    ends_s = time.monotonic() + 60 * chosen.minutes if chosen.minutes else None
    try:
        while not chosen.counts and _round(names, chosen.kept, chosen.inputs, ends_s):
            pass
    except KeyboardInterrupt:
        pass
    _table(names, chosen.kept)
    sys.exit(1 if any(progress_of(chosen.kept / name).failed for name in names) else 0)


def _round(names: list[str], kept: Path, inputs: int, ends_s: float | None) -> bool:
    """A slice of every reader that is not done, the least fuzzed first; False when there is nothing left."""
    there = {name: progress_of(kept / name) for name in names}
    waiting = [n for n, p in there.items() if p.inputs < inputs and p.failed < MOST_FAILURES]
    for place, name in enumerate(sorted(waiting, key=lambda one: there[one].seconds)):
        seconds = SLICE_S
        if ends_s is not None:
            left_s = ends_s - time.monotonic()
            if left_s < 1:
                return False
            seconds = max(1, min(SLICE_S, int(left_s / (len(waiting) - place))))
        before = there[name]
        now = one_slice(name, kept / name, inputs - before.inputs, seconds)
        told = f"   FAILED: {(now.failures or [''])[-1]}" if now.failed > before.failed else ""
        print(f"{name:<14} {now.inputs - before.inputs:>8,} more{told}", flush=True)
    return bool(waiting)


def _table(names: list[str], kept: Path) -> None:
    total = Progress()
    print()
    for name in names:
        had = progress_of(kept / name)
        print(f"{name:<14} {had.inputs:>9,} inputs, {had.failed} failures, {had.peak_mb} MB, "
              f"slowest {had.slowest_s} s")  # fmt: skip
        total.inputs += had.inputs
        total.failures = [*(total.failures or []), *(had.failures or [])]
    print(f"{'all':<14} {total.inputs:>9,} inputs, {total.failed} failures")


if __name__ == "__main__":
    main()
