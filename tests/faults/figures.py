"""The figures of docs/reliability.md, measured here and now.

    python -m tests.faults.figures [--times 20] [--inputs 100000]

does every fault of `injections.py` and `cables.py` so many times, feeds every reader so many inputs (with
atheris where it is installed, else spoilt copies of good inputs), and prints inputs tried, faults injected,
readings lost and wrong verdicts. Ends with status 1 unless the last two and the failures are zero.
"""

from __future__ import annotations

import argparse
import importlib.util
import random
import signal
import sys
import tempfile
import zlib
from pathlib import Path

from tests.faults.cables import CABLES
from tests.faults.injections import INJECTIONS, Outcome, measure_usual
from tests.fuzz.run import MOST_FAILURES, SLICE_S, Progress, instrument, one_slice
from tests.fuzz.targets import TARGETS
from tests.fuzz.test_seeds import spoilt


def faults(times: int) -> Outcome:
    """Every fault so many times; one line of each, and the sum."""
    total = Outcome(injected=0)
    with tempfile.TemporaryDirectory() as folder:
        measure_usual(Path(folder))
    for name, inject in {**INJECTIONS, **CABLES}.items():
        chance, some = random.Random(zlib.crc32(name.encode())), Outcome(injected=0)
        for _ in range(times):
            with tempfile.TemporaryDirectory() as folder:
                came = inject(Path(folder), chance)
            some.injected += came.injected
            some.lost += came.lost
            some.wrong += came.wrong
            some.problems += came.problems
        print(f"{name:<30} {some.injected:>6} faults, {some.lost} readings lost, {some.wrong} wrong, "
              f"{len(some.problems)} problems", flush=True)  # fmt: skip
        for problem in some.problems:
            print(f"    {problem}", flush=True)
        total.injected += some.injected
        total.lost += some.lost
        total.wrong += some.wrong
        total.problems += some.problems
    return total


def inputs(count: int) -> tuple[int, int]:
    """(inputs tried, failures) over every reader."""
    tried = failed = 0
    led = count > 0 and importlib.util.find_spec("atheris") is not None
    if led:
        instrument()
    for name, target in TARGETS.items() if count else ():
        if led:
            with tempfile.TemporaryDirectory() as folder:
                came = Progress()
                while came.inputs < count and came.failed < MOST_FAILURES:
                    came = one_slice(name, Path(folder), count - came.inputs, SLICE_S)
            some, failures = came.inputs, came.failed
        else:
            chance, some, failures = random.Random(zlib.crc32(name.encode())), count, 0
            for _ in range(count):
                data = spoilt(target, chance)
                try:
                    target.run(data)
                except Exception as error:
                    failures += 1
                    print(f"    {data!r}: {error!r}", flush=True)
        print(f"{name:<30} {some:>6} inputs, {failures} failures", flush=True)
        tried, failed = tried + some, failed + failures
    return tried, failed


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--times", type=int, default=20)
    options.add_argument("--inputs", type=int, default=100_000)
    chosen = options.parse_args()
    # A shell's background job ignores Ctrl-C, and hands that on to every program it starts.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    total = faults(chosen.times)
    tried, failed = inputs(chosen.inputs) if chosen.inputs else (0, 0)
    print(f"inputs tried      {tried}, of which {failed} were not refused or read right")
    print(f"faults injected   {total.injected}")
    print(f"readings lost     {total.lost}")
    print(f"wrong verdicts    {total.wrong}")
    print(f"other problems    {len(total.problems)}")
    sys.exit(1 if failed or total.lost or total.wrong or total.problems else 0)


if __name__ == "__main__":
    main()
