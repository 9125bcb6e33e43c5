"""Before and after: direction and uncertainty of every pair, and what became of every fault."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomtest.diagnosis.change.change import Change, Side, _directions, _match, change_between
from loomtest.diagnosis.change.pairs import DIRECTIONS
from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.verdict import Coverage, Finding, Suspect, Untested, Verdict, WireRow
from loomtest.harness.model import Harness, Wire
from loomtest.readings.model import Instrument, Quantity, Range, Readings
from tests.diagnosis.change.columns import in_columns
from tests.diagnosis.place.looms import harness_of, readings_of

HARNESS = Harness(
    "a loom",
    (
        Wire("W1", "X1:1", "X2:1"),
        Wire("W2", "X1:2", "X2:2"),
        Wire("L1", "X2:1", "X2:2", kind="lamp", ohms_min=0.5, ohms_max=1.5),
        Wire("W3", "X1:3", "X2:3"),
    ),
    ("X1:1", "X2:1", "X1:2", "X2:2", "X1:3", "X2:3"),
)
METER = Instrument("four-wire", "four-wire", True, ranges=(Range(1e9, 0.0, 0.0, 1e-3),), open_above_ohms=1e9)
NAN = math.nan


def readings(*rows: tuple[str, str, float] | tuple[str, str, float, float]) -> Readings:
    """Four-wire readings; the fourth entry is a standard uncertainty."""
    n = len(rows)
    code = HARNESS.code_of
    empty = np.full(n, NAN)
    return Readings(
        HARNESS.points,
        np.array([code[row[0]] for row in rows], dtype=np.int64),
        np.array([code[row[1]] for row in rows], dtype=np.int64),
        np.full(n, int(Quantity.RESISTANCE_4W), dtype=np.int64),
        np.array([row[2] for row in rows], dtype=np.float64),
        empty, empty,
        np.array([row[3] if len(row) > 3 else NAN for row in rows], dtype=np.float64),
        empty, np.arange(2, n + 2), instrument=METER,
    )  # fmt: skip


def verdict(
    findings: Sequence[Finding] = (), undecided: Sequence[Finding] = (), untested: Sequence[Untested] = ()
) -> Verdict:
    outcome = "fail" if findings else "not-proven" if undecided or untested else "pass"
    return Verdict(
        "a loom", outcome, outcome, outcome, 0.02, 0.001, "full", tuple(findings), tuple(undecided),
        (WireRow("W1", "X1:1", "X2:1", 0.01, 0.03, 0.01, 0.001, None, (), 0.0, "pass"),), (),
        Coverage(3, 3, 3, 3, 1, 1, 0), tuple(untested),
    )  # fmt: skip


def change(before: Readings, after: Readings, *verdicts: Verdict) -> Change:
    first, last = verdicts or (verdict(), verdict())
    return change_between(HARNESS, Side(before, first), Side(after, last))


def only(
    before: tuple[str, str, float, float], after: tuple[str, str, float, float]
) -> tuple[str, float | None]:
    pair = change(readings(before), readings(after)).pairs[0]
    return pair.change, pair.uncertainty_ohms


def test_uncertainties_of_the_two_runs_add_in_squares() -> None:
    word, u = only(("X1:1", "X2:1", 0.92, 0.03), ("X1:1", "X2:1", 0.03, 0.04))
    assert word == "better"
    assert u == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("before", "after", "u", "word"),
    [
        (0.100, 0.070, 0.01, "better"),  # 0.03 > 1.96 · 0.01414
        (0.100, 0.073, 0.01, "cannot tell"),  # 0.027 < 0.0277
        (0.070, 0.100, 0.01, "worse"),
        (0.100, 0.101, 0.001, "same"),  # 1 + 2.8 mΩ within 5 mΩ
        (0.010, 0.011, 0.002, "cannot tell"),  # 1 + 5.5 mΩ is more than 5 mΩ
        (10.0, 10.1, 0.2, "same"),  # 0.1 + 0.55 Ω within 10 %
    ],
)
def test_a_joined_pair(before: float, after: float, u: float, word: str) -> None:
    assert only(("X1:1", "X2:1", before, u), ("X2:1", "X1:1", after, u))[0] == word


@pytest.mark.parametrize(
    ("pair", "before", "after", "word"),
    [
        (("X1:1", "X2:1"), math.inf, 0.03, "better"),
        (("X1:1", "X2:1"), 0.03, math.inf, "worse"),
        (("X1:1", "X2:1"), math.inf, math.inf, "same"),
        (("X1:1", "X1:3"), 0.3, math.inf, "better"),
        (("X1:1", "X1:3"), math.inf, 2e5, "worse"),
        (("X1:1", "X1:3"), math.inf, math.inf, "same"),
        (("X1:1", "X1:3"), 2e5, 4e6, "better"),
        (("X2:1", "X2:2"), math.inf, 1.0, "better"),  # the lamp conducts again
        (("X2:1", "X2:2"), 0.1, 1.0, "better"),  # it is no longer bridged
        (("X2:1", "X2:2"), 1.0, 0.1, "worse"),
        (("X2:1", "X2:2"), 1.0, math.inf, "worse"),
        (("X2:1", "X2:2"), 0.6, 1.4, "same"),  # both within the part's range
    ],
)
def test_over_range_parts_and_pairs_that_should_be_apart(
    pair: tuple[str, str], before: float, after: float, word: str
) -> None:
    found = change(readings((*pair, before)), readings((*pair, after))).pairs[0]
    assert found.change == word
    if math.isinf(before) or math.isinf(after):
        assert found.change_ohms is None


def test_repeats_are_averaged_and_contradictions_left_out() -> None:
    before = readings(("X1:1", "X2:1", 0.10, 0.02), ("X2:1", "X1:1", 0.14, 0.02), ("X1:3", "X2:3", 0.1))
    after = readings(("X1:1", "X2:1", 0.02, 0.02), ("X1:3", "X2:3", 0.1), ("X1:3", "X2:3", math.inf))
    pairs = change(before, after).pairs
    assert [(p.start, p.end) for p in pairs] == [("X1:1", "X2:1")]
    assert pairs[0].before_ohms == pytest.approx(0.12)
    assert pairs[0].uncertainty_ohms == pytest.approx(math.hypot(0.02 / math.sqrt(2), 0.02))


def test_what_a_meter_shares_between_readings_does_not_average_out() -> None:
    shaky = replace(METER, ranges=(Range(1e9, 0.0, 100.0, 1e-3),), assumed=True)  # an offset of ± 0.1 Ω
    one = replace(readings(("X1:1", "X2:1", 0.5)), instrument=shaky)
    four = replace(readings(*[("X1:1", "X2:1", 0.5)] * 4), instrument=shaky)
    u = [change(r, r).pairs[0].uncertainty_ohms or 0 for r in (one, four)]
    assert u[1] == pytest.approx(u[0], rel=0.01)
    assert u[0] == pytest.approx(0.1 / math.sqrt(3) * math.sqrt(2), rel=0.01)


def test_only_pairs_of_both_runs_are_compared() -> None:
    pairs = change(readings(("X1:1", "X2:1", 0.1)), readings(("X1:3", "X2:3", 0.1))).pairs
    assert list(pairs) == []


OPEN = Finding("open", ("X1:1", "X2:1"), (Suspect("W1"),))
SHORT = Finding("short", ("X1:1", "X1:3"))
POOR = Finding("high-resistance", ("X1:3", "X2:3"), (Suspect("W3"),))
NONE = readings(("X1:1", "X2:1", 0.1))


def fate(first: Verdict, last: Verdict) -> dict[str, list[str]]:
    found = change(NONE, NONE, first, last).to_json()["faults"]
    return {name: [finding["fault"] for finding in found[name]] for name in found}


def test_faults_are_gone_remain_or_are_new() -> None:
    later = replace(POOR, suspects=(Suspect("W2"), Suspect("W3")))
    assert fate(verdict([OPEN, POOR]), verdict([later, SHORT])) == {
        "gone": ["open"], "remaining": ["high-resistance"], "new": ["short"], "not_shown_gone": [],
    }  # fmt: skip


def test_a_short_is_known_by_its_nets_wherever_it_was_seen() -> None:
    elsewhere = replace(SHORT, points=("X2:3", "X2:1"))
    assert fate(verdict([SHORT]), verdict([elsewhere]))["remaining"] == ["short"]
    other = replace(SHORT, points=("X2:3", "X2:2"))
    assert fate(verdict([SHORT]), verdict([other])) == {
        "gone": ["short"], "remaining": [], "new": ["short"], "not_shown_gone": [],
    }  # fmt: skip


def test_what_was_not_measured_again_or_is_doubtful_is_not_called_gone() -> None:
    apart = Untested(("X2:1", "X2:3"), "isolation")
    assert fate(verdict([SHORT]), verdict(untested=[apart]))["not_shown_gone"] == ["short"]
    joined = Untested(("X1:1", "X2:1"), "continuity")
    assert fate(verdict([OPEN]), verdict(untested=[joined]))["not_shown_gone"] == ["open"]
    assert fate(verdict([OPEN]), verdict(untested=[apart]))["gone"] == ["open"]
    assert fate(verdict([POOR]), verdict(undecided=[POOR]))["not_shown_gone"] == ["high-resistance"]
    row = replace(verdict().wires[0], wire="W3", verdict="undecided")
    assert fate(verdict([POOR]), replace(verdict(), wires=(row,)))["not_shown_gone"] == ["high-resistance"]
    assert fate(verdict([OPEN]), replace(verdict(), wires=(replace(row, wire="W1"),)))["gone"] == ["open"]


def test_the_json_is_that_of_the_contract() -> None:
    told = change(
        readings(("X1:1", "X2:1", 0.92, 0.01), ("X1:1", "X1:3", 0.2)),
        readings(("X1:1", "X2:1", 0.03, 0.01), ("X1:1", "X1:3", math.inf)),
    ).to_json()
    told = json.loads(json.dumps(told, allow_nan=False))
    assert told["schema"] == "loomtest-change/1"
    assert (told["before"], told["after"]) == ("pass", "pass")
    assert told["pairs"][0] == {
        "from": "X1:1", "to": "X2:1", "before_ohms": 0.92, "after_ohms": 0.03, "change_ohms": -0.89,
        "uncertainty_ohms": 0.0141421, "change": "better",
    }  # fmt: skip
    assert (told["pairs"][1]["after_ohms"], told["pairs"][1]["change_ohms"]) == ("OL", None)


shown = st.sampled_from([0.0, 0.003, 0.3, 0.304, 0.32, 0.5, 5.0, 40.0, 1e6, 2e6, math.inf])


@given(
    st.lists(st.tuples(shown, shown, st.sampled_from([0.0, 0.001, 0.01, 0.3]), st.integers(0, 2)), min_size=1)
)
def test_the_direction_of_many_pairs_is_that_of_each(rows: list[tuple[float, float, float, int]]) -> None:
    """The contract's section on before and after, said for one pair."""
    wanted = [(0.0, 0.0), (math.inf, math.inf), (0.1, 10.0)]  # joined, apart, a part's range
    expected = []
    for old, new, u, kind in rows:
        least, most = wanted[kind]

        def off(value: float, least: float = least, most: float = most) -> float:
            return -value if math.isinf(least) else max(least - value, value - most, 0.0)

        finite = math.isfinite(old) and math.isfinite(new)
        if old == new and not finite:
            expected.append("same")
        elif not finite or abs(new - old) > 1.96 * u:
            gain = off(old) - off(new)
            expected.append("better" if gain > 0 else "worse" if gain < 0 else "same")
        elif abs(new - old) + 1.96 * u <= max(0.005, 0.10 * abs(old)):
            expected.append("same")
        else:
            expected.append("cannot tell")
    old, new, u = (np.array([row[k] for row in rows]) for k in range(3))
    low, high = (np.array([wanted[row[3]][k] for row in rows]) for k in range(2))
    assert [DIRECTIONS[k] for k in _directions(old, new, u, low, high)] == expected


def test_columns_hold_the_pairs_they_were_made_of() -> None:
    pairs = change(
        readings(("X1:1", "X2:1", 0.1), ("X1:3", "X2:3", math.inf), ("X1:1", "X1:3", math.inf)),
        readings(("X1:1", "X2:1", 0.5), ("X1:3", "X2:3", 0.2), ("X1:1", "X1:3", math.inf)),
    ).pairs
    assert list(in_columns(list(pairs))) == list(pairs) == pairs[:]
    assert pairs.of_circuits() == [pair for pair in pairs if pair.joined]
    assert pairs.of("better", "worse") == [p for p in pairs if p.change in ("better", "worse")]
    assert [pairs.count(word) for word in DIRECTIONS] == [1, 1, 1, 0]


@pytest.mark.parametrize(("stated", "word"), [(True, "better"), (False, "cannot tell")])
def test_the_offset_of_one_meter_cancels_between_two_runs(stated: bool, word: str) -> None:
    """An offset of 17 mohm (30 counts of 1 mohm, rectangular) is in both runs: 20 mohm less is told."""
    meter = replace(METER, ranges=(Range(1e9, 0.0, 30.0, 1e-3),), assumed=not stated)
    sides = [
        Side(replace(readings(("X1:1", "X2:1", ohm)), instrument=meter), verdict()) for ohm in (0.050, 0.030)
    ]
    (pair,) = change_between(HARNESS, *sides).pairs
    assert pair.change == word
    expected = 0.001 / math.sqrt(12) * math.sqrt(2)
    if stated:
        assert pair.uncertainty_ohms == pytest.approx(expected)
    else:
        offset = 0.030 / math.sqrt(3) * math.sqrt(2)
        assert pair.uncertainty_ohms == pytest.approx(math.hypot(expected, offset))


def test_a_mended_open_is_gone_whatever_else_of_its_circuit_was_left_out() -> None:
    wires = (Wire("W1", "X1:1", "X2:1"), Wire("W2", "X2:1", "X3:1"))
    harness = Harness("a loom", wires, ("X1:1", "X2:1", "X3:1"))
    mended = verdict(untested=[Untested(("X2:1", "X3:1"), "continuity")])
    broken = verdict([Finding("open", ("X1:1", "X2:1"), (Suspect("W1"),))])
    assert [f.fault for f in _match(harness, broken, mended)[0]] == ["open"]
    still = verdict(untested=[Untested(("X2:1", "X1:1"), "continuity")])
    assert [f.fault for f in _match(harness, broken, still)[3]] == ["open"]


def test_drops_taken_up_to_a_short_are_no_ohms_of_the_pair(tmp_path: Path) -> None:
    harness = harness_of(tmp_path, ("W1,X1:1,X2:1,0.5,2", "W2,X1:2,X2:2,0.5,2"))
    whole = ("X1:1,X2:1,0.08,,,,0.001", "X1:2,X2:2,0.08,,,,0.001")
    drops = [
        f"X{a}:{wire},X{b}:{wire},{mv},mV,voltage_drop,1.5,0.1"
        for a, b, mv in ((1, 2, 36), (2, 1, 78))
        for wire in (1, 2)
    ]
    sides = []
    for rows in ((*whole, "X1:1,X1:2,0.4,,,,", *drops), (*whole, "X1:1,X1:2,OL,,,,")):
        read = readings_of(tmp_path, harness, rows)
        sides.append(Side(read, judge(harness, read, METER), METER))
    pairs = {(pair.start, pair.end): pair for pair in change_between(harness, *sides).pairs}
    pair = pairs["X1:1", "X2:1"]
    assert pair.before_ohms == pytest.approx(0.08)
    assert pair.change == "same"
