"""What is said of many units, from facts made here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loomtest.diagnosis.units.benches import BenchShift
from loomtest.diagnosis.units.report import ManyUnits, RunColumns, UnitOhms, last_tries, many_units
from loomtest.diagnosis.units.shares import share_of
from loomtest.words.units import share_words, shift_words, units_lines


def facts(verdicts: list[str]) -> ManyUnits:
    count = len(verdicts)
    runs = RunColumns(
        sequence=list(range(1, count + 1)),
        unit=[f"U{k}" for k in range(count - 1)] + [""],
        verdict=verdicts,
        bench=["bench-1", "bench-2"] * (count // 2) + ["bench-1"] * (count % 2),
    )
    tries, at = last_tries(runs, 1000)
    ohm = np.random.default_rng(1).normal(0.05, 0.001, (len(at), 1))
    ohm[3:4] = 0.4
    sound = np.array([verdicts[place] == "pass" for place in at.tolist()])
    ohms = UnitOhms(
        at=at, sound=sound, ohm=ohm, limit_ohm=np.array([0.052]), wires=("W1",), circuits=("horn",)
    )
    return many_units(runs, tries, [("open", ("X1:1", "X2:1"), 1)], ohms)


def test_the_page_of_a_small_lot() -> None:
    text = [line.text for line in units_lines("Launch", facts(["pass"] * 3 + ["fail"] + ["pass"] * 9), False)]
    assert text[1].startswith("Right at the first try: 11 of 12, 92 % (")
    assert "  1 run without a unit's number left out." in text
    assert any("open: X1 cavity 1 and X2 cavity 1" in line and line.endswith("100 %") for line in text)
    assert any(line.startswith(("  horn (W1): 49", "  horn (W1): 50", "  horn (W1): 51")) for line in text)
    assert any(line.startswith("  horn (W1): U3, outside") for line in text)
    assert text[-1] == "  Nothing reads otherwise at one bench than at another."


def test_rehearsals_and_what_is_not_proven_are_told() -> None:
    lines = units_lines("Launch", facts(["pass", "not-proven", "fail", "fail"]), True)
    text = " ".join(line.text for line in lines)
    assert "All of these are rehearsals: their meter was a simulated one." in text
    assert "Not proven either way: 1 at the first try, 1 at the last." in text
    assert "Too few to say what is usual: 1 sound unit." in text


def test_where_nothing_goes_wrong_it_says_so() -> None:
    units = replace(facts(["pass"] * 12), faults=())
    assert any(line.text == "No faults found." for line in units_lines("Launch", units, False))


def test_runs_that_name_no_unit_are_asked_for_one() -> None:
    units = facts(["pass"] * 12)
    none = replace(units, tries=replace(units.tries, unit=(), first=(), last=(), nameless=12))
    assert " ".join(line.text for line in units_lines("Launch", none, False)) == (
        "Launch 12 runs kept, and none names its unit. Give each loom its number: loomtest log --unit NUMBER."
    )


def test_a_bench_is_spoken_of_plainly() -> None:
    units = facts(["pass"] * 12)
    apart = BenchShift("apart", 1, 0, 0.001, 0.012, (0.008, 0.016), 40)
    assert shift_words(apart, units) == (
        "At bench-2, horn (W1) reads 12 mΩ (8 to 16 mΩ) more than elsewhere. "
        "Look at its sockets and plugs there."
    )
    leads = BenchShift("apart", 0, None, 0.001, -0.02, (-0.03, -0.01), 40)
    assert shift_words(leads, units) == (
        "At bench-1, every circuit reads 20 mΩ (10 to 30 mΩ) less than elsewhere. "
        "Look at its leads and its meter's zero."
    )
    wears = BenchShift("wanders", 1, 0, 0.001, 0.005, (0.004, 0.006), 133)
    assert "has risen by 5 mΩ (4 to 6 mΩ) over 133 units." in shift_words(wears, units)


def test_shares_in_words() -> None:
    assert share_words(share_of(46, 50)) == "46 of 50, 92 % (81 to 98 %)"
    assert share_words(share_of(0, 0)) == "none yet"
    assert share_words(share_of(50000, 50000)) == "50,000 of 50,000, 100 % (100 %)"
