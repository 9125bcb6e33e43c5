"""The next best probing, given what was measured so far.

First the plan's own steps inside the nets. Then, for every net that is broken, the probing worth most:
expected information (the entropy of its outcome over the hypotheses that agree with the readings) per
second of arm movement, until what remains cannot be told apart or one explanation stands out. Then what
the broken wires hid: points that should still be joined under that explanation. Then the isolation steps,
and after them a bisection of any comb that conducts. At last the readings that an undecided joint wants.
"""

from __future__ import annotations

import numpy as np

from loomtest.bench.plan.after import along_comb, at_doubtful_joint, hidden_behind, stubs_on_comb
from loomtest.bench.plan.done import Done, unmeasured
from loomtest.bench.plan.plan import Plan, Step, plan
from loomtest.bench.plan.suspects import Puzzle, open_puzzles
from loomtest.bench.plan.worth import Arms, best_of_puzzle, shown_alike
from loomtest.diagnosis.seen.observe import observe
from loomtest.harness.model import Harness
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import Instrument, Readings


def next_probing(
    harness: Harness,
    readings: Readings,
    instrument: Instrument | None = None,
    planned: Plan | None = None,
) -> Step | None:
    """What to measure next, or None when no further probing can change the verdict.

    `planned`: the plan to work through, `plan(harness)` where None (pass it to save making it again). A step
    that the plan does not hold is numbered after the readings; its `what` is `locate` where it looks for a
    fault. Pure: the same readings give the same step.
    """
    meter = instrument or readings.instrument or generic_handheld()
    made = planned or plan(harness)
    number = len(readings) + 1
    done = Done(readings)
    step = next(unmeasured(made.steps, done, inside=True), None)
    if step is not None:
        return step
    seen = observe(readings, meter, harness.limits)
    puzzles = open_puzzles(harness, seen)
    arms = Arms.after(readings)
    located = (best_of_puzzle(harness, puzzle, arms, number) for puzzle in puzzles)
    return (
        next((step for step in located if step is not None), None)
        or hidden_behind(harness, puzzles, seen, done, number)
        or next(unmeasured(made.steps, done, inside=False), None)
        or along_comb(harness, readings, seen, number)
        or stubs_on_comb(harness, puzzles, made, done, number)
        or at_doubtful_joint(harness, readings, meter, done, number)
    )


def left_open(harness: Harness, readings: Readings, instrument: Instrument | None = None) -> tuple[str, ...]:
    """What no further probing at reachable points can tell, and why, one sentence each.

    Meant for when `next_probing` has nothing more to ask.
    """
    meter = instrument or readings.instrument or generic_handheld()
    out = []
    for puzzle in open_puzzles(harness, observe(readings, meter, harness.limits)):
        reachable = np.flatnonzero(harness.reachable[puzzle.points]).tolist()
        alike = shown_alike(puzzle, reachable)
        ways = list(dict.fromkeys(_in_words(harness, puzzle, index) for index in alike))
        if len(ways) > 1:
            out.append(
                "; or ".join(ways) + ": these join the same points wherever a probe reaches, so look at each"
            )
    return tuple(out)


def _in_words(harness: Harness, puzzle: Puzzle, index: int) -> str:
    told = [f"{harness.wires[wire].name} open" for wire in puzzle.opens[index]]
    if puzzle.moves[index]:
        places = " and ".join(harness.points[home] for home, _ in puzzle.moves[index])
        told.append(f"{places} crossed")
    return ", ".join(told)
