"""How exactly a sitting with marker clips tells the wiring: `python -m tests.scores.markers`.

Exactly: the findings, applied to the wire list, reproduce a full scan of the true copper, and there are no
more of them than faults were made. Beside it: false faults on sound looms, what the hands did, and the
minutes of the other levels. An ordinary meter of 2,000 counts with 0.1 % drift; bad joints are in the looms
and are left to readings of pairs.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace

import numpy as np

from loomtest.bench.plan.markers import SECONDS_PER_PIN, MarkedPlan, plan_marked
from loomtest.bench.plan.plan import plan
from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.markers.kit import KitChoice, choose_kit, too_near
from loomtest.harness.model import Limits
from loomtest.readings.instrument import load_instrument
from loomtest.readings.marked import Clip
from loomtest.words.plan import SECONDS_PER_PROBING
from tests.looms import measure
from tests.looms.check import told_wiring, unexplained
from tests.looms.generate import Recipe
from tests.looms.marked import Hands, Sitting, sit
from tests.looms.scenario import Order, draw

METER = load_instrument("handheld-3half")
KINDS = ("open", "short", "leakage", "crossed", "misplaced", "joint")
CLUMSY = Hands(swapped=0.03, beside=0.03, fallen=0.03, touching=0.03)


@dataclass(frozen=True)
class Experiment:
    """One line of the table."""

    name: str
    faults: int
    clips: int
    wires: tuple[int, int] = (10, 60)
    hands: Hands = field(default_factory=Hands)


EXPERIMENTS = (
    Experiment("sound, 24 clips", 0, 24),
    Experiment("sound, 24 clips, clumsy", 0, 24, hands=CLUMSY),
    Experiment("1 fault, 24 clips", 1, 24),
    Experiment("2 faults, 24 clips", 2, 24),
    Experiment("3 faults, 24 clips", 3, 24),
    Experiment("2 faults, 12 clips", 2, 12),
    Experiment("2 faults, 24 clips, clumsy", 2, 24, hands=CLUMSY),
    Experiment("sound, 12 clips, clumsy", 0, 12, hands=CLUMSY),
    Experiment("2 faults, 12 clips, clumsy", 2, 12, hands=CLUMSY),
)


@dataclass(frozen=True, kw_only=True)
class Told:
    """One loom. `mistaken`: told as crossed or misplaced with none such made, or the reverse passed.
    `minutes`: with markers, full, bonded, neighbours."""

    exact: bool
    false: int
    mistaken: bool
    touches: float
    placings: float
    minutes: tuple[float, ...]


WRONG_PLACES = {"crossed", "misplaced"}


def one(experiment: Experiment, seed: int) -> Told:
    """A loom drawn, a sitting followed to its end, and what was told."""
    rng = np.random.default_rng([seed, *experiment.name.encode()])
    order = Order(experiment.faults, KINDS, wires=experiment.wires, recipe=Recipe(parts=False))
    loom = draw(rng, order)
    loom = replace(loom, harness=replace(loom.harness, limits=Limits(isolation="full")))
    kit = choose_kit(METER, experiment.clips)
    assert kit is not None
    clips = [Clip(marker=f"M{n}", ohms=ohm) for n, ohm in enumerate(bought(kit, rng), 1)]
    made_plan = plan_marked(loom.harness, clips)
    done = sit(loom, made_plan, METER, rng, experiment.hands)
    verdict = judge(loom.harness, done.readings)
    found = [f for f in verdict.findings if f.fault != "high-resistance"]
    made = [fault for fault in loom.faults if fault.fault != "high-resistance"]
    scan = measure.full_scan(loom, rng, measure.FourWire())
    try:
        wrong = unexplained(loom.harness, scan, told_wiring(loom.harness, found))
    except ValueError as error:
        wrong = [str(error)]
    wires = len(loom.harness.wires)
    minutes = tuple(plan(loom.harness, lv).totals["minutes"] for lv in ("full", "bonded", "neighbours"))
    told, true = ({f.fault for f in faults} & WRONG_PLACES for faults in (found, made))
    return Told(
        exact=not wrong and len(found) <= len(made),
        false=max(0, len(found) - len(made)),
        mistaken=bool(told) > bool(true) or (bool(true) and verdict.wiring == "pass"),
        touches=done.touches / wires,
        placings=done.placings / wires,
        minutes=(_minutes(made_plan, done), *minutes),
    )


def _minutes(made: MarkedPlan, done: Sitting) -> float:
    """The plan's, and what the sitting asked for beyond it."""
    more_s = (done.touches - made.totals["marked"]) * SECONDS_PER_PROBING
    more_s += (done.placings - made.totals["placings"]) * SECONDS_PER_PIN
    return float(made.totals["minutes"] + more_s / 60)


def bought(kit: KitChoice, rng: np.random.Generator) -> list[float]:
    """The kit's resistors as measured, 1 % parts (0.4 % standard deviation), those exchanged that the check
    of a kit says to exchange."""
    ohms = [round(ohm * (1 + 0.004 * rng.normal()) / 10) * 10.0 for ohm in kit.ohms]
    while near := too_near(ohms, kit.range):
        swap = near[0].exchange
        ohms[swap] = round(kit.ohms[swap] * (1 + 0.004 * rng.normal()) / 10) * 10.0
    return ohms


def main() -> None:
    """Reads the options and prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=50, help="looms for each line of the table")
    parser.add_argument("--seed", type=int, default=0, help="seed of the first loom")
    parser.add_argument("--only", default="", help="lines whose name has this in it")
    options = parser.parse_args()
    head = "looms  exact  false  mistaken  touches  placings   minutes: markers  full  bonded  neighbours"
    print(f"{'':28}{head}")
    for experiment in EXPERIMENTS:
        if options.only not in experiment.name:
            continue
        seeds = range(options.seed, options.seed + options.count)
        rows = [one(experiment, seed) for seed in seeds]
        exact, false = sum(row.exact for row in rows), sum(row.false for row in rows)
        mistaken = sum(row.mistaken for row in rows)
        touches, placings = np.mean([row.touches for row in rows]), np.mean([row.placings for row in rows])
        minutes = np.mean([row.minutes for row in rows], axis=0)
        print(
            f"{experiment.name:28}{len(rows):5}{exact:7}{false:7}{mistaken:10}{touches:9.2f}{placings:10.2f}"
            f"{minutes[0]:19.0f}{minutes[1]:6.0f}{minutes[2]:8.0f}{minutes[3]:12.0f}",
            flush=True,
        )
        missed = [seed for seed, row in zip(seeds, rows, strict=True) if not row.exact]
        if missed:
            print(f"{'':28}not exact: seeds {missed}", flush=True)


if __name__ == "__main__":
    main()
