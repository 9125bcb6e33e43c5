"""The whole answer of many units from columns typed here."""

from __future__ import annotations

import numpy as np
import pytest

from loomtest.diagnosis.units.report import RunColumns, UnitOhms, last_tries, many_units

RUNS = RunColumns(
    sequence=[1, 2, 4, 5, 6, 8, 9, 10],
    unit=["A", "B", "B", "C", "D", "", "E", "F"],
    verdict=["pass", "fail", "pass", "pass", "fail", "pass", "pass", "not-proven"],
    bench=["east", "west", "east", "west", "west", "east", "", "east"],
)


def test_last_tries_stand_in_the_order_of_keeping() -> None:
    tries, at = last_tries(RUNS, 4)
    assert tries.unit == ("A", "B", "C", "D", "E", "F") and tries.nameless == 1
    assert at.tolist() == [3, 4, 6, 7]  # of C, D, E and F
    assert last_tries(RUNS, 100)[1].tolist() == [0, 2, 3, 4, 6, 7]
    assert last_tries(RunColumns(sequence=[], unit=[], verdict=[], bench=[]), 5)[1].size == 0


def test_only_units_that_pass_say_what_is_usual() -> None:
    tries, at = last_tries(RUNS, 100)
    ohm = np.array([[0.010, np.nan], [0.012, 0.2], [0.011, 0.2], [0.400, 0.2], [0.013, 0.2], [0.5, 0.2]])
    sound = np.array([RUNS.verdict[place] == "pass" for place in at.tolist()])
    limits = np.array([0.02, np.nan])
    ohms = UnitOhms(at=at, sound=sound, ohm=ohm, limit_ohm=limits, wires=("W1", "W2"), circuits=("horn", ""))
    units = many_units(RUNS, tries, [("open", ("X1:1",), 2), ("short", ("X1:2",), 1)], ohms)
    first, second = units.circuits
    assert first.usual is not None and second.usual is not None
    assert (first.usual.count, first.usual.mean) == (4, pytest.approx(0.0115))
    assert (second.usual.count, second.usual.spread) == (3, pytest.approx(0.0))
    assert first.limit_ohm == 0.02 and second.limit_ohm is None
    assert first.places.tolist() == [0, 1, 2, 3, 4, 5] and second.places.tolist() == [1, 2, 3, 4, 5]
    assert first.chart is None  # four sound ones set no limit
    assert [(bench, share.count, share.total) for bench, share in units.by_bench] == [
        ("east", 1, 2),
        ("west", 1, 3),
    ]
    assert (units.right.first.count, units.right.last.count, units.right.last.total) == (3, 4, 6)
    assert [one.so_far for one in units.faults] == pytest.approx([2 / 3, 1.0])
    assert units.benches == ("east", "west") and units.shifts == ()
