"""How many random looms with faults are explained exactly: `python -m tests.scores.diagnosis`.

Exactly: the findings, applied to the wire list, reproduce every reading; there are no more of them than
faults were made; every bad joint, leak and wrong part is named. With only a plan's readings, a finding may
also be one of several that say by `next` what to probe. Beside it stands what a limit for each pair by
itself gives, the method that everyone uses.
"""

from __future__ import annotations

import argparse
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from loomtest.bench.plan.plan import plan
from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.model import IsolationLevel, Limits
from loomtest.readings.model import Readings
from loomtest.words.verdict import judge
from tests.looms import measure
from tests.looms.check import Score, one_limit_per_pair, score, untidy
from tests.looms.faults import KINDS, Fault, Loom
from tests.looms.scenario import Order, draw, shown_by

Rng = np.random.Generator


@dataclass(frozen=True)
class Experiment:
    """One line of the table. `aim`: the share to reach. `scan`: which pairs are read: all; the plan's with
    each pair of nets shown apart once (`plan`); the plan's with nets tied together by a comb (`comb`)."""

    name: str
    order: Order
    scan: str = "all pairs"
    aim: float = 0.0
    meter: measure.Meter = field(default_factory=measure.FourWire)


def experiments() -> list[Experiment]:
    """The lines of the table, in order."""
    out = [Experiment(f"{n} on own nets", Order(n), aim=0.995) for n in (1, 2, 3)]
    out += [Experiment(f"{n} overlapping", Order(n, overlap=True), aim=0.95) for n in (2, 3, 4)]
    out += [Experiment(f"1 {kind}", Order(1, (kind,)), aim=0.995) for kind in KINDS]
    for scan in ("plan", "comb"):
        out += [Experiment(f"{n} on own nets, {scan}", Order(n), scan, 0.995) for n in (1, 2, 3)]
        out += [Experiment(f"{n} overlapping, {scan}", Order(n, overlap=True), scan, 0.95) for n in (2, 3, 4)]
    wiring = ("open", "short", "leakage", "crossed", "misplaced")
    handheld = measure.Handheld()
    out += [Experiment(f"{n} own, handheld", Order(n, wiring), meter=handheld, aim=0.995) for n in (1, 2)]
    return out


def plan_readings(loom: Loom, level: IsolationLevel, rng: Rng, meter: measure.Meter) -> Readings:
    """What a person reads who follows `loomtest plan --joints`, without asking for more."""
    code = loom.harness.code_of
    steps = [s for s in plan(loom.harness, level, joints=True).steps if s.quantity == "resistance"]
    pairs = [(code[s.start], code[s.end]) for s in steps if not s.bonded]
    ties = [((code[s.start], code[s.end]), ((), tuple(code[p] for p in s.bonded))) for s in steps if s.bonded]
    return measure.measure(loom, pairs, rng, meter, ties)


def readings_of(experiment: Experiment, seed: int) -> tuple[Loom, Readings]:
    """The loom and its readings; the same seed gives the same."""
    rng = np.random.default_rng([seed, *experiment.name.encode()])
    loom = draw(rng, experiment.order)
    if experiment.scan == "all pairs":
        return loom, measure.full_scan(loom, rng, experiment.meter)
    level: IsolationLevel = "bonded" if experiment.scan == "comb" else "full"
    loom = replace(loom, harness=replace(loom.harness, limits=Limits(isolation=level)))
    return loom, plan_readings(loom, level, rng, experiment.meter)


@dataclass(frozen=True)
class Outcome:
    """What one loom gave."""

    seed: int
    score: Score
    baseline: bool
    untidy: tuple[str, ...] = ()


def one(experiment: Experiment, seed: int) -> Outcome:
    """Draws, measures, judges and scores one loom; whatever judge raises is a failure of its own."""
    loom, readings = readings_of(experiment, seed)
    baseline = one_limit_per_pair(loom.harness, readings) == len(loom.faults)
    try:
        verdict = judge(loom.harness, readings, readings.instrument)
    except Exception as problem:
        place = traceback.extract_tb(problem.__traceback__)[-1]
        where = f"{place.filename.rpartition('/')[2]}:{place.lineno}"
        raised = f"raised {type(problem).__name__} at {where}"
        return Outcome(seed, Score(False, False, False, (f"{raised}: {problem}",), raised), baseline)
    required = required_of(experiment, loom, readings)
    said = experiment.scan != "all pairs"
    return Outcome(seed, score(loom, readings, verdict, required, said), baseline, tuple(untidy(verdict)))


def required_of(experiment: Experiment, loom: Loom, readings: Readings) -> tuple[Fault, ...]:
    """The faults that these readings show."""
    return loom.faults if experiment.scan == "all pairs" else shown_by(loom, readings)


def show(experiment: Experiment, seed: int) -> None:
    """Prints one loom, its faults, what was found and what is wrong with it."""
    loom, readings = readings_of(experiment, seed)
    print(f"{experiment.name}, seed {seed}: {len(loom.harness.wires)} rows, {len(readings)} readings")
    for fault in loom.faults:
        print(f"  made   {fault.fault}: {fault.detail}; {fault.points} {fault.moves or ''}")
    verdict: Verdict = judge(loom.harness, readings, readings.instrument)
    for kind, findings in (("found", verdict.findings), ("maybe", verdict.undecided)):
        for f in findings:
            suspects = [(s.wire, s.end, s.probability) for s in f.suspects]
            print(
                f"  {kind}  {f.fault}: {f.points} {dict(f.moves) or ''} {suspects}; {f.text} | next: {f.next}"
            )
            for way in f.alternatives:
                print(f"           or {dict(way.moves)}")
    outcome = one(experiment, seed)
    print("  exact" if outcome.score.exact else "  NOT EXACT", "named" if outcome.score.named else "")
    for reason in (*outcome.score.reasons, *outcome.untidy):
        print("   -", reason)
    nets = {int(loom.harness.net_of[loom.harness.code_of[p]]) for f in loom.faults for p in places(loom, f)}
    for wire in loom.harness.wires:
        own = {int(loom.harness.net_of[loom.harness.code_of[p]]) for p in (wire.start, wire.end)}
        if own & nets:
            print(f"    {wire.name} {wire.start} {wire.end} {wire.kind}")
    print("    unreachable:", sorted(loom.harness.unreachable))


def places(loom: Loom, fault: Fault) -> Iterator[str]:
    """The points that a fault has to do with and that the wire list knows."""
    known = loom.harness.code_of
    yield from (p for p in [*fault.points, *fault.moved.values()] if p in known)
    for w in fault.wires:
        yield from (loom.harness.wires[w].start, loom.harness.wires[w].end)


def without(experiment: Experiment, kinds: Sequence[str]) -> Experiment:
    """The same experiment with some kinds of fault left out."""
    kept = tuple(k for k in experiment.order.kinds if k not in kinds)
    return replace(experiment, order=replace(experiment.order, kinds=kept or experiment.order.kinds))


def table(chosen: Sequence[Experiment], count: int, seed: int, jobs: int) -> None:
    """Runs the experiments and prints the table and every failure."""
    failures: list[tuple[str, Outcome]] = []
    print(f"{'faults':26} looms    exact    named    fewer  one limit a pair     aim")
    for experiment in chosen:
        outcomes = list(_mapped(partial(one, experiment), range(seed, seed + count), jobs))
        share = [np.mean([getattr(o.score, what) for o in outcomes]) for what in ("exact", "named", "fewer")]
        base = np.mean([o.baseline for o in outcomes])
        cells = "".join(f" {100 * s:7.1f}%" for s in share)
        print(
            f"{experiment.name:24} {count:6}{cells} {100 * base:16.1f}% {100 * experiment.aim:6.1f}%",
            flush=True,
        )
        failures += [(experiment.name, o) for o in outcomes if not o.score.exact or o.untidy]
    print("\nfailures by kind:")
    for group, number in Counter(o.score.group or "untidy" for _, o in failures).most_common():
        print(f"  {number:4}  {group}")
    print("\nevery failure (experiment: seed: reasons):")
    for name, outcome in failures:
        print(f"  {name}: {outcome.seed}: {'; '.join((*outcome.score.reasons, *outcome.untidy))[:300]}")


def _mapped(work: Callable[[int], Outcome], seeds: range, jobs: int) -> Iterator[Outcome]:
    if jobs == 1:
        yield from map(work, seeds)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(work, seeds, chunksize=5)


def main() -> None:
    """Reads the options and prints."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=200, help="looms for each line of the table")
    parser.add_argument("--seed", type=int, default=0, help="seed of the first loom")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--only", default="", help="only the lines whose name holds this")
    parser.add_argument("--show", type=int, help="print the loom of this seed of the line named by --only")
    parser.add_argument("--without", nargs="*", default=[], choices=KINDS, help="kinds of fault to leave out")
    options = parser.parse_args()
    chosen = [without(e, options.without) for e in experiments() if options.only in e.name]
    if options.show is not None:
        show(next((e for e in chosen if e.name == options.only), chosen[0]), options.show)
    else:
        table(chosen, options.count, options.seed, options.jobs)


if __name__ == "__main__":
    main()
