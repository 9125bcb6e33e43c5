"""What a person would say of small looms with known mistakes, one sentence each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.harness.model import Face, Harness
from loomtest.readings.model import Quantity, Readings
from loomtest.words.verdict import judge
from tests.looms.check import score, told_wiring, unexplained, untidy
from tests.looms.faults import Fault
from tests.looms.measure import Handheld, Meter, full_scan, taken
from tests.looms.tiny import cut, harness_of, joint, leak, loom_of, moved, part_of, scan, short

CAVITIES = {"X1": 8, "X2": 8}
PLAIN = harness_of("\n".join(f"X1:{n} X2:{n}" for n in range(1, 7)), CAVITIES)
EXPECTED_PAIRS = " ".join(f"X1:{n}-X2:{n}" for n in range(1, 7))
TREE = harness_of(
    "X1:1 SP1; X1:2 SP1; X1:3 SP1; X1:4 X2:4; X1:5 X2:5", CAVITIES, unreachable=frozenset({"SP1"})
)
LAMP = harness_of("X1:1 X2:1; X1:2 X2:2; GND1 X2:3; X2:1 X2:3 lamp ohms_min=2 ohms_max=6", CAVITIES)
GROUNDS = harness_of("GND1 GND2; GND1 GND2; GND2 X1:1; X1:2 SP1; X1:3 SP1; X1:4 SP1")


def verdict_of(harness: Harness, *faults: Fault, pairs: str = "", meter: Meter | None = None) -> Verdict:
    readings = scan(loom_of(harness, *faults), pairs, meter)
    verdict = judge(harness, readings, readings.instrument)
    assert untidy(verdict) == []
    assert unexplained(harness, readings, told_wiring(harness, verdict.findings)) == []
    return verdict


def kinds(verdict: Verdict) -> list[str]:
    return sorted(finding.fault for finding in verdict.findings)


def only(verdict: Verdict, kind: str) -> Finding:
    return next(finding for finding in verdict.findings if finding.fault == kind)


def ways(finding: Finding) -> list[dict[str, str]]:
    return [dict(way.moves) for way in finding.alternatives]


SWAP = moved(PLAIN, {"X2:1": "X2:2", "X2:2": "X2:1"})


@dataclass(frozen=True)
class Example:
    """A sentence, the loom, what was done, and the kinds that should be found on all pairs."""

    sentence: str
    harness: Harness
    faults: tuple[Fault, ...]
    expected: tuple[str, ...]


EXAMPLES = [
    Example("nothing is wrong", PLAIN, (), ()),
    Example("two plain wires are swapped", PLAIN, (SWAP,), ("crossed",)),
    Example(
        "three wires are rotated",
        PLAIN,
        (moved(PLAIN, {"X2:1": "X2:2", "X2:2": "X2:3", "X2:3": "X2:1"}),),
        ("crossed",),
    ),
    Example(
        "two disjoint swaps are two findings",
        PLAIN,
        (SWAP, moved(PLAIN, {"X2:4": "X2:5", "X2:5": "X2:4"})),
        ("crossed", "crossed"),
    ),
    Example(
        "a swap across two connectors",
        TREE,
        (moved(TREE, {"X1:4": "X2:5", "X2:5": "X1:4"}),),
        ("crossed",),
    ),
    Example("a terminal in an empty cavity", PLAIN, (moved(PLAIN, {"X2:1": "X2:7"}),), ("misplaced",)),
    Example(
        "a terminal in the cavity that another one left",
        PLAIN,
        (moved(PLAIN, {"X2:1": "X2:7"}), moved(PLAIN, {"X2:2": "X2:1"})),
        ("misplaced", "misplaced"),
    ),
    Example(
        "a wire on the wrong ground",
        harness_of("GND1 X1:1; GND1 X1:2; GND2 X1:3; GND2 X1:4", CAVITIES),
        (moved(harness_of("GND1 X1:1; GND1 X1:2; GND2 X1:3; GND2 X1:4"), {"GND1": "GND2"}, "W2"),),
        ("misplaced",),
    ),
    Example(
        "two opens and a swap are three findings",
        PLAIN,
        (cut(PLAIN, "W3"), cut(PLAIN, "W4"), SWAP),
        ("crossed", "open", "open"),
    ),
    Example("an open leg of a taped splice", TREE, (cut(TREE, "W3"),), ("open",)),
    Example(
        "a dead leg in a net that is also shorted is an open and a short",
        TREE,
        (cut(TREE, "W3"), short("X1:2", "X1:4", 3.0)),
        ("open", "short"),
    ),
    Example(
        "three nets shorted together are two shorts",
        PLAIN,
        (short("X1:1", "X1:2"), short("X1:2", "X1:3")),
        ("short", "short"),
    ),
    Example("a leak", PLAIN, (leak("X1:1", "X1:2"),), ("leakage",)),
    Example(
        "two leaks one after the other are two",
        PLAIN,
        (leak("X1:1", "X1:2", 1e4), leak("X1:2", "X1:3", 3e4)),
        ("leakage", "leakage"),
    ),
    Example("a bad joint", PLAIN, (joint(PLAIN, "W2", 0.4),), ("high-resistance",)),
    Example(
        "a bad joint in one leg of a taped splice", TREE, (joint(TREE, "W2", 0.4),), ("high-resistance",)
    ),
    Example(
        "a bad joint in a swapped wire",
        PLAIN,
        (joint(PLAIN, "W1", 0.4), SWAP),
        ("crossed", "high-resistance"),
    ),
    Example("a lamp left plugged in is no short", LAMP, (), ()),
    Example("a lamp that is burnt out", LAMP, (cut(LAMP, "W4"),), ("open",)),
    Example("a lamp of another wattage", LAMP, (part_of(LAMP, "W4", 30.0),), ("wrong-part",)),
    Example("a feed broken before a lamp", LAMP, (cut(LAMP, "W1"),), ("open",)),
    Example(
        "one of two ground links is on a splice instead",
        GROUNDS,
        (moved(GROUNDS, {"GND1": "SP1"}, "W1"),),
        ("misplaced",),
    ),
]


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.sentence)
def test_all_pairs_tell_it_as_a_person_would(example: Example) -> None:
    loom = loom_of(example.harness, *example.faults)
    readings = scan(loom)
    verdict = judge(example.harness, readings)
    assert kinds(verdict) == sorted(example.expected)
    told = score(loom, readings, verdict)
    assert told.named, told.reasons
    assert untidy(verdict) == []
    assert verdict.verdict == ("fail" if example.faults else "pass")


def test_both_ends_of_a_plain_swap_are_listed_first() -> None:
    finding = only(verdict_of(PLAIN, SWAP), "crossed")
    first_two = [{"X1:1": "X1:2", "X1:2": "X1:1"}, {"X2:1": "X2:2", "X2:2": "X2:1"}]
    assert sorted(ways(finding)[:2], key=str) == first_two
    assert {s.wire for s in finding.suspects} == {"W1", "W2"}
    weights = [way.probability for way in finding.alternatives]
    assert weights == sorted(weights, reverse=True) and sum(weights) <= 1 + 1e-9


@pytest.mark.parametrize("connector", ["X1", "X2"])
def test_the_connector_that_was_worked_on_is_likelier(connector: str) -> None:
    harness = replace(PLAIN, worked_on=frozenset({connector}))
    finding = only(verdict_of(harness, SWAP), "crossed")
    assert set(finding.points) == {f"{connector}:1", f"{connector}:2"}


def test_wires_of_different_length_tell_the_end_of_a_swap() -> None:
    # at X2 a swap joins X1:1 to X2:2 by W1, at X1 by W2: the long wire is found where it sits
    harness = harness_of("X1:1 X2:1 length_m=4; X1:2 X2:2 length_m=0.2; X1:3 X2:3", CAVITIES)
    for end in ("X1", "X2"):
        swap = moved(harness, {f"{end}:1": f"{end}:2", f"{end}:2": f"{end}:1"})
        finding = only(verdict_of(harness, swap), "crossed")
        assert set(finding.points) == {f"{end}:1", f"{end}:2"}
        assert finding.alternatives[0].probability > 0.9


def test_a_swap_probed_only_along_expected_pairs_says_what_to_probe() -> None:
    verdict = verdict_of(PLAIN, SWAP, pairs=EXPECTED_PAIRS)
    assert kinds(verdict) == ["open", "open"]
    for finding, cross in zip(
        verdict.findings, (("X1", "1", "X2", "2"), ("X1", "2", "X2", "1")), strict=True
    ):
        assert all(word in finding.next for word in cross), finding.next
        assert "swapped" in finding.next
    settled = verdict_of(PLAIN, SWAP, pairs=EXPECTED_PAIRS + " X1:1-X2:2 X1:2-X2:1")
    assert kinds(settled) == ["crossed"]


def test_two_overlapping_swaps_are_one_rotation() -> None:
    # X2:1 ↔ X2:2, then what now sits in X2:2 ↔ X2:3
    rotation = moved(PLAIN, {"X2:1": "X2:3", "X2:2": "X2:1", "X2:3": "X2:2"})
    finding = only(verdict_of(PLAIN, rotation), "crossed")
    assert rotation.moves in ways(finding)
    assert len(finding.points) == 3


def test_an_open_beyond_a_taped_splice_lists_both_wires_alike() -> None:
    harness = harness_of("X1:1 SP1; SP1 X2:1; X1:4 X2:4", unreachable=frozenset({"SP1"}))
    finding = only(verdict_of(harness, cut(harness, "W1")), "open")
    assert [(s.wire, s.probability) for s in finding.suspects] == [("W1", 0.5), ("W2", 0.5)]


def test_a_cleared_wire_is_no_suspect() -> None:
    # X1:1 – X1:2 conducts, so W1 and W2 are whole; only the third leg can be open
    finding = only(verdict_of(TREE, cut(TREE, "W3"), pairs="X1:1-X1:2 X1:1-X1:3"), "open")
    assert [s.wire for s in finding.suspects] == ["W3"]


def test_a_bad_joint_behind_a_taped_splice_names_the_two_it_cannot_part() -> None:
    harness = harness_of("X1:1 SP1; SP1 X2:1; X1:4 X2:4", unreachable=frozenset({"SP1"}))
    finding = only(verdict_of(harness, joint(harness, "W1", 0.6)), "high-resistance")
    assert {s.wire for s in finding.suspects} == {"W1", "W2"}
    rows = {row.wire: row for row in verdict_of(harness, joint(harness, "W1", 0.6)).wires}
    assert rows["W1"].group == ("W2",) and rows["W1"].ohms == pytest.approx(0.64, abs=0.02)


def test_the_likeliest_place_of_a_short_is_side_by_side() -> None:
    harness = harness_of("X1:1 X2:5; X1:2 X2:8; X1:4 X2:1", {"X1": 4, "X2": 8}, faces={"X1": Face()})
    finding = only(verdict_of(harness, short("X1:1", "X1:2", 0.02)), "short")
    assert set(finding.points) == {"X1:1", "X1:2"}


def test_the_stub_of_a_broken_leg_stays_untested() -> None:
    # X1:3 is cut off: what was read between other nets and X1:1 says nothing of the stub
    pairs = "X1:1-X1:2 X1:1-X1:3 X1:4-X2:4 X1:5-X2:5 X1:1-X1:4 X1:1-X1:5 X1:4-X1:5"
    whole, broken = verdict_of(TREE, pairs=pairs), verdict_of(TREE, cut(TREE, "W3"), pairs=pairs)
    assert broken.coverage.isolation_pairs_tested < whole.coverage.isolation_pairs_tested
    assert any(u.what == "isolation" for u in broken.untested)


def test_half_a_measured_loom_is_not_proven_and_says_what_is_left() -> None:
    verdict = verdict_of(PLAIN, pairs="X1:1-X2:1 X1:2-X2:2")
    assert verdict.verdict == "not-proven" and verdict.findings == ()
    left = {frozenset(u.points) for u in verdict.untested if u.what == "continuity"}
    assert left == {frozenset((f"X1:{n}", f"X2:{n}")) for n in (3, 4, 5, 6)}
    assert verdict.coverage.wires_tested == 2


def diode_readings(harness: Harness, forward: float, backward: float) -> Readings:
    base = scan(loom_of(harness))
    a, b = harness.code_of["X2:1"], harness.code_of["X2:3"]
    kept = ~((base.start == a) & (base.end == b) | (base.start == b) & (base.end == a))
    blank = np.full(2, np.nan)
    columns = {
        "start": [a, b],
        "end": [b, a],
        "quantity": [int(Quantity.DIODE)] * 2,
        "value": [forward, backward],
        "above_ohm": blank,
        "current_a": blank,
        "uncertainty": blank,
        "temperature_c": blank,
        "row": [900, 901],
    }
    joined = {name: np.append(getattr(base, name)[kept], new) for name, new in columns.items()}
    return replace(base, **joined)


def test_a_diode_the_wrong_way_round_is_a_wrong_part() -> None:
    harness = harness_of("X1:1 X2:1; X1:3 X2:3; X2:1 X2:3 diode", CAVITIES)
    right = judge(harness, diode_readings(harness, 0.61, np.inf))
    turned = judge(harness, diode_readings(harness, np.inf, 0.61))
    assert kinds(right) == [] and right.joints == "pass"  # the diode leaves the two no pair to show apart
    assert kinds(turned) == ["wrong-part"]
    assert {s.wire for s in turned.findings[0].suspects} == {"W3"}


def test_a_resistance_reading_never_judges_a_diode() -> None:
    harness = harness_of("X1:1 X2:1; X1:3 X2:3; X2:1 X2:3 diode", CAVITIES)
    verdict = verdict_of(harness)
    assert kinds(verdict) == []
    assert verdict.verdict == "not-proven" and verdict.coverage.parts_tested == 0


def test_a_pair_read_joined_and_open_is_told_as_such_and_not_as_an_open() -> None:
    base = scan(loom_of(PLAIN))
    first = int(np.flatnonzero(base.value < 1)[0])
    again = {name: np.append(getattr(base, name), getattr(base, name)[first]) for name in (
        "start", "end", "quantity", "value", "above_ohm", "current_a", "uncertainty", "temperature_c", "row"
    )}  # fmt: skip
    again["value"][-1], again["above_ohm"][-1] = np.inf, 4e7
    verdict = judge(PLAIN, replace(base, **again))
    assert verdict.verdict != "pass"
    told = [f for f in (*verdict.findings, *verdict.undecided) if f.fault == "intermittent"]
    assert told and {s.wire for s in told[0].suspects} == {"W1"}
    assert "open" not in kinds(verdict)


def test_an_over_range_on_the_lowest_range_excludes_a_short_but_no_leak() -> None:
    readings = scan(loom_of(PLAIN))
    low = replace(readings, above_ohm=np.where(np.isinf(readings.value), 200.0, np.nan))
    verdict = judge(PLAIN, low)
    assert verdict.findings == ()
    assert verdict.coverage.isolation_pairs_tested == 0
    assert verdict.verdict == "not-proven"


def test_leads_of_two_tenths_of_an_ohm_are_no_bad_joints() -> None:
    loom = loom_of(PLAIN)
    readings = full_scan(loom, np.random.default_rng(3), Handheld())
    verdict = judge(PLAIN, readings, readings.instrument)
    assert verdict.findings == () and verdict.wiring == "pass"


def test_one_bad_joint_among_its_like_is_found_with_an_ordinary_meter() -> None:
    loom = loom_of(PLAIN, joint(PLAIN, "W5", 2.5))
    readings = full_scan(loom, np.random.default_rng(3), Handheld())
    once = judge(PLAIN, readings, readings.instrument)
    assert once.findings == () and [f.fault for f in once.undecided] == ["high-resistance"]
    twice = taken(readings, np.concatenate([np.arange(len(readings)), np.arange(len(readings))]))
    verdict = judge(PLAIN, twice, readings.instrument)
    assert kinds(verdict) == ["high-resistance"]
    assert [s.wire for s in verdict.findings[0].suspects] == ["W5"]


def test_clips_clear_every_pair_across_and_tell_a_short_to_one_of_them() -> None:
    code = PLAIN.code_of
    points = [code[f"X1:{n}"] for n in range(1, 7)]

    def clipped(*faults: Fault) -> Readings:
        from tests.looms.measure import measure

        bonded = [((points[k], points[0]), ((), tuple(points[1:k]))) for k in range(1, 6)]
        pairs = [(code[f"X1:{n}"], code[f"X2:{n}"]) for n in range(1, 7)]
        return measure(loom_of(PLAIN, *faults), pairs, np.random.default_rng(1), bonded=bonded)

    bonded_loom = replace(PLAIN, limits=replace(PLAIN.limits, isolation="bonded"))
    clean = judge(bonded_loom, clipped())
    assert clean.verdict == "pass"
    assert clean.coverage.isolation_pairs == clean.coverage.isolation_pairs_tested == 15
    verdict = judge(bonded_loom, clipped(short("X1:2", "X1:5", 0.1)))
    assert kinds(verdict) == ["short"]
    assert "X1:5" in verdict.findings[0].points
