"""Whole sittings with marker clips on looms whose wires end in an empty cavity."""

from __future__ import annotations

import numpy as np
import pytest

from loomtest.bench.plan.markers import plan_marked
from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.markers.kit import choose_kit
from loomtest.harness.model import Harness, Limits, Wire
from loomtest.readings.instrument import load_instrument
from loomtest.readings.marked import Clip
from tests.looms.faults import Fault, Loom
from tests.looms.marked import sit

METER = load_instrument("handheld-3half")
KIT = choose_kit(METER, 24)
assert KIT is not None


def misplaced(wires: int, side: int) -> Loom:
    """`wires` wires from X1 to X2, the first through a splice to X3 too; its terminal at one end sits in the
    empty last cavity of that connector."""
    rows = [Wire("W1", "X1:1", "SP1"), Wire("W2", "SP1", "X2:1"), Wire("W3", "SP1", "X3:1")]
    rows += [Wire(f"W{i + 2}", f"X1:{i}", f"X2:{i}") for i in range(2, wires + 1)]
    empty = (f"X1:{wires + 1}", f"X2:{wires + 1}")
    points = tuple(dict.fromkeys([p for row in rows for p in (row.start, row.end)] + [*empty]))
    harness = Harness("a splice", tuple(rows), points, limits=Limits(isolation="full"))
    seat, wire, end = (("X1:1", 0, 0), ("X2:1", 1, 1))[side]
    fault = Fault("misplaced", "empty cavity", (seat, empty[side]), moved={(wire, end): empty[side]})
    return Loom(harness, np.full(len(rows), 0.02), (fault,))


@pytest.mark.parametrize("clips", [4, 6, 24])
@pytest.mark.parametrize("side", [0, 1])
def test_a_terminal_in_an_empty_cavity_is_found_behind_a_splice(clips: int, side: int) -> None:
    loom = misplaced(6, side)
    assert KIT is not None
    kit = [Clip(marker=f"M{n}", ohms=ohm) for n, ohm in enumerate(KIT.ohms[:clips], 1)]
    done = sit(loom, plan_marked(loom.harness, kit), METER, np.random.default_rng(clips))
    verdict = judge(loom.harness, done.readings)
    assert [(f.fault, set(f.points)) for f in verdict.findings] == [("misplaced", set(loom.faults[0].points))]
    assert verdict.doubted_count == 0
