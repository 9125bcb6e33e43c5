"""What mending the findings of a run touches: the readings that it makes void, and what is asked again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from loomtest.bench.plan.done import Done, Walk
from loomtest.bench.plan.placing import place_steps
from loomtest.bench.plan.plan import Plan, Step, plan
from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.verdict import Finding
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.mended import Mended, void
from loomtest.readings.model import Readings
from loomtest.readings.together import taken
from loomtest.words.plan import SECONDS_PER_CLIP, SECONDS_PER_PROBING


def mended_by(findings: Iterable[Finding], name: str) -> Mended:
    """Where a mending hand goes: to a wire, between two circuits, or to the cavities of a swap."""
    wires: dict[str, None] = {}
    places: dict[str, None] = {}
    pairs: dict[tuple[str, str], None] = {}
    for finding in findings:
        wires.update(dict.fromkeys(suspect.wire for suspect in finding.suspects))
        if finding.fault in ("crossed", "misplaced"):
            for moves in (finding.moves, *(way.moves for way in finding.alternatives)):
                places.update(dict.fromkeys((*moves, *moves.values())))
        elif finding.fault in ("short", "leakage", "intermittent") and len(finding.points) == 2:
            pairs[finding.points[0], finding.points[1]] = None
    return Mended(name, tuple(wires), tuple(places), tuple(pairs))


def standing_after(harness: Harness, readings: Readings, mended: Mended) -> Readings:
    """What of the earlier readings still counts."""
    return taken(readings, (~void(readings, harness, mended)).nonzero()[0])


def asked_again(made: Plan, before: Readings, standing: Readings) -> tuple[Step, ...]:
    """The plan's steps that the earlier run had done and the mending made void: these come first."""
    was, now = Done(before), Done(standing)
    walk = Walk(made.steps)
    return tuple(
        step
        for index, step in enumerate(made.steps)
        if walk.had(was, step, index) and not walk.had(now, step, index)
    )


def still_to_do(made: Plan, standing: Readings, first: tuple[Step, ...]) -> tuple[Step, ...]:
    """Every step of the plan that no standing reading has done, the mended places first."""
    now, walk = Done(standing), Walk(made.steps)
    rest = [step for index, step in enumerate(made.steps) if not walk.had(now, step, index)]
    return (*first, *(step for step in rest if step not in first))


@dataclass(frozen=True)
class Mending:
    """An earlier run and what mending its findings leaves of it: `standing` are its readings that still
    count, `first` the steps of `made` that come before all others; `places`: what would tell where along
    their wires its findings are, to be read before they are mended."""

    mended: Mended
    standing: Readings
    first: tuple[Step, ...]
    made: Plan
    places: tuple[Step, ...] = ()


def mending(harness: Harness, run: str | Path, joints: bool = False, made: Plan | None = None) -> Mending:
    """The run at `run`, judged, its findings taken as mended; the plan is the one for the run's own level
    unless one is given. Raises InputError as `load_readings` does."""
    before = load_readings(run, harness)
    level = before.run.isolation if before.run is not None else None
    planned = made or plan(harness, level, joints)
    verdict = judge(harness, before, before.instrument)
    mended = mended_by((*verdict.findings, *verdict.undecided), Path(run).name)
    standing = standing_after(harness, before, mended)
    again = asked_again(planned, before, standing)
    return Mending(mended, standing, again, planned, place_steps(verdict))


def plan_after(harness: Harness, made: Plan | None, run: str | Path, joints: bool = False) -> Plan:
    """The plan of what is still to do after mending, the mended places first; before them what would tell
    where along their wires the faults are."""
    found = mending(harness, run, joints, made)
    steps = found.places + still_to_do(found.made, found.standing, found.first)
    numbered = tuple(replace(step, step=number) for number, step in enumerate(steps, 1))
    count = Counter(step.what for step in numbered)
    clips = sum(a.clip != b.clip for a, b in pairwise(numbered)) + bool(numbered)
    seconds = SECONDS_PER_PROBING * len(numbered) + SECONDS_PER_CLIP * clips
    totals = {
        **dict.fromkeys(found.made.totals, 0),
        **{what: count[what] for what in ("continuity", "loops", "joints", "isolation")},
        "parts": count["part"],
        **({"places": count["place"]} if found.places else {}),
        "clips": clips,
        "moves": clips,
        "minutes": round(seconds / 60),
    }
    bounds = {what: totals[what] for what in found.made.bounds}
    return replace(found.made, steps=numbered, totals=totals, bounds=bounds, ratio=1.0)
