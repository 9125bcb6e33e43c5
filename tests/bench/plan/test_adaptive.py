"""The next best probing: one small loom at a time, and the entropy bound over random ones."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, log2

import numpy as np
import pytest

from loomtest.bench.plan.adaptive import Guide
from loomtest.bench.plan.plan import Plan, Step, plan
from loomtest.bench.plan.suspects import Puzzle, open_puzzles
from loomtest.bench.plan.worth import Arms, best_of_puzzle, information
from loomtest.diagnosis.seen.observe import observe
from loomtest.harness.model import Harness, IsolationLevel, Wire
from loomtest.readings.model import Instrument, Quantity, Range, Readings
from loomtest.words.verdict import judge
from tests.looms.generate import Recipe, random_harness
from tests.looms.solve import resistances
from tests.scores.adaptive import score

METER = Instrument("simulated", "four-wire", True, open_above_ohms=4e7, ranges=(Range(2e7, 0.1, 1.0, 1e-5),))


def loom(*rows: tuple[str, str], hidden: tuple[str, ...] = (), level: IsolationLevel = "none") -> Harness:
    wires = tuple(Wire(f"W{i}", a, b, size_mm2=1.0, length_m=1.0) for i, (a, b) in enumerate(rows, 1))
    points = tuple(dict.fromkeys(point for row in rows for point in row))
    out = Harness("invented", wires, points, unreachable=frozenset(hidden))
    return replace(out, limits=replace(out.limits, isolation=level))


class Bench:
    """A loom whose copper is `edges` (points and ohms), read step by step."""

    def __init__(self, harness: Harness, edges: list[tuple[str, str, float]]) -> None:
        code = harness.code_of
        self.harness = harness
        self.steps: list[Step] = []
        self.edges = [(code[a], code[b], ohm) for a, b, ohm in edges]
        self.planned = plan(harness)
        self.known: dict[tuple[str, str, tuple[str, ...]], float] = {}

    def read(self) -> Readings:
        code, n = self.harness.code_of, len(self.steps)
        ties = {
            i: tuple(code[point] for point in step.bonded) for i, step in enumerate(self.steps) if step.bonded
        }
        values = [self.ohm(step) for step in self.steps]
        bonded = {index: ((), tied) for index, tied in ties.items()}
        value, blank = np.array(values, dtype=np.float64), np.full(n, np.nan)
        return Readings(
            self.harness.points,
            np.array([code[s.start] for s in self.steps], dtype=np.int64),
            np.array([code[s.end] for s in self.steps], dtype=np.int64),
            np.full(n, int(Quantity.RESISTANCE_4W), dtype=np.int64),
            np.where(value < 4e7, value, np.inf),
            blank, blank, np.where(value < 4e7, 1e-4, np.nan), blank,
            np.arange(2, n + 2, dtype=np.int64),
            bonded,
            instrument=METER,
        )  # fmt: skip

    def ohm(self, step: Step) -> float:
        """True ohms of a step, solved once."""
        key = (step.start, step.end, step.bonded)
        if key not in self.known:
            code = self.harness.code_of
            links = [(code[step.end], code[point], 1e-6) for point in step.bonded]
            solved = resistances(len(self.harness.points), [*self.edges, *links])
            self.known[key] = float(solved[code[step.start], code[step.end]])
        return self.known[key]

    def follow(self, most: int = 500) -> list[Step]:
        """Take every step that is asked for, until none is; those that the plan does not hold."""
        for _ in range(most):
            step = Guide(self.harness, planned=self.planned).next(self.read())
            if step is None:
                return [s for s in self.steps if s not in self.planned.steps]
            self.steps.append(step)
        raise AssertionError("it never stops")

    def passed(self) -> None:
        """Take the plan's steps inside the nets."""
        self.steps = [step for step in self.planned.steps if step.what != "isolation"]


def as_drawn(harness: Harness) -> list[tuple[str, str, float]]:
    return [(w.start, w.end, 0.0221) for w in harness.wires if w.conducts]


@pytest.mark.parametrize("level", ["full", "neighbours", "bonded", "none"])
def test_a_healthy_loom_is_asked_for_exactly_the_plan(level: IsolationLevel) -> None:
    harness = random_harness(np.random.default_rng(4), Recipe(wires=6, parts=False, loops=False))
    harness = replace(harness, limits=replace(harness.limits, isolation=level))
    wires = tuple(replace(w, size_mm2=1.0, length_m=1.0, kind="wire") for w in harness.wires)
    bench = Bench(replace(harness, wires=wires), as_drawn(harness))
    assert bench.follow() == []
    assert bench.steps == list(bench.planned.steps)
    assert judge(bench.harness, bench.read()).verdict == ("not-proven" if level == "none" else "pass")


def test_a_step_done_with_the_leads_reversed_or_twice_is_not_asked_again() -> None:
    harness = loom(("A:1", "B:1"), ("A:2", "B:2"))
    bench = Bench(harness, as_drawn(harness))
    first = Guide(harness).next(bench.read())
    assert first is not None
    turned = replace(first, start=first.end, end=first.start)
    bench.steps = [turned, turned]
    second = Guide(harness).next(bench.read())
    assert second is not None and {second.start, second.end} != {first.start, first.end}


def test_a_suspected_swap_is_confirmed_with_one_cross_reading() -> None:
    harness = loom(("X1:1", "X2:1"), ("X1:2", "X3:1"), ("X1:3", "X4:1"))
    bench = Bench(harness, [("X1:2", "X2:1", 0.02), ("X1:1", "X3:1", 0.02), ("X1:3", "X4:1", 0.02)])
    bench.passed()
    step = Guide(harness).next(bench.read())
    assert step is not None and step.what == "locate"
    assert {step.start, step.end} in ({"X1:2", "X2:1"}, {"X1:1", "X3:1"})
    assert step.proves == "crossed or broken: W1, W2"
    bench.follow()
    assert [s.what for s in bench.steps].count("locate") == 1
    (finding,) = judge(harness, bench.read()).findings
    assert finding.fault == "crossed" and set(finding.points) == {"X1:1", "X1:2"}


def test_two_broken_wires_of_one_connector_take_four_cross_readings_as_well() -> None:
    harness = loom(("X1:1", "X2:1"), ("X1:2", "X3:1"))
    bench = Bench(harness, [])
    bench.passed()
    # crossed at once, and then: whether the one sits in the other's place while the other is broken
    first, *rest = [{s.start, s.end} for s in bench.follow()]
    assert first == {"X3:1", "X1:1"}
    assert sorted(map(sorted, rest)) == [["X1:1", "X1:2"], ["X1:2", "X2:1"], ["X2:1", "X3:1"]]
    assert {f.fault for f in judge(harness, bench.read()).findings} == {"open"}


def test_three_rotated_terminals_are_named() -> None:
    harness = loom(("X1:1", "X2:1"), ("X1:2", "X3:1"), ("X1:3", "X4:1"))
    bench = Bench(harness, [("X1:2", "X2:1", 0.02), ("X1:3", "X3:1", 0.02), ("X1:1", "X4:1", 0.02)])
    bench.passed()
    bench.follow()
    (finding,) = judge(harness, bench.read()).findings
    assert dict(finding.moves) == {"X1:1": "X1:2", "X1:2": "X1:3", "X1:3": "X1:1"}
    assert [s.what for s in bench.steps].count("locate") <= 3  # six explanations: ceil(log2 6)


def test_an_open_on_a_long_spliced_run_is_bisected() -> None:
    # a run of eight taped-in splices, one reachable leg at each; only the ends were read
    run = [(f"S{i}", f"S{i + 1}") for i in range(1, 8)]
    legs = [(f"S{i}", f"T{i}") for i in range(1, 9)]
    harness = loom(*run, *legs, hidden=tuple(f"S{i}" for i in range(1, 9)))
    puzzle = open_puzzles(harness, observe(reading_of(harness, "T1", "T8", np.inf), METER, harness.limits))
    step = best_of_puzzle(harness, puzzle[0], Arms(), 1)
    assert step is not None
    pairs = {(step.start, step.end): reading_of(harness, step.start, step.end, np.inf)}
    (readings,) = pairs.values()
    left = open_puzzles(harness, observe(readings, METER, harness.limits))[0]
    assert len(puzzle[0].weight) == 9
    assert 3 <= sum(len(opens) == 1 for opens in left.opens) <= 6


def reading_of(harness: Harness, one: str, other: str, ohm: float) -> Readings:
    blank = np.full(1, np.nan)
    return Readings(
        harness.points,
        np.array([harness.code_of[one]]),
        np.array([harness.code_of[other]]),
        np.array([int(Quantity.RESISTANCE_4W)]),
        np.array([ohm]),
        blank, blank, blank, blank, np.array([2]),
        instrument=METER,
    )  # fmt: skip


def test_what_a_broken_leg_hid_is_read_afterwards() -> None:
    # the clip's own leg of a taped-in splice is open: every reading of the pass is over-range
    harness = loom(("X1:1", "SP"), ("X2:1", "SP"), ("X3:1", "SP"), ("X4:1", "SP"), hidden=("SP",))
    bench = Bench(harness, [])
    bench.passed()
    clip = bench.steps[0].clip
    bench.edges = [
        e
        for w in harness.wires
        if w.start != clip
        for e in [(harness.code_of[w.start], harness.code_of["SP"], 0.02)]
    ]
    further = bench.follow()
    assert len(further) == 2 and all(clip not in (s.start, s.end) for s in further)
    (finding,) = judge(harness, bench.read()).findings
    assert finding.fault == "open" and [s.wire for s in finding.suspects] == [f"W{clip[1]}"]


def test_a_comb_that_conducts_is_halved_until_its_net_is_named() -> None:
    nets = 8
    harness = loom(*((f"A:{i}", f"B:{i}") for i in range(1, nets + 1)), level="bonded")
    for partner in (1, 4, 6):
        bench = Bench(harness, [*as_drawn(harness), (f"A:{partner}", f"A:{nets}", 0.5)])
        further = bench.follow()
        named = next(
            s
            for s in further
            if s.what == "locate" and not s.bonded and {s.start[2:], s.end[2:]} == {str(partner), str(nets)}
        )
        assert further.index(named) < ceil(log2(nets)) + 1
        verdict = judge(harness, bench.read())
        assert [f.fault for f in verdict.findings] == ["short"]
        assert verdict.coverage.isolation_pairs_tested == verdict.coverage.isolation_pairs - 1


def test_beyond_an_open_the_stub_is_read_against_the_comb() -> None:
    harness = loom(("X1:1", "X2:1"), ("X1:2", "X2:2"), ("X1:3", "X2:3"), level="bonded")
    bench = Bench(harness, as_drawn(harness)[1:])
    bench.follow()
    stub = [s for s in bench.steps if s.proves.startswith("the piece of")]
    assert len(stub) == 1
    ends = {harness.net_of[harness.code_of[point]] for point in (stub[0].end, *stub[0].bonded)}
    assert ends == {1, 2}, "the two other nets, and not the rest of its own"


def test_a_doubtful_joint_gets_the_reading_that_decides_it() -> None:
    # a star of three: the leg of X3 has 19 mΩ too much, which two readings do not settle
    harness = loom(("X1:1", "SP"), ("X2:1", "SP"), ("X3:1", "SP"), hidden=("SP",))
    bench = Bench(harness, [("X1:1", "SP", 0.0221), ("X2:1", "SP", 0.0221), ("X3:1", "SP", 0.0408)])
    bench.passed()
    assert judge(harness, bench.read()).joints == "not-proven"
    further = bench.follow()
    assert [s.what for s in further] == ["joints"]
    assert judge(harness, bench.read()).joints == "pass"


def two_to_one(weights: tuple[float, ...]) -> Puzzle:
    labels = np.array([[0, 0, 2], [0, 1, 1], [0, 1, 2]], dtype=np.int64)[: len(weights)]
    none: tuple[tuple[int, ...], ...] = ((),) * len(weights)
    return Puzzle(np.arange(3), labels, labels, np.array(weights), none, tuple(() for _ in weights))


def test_information_is_the_entropy_of_the_outcome() -> None:
    p, bits = information(two_to_one((0.25, 0.25, 0.5)), [0, 1, 2])
    assert p[0, 1] == pytest.approx(0.25) and p[1, 2] == pytest.approx(0.25) and p[0, 2] == 0
    assert bits[0, 1] == pytest.approx(0.25 * log2(4) + 0.75 * log2(4 / 3))
    assert bits[0, 2] == 0 and bits[0, 0] == 0


def test_of_equal_information_the_shorter_reach_is_taken() -> None:
    harness = loom(("A:1", "B:1"), ("B:1", "C:1"))
    puzzle = two_to_one((0.5, 0.5))
    at_b = best_of_puzzle(harness, puzzle, Arms("B:1", "C"), 1)
    assert at_b is not None and (at_b.start, at_b.end) == ("B:1", "C:1")
    at_a = best_of_puzzle(harness, puzzle, Arms("B:1", "A"), 1)
    assert at_a is not None and (at_a.start, at_a.end) == ("B:1", "A:1")


def test_what_stays_unidentifiable_is_said_with_its_reason() -> None:
    series = loom(("X1:1", "SP"), ("SP", "X2:1"), hidden=("SP",))
    bench = Bench(series, [])
    assert bench.follow() == []
    (told,) = Guide(series).left_open(bench.read())
    assert "W1 open" in told and "W2 open" in told and "wherever a probe reaches" in told
    plain = loom(("X1:1", "X2:1"), ("X1:2", "X2:2"))
    bench = Bench(plain, [("X1:1", "X2:2", 0.02), ("X1:2", "X2:1", 0.02)])
    bench.follow()
    (told,) = Guide(plain).left_open(bench.read())
    assert "X1:1 and X1:2 crossed" in told and "X2:1 and X2:2 crossed" in told
    assert Guide(plain).left_open(Bench(plain, as_drawn(plain)).read()) == ()


def test_a_connector_that_reads_open_throughout_is_no_riddle() -> None:
    harness = loom(*((f"X1:{i}", f"X{2 + i % 3}:{i}") for i in range(1, 25)))
    bench = Bench(harness, [])
    assert bench.follow() == []
    assert bench.steps == list(bench.planned.steps)


@pytest.mark.parametrize("kinds", [("open",), ("swap",)])
def test_single_faults_take_at_most_one_and_a_half_times_the_entropy_bound(kinds: tuple[str, ...]) -> None:
    locating, _, bound, right = score(kinds, 6, 7)
    assert locating <= 1.5 * bound
    assert right == 1.0


def test_the_same_readings_give_the_same_step() -> None:
    harness = loom(("X1:1", "X2:1"), ("X1:2", "X3:1"))
    bench = Bench(harness, [])
    bench.passed()
    made: Plan = bench.planned
    assert Guide(harness, planned=made).next(bench.read()) == Guide(harness, planned=made).next(bench.read())


def test_a_wire_that_does_not_arrive_is_looked_for_in_the_empty_cavities_nearest_first() -> None:
    plain = loom(("X1:3", "X2:1"), ("X1:1", "X3:1"))
    cavities = {"X1": ("1", "2", "3", "4", "5", "6")}
    points = (*plain.points, *(f"X1:{n}" for n in cavities["X1"] if f"X1:{n}" not in plain.points))
    harness = replace(plain, points=points, cavities=cavities)
    bench = Bench(harness, [("X1:5", "X2:1", 0.02), ("X1:1", "X3:1", 0.02)])
    bench.passed()
    assert [(s.what, s.start, s.end) for s in bench.follow()] == [
        ("elsewhere", "X2:1", place) for place in ("X1:2", "X1:4", "X1:5")
    ]
    (finding,) = judge(harness, bench.read()).findings
    assert (finding.fault, finding.points) == ("misplaced", ("X1:3", "X1:5"))


def test_over_range_between_circuits_that_a_lamp_joins_parts_two_explanations() -> None:
    # two wires that do not arrive, and a lamp between their circuits: cross readings count all the same
    plain = loom(("X1:1", "X2:1"), ("X1:2", "X3:1"))
    lamp = Wire("H1", "X2:1", "X3:1", kind="lamp")
    harness = replace(plain, wires=(*plain.wires, lamp))
    bench = Bench(harness, [("X2:1", "X3:1", 6.0)])
    bench.passed()
    asked = [frozenset((s.start, s.end)) for s in bench.follow()]
    assert len(asked) == len(set(asked)) <= 4
    assert {f.fault for f in judge(harness, bench.read()).findings} == {"open"}
