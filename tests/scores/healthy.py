"""What sound units say of healthy copper and joints: `python -m tests.scores.healthy [LOTS]`.

Lots of units of one loom are made with a truth that is not the usual one, measured with one meter, and each
key of `[expect]` is estimated from them: how often its 95 % interval holds the truth, how far the proposed
value is off on average, and how often it is told at all.
"""

from __future__ import annotations

import sys

import numpy as np

from loomtest.diagnosis.units.proposal import proposed_from
from loomtest.diagnosis.units.taken import taken_of, wires_used
from loomtest.harness.model import Expect, Harness, Wire
from tests.looms.units import measured_units

TRUTHS = (
    Expect(
        copper_factor=1.10,
        copper_spread_percent=2.5,
        length_spread_percent=4.0,
        joint_milliohms=3.0,
        joint_spread_milliohms=1.2,
    ),
    Expect(
        copper_factor=1.03,
        copper_spread_percent=1.0,
        length_spread_percent=1.5,
        joint_milliohms=0.8,
        joint_spread_milliohms=0.5,
    ),
    Expect(),
)


def loom(rng: np.random.Generator, wires: int) -> Harness:
    """A loom of single wires, two splices and a ring, sizes and lengths as they come."""
    rows = []
    for number in range(wires):
        ends = f"X1:{number + 1}", f"X2:{number + 1}"
        if number % 8 in (5, 6, 7):  # a splice with three legs
            ends = f"X1:{number + 1}", f"SP{number // 8 + 1}"
        size = float(rng.choice([0.5, 0.75, 1.0, 1.5, 2.5]))
        length = float(rng.uniform(0.3, 3.0))
        rows.append(Wire(f"W{number + 1}", *ends, size_mm2=size, length_m=length))
    rows.append(Wire(f"W{wires + 1}", "X1:1", "X2:1", size_mm2=1.0, length_m=1.0))  # beside the first
    points = tuple(dict.fromkeys(point for row in rows for point in (row.start, row.end)))
    taped = frozenset(point for point in points if point.startswith("SP"))
    return Harness("units", tuple(rows), points, unreachable=taped)


def main(lots: int = 100) -> None:
    """Print one table a truth."""
    for number, truth in enumerate(TRUTHS):
        for units, wires in ((6, 16), (15, 24)):
            held: dict[str, list[bool]] = {}
            off: dict[str, list[float]] = {}
            told: dict[str, list[bool]] = {}
            for lot in range(lots):
                rng = np.random.default_rng([22, number, units, lot])
                harness = loom(rng, wires)
                used = wires_used(harness)
                taken = [taken_of(harness, one, used) for one in measured_units(harness, rng, truth, units)]
                for row in proposed_from(taken, harness.expect):
                    true = getattr(truth, row.key)
                    held.setdefault(row.key, []).append(row.between[0] <= true <= row.between[1])
                    off.setdefault(row.key, []).append(row.value - true)
                    told.setdefault(row.key, []).append(row.told)
            print(f"\n{lots} lots of {units} units of {wires + 1} wires")
            for key, each in held.items():
                true, mean = getattr(truth, key), float(np.mean(off[key]))
                print(
                    f"  {key:<24} true {true:<5g} held {np.mean(each):6.1%}  off {mean:+.3f} "
                    f"± {np.std(off[key]):.3f}  told {np.mean(told[key]):4.0%}"
                )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
