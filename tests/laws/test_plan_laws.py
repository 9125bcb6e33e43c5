"""Laws of the plan, held against the verdict: enough, nothing idle, every fault that it claims found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from loomtest.bench.plan.adaptive import Guide
from loomtest.bench.plan.plan import Step, plan
from loomtest.diagnosis.seen.isolation import part_groups, required_pairs
from loomtest.harness.model import Harness
from loomtest.readings.model import Quantity, Readings
from loomtest.words.verdict import judge
from tests.looms import measure
from tests.looms.faults import Loom, healthy_loom, random_fault
from tests.looms.generate import Recipe, random_harness

SEEDS = st.integers(0, 2**32 - 1)
LEVELS = st.sampled_from(["full", "neighbours", "bonded", "none"])
GOOD_METER = measure.FourWire(noise_ohm=1e-4, noise_share=1e-4)


def draw(seed: int, level: str, wires: tuple[int, int], loops: bool) -> tuple[Loom, np.random.Generator]:
    """A healthy loom whose own limits ask for `level`."""
    rng = np.random.default_rng(seed)
    harness = random_harness(rng, Recipe(wires=int(rng.integers(*wires)), loops=loops))
    limits = replace(harness.limits, isolation=level)
    return healthy_loom(replace(harness, limits=limits), rng), rng


def read(loom: Loom, steps: Sequence[Step], rng: np.random.Generator) -> Readings:
    """Exactly these steps, read on the loom; a diode's test shows 0.6 V."""
    code = {point: i for i, point in enumerate(loom.points)}
    plain = [(code[s.start], code[s.end]) for s in steps if s.quantity == "resistance" and not s.bonded]
    combs = [
        ((code[s.start], code[s.end]), ((), tuple(code[p] for p in s.bonded))) for s in steps if s.bonded
    ]
    out = measure.measure(loom, plain, rng, GOOD_METER, combs)
    diodes = [(code[s.start], code[s.end]) for s in steps if s.quantity == "diode"]
    blank = np.full(len(diodes), np.nan)
    more = {
        "start": np.array([a for a, _ in diodes], dtype=np.int64),
        "end": np.array([b for _, b in diodes], dtype=np.int64),
        "quantity": np.full(len(diodes), int(Quantity.DIODE), dtype=np.int64),
        "value": np.full(len(diodes), 0.6),
        "above_ohm": blank,
        "current_a": blank,
        "uncertainty": np.full(len(diodes), 0.005),
        "temperature_c": blank,
    }
    columns = {name: np.append(getattr(out, name), column) for name, column in more.items()}
    return replace(out, **columns, row=np.arange(2, len(columns["value"]) + 2))


@given(seed=SEEDS, level=LEVELS, joints=st.booleans())
def test_measuring_exactly_the_plan_on_a_healthy_loom_passes_with_full_coverage(
    seed: int, level: str, joints: bool
) -> None:
    loom, rng = draw(seed, level, (4, 26), loops=False)
    made = plan(loom.harness, joints=joints)
    assume(not any("no probe reaches" in line or "no two points" in line for line in made.unproven))
    verdict = judge(loom.harness, read(loom, made.steps, rng))
    cover = verdict.coverage
    assert verdict.verdict == proven_at(loom.harness, level), (verdict.findings, verdict.untested)
    assert (cover.wires_tested, cover.parts_tested) == (cover.wires, cover.parts)
    assert cover.isolation_pairs_tested == cover.isolation_pairs
    assert not any(item.what == "continuity" for item in verdict.untested)


def proven_at(harness: Harness, level: str) -> str:
    """The most that a whole plan can prove: nothing where shorts are not looked for, or where a part stands
    across a net and every other, so that it has no pair of its own."""
    alone = required_pairs(harness, level).alone.any()
    return "not-proven" if level == "none" or alone else "pass"


@given(seed=SEEDS, level=LEVELS)
def test_with_loops_only_joints_that_no_reading_parts_stay_undecided(seed: int, level: str) -> None:
    loom, rng = draw(seed, level, (6, 26), loops=True)
    made = plan(loom.harness, joints=True)
    assume(not any("no probe reaches" in line or "no two points" in line for line in made.unproven))
    verdict = judge(loom.harness, read(loom, made.steps, rng))
    assert verdict.wiring == proven_at(loom.harness, level), (verdict.findings, verdict.untested)
    told = " ".join(line for line in made.unproven if "no reading tells" in line)
    for row in verdict.wires:
        assert row.verdict == "pass" or row.wire in told.replace(",", " ").replace(":", " ").split()


@given(seed=SEEDS, level=LEVELS, data=st.data())
def test_leaving_out_any_one_step_is_not_proven(seed: int, level: str, data: st.DataObject) -> None:
    loom, rng = draw(seed, level, (4, 20), loops=False)
    steps = list(plan(loom.harness).steps)
    left_out = data.draw(st.integers(0, len(steps) - 1), label="left out")
    verdict = judge(loom.harness, read(loom, steps[:left_out] + steps[left_out + 1 :], rng))
    assert verdict.verdict == "not-proven", steps[left_out]


def claims(harness: Harness, level: str, points: tuple[str, ...]) -> bool:
    """True where the level reads the nets of these two points against each other."""
    a, b = (np.array([harness.net_of[harness.code_of[point]]]) for point in points)
    return bool(required_pairs(harness, level).contains(a, b)[0])


@given(
    seed=SEEDS,
    level=LEVELS,
    kind=st.sampled_from(["open", "crossed", "misplaced", "short", "leakage", "part"]),
)
def test_any_single_fault_of_a_kind_that_the_level_claims_is_found(seed: int, level: str, kind: str) -> None:
    loom, rng = draw(seed, level, (4, 20), loops=False)
    fault = random_fault(loom, rng, kind)
    assume(fault is not None)
    assert fault is not None
    if kind in ("short", "leakage"):
        assume(claims(loom.harness, level, fault.points))
    faulty = loom.with_faults([fault])
    if kind not in ("part", "leakage"):  # what joins the same reachable points is no fault to a meter
        reach = np.flatnonzero(loom.harness.reachable)
        before, after = loom.copper()[reach], faulty.copper()[reach]
        assume(not np.array_equal(before[:, None] == before, after[:, None] == after))
    steps = list(plan(loom.harness).steps)
    verdict = judge(loom.harness, read(faulty, steps, rng))
    if (level, kind) == ("bonded", "leakage"):  # the comb shows a leak and not between which two nets
        assert verdict.verdict != "pass"
        assert set(fault.points) <= net_points(loom.harness, leak_named(faulty, steps, rng))
    else:
        assert verdict.verdict == "fail", fault


def leak_named(faulty: Loom, steps: list[Step], rng: np.random.Generator) -> set[str]:
    """The two points of the reading by which halving the comb ends: the only two that leak alone."""
    for _ in range(20):
        further = Guide(faulty.harness).next(read(faulty, steps, rng))
        if further is None:
            break
        steps.append(further)
    through = {frozenset((s.start, s.end)) for s in steps if s.what == "locate" and not s.bonded}
    named = [pair for pair in through if faulty.matrix()[tuple(faulty.points.index(p) for p in pair)] < 1e6]
    assert len(named) == 1
    return set(named[0])


def net_points(harness: Harness, points: set[str]) -> set[str]:
    """All points of the nets of these points, and of what parts join to them."""
    group = part_groups(harness)[harness.net_of]
    wanted = {int(group[harness.code_of[point]]) for point in points}
    return {point for point, own in zip(harness.points, group.tolist(), strict=True) if own in wanted}
