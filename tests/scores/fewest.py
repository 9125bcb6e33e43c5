"""How often the findings are the fewest faults possible: `python -m tests.scores.fewest`.

Tiny looms with two or three overlapping faults, read by a beeper; every set of one and of two faults is
tried (cycles of up to four cavities), which takes seconds a loom.
"""

from __future__ import annotations

import argparse
from collections import Counter

import numpy as np

from loomtest.words.verdict import judge
from tests.laws.test_fewest import BEEPER, KINDS, TINY, beeps
from tests.looms.fewest import fewest_faults
from tests.looms.measure import full_scan
from tests.looms.scenario import Order, draw


def compare(seed: int, count: int) -> tuple[int, int]:
    """(faults needed by trying every set, 3 for more than two; number of findings)."""
    rng = np.random.default_rng([seed, count])
    order = Order(count, KINDS, overlap=True, wires=(4, 6), recipe=TINY)
    while True:
        loom = draw(rng, order)
        if len(loom.points) <= 16:
            break
    readings = beeps(full_scan(loom, rng))
    findings = judge(loom.harness, readings, BEEPER).findings
    return fewest_faults(loom.harness, readings, most=2), len(findings)


def main() -> None:
    """Prints how often the findings are as few as can be, more, or fewer (a longer cycle)."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20, help="looms for each number of faults")
    parser.add_argument("--seed", type=int, default=0, help="seed of the first loom")
    options = parser.parse_args()
    for count in (2, 3):
        told: Counter[str] = Counter()
        for seed in range(options.seed, options.seed + options.count):
            needed, found = compare(seed, count)
            word = "as few as can be" if found == needed else "more" if found > needed else "fewer"
            told[word] += 1
            if word != "as few as can be":
                print(f"  {count} faults, seed {seed}: {needed} needed, {found} found")
        print(f"{count} faults made: {dict(told)}", flush=True)


if __name__ == "__main__":
    main()
