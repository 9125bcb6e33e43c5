"""The verdict on small looms made by hand: what a person with a meter would say of them."""

import json
from dataclasses import replace

import numpy as np
import pytest

from loomtest.diagnosis.faults.unexplained import unexplained
from loomtest.diagnosis.seen.observe import observe
from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.diagnosis.why import Contradicts
from loomtest.harness.model import Harness, Limits, Wire
from loomtest.readings.model import Instrument, Quantity, Range, Readings
from loomtest.words.verdict import judge
from tests.looms import measure
from tests.looms.scenario import Order, draw

METER = Instrument(
    "four-wire",
    "four-wire",
    True,
    0.0,
    0.0,
    0.0,
    4e7,
    50.0,
    (Range(200.0, 0.0, 0, 1e-3), Range(4e7, 0.1, 1, 1.0)),
)
OL = np.inf


def harness(*rows: str, empty: str = "", unreachable: str = "", **settings: object) -> Harness:
    """Rows `X1:1 X2:1` or `X1:1 X2:1 lamp 0.5 2`; `empty`: declared cavities without a wire."""
    wires = []
    for number, row in enumerate(rows, start=1):
        start, end, *part = row.split()
        kind, *ohms = part or ["wire"]
        low, high = (float(o) for o in ohms) if ohms else (None, None)
        size = (1.0, 1.0) if kind == "wire" else (None, None)
        wires.append(Wire(f"W{number}", start, end, kind, "", *size, low, high, row=number))
    points = dict.fromkeys(point for wire in wires for point in (wire.start, wire.end))
    points.update(dict.fromkeys(empty.split()))
    return Harness("bench", tuple(wires), tuple(points), frozenset(unreachable.split()), **settings)


def readings(of: Harness, text: str, quantity: Quantity = Quantity.RESISTANCE_4W) -> Readings:
    """`X1:1 X2:1 0.02, X1:1 X3:1 OL` …; undeclared cavities become further points."""
    rows = [row.split() for row in text.split(",")]
    points = tuple(dict.fromkeys((*of.points, *(p for row in rows for p in row[:2]))))
    code = {point: i for i, point in enumerate(points)}
    n = len(rows)
    nan = np.full(n, np.nan)
    return Readings(
        points,
        np.array([code[row[0]] for row in rows]),
        np.array([code[row[1]] for row in rows]),
        np.full(n, quantity, dtype=np.int64),
        np.array([OL if row[2] == "OL" else float(row[2]) for row in rows]),
        nan,
        nan,
        nan,
        nan,
        np.arange(n) + 2,
    )


def full(of: Harness, *groups: str) -> Readings:
    """Every pair of the points named, joined at 25 mΩ within a group and over-range across."""
    points = [(point, i) for i, group in enumerate(groups) for point in group.split()]
    pairs = [(a, b, 0.025 if i == j else "OL") for n, (a, i) in enumerate(points) for b, j in points[n + 1 :]]
    return readings(of, ",".join(f"{a} {b} {value}" for a, b, value in pairs))


def kinds(verdict: Verdict) -> list[str]:
    return [finding.fault for finding in verdict.findings if finding.fault != "high-resistance"]


def only(verdict: Verdict) -> Finding:
    (found,) = verdict.findings
    return found


THREE = harness("X1:1 X2:1", "X1:2 X2:2", "X1:3 X2:3")


def test_all_as_drawn_passes() -> None:
    verdict = judge(THREE, full(THREE, "X1:1 X2:1", "X1:2 X2:2", "X1:3 X2:3"), METER)
    assert (verdict.verdict, verdict.wiring, verdict.joints) == ("pass", "pass", "pass")
    assert (verdict.coverage.wires_tested, verdict.coverage.isolation_pairs_tested) == (3, 3)


def test_a_swap_of_two_plain_wires_is_one_finding_with_both_ends_as_places() -> None:
    found = only(judge(THREE, full(THREE, "X1:1 X2:2", "X1:2 X2:1", "X1:3 X2:3"), METER))
    assert found.fault == "crossed"
    ways = [dict(way.moves) for way in found.alternatives]
    assert {"X1:1": "X1:2", "X1:2": "X1:1"} in ways
    assert {"X2:1": "X2:2", "X2:2": "X2:1"} in ways
    assert ways[0] == dict(found.moves)


def test_crossed_circuits_that_read_apart_are_shown_apart() -> None:
    verdict = judge(THREE, full(THREE, "X1:1 X2:2", "X1:2 X2:1", "X1:3 X2:3"), METER)
    assert (verdict.coverage.isolation_pairs_tested, verdict.untested) == (3, ())


def test_the_connector_worked_on_is_the_likelier_place() -> None:
    worked = replace(THREE, worked_on=frozenset({"X2"}))
    found = only(judge(worked, full(worked, "X1:1 X2:2", "X1:2 X2:1", "X1:3 X2:3"), METER))
    assert dict(found.moves) == {"X2:1": "X2:2", "X2:2": "X2:1"}


def test_a_longer_wire_tells_the_end_by_its_resistance() -> None:
    rows = [replace(THREE.wires[0], length_m=6.0), *THREE.wires[1:]]
    uneven = replace(THREE, wires=(*rows, Wire("W4", "X1:1", "X3:1", size_mm2=1.0, length_m=1.0)))
    uneven = replace(uneven, points=(*THREE.points, "X3:1"))
    # W1 (107 mΩ) and W4 are in cavity X1:1; at X2 the ends of W1 and W2 are swapped
    text = "X1:1 X3:1 0.022, X1:1 X2:2 0.113, X1:2 X2:1 0.022, X1:1 X2:1 OL, X1:2 X2:2 OL, X1:3 X2:3 0.022"
    found = judge(uneven, readings(uneven, text), METER).findings[0]
    assert dict(found.moves) == {"X2:1": "X2:2", "X2:2": "X2:1"}


def test_a_rotation_of_three_is_one_finding() -> None:
    found = only(judge(THREE, full(THREE, "X1:1 X2:2", "X1:2 X2:3", "X1:3 X2:1"), METER))
    assert found.fault == "crossed"
    assert len(found.moves) == 3


def test_a_swap_probed_along_its_own_pairs_only_is_told_as_two_opens_and_the_probe_that_tells() -> None:
    text = "X1:1 X2:1 OL, X1:2 X2:2 OL, X1:3 X2:3 0.02"
    verdict = judge(THREE, readings(THREE, text), METER)
    assert kinds(verdict) == ["open", "open"]
    assert all("swapped" in finding.next and "broken" in finding.next for finding in verdict.findings)
    cross = readings(THREE, text + ", X1:1 X2:2 0.02")
    assert kinds(judge(THREE, cross, METER)) == ["crossed"]


def test_a_terminal_in_an_empty_cavity_is_misplaced_declared_or_not() -> None:
    for of in (harness("X1:1 X2:1", "X1:2 X2:2", empty="X2:4"), harness("X1:1 X2:1", "X1:2 X2:2")):
        found = only(judge(of, full(of, "X1:1 X2:4", "X2:1", "X1:2 X2:2"), METER))
        assert (found.fault, found.points, dict(found.moves)) == (
            "misplaced",
            ("X2:1", "X2:4"),
            {"X2:1": "X2:4"},
        )
        assert [suspect.wire for suspect in found.suspects] == ["W1"]


def test_a_wire_on_the_wrong_splice_is_misplaced() -> None:
    of = harness("X1:1 SP1", "X1:2 SP1", "X1:3 SP1", "X2:1 SP2", "X2:2 SP2")
    found = only(judge(of, full(of, "X1:1 X1:2 SP1", "X1:3 X2:1 X2:2 SP2"), METER))
    assert (found.fault, dict(found.moves)) == ("misplaced", {"SP1": "SP2"})
    assert found.suspects[0].wire == "W3"


def test_two_opens_and_a_swap_are_three_findings() -> None:
    of = harness(*(f"X1:{n} X2:{n}" for n in range(1, 6)))
    seen = full(of, "X1:1 X2:2", "X1:2 X2:1", "X1:3", "X2:3", "X1:4", "X2:4", "X1:5 X2:5")
    assert kinds(judge(of, seen, METER)) == ["crossed", "open", "open"]


def test_two_overlapping_swaps_are_one_rotation() -> None:
    # 1 <-> 2, then 2 <-> 3 at X2: the wire of 1 sits in 2, that of 2 in 3 after both swaps
    found = only(judge(THREE, full(THREE, "X1:1 X2:3", "X1:2 X2:1", "X1:3 X2:2"), METER))
    assert (found.fault, len(found.points)) == ("crossed", 3)


def test_a_dead_leg_in_a_net_that_is_also_shorted_is_an_open_and_a_short() -> None:
    of = harness("X1:1 SP1", "X2:1 SP1", "X3:1 SP1", "X1:2 X2:2", unreachable="SP1")
    verdict = judge(of, full(of, "X1:1 X2:1 X1:2 X2:2", "X3:1"), METER)
    assert kinds(verdict) == ["short", "open"]
    assert [suspect.wire for suspect in verdict.findings[1].suspects] == ["W3"]


def test_three_nets_shorted_are_two_shorts_at_neighbouring_cavities() -> None:
    verdict = judge(THREE, full(THREE, "X1:1 X2:1 X1:2 X2:2 X1:3 X2:3"), METER)
    assert kinds(verdict) == ["short", "short"]
    for finding in verdict.findings:
        (a, b) = (point.split(":") for point in finding.points)
        assert a[0] == b[0]
        assert abs(int(a[1]) - int(b[1])) == 1


def test_wires_behind_an_unreachable_splice_are_suspected_alike_and_a_cleared_one_is_not() -> None:
    of = harness("X1:1 SP1", "SP1 SP2", "X2:1 SP2", "X3:1 SP1", unreachable="SP1 SP2")
    found = only(judge(of, full(of, "X1:1 X3:1", "X2:1"), METER))
    assert [(s.wire, s.probability) for s in found.suspects] == [("W2", 0.5), ("W3", 0.5)]
    rows = {row.wire: row for row in judge(of, full(of, "X1:1 X3:1", "X2:1"), METER).wires}
    assert (rows["W2"].verdict, rows["W2"].group, rows["W1"].verdict != "fail") == ("fail", ("W3",), True)


LAMP = harness("X1:1 X2:1", "X2:2 GND1", "X2:1 X2:2 lamp 0.5 2", "X1:2 X3:2")


def lamp(value: object) -> Readings:
    text = f"X1:1 X2:1 0.022, X2:2 GND1 0.022, X1:2 X3:2 0.022, X1:1 GND1 {value}, X1:1 X1:2 OL, X1:2 GND1 OL"
    return readings(LAMP, text)


def test_a_lamp_between_feed_and_ground_is_no_short() -> None:
    verdict = judge(LAMP, lamp(1.2), METER)
    assert verdict.findings == ()
    assert verdict.verdict == "pass"
    assert (verdict.coverage.parts, verdict.coverage.parts_tested, verdict.coverage.isolation_pairs) == (
        1,
        1,
        2,
    )


@pytest.mark.parametrize(
    ("value", "fault"), [("OL", "open"), (0.03, "short"), (9.0, "wrong-part"), (0.3, "wrong-part")]
)
def test_a_lamp_outside_its_range_is_told_by_how_far(value: object, fault: str) -> None:
    found = only(judge(LAMP, lamp(value), METER))
    assert found.fault == fault
    if fault != "short":
        assert [suspect.wire for suspect in found.suspects] == ["W3"]


def test_only_a_diode_test_judges_a_diode_and_a_turned_one_is_named() -> None:
    of = harness("X1:1 X2:1", "X1:2 X2:2", "X2:1 X2:2 diode")
    wires = "X1:1 X2:1 0.022, X1:2 X2:2 0.022"
    by_ohms = judge(of, readings(of, wires + ", X1:1 X1:2 350, X1:2 X1:1 OL"), METER)
    assert "wrong-part" not in kinds(by_ohms)
    assert by_ohms.coverage.parts_tested == 0

    def with_diode_test(forward: float, backward: float) -> Verdict:
        base = readings(of, wires + ", X1:1 X1:2 0, X1:2 X1:1 0")
        kind, value = base.quantity.copy(), base.value.copy()
        kind[2:], value[2:] = Quantity.DIODE, (forward, backward)
        return judge(of, replace(base, quantity=kind, value=value), METER)

    assert kinds(with_diode_test(0.6, OL)) == []
    assert with_diode_test(0.6, OL).coverage.parts_tested == 1
    turned = with_diode_test(OL, 0.6)
    assert kinds(turned) == ["wrong-part"]
    assert "wrong way round" in turned.findings[0].text
    assert kinds(with_diode_test(OL, OL)) == ["open"]


def test_a_coil_low_beside_its_diode_is_settled_by_exchanging_the_leads() -> None:
    of = harness("X1:1 X2:1", "X1:2 X2:2", "X2:1 X2:2 coil 60 100", "X2:2 X2:1 diode")
    one_way = "X1:1 X2:1 0.022, X1:2 X2:2 0.022, X1:1 X1:2 40"
    verdict = judge(of, readings(of, one_way), METER)
    assert verdict.findings == ()
    assert [finding.fault for finding in verdict.undecided] == ["wrong-part"]
    assert verdict.undecided[0].next.startswith("Swap the two leads")
    assert verdict.verdict == "not-proven"
    assert kinds(judge(of, readings(of, one_way + ", X1:2 X1:1 40"), METER)) == ["wrong-part"]
    diode_conducts = judge(of, readings(of, one_way + ", X1:2 X1:1 80"), METER)
    assert (diode_conducts.findings, diode_conducts.undecided) == ((), ())


def test_a_leak_is_between_the_limits_and_fails() -> None:
    text = "X1:1 X2:1 0.022, X1:2 X2:2 0.022, X1:3 X2:3 0.022, X1:1 X1:2 4.7e4, X1:1 X1:3 OL, X1:2 X1:3 OL"
    found = only(judge(THREE, readings(THREE, text), METER))
    assert (found.fault, found.points) == ("leakage", ("X1:1", "X1:2"))
    above = text.replace("4.7e4", "1.5e6")
    assert judge(THREE, readings(THREE, above), METER).verdict == "pass"


def test_a_leak_on_a_comb_is_told_and_a_reading_of_the_pair_then_names_it() -> None:
    text = "X1:1 X2:1 0.022, X1:2 X2:2 0.022, X1:3 X2:3 0.022, X1:1 X1:2 22000"
    comb = replace(readings(THREE, text), bonded={3: ((), (THREE.code_of["X1:3"],))})
    found = only(judge(THREE, comb, METER))
    assert found.fault == "leakage"
    assert "clips" in found.next
    plain = readings(THREE, text + ", X1:1 X1:3 22000, X1:1 X1:2 OL, X1:2 X1:3 OL")
    named = replace(plain, bonded={3: ((), (THREE.code_of["X1:3"],))})
    assert only(judge(THREE, named, METER)).points == ("X1:1", "X1:3")


def test_a_leak_seen_at_both_ends_of_both_nets_is_one_leak() -> None:
    text = (
        "X1:1 X2:1 0.022, X1:2 X2:2 0.022, X1:1 X1:2 47000, X2:1 X1:2 47000, X1:1 X2:2 47000, X2:1 X2:2 47000"
    )
    assert kinds(judge(THREE, readings(THREE, text), METER)) == ["leakage"]


def test_over_range_that_excludes_only_a_short_leaves_isolation_untested() -> None:
    low = replace(METER, autorange=False)
    verdict = judge(THREE, full(THREE, "X1:1 X2:1", "X1:2 X2:2", "X1:3 X2:3"), low)
    assert (verdict.verdict, verdict.findings) == ("not-proven", ())
    assert verdict.coverage.isolation_pairs_tested == 0
    assert {item.what for item in verdict.untested} == {"isolation"}


def test_what_nobody_probed_is_said_and_never_passes() -> None:
    verdict = judge(THREE, readings(THREE, "X1:1 X2:1 0.022, X1:1 X1:2 OL"), METER)
    assert verdict.verdict == "not-proven"
    assert verdict.coverage.wires_tested == 1
    told = {(item.points, item.what) for item in verdict.untested}
    assert (("X1:2", "X2:2"), "continuity") in told
    assert (("X1:1", "X1:3"), "isolation") in told


def test_the_stub_of_a_broken_leg_wants_a_reading_of_its_own() -> None:
    joined = "X1:1 X2:1 OL, X1:2 X2:2 0.022, X1:3 X2:3 0.022, X1:2 X1:3 OL, X1:1 X1:2 OL, X1:1 X1:3 OL"
    assert judge(THREE, readings(THREE, joined), METER).coverage.isolation_pairs_tested == 1
    stub = joined + ", X2:1 X1:2 OL, X2:1 X1:3 OL"
    assert judge(THREE, readings(THREE, stub), METER).coverage.isolation_pairs_tested == 3


def test_a_net_nobody_can_reach_keeps_the_verdict_from_pass() -> None:
    of = harness("X1:1 X2:1", "SP1 SP2", unreachable="SP1 SP2", limits=Limits(isolation="none"))
    verdict = judge(of, readings(of, "X1:1 X2:1 0.022"), METER)
    assert verdict.coverage.unreachable_nets == 1
    assert verdict.verdict == "not-proven"


def test_two_nets_read_both_joined_and_over_range_touch_now_and_then() -> None:
    text = "X1:1 X2:1 0.022, X1:2 X2:2 0.022, X1:3 X2:3 0.022, X1:1 X1:2 0.1, X1:1 X1:2 OL"
    assert "intermittent" in kinds(judge(THREE, readings(THREE, text), METER))


def test_an_empty_cavity_counts_at_full_and_not_at_bonded() -> None:
    of = harness("X1:1 X2:1", "X1:2 X2:2", empty="X1:3")
    seen = readings(of, "X1:1 X2:1 0.022, X1:2 X2:2 0.022, X1:1 X1:2 OL")
    assert judge(of, seen, METER).verdict == "pass"  # side by side, and no empty cavity: two nets
    of = replace(of, limits=Limits(isolation="full"))
    assert judge(of, seen, METER).coverage.isolation_pairs == 3
    bonded = replace(of, limits=Limits(isolation="bonded"))
    assert judge(bonded, seen, METER).verdict == "pass"


def test_the_object_printed_is_plain_json_without_nan_and_the_same_every_time() -> None:
    seen = full(THREE, "X1:1 X2:2", "X1:2 X2:1", "X1:3", "X2:3")
    once, again = (json.dumps(judge(THREE, seen, METER).to_json(), allow_nan=False) for _ in range(2))
    assert once == again
    assert json.loads(once)["schema"] == "loomtest-verdict/1"


def test_one_reading_against_all_others_is_told_and_nothing_passes_over_it() -> None:
    chain = harness("X1:1 X2:1", "X2:1 X3:1")
    verdict = judge(chain, readings(chain, "X1:1 X2:1 0.022, X2:1 X3:1 0.022, X1:1 X3:1 OL"), METER)
    assert (verdict.verdict, verdict.wiring, verdict.findings) == ("not-proven", "not-proven", ())
    (doubt,) = verdict.undecided
    assert (doubt.fault, set(doubt.points)) == ("intermittent", {"X1:1", "X3:1"})
    assert "over-range" in doubt.text and "X1:1 to X3:1 again" in doubt.next
    agreed = judge(chain, readings(chain, "X1:1 X2:1 0.022, X2:1 X3:1 0.022, X1:1 X3:1 0.044"), METER)
    assert (agreed.verdict, agreed.undecided) == ("pass", ())


def test_a_reading_that_nothing_found_explains_is_told() -> None:
    seen = observe(full(THREE, "X1:1 X2:1", "X1:2 X2:2", "X1:3 X2:3"), METER, THREE.limits)
    apart = np.arange(6)
    told = unexplained(THREE.points, seen, apart, apart)
    assert {frozenset(f.points) for f in told} == {frozenset((f"X1:{i}", f"X2:{i}")) for i in (1, 2, 3)}
    assert all(isinstance(f.why, Contradicts) and not f.why.joined for f in told)
    lamp = np.zeros(6, dtype=np.int64)  # what a part joins is no contradiction
    assert unexplained(THREE.points, seen, apart, lamp) == ()


@pytest.mark.parametrize("seed", range(8))
def test_what_is_explained_leaves_no_reading_in_doubt(seed: int) -> None:
    rng = np.random.default_rng([seed, 8])
    loom = draw(rng, Order(seed % 3, overlap=False))
    verdict = judge(loom.harness, measure.full_scan(loom, rng, diodes=True))
    assert not [f for f in verdict.undecided if isinstance(f.why, Contradicts)]


def test_a_splice_that_could_be_probed_and_was_not_does_not_leave_its_net_unproven() -> None:
    star = harness("X1:1 SP1", "SP1 X2:1", "X1:2 X2:2")
    text = "X1:1 X2:1 0.044, X1:2 X2:2 0.022, X1:1 X1:2 OL"
    verdict = judge(star, readings(star, text), METER)
    assert verdict.coverage.isolation_pairs_tested == verdict.coverage.isolation_pairs == 1
    # a leg that was not measured is still a stub: what stands at its end was not shown apart
    legs = harness("X1:1 SP1", "SP1 X2:1", "X1:2 X2:2", "SP1 X3:1")
    assert judge(legs, readings(legs, text), METER).coverage.isolation_pairs_tested == 0
