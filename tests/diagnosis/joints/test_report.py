"""What is said of joints: rows, findings, notes, for looms small enough to reckon by hand."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from loomtest.diagnosis.joints.report import JointReport, alternative_log_likelihoods
from loomtest.diagnosis.wiring import Wiring, as_drawn
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Harness, Limits, Wire
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import Instrument, Quantity
from tests.diagnosis.joints.joint_readings import FOUR_WIRE, harness_of, readings_of, report_of, wire
from tests.words import say

FINE = Limits(bad_joint_written=True)
HEALTHY = 0.0225  # a metre of 1 mm² with two healthy joints, ohms


def star(unreachable: bool = False, legs: int = 4) -> Harness:
    wires = [wire(f"W{i}", "SP1", f"X1:{i}") for i in range(1, legs + 1)]
    return harness_of(wires, ["SP1"] if unreachable else [], FINE)


def star_rows(harness: Harness, ohms: list[float]) -> list[tuple[str, str, float]]:
    own = [(f"X1:{i}", r) for i, r in enumerate(ohms, 1)]
    return [(a, b, x + y) for (a, x), (b, y) in combinations(own, 2)]


def test_a_healthy_star_behind_a_taped_splice_passes() -> None:
    harness = star(unreachable=True)
    report = report_of(harness, readings_of(harness, star_rows(harness, [HEALTHY] * 4), 0.001))
    assert [row.verdict for row in report.rows] == ["pass"] * 4
    assert report.outcome == "pass"
    assert report.findings == report.undecided == ()
    assert report.joints_judged_at_ohms == 0.02
    assert report.joints_resolved_ohms is not None
    assert report.joints_resolved_ohms < 0.01


def test_one_bad_leg_is_named_and_its_neighbours_are_not() -> None:
    harness = star(unreachable=True)
    report = report_of(
        harness, readings_of(harness, star_rows(harness, [HEALTHY, 0.42, HEALTHY, HEALTHY]), 0.005)
    )
    assert [row.verdict for row in report.rows] == ["pass", "fail", "pass", "pass"]
    (finding,) = report.findings
    assert finding.fault == "high-resistance"
    assert finding.points == ("SP1", "X1:2")
    assert [s.wire for s in finding.suspects] == ["W2"]
    low, high = finding.suspects[0].interval_ohms or (0.0, 0.0)
    assert low < 0.42 < high
    assert high - low < 0.03
    assert "W2" in say.text(harness, finding)


def test_two_bad_legs_are_two_findings() -> None:
    harness = star()
    report = report_of(
        harness, readings_of(harness, star_rows(harness, [0.2, 0.42, HEALTHY, HEALTHY]), 0.005)
    )
    assert sorted(f.suspects[0].wire for f in report.findings) == ["W1", "W2"]
    assert [row.verdict for row in report.rows] == ["fail", "fail", "pass", "pass"]


def test_wires_in_series_that_nothing_tells_apart_are_judged_together() -> None:
    harness = harness_of([wire("W1", "X1:1", "SP1"), wire("W2", "SP1", "X2:1")], ["SP1"], FINE)
    report = report_of(harness, readings_of(harness, [("X1:1", "X2:1", 0.30)], 0.001))
    one, two = report.rows
    assert (one.group, two.group) == (("W2",), ("W1",))
    assert one.ohms == two.ohms == pytest.approx(0.30, abs=0.002)
    limit = expectation_of(harness).limit_ohm.sum()
    assert one.limit_ohms == pytest.approx(float(limit))
    (finding,) = report.findings
    assert [s.wire for s in finding.suspects] == ["W1", "W2"]
    assert [s.probability for s in finding.suspects] == pytest.approx([0.5, 0.5])
    assert "SP1" in say.after(harness, finding)


def test_an_open_behind_a_redundant_path_is_found_by_its_rise() -> None:
    wires = [wire("W1", "X1:1", "GND1", 1.0), wire("W2", "X1:1", "GND1", 2.0)]
    harness = harness_of(wires, limits=FINE)
    thin = 0.0407  # W2 alone; both together would show 14.5 mΩ
    report = report_of(harness, readings_of(harness, [("X1:1", "GND1", thin)], 0.0005))
    (finding,) = report.findings
    assert finding.fault == "open"
    assert finding.suspects[0].wire == "W1"
    assert report.tested.all()


def test_both_of_two_equal_parallel_wires_are_suspected_when_one_is_open() -> None:
    wires = [wire("W1", "X1:1", "GND1"), wire("W2", "X1:1", "GND1")]
    harness = harness_of(wires, limits=FINE)
    report = report_of(harness, readings_of(harness, [("X1:1", "GND1", HEALTHY)], 0.0005))
    (finding,) = report.findings
    assert {s.wire for s in finding.suspects} == {"W1", "W2"}
    assert [s.probability for s in finding.suspects] == pytest.approx([0.5, 0.5], abs=0.01)
    assert all(not row.group for row in report.rows)


def test_a_handheld_meter_with_unknown_leads_still_finds_one_bad_joint_among_its_like() -> None:
    wires = [wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 13)]
    harness = harness_of(wires)
    rows = [(f"X1:{i}", f"X2:{i}", 0.3) for i in range(1, 13)]
    rows[4] = ("X1:5", "X2:5", 0.7)
    once = report_of(harness, readings_of(harness, rows, quantity=Quantity.RESISTANCE), generic_handheld())
    assert once.findings == ()
    assert [f.suspects[0].wire for f in once.undecided] == ["W5"]
    assert once.rows[4].verdict == "undecided"
    assert "again" in say.after(harness, once.rows[4])
    rows.append(rows[4])
    report = report_of(harness, readings_of(harness, rows, quantity=Quantity.RESISTANCE), generic_handheld())
    assert [f.suspects[0].wire for f in report.findings] == ["W5"]
    assert report.joints_judged_at_ohms == 0.2
    assert {row.verdict for row in report.rows if row.wire != "W5"} == {"pass"}
    assert report.shared_ohm[0] == pytest.approx(0.28, abs=0.03)
    assert any("Lead resistance" in note for note in say.notes(report))
    assert any("four-wire" in note and "20 mΩ" in note for note in say.notes(report))


def test_a_zero_of_the_leads_in_the_run_is_subtracted() -> None:
    harness = harness_of([wire("W1", "X1:1", "X2:1")])
    meter = Instrument("two-wire", lead_uncertainty_ohms=0.002, lead_ohms=0.9)
    from tests.diagnosis.joints.joint_readings import with_run

    bare = readings_of(harness, [("X1:1", "X2:1", 0.2 + HEALTHY)], 0.001, Quantity.RESISTANCE)
    report = report_of(harness, with_run(bare, lead_start_ohms=0.199, lead_end_ohms=0.201), meter)
    assert report.rows[0].ohms == pytest.approx(HEALTHY, abs=0.004)
    assert report.rows[0].verdict == "pass"


def test_the_limit_in_the_file_is_held_to_even_when_the_meter_cannot_decide() -> None:
    harness = harness_of([wire("W1", "X1:1", "X2:1")], limits=FINE)
    meter = Instrument("coarse", lead_ohms=0.0, lead_uncertainty_ohms=0.05)
    report = report_of(
        harness, readings_of(harness, [("X1:1", "X2:1", 0.02)], 0.05, Quantity.RESISTANCE), meter
    )
    (row,) = report.rows
    assert row.verdict == "undecided"
    assert report.outcome == "not-proven"
    assert report.joints_judged_at_ohms == 0.02
    for advice in ("tips together", "four-wire", "5 A", "0.1 V"):
        assert advice in say.after(harness, row)


def test_nothing_read_is_untested_and_says_nothing() -> None:
    harness = star()
    report = report_of(harness, readings_of(harness, []))
    assert [row.verdict for row in report.rows] == ["untested"] * 4
    assert [row.ohms for row in report.rows] == [None] * 4
    assert all(row.bad_probability == pytest.approx(0.02, abs=0.003) for row in report.rows)
    assert report.outcome == "not-proven"
    assert not report.tested.any()


def test_continuity_shows_a_wire_joined_but_its_joints_undecided() -> None:
    harness = harness_of([wire("W1", "X1:1", "X2:1")], limits=FINE)
    report = report_of(harness, readings_of(harness, [("X1:1", "X2:1", 1.0)], quantity=Quantity.CONTINUITY))
    assert report.tested.tolist() == [True]
    assert report.rows[0].verdict == "undecided"
    assert "on ohms" in say.after(harness, report.rows[0])


def test_over_range_of_a_milliohm_meter_means_a_bad_joint_not_a_break() -> None:
    harness = star()
    rows = [("SP1", f"X1:{i}", HEALTHY) for i in (1, 2, 3)] + [("SP1", "X1:4", math.inf)]
    readings = readings_of(
        harness, rows, [0.001] * 3 + [math.nan], above_ohm=np.array([math.nan] * 3 + [0.2])
    )
    report = report_of(harness, readings)
    assert [row.verdict for row in report.rows] == ["pass", "pass", "pass", "fail"]


@pytest.mark.parametrize("turned", [False, True])
def test_a_pair_read_both_joined_and_over_range_is_contradictory(turned: bool) -> None:
    harness = star()
    rows = [("SP1", "X1:1", 0.1), ("X1:1", "SP1", math.inf) if turned else ("SP1", "X1:1", math.inf)]
    report = report_of(harness, readings_of(harness, rows, [0.001, math.nan]))
    assert report.contradictory == (("SP1", "X1:1"),)
    assert [f.fault for f in report.findings if f.suspects[0].wire == "W1"].count("intermittent") == 1
    assert bool(report.standing_voltage) == turned


def test_repeats_far_apart_are_an_intermittent_and_close_ones_are_not() -> None:
    harness = star()
    steady = [("SP1", "X1:1", HEALTHY + 0.001 * k) for k in (-1, 0, 1)]
    shaky = [("SP1", "X1:2", v) for v in (HEALTHY, 0.3, HEALTHY)]
    report = report_of(harness, readings_of(harness, steady + shaky, 0.001))
    (finding,) = [f for f in report.findings if f.fault == "intermittent"]
    assert [s.wire for s in finding.suspects] == ["W2"]
    assert report.rows[1].verdict == "fail"
    assert report.rows[0].verdict == "pass"


def test_a_standing_voltage_shows_in_reversed_leads_and_cancels() -> None:
    harness = harness_of([wire("W1", "X1:1", "X2:1")], limits=FINE)
    rows = [("X1:1", "X2:1", HEALTHY + 0.5), ("X2:1", "X1:1", HEALTHY - 0.5)]
    report = report_of(harness, readings_of(harness, rows, 0.001))
    ((one, other, ohm),) = report.standing_voltage
    assert {one, other} == {"X1:1", "X2:1"}
    assert ohm == pytest.approx(0.5, abs=0.002)
    assert report.rows[0].ohms == pytest.approx(HEALTHY, abs=0.003)
    assert any("battery" in note for note in say.notes(report))


def test_a_voltage_drop_is_volts_over_amperes() -> None:
    harness = harness_of([wire("W1", "X1:1", "X2:1", amps=5.0)], limits=FINE)
    readings = readings_of(
        harness, [("X1:1", "X2:1", 0.6)], 0.001, Quantity.VOLTAGE_DROP, current_a=np.array([5.0])
    )
    report = report_of(harness, readings)
    assert report.rows[0].ohms == pytest.approx(0.12, abs=0.003)
    (finding,) = report.findings
    assert re.search("5 A.* W ", say.consequence(harness, finding))
    assert any("1 %" in note for note in say.notes(report))


def test_findings_come_with_most_watts_first() -> None:
    wires = [
        wire("W1", "X1:1", "X2:1", amps=1.0),
        wire("W2", "X1:2", "X2:2", amps=20.0),
        wire("W3", "X1:3", "X2:3"),
    ]
    harness = harness_of(wires, limits=FINE)
    rows = [("X1:1", "X2:1", 0.9), ("X1:2", "X2:2", 0.3), ("X1:3", "X2:3", 5.0)]
    report = report_of(harness, readings_of(harness, rows, 0.001))
    assert [f.suspects[0].wire for f in report.findings] == ["W2", "W1", "W3"]


def test_an_open_wire_and_a_moved_one_fail_and_leave_the_rest_alone() -> None:
    harness = star()
    drawn = as_drawn(harness)
    end = drawn.end.copy()
    end[[1, 2]] = end[[2, 1]]
    joined = np.array([False, True, True, True])
    wiring = Wiring(drawn.start, end, joined, drawn.shorts)
    rows = [("SP1", f"X1:{i}", HEALTHY) for i in (2, 3, 4)]
    report = report_of(harness, readings_of(harness, rows, 0.001), wiring=wiring)
    assert [row.verdict for row in report.rows] == ["fail", "fail", "fail", "pass"]
    assert report.rows[0].ohms is None
    assert report.rows[1].ohms == pytest.approx(HEALTHY, abs=0.003)


def test_resistances_tell_which_end_of_two_unlike_wires_was_crossed() -> None:
    """W1 (1 m) and W2 (4 m) meet a third wire at one end: a swap there and one at the far end differ."""
    wires = [
        wire("W1", "X1:1", "X2:1", 1.0),
        wire("W2", "X1:2", "X2:2", 4.0),
        wire("W3", "X2:1", "X3:1", 1.0),
    ]
    harness = harness_of(wires)
    drawn, code = as_drawn(harness), harness.code_of
    at_x1 = replace(drawn, start=np.array([code["X1:2"], code["X1:1"], code["X2:1"]]))
    at_x2 = replace(drawn, end=np.array([code["X2:2"], code["X2:1"], code["X3:1"]]))
    rows = [("X1:2", "X2:1", 0.0225), ("X1:1", "X2:2", 0.0770)]  # the short wire sits at X2:1: swapped at X1
    readings = readings_of(harness, rows, 0.001)
    expectation = expectation_of(harness)
    logs = alternative_log_likelihoods(harness, [at_x1, at_x2], readings, FOUR_WIRE, expectation)
    assert logs[0] - logs[1] > 10


def test_a_wire_of_unknown_size_is_judged_against_what_such_wires_have() -> None:
    wires = [Wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 11)]
    harness = harness_of(wires)
    rows = [(f"X1:{i}", f"X2:{i}", 0.05 + 0.002 * (i % 3)) for i in range(1, 11)]

    def of(ohm: float) -> JointReport:
        rows[3] = ("X1:4", "X2:4", ohm)
        return report_of(harness, readings_of(harness, rows, 0.005))

    sound = of(0.2)
    assert {row.verdict for row in sound.rows} == {"pass"}
    assert all(row.limit_ohms == pytest.approx(0.27) and row.expected_ohms is None for row in sound.rows)
    # a healthy wire of 0.45 ohm: 0.03/0.05 * exp(-0.2/0.05) = 0.011 an ohm; a bad joint in one of up to
    # 0.25: 0.0204 * 0.97/0.25 * ln(0.45/0.2)/ln(10000) = 0.0070, of which 20 mohm or more nearly all
    assert of(0.45).rows[3].bad_probability == pytest.approx(0.0070 / (0.0070 + 0.0110), abs=0.02)
    assert of(0.45).rows[3].verdict == "undecided"
    assert [f.suspects[0].wire for f in of(0.75).findings] == ["W4"]


def test_long_wires_that_many_show_are_no_bad_joints() -> None:
    wires = [Wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 21)]
    harness = harness_of(wires)
    for long, bad in ((2, 2), (5, 0)):
        rows = [(f"X1:{i}", f"X2:{i}", 0.8 if i <= long else 0.1) for i in range(1, 21)]
        report = report_of(harness, readings_of(harness, rows, 0.005))
        assert len(report.findings) == bad


@pytest.mark.parametrize("sized", [True, False])
def test_one_poor_wire_among_forty_with_leads_that_nobody_stated(sized: bool) -> None:
    make = wire if sized else Wire
    harness = harness_of([make(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 42)])
    shown = (0.3, 0.3, 0.4) if sized else (0.3, 0.4, 0.3, 0.4, 0.5)
    rows = [(f"X1:{i}", f"X2:{i}", shown[i % len(shown)]) for i in range(1, 42)]
    rows[7] = ("X1:8", "X2:8", 1.1)
    rows.append(rows[7])
    report = report_of(harness, readings_of(harness, rows, quantity=Quantity.RESISTANCE), generic_handheld())
    assert [f.suspects[0].wire for f in report.findings] == ["W8"]
    assert report.rows[7].verdict == "fail"


def test_a_touch_that_a_second_one_contradicts_condemns_nothing() -> None:
    harness = harness_of([wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 13)])
    rows = [(f"X1:{i}", f"X2:{i}", 0.3) for i in range(1, 13)]
    for again in ([0.6], [0.6, 0.3], [0.6, 0.3, 0.3]):
        more = rows[:4] + [("X1:5", "X2:5", v) for v in again] + rows[5:]
        report = report_of(
            harness, readings_of(harness, more, quantity=Quantity.RESISTANCE), generic_handheld()
        )
        assert report.findings == ()
        assert "W5" in {f.suspects[0].wire for f in report.undecided}
        assert report.rows[4].verdict != "fail"


def test_one_bad_joint_in_each_of_two_loops_is_found_with_its_true_size() -> None:
    """Strongly non-linear: the other wires carry the current once one is bad."""
    wires = [wire(f"W{i}", f"X1:{i}", f"X1:{i % 6 + 1}") for i in range(1, 7)] + [wire("W7", "X1:1", "X1:4")]
    harness = harness_of(wires, limits=FINE)
    from loomtest.diagnosis.numbers.network import effective_resistance

    truth = np.full(7, HEALTHY)
    truth[[1, 4]] = 0.15, 0.6
    pairs = list(combinations(range(6), 2))
    a, b = zip(*pairs, strict=True)
    code = [harness.code_of[f"X1:{i + 1}"] for i in range(6)]
    value = effective_resistance(
        6, harness.start, harness.end, truth, [code[i] for i in a], [code[i] for i in b]
    ).resistance_ohm
    rows = [(f"X1:{i + 1}", f"X1:{j + 1}", float(v)) for (i, j), v in zip(pairs, value, strict=True)]
    report = report_of(harness, readings_of(harness, rows, 0.0002))
    assert sorted(f.suspects[0].wire for f in report.findings) == ["W2", "W5"]
    for wire_number in (1, 4):
        low, high = report.rows[wire_number].interval_ohms or (0.0, 0.0)
        assert low <= truth[wire_number] <= high
        assert high - low < 0.4 * truth[wire_number]


def test_odd_readings_raise_nothing() -> None:
    harness = star()
    odd = [
        ("SP1", "SP1", 0.1),
        ("SP1", "X1:1", 0.0),
        ("SP1", "X1:1", -0.05),
        ("SP1", "X1:2", 99.9),
        ("SP1", "X1:2", 1e308),
        ("SP1", "X1:3", 1e-12),
        ("X1:3", "X1:4", math.inf),
    ]
    for count in range(len(odd) + 1):
        for u in (0.0, 1e-9, 0.01, math.nan):
            report = report_of(harness, readings_of(harness, odd[:count] * 2, u), generic_handheld())
            for row in report.rows:
                assert row.verdict in ("pass", "fail", "undecided", "untested")
                assert row.bad_probability is not None
                assert 0 <= row.bad_probability <= 1
                assert row.ohms is None or row.ohms >= 0


def test_the_same_readings_in_another_order_give_the_same_report() -> None:
    harness = star()
    rows = star_rows(harness, [HEALTHY, 0.2, HEALTHY, HEALTHY])
    forward = report_of(harness, readings_of(harness, rows, 0.003))
    backward = report_of(harness, readings_of(harness, [(b, a, v) for a, b, v in rows[::-1]], 0.003))
    for one, other in zip(forward.rows, backward.rows, strict=True):
        assert one.verdict == other.verdict
        assert one.ohms == pytest.approx(other.ohms, rel=1e-9)
        assert one.bad_probability == pytest.approx(other.bad_probability, rel=1e-6, abs=1e-12)


def test_a_ground_that_carries_amperes_never_passes_by_an_ordinary_meter() -> None:
    wires = [wire(f"W{i}", f"X1:{i}", "GND1" if i == 5 else f"X2:{i}") for i in range(1, 13)]
    wires[4] = replace(wires[4], amps=10.0)  # a tenth of a volt: 10 mohm
    harness = harness_of(wires)
    rows = [(w.start, w.end, 0.3) for w in wires]
    report = report_of(harness, readings_of(harness, rows, quantity=Quantity.RESISTANCE), generic_handheld())
    ground = report.rows[4]
    assert ground.verdict == "undecided"
    assert ground.limit_ohms == pytest.approx(0.0221 + 0.010, abs=0.0005)
    for words in ("10 A", "fuse", "ten seconds", "battery minus", "red on X1:5", "a tenth of a volt"):
        assert words in say.after(harness, ground)
    assert {row.verdict for row in report.rows if row is not ground} == {"pass"}
    rows.append((wires[4].start, wires[4].end, 0.0225 * 5.0))
    kind = [Quantity.RESISTANCE] * 12 + [Quantity.VOLTAGE_DROP]
    amps = np.array([np.nan] * 12 + [5.0])
    told = readings_of(harness, rows, quantity=kind, current_a=amps)
    assert report_of(harness, told, generic_handheld()).rows[4].verdict == "pass"


def test_a_ring_that_the_meter_cannot_tell_says_what_to_do() -> None:
    wires = [wire("W1", "X1:1", "GND1"), wire("W2", "X1:1", "GND1"), wire("W3", "X2:1", "X3:1")]
    harness = harness_of(wires)
    rows = [(w.start, w.end, 0.3) for w in wires[1:]]
    report = report_of(harness, readings_of(harness, rows, quantity=Quantity.RESISTANCE), generic_handheld())
    assert [row.verdict for row in report.rows[:2]] == ["undecided"] * 2
    assert say.after(harness, report.rows[0]).startswith("Unscrew or unplug the GND1 end of W1")
    assert report.outcome == "not-proven"
