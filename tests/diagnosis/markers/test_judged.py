"""Verdicts from touches against marker clips: the same findings as from pairs, and what is not decided."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loomtest.diagnosis.markers.kit import choose_kit
from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.model import Harness, Limits, Wire
from loomtest.readings.instrument import load_instrument
from loomtest.readings.marked import Clip, Marked, Seat
from loomtest.readings.model import Readings
from loomtest.words.verdict import judge

METER = load_instrument("handheld-3half")
KIT = choose_kit(METER, 24)
assert KIT is not None
OHM = dict(enumerate(KIT.ohms, 1))
OL = math.inf
Touches = list[tuple[str, float] | tuple[str, float, int]]


def loom(count: int = 4) -> Harness:
    wires = tuple(Wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, count + 1))
    points = tuple(p for w in wires for p in (w.start, w.end))
    return Harness("four wires", wires, points, limits=Limits(isolation="full"))


def beside(*clips: int) -> float:
    return 1 / sum(1 / OHM[k] for k in clips)


def through(clip: int, ohm: float, other: int) -> float:
    """What a circuit reads that leaks by `ohm` to another."""
    return 1 / (1 / OHM[clip] + 1 / (ohm + OHM[other]))


def judged(touches: Touches, count: int = 4, pulled: tuple[int, ...] = ()) -> Verdict:
    """Clip Mi on X1:i; a round 2 in which some are pulled."""
    harness = loom(count)
    seats = [
        Seat(round=r, clip=Clip(marker=f"M{i}", ohms=OHM[i]), point=harness.code_of[f"X1:{i}"])
        for r in ((1, 2) if pulled else (1,))
        for i in range(1, count + 1)
        if r == 1 or i not in pulled
    ]
    n, none, codes = len(touches), np.zeros(0), np.zeros(0, dtype=np.int64)
    marked = Marked(
        seats=tuple(seats),
        point=np.array([harness.code_of[t[0]] for t in touches]),
        round=np.array([t[2] if len(t) > 2 else 1 for t in touches]),
        ohm=np.array([t[1] for t in touches]),
        above_ohm=np.full(n, np.nan),
        uncertainty=np.full(n, np.nan),
        row=np.arange(n) + 2,
    )
    columns = (codes, codes, codes, none, none, none, none, none, codes)
    return judge(harness, Readings(harness.points, *columns, instrument=METER, marked=marked))


def with_far_ends(special: dict[int, float], count: int = 4) -> Touches:
    return [(f"X2:{i}", special.get(i, OHM[i])) for i in range(1, count + 1)]


def found(verdict: Verdict) -> list[tuple[str, frozenset[str]]]:
    return [(f.fault, frozenset(f.points)) for f in verdict.findings]


def test_a_sound_loom_is_whole_and_apart_by_one_touch_a_wire() -> None:
    verdict = judged(with_far_ends({}))
    assert verdict.wiring == "pass"
    assert verdict.coverage.wires_tested == 4
    assert verdict.coverage.isolation_pairs_tested == verdict.coverage.isolation_pairs == 6
    assert verdict.joints == "not-proven"
    assert any("do not judge joints" in note for note in verdict.notes)
    assert any("own low voltage" in note for note in verdict.notes)


def test_crossed_wires_are_told_once_the_marked_points_were_touched() -> None:
    far = with_far_ends({1: OHM[2], 2: OHM[1]})
    open_question = judged(far)
    assert open_question.findings == ()
    assert {f.fault for f in open_question.undecided} == {"crossed"}
    assert "Touch X1 cavity 1 itself" in " ".join(f.next for f in open_question.undecided)
    told = judged([*far, ("X1:1", OHM[1]), ("X1:2", OHM[2])])
    assert found(told) == [("crossed", frozenset({"X1:1", "X1:2"}))]
    assert dict(told.findings[0].moves) == {"X1:1": "X1:2", "X1:2": "X1:1"}


def test_clips_on_each_others_points_are_no_fault_of_the_loom() -> None:
    verdict = judged([*with_far_ends({1: OHM[2], 2: OHM[1]}), ("X1:1", OHM[2]), ("X1:2", OHM[1])])
    assert verdict.findings == ()
    assert verdict.wiring == "pass"


def test_a_broken_wire_and_a_clip_that_fell_off_are_told_apart() -> None:
    far = with_far_ends({1: OL})
    assert found(judged([*far, ("X1:1", OHM[1])])) == [("open", frozenset({"X1:1", "X2:1"}))]
    fallen = judged([*far, ("X1:1", OL)])
    assert fallen.findings == ()
    assert fallen.wiring == "not-proven"
    assert any("Clip M1 is not on" in f.text for f in fallen.undecided)


def test_a_short_is_told_when_it_stays_with_a_clip_pulled() -> None:
    far = with_far_ends({1: beside(1, 2), 2: beside(1, 2)})
    before = judged(far)
    assert before.findings == ()
    assert ["Do the clips touch each other?" in f.next for f in before.undecided] == [True]
    stays = judged([*far, ("X2:1", OHM[2], 2)], pulled=(1,))
    assert [f.fault for f in stays.findings] == ["short"]
    assert "read the same marker clips" in stays.findings[0].text
    goes = judged([*far, ("X2:1", OL, 2)], pulled=(1,))
    assert goes.findings == ()
    assert goes.wiring == "not-proven"


@pytest.mark.parametrize("ohm", [300.0, 3e3, 6e4, 3e5])
def test_a_leak_between_two_circuits_is_one_finding_with_its_ohms(ohm: float) -> None:
    verdict = judged(with_far_ends({1: through(1, ohm, 3), 3: through(3, ohm, 1)}))
    assert found(verdict) == [("leakage", frozenset({"X1:1", "X1:3"}))]
    assert verdict.coverage.isolation_pairs_tested == 5
    assert verdict.coverage.wires_tested == 4


def test_three_leaks_are_paired_rightly() -> None:
    read = {}
    for a, b, ohm in ((1, 5, 3e3), (2, 7, 6e4), (3, 4, 3e5)):
        read |= {a: through(a, ohm, b), b: through(b, ohm, a)}
    verdict = judged(with_far_ends(read, 8), 8)
    assert {points for _, points in found(verdict)} == {
        frozenset(pair) for pair in (("X1:1", "X1:5"), ("X1:2", "X1:7"), ("X1:3", "X1:4"))
    }


def test_more_than_a_wire_has_is_left_to_a_reading_of_the_pair() -> None:
    verdict = judged(with_far_ends({1: OHM[1] + 80}))
    assert verdict.findings == ()
    assert [(f.fault, f.points) for f in verdict.undecided] == [("high-resistance", ("X1:1", "X2:1"))]


def test_a_kit_of_another_meter_is_told() -> None:
    verdict = judged(with_far_ends({i: 1.008 * OHM[i] for i in range(1, 7)}, 6), 6)
    assert verdict.findings == ()
    assert any("another meter" in f.text for f in verdict.undecided)


def test_every_doubt_has_its_sentence_and_its_next_touch() -> None:
    cases = [
        judged(with_far_ends({1: OL})),
        judged(with_far_ends({1: 5e5})),
        judged(with_far_ends({1: 7000.0})),
        judged([*with_far_ends({1: OL}), ("X1:1", OL)]),
    ]
    for verdict in cases:
        assert verdict.findings == ()
        assert verdict.undecided
        assert all(f.text.endswith(".") and f.next.endswith(".") for f in verdict.undecided)


@pytest.mark.parametrize("seed", range(60))
def test_one_wrong_touch_is_never_passed_over(seed: int) -> None:
    """A sound loom, one touch of which shows something else: another clip, clips side by side, over-range or
    any ohms; in place of the right touch, or beside it."""
    rng = np.random.default_rng(seed)
    at = int(rng.integers(1, 7))
    others = [k for k in range(1, 7) if k != at]
    a, b = rng.choice(others, 2, replace=False).tolist()
    none = [float(rng.uniform(2e3, 7e3)), float(rng.uniform(18e3, 9e5))]
    wrong = [OL, OHM[a], beside(a, b), beside(at, a), *none]
    value = wrong[seed % len(wrong)]
    far = with_far_ends({}, 6)
    if rng.random() < 0.5:
        verdict = judged([*far, (f"X2:{at}", value)], 6)
        assert verdict.findings == ()  # one reading against another decides nothing
    else:
        verdict = judged(with_far_ends({at: value}, 6), 6)
    assert verdict.wiring != "pass"
    assert verdict.undecided or verdict.doubted or verdict.findings


@pytest.mark.parametrize("value", [OL, OHM[3], beside(1, 3), 4000.0, 4e5])
def test_a_touch_that_two_others_outvote_is_doubted(value: float) -> None:
    verdict = judged([*with_far_ends({}), ("X2:1", value), ("X2:1", OHM[1])])
    assert verdict.findings == ()
    assert verdict.wiring == "not-proven"
    assert [(one.row, one.start, one.end) for one in verdict.doubted] == [(6, "X2:1", "COMMON")]
    assert "Touch it again" in verdict.doubted[0].why


def test_nothing_of_a_faulty_loom_that_was_told_is_doubted() -> None:
    crossed = with_far_ends({1: OHM[2], 2: OHM[1]})
    told = [
        judged([*crossed, ("X1:1", OHM[1]), ("X1:2", OHM[2])]),
        judged([*with_far_ends({1: OL}), ("X1:1", OHM[1])]),
        judged([*with_far_ends({1: beside(1, 2), 2: beside(1, 2)}), ("X2:1", OHM[2], 2)], pulled=(1,)),
        judged(with_far_ends({1: through(1, 6e4, 3), 3: through(3, 6e4, 1)})),
    ]
    for verdict in told:
        assert verdict.findings
        assert verdict.doubted_count == 0


def test_a_clip_that_hangs_on_another_circuit_joins_nothing() -> None:
    """M3 hangs on the first circuit, and the clips M1 and M2 touch. With M1 pulled the first circuit still
    reads M3, which is no short of the loom."""
    far = with_far_ends({1: beside(1, 2, 3), 2: beside(1, 2, 3), 3: OL})
    verdict = judged([*far, ("X1:3", OL), ("X2:1", OHM[3], 2)], pulled=(1,))
    assert verdict.findings == ()
    assert verdict.wiring == "not-proven"
