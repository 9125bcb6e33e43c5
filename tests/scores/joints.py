"""How well joints are judged, beside the exact posterior: `python -m tests.scores.joints [--quick]`.

1. Coverage of `interval_ohms` and calibration of `bad_probability` over random looms whose truth follows
   `[expect]`, bad joints included, for several meters and ways of probing.
2. Detection: 1 − ROC area over wires, at most one bad joint of 20–200 mΩ in a loom, independent noise of
   10, 20 and 30 mΩ, beside the exact posterior under the true model (tests/scores/exact_joints.py), and
   beside the exact posterior that is told of an excess only what `[expect]` says of it (10 mΩ to 100 Ω).
3. The ordinary two-wire meter with unknown leads: how often a bad joint of a given size is found, and how
   many healthy looms raise an alarm, beside the exact posterior of that meter
   (tests/scores/exact_ordinary.py), which raises an alarm at the same confidence.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from loomtest.diagnosis.joints import report as joints
from loomtest.diagnosis.wiring import as_drawn
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Expect, Harness
from loomtest.readings.model import Instrument, Quantity, Readings
from tests.looms.faults import Loom, healthy_loom
from tests.looms.generate import Recipe, random_harness
from tests.looms.measure import FourWire, Handheld, Meter, continuity_pairs, measure
from tests.looms.solve import FloatArray
from tests.scores.exact_joints import Prior, area_above, bad_probabilities
from tests.scores.exact_ordinary import ordinary_posterior

Rng = np.random.Generator
Pair = tuple[int, int]
METER = Instrument("four-wire meter of the tests", method="four-wire", lead_ohms=0.0)
PLAIN = Recipe(parts=False, fuses=False)


def net_pairs(harness: Harness) -> list[Pair]:
    """Every pair of reachable points of one net."""
    out = []
    for net in harness.nets:
        own = [p for p in net.points if harness.reachable[p]]
        out += [(a, b) for n, a in enumerate(own) for b in own[n + 1 :]]
    return out


def judged(loom: Loom, readings: Readings) -> joints.JointReport:
    """The report on a loom that is wired as drawn."""
    instrument = readings.instrument or METER
    return joints.estimate(
        loom.harness, as_drawn(loom.harness), readings, instrument, expectation_of(loom.harness)
    )


def with_bad_joints(loom: Loom, rng: Rng) -> Loom:
    """Bad joints at the rate of `[expect]`, their excess log-uniform from 10 mΩ to 100 Ω."""
    bad = (rng.random(loom.ohms.size) < loom.harness.expect.bad_joint_rate) & loom.harness.conducts
    excess = np.exp(rng.uniform(np.log(0.01), np.log(100.0), loom.ohms.size))
    return replace(loom, ohms=loom.ohms + np.where(bad, excess, 0.0))


def noisy(loom: Loom, pairs: Sequence[Pair], noise: float, rng: Rng) -> Readings:
    """Four-wire readings with independent normal noise, negative values left as they are."""
    start, end = (np.array(side, dtype=np.int64) for side in zip(*pairs, strict=True))
    value = loom.matrix()[start, end] + noise * rng.normal(size=len(pairs))
    blank = np.full(len(pairs), np.nan)
    return Readings(
        points=loom.points,
        start=start,
        end=end,
        quantity=np.full(len(pairs), int(Quantity.RESISTANCE_4W)),
        value=value,
        above_ohm=blank,
        current_a=blank,
        uncertainty=np.full(len(pairs), noise),
        temperature_c=blank,
        row=np.arange(2, len(pairs) + 2),
    )


@dataclass(frozen=True)
class Calibration:
    """Per wire or group: inside its interval, given probability of being bad, bad in truth."""

    inside: FloatArray
    given: FloatArray
    bad: FloatArray

    def reliability(self) -> list[tuple[float, float, int, float, float]]:
        """(from, to, count, mean given, share bad) of each bin that holds anything."""
        edges = [0, 0.002, 0.01, 0.03, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0001]
        out = []
        for low, high in pairwise(edges):
            at = (self.given >= low) & (self.given < high)
            if at.any():
                out.append(
                    (
                        low,
                        min(high, 1.0),
                        int(at.sum()),
                        float(self.given[at].mean()),
                        float(self.bad[at].mean()),
                    )
                )
        return out


def calibration(seed: int, looms: int, meter: Meter, all_pairs: bool, wires: int = 30) -> Calibration:
    """Judge random looms whose truth follows `[expect]`; groups count once."""
    inside, given, bad = [], [], []
    for number in range(looms):
        rng = np.random.default_rng([seed, number])
        harness = random_harness(rng, replace(PLAIN, wires=wires))
        loom = with_bad_joints(healthy_loom(harness, rng), rng)
        own = replace(meter, lead_ohm=float(rng.uniform(0.0, 0.5))) if isinstance(meter, Handheld) else meter
        pairs = net_pairs(harness) if all_pairs else continuity_pairs(harness, rng)
        report = judged(loom, measure(loom, pairs, rng, own))
        number_of = {wire.name: index for index, wire in enumerate(harness.wires)}
        limits = expectation_of(harness).limit_ohm
        for row in report.rows:
            group = [row.wire, *row.group]
            if row.interval_ohms is None or row.bad_probability is None or row.wire != min(group):
                continue
            at = [number_of[name] for name in group]
            truth = float(loom.ohms[at].sum())
            inside.append(row.interval_ohms[0] <= truth <= row.interval_ohms[1])
            given.append(row.bad_probability)
            bad.append(truth > limits[at].sum())
    return Calibration(*(np.array(column, dtype=np.float64) for column in (inside, given, bad)))


@dataclass(frozen=True)
class Detection:
    """1 − ROC area of the report's probability, of the exact posterior under the true model, and of the
    exact posterior that is told `[expect]`."""

    ours: float
    exact: float
    told: float
    wires: int
    bad: int


def detection(
    seed: int, looms: int, noise: float, all_pairs: bool, wires: int = 24, expect: Expect = PLAIN.expect
) -> Detection:
    """At most one bad joint of 20–200 mΩ in each loom, readings with independent noise."""
    prior = Prior()
    expected = Prior(
        expect.bad_joint_from_milliohms / 1e3,
        expect.bad_joint_to_ohms,
        prior.harness_bad,
        PLAIN.limits.bad_joint_milliohms / 1e3,
    )
    ours, exact, told, label = [], [], [], []
    for number in range(looms):
        rng = np.random.default_rng([seed, number])
        harness = random_harness(rng, replace(PLAIN, wires=wires, expect=expect))
        loom = healthy_loom(harness, rng)
        bad = int(rng.integers(len(harness.wires))) if rng.random() < prior.harness_bad else -1
        if bad >= 0:
            loom.ohms[bad] += np.exp(rng.uniform(np.log(prior.low_ohm), np.log(prior.high_ohm)))
        pairs = net_pairs(harness) if all_pairs else continuity_pairs(harness, rng)
        readings = noisy(loom, pairs, noise, rng)
        exact.append(bad_probabilities(harness, pairs, readings.value, noise, prior))
        told.append(bad_probabilities(harness, pairs, readings.value, noise, expected))
        rows = judged(loom, readings).rows
        ours.append(np.array([row.bad_probability for row in rows], dtype=np.float64))
        label.append(np.arange(len(harness.wires)) == bad)
    truth = np.concatenate(label).astype(np.float64)
    return Detection(
        area_above(np.concatenate(ours), truth),
        area_above(np.concatenate(exact), truth),
        area_above(np.concatenate(told), truth),
        truth.size,
        int(truth.sum()),
    )


@dataclass(frozen=True)
class Ordinary:
    """Share of looms in which a bad joint of this size is found, alone and named; `alarms`: looms with any
    finding. The same of the exact posterior."""

    excess_ohm: float
    looms: int
    found: float
    alarms: int
    exact_found: float
    exact_alarms: int


def touched_again(
    loom: Loom, pairs: Sequence[Pair], rng: Rng, meter: Handheld, poor: float = 0.0
) -> tuple[joints.JointReport, Readings]:
    """Report and first readings of a session that touches again, up to twice, what looks bad once; a share
    `poor` of all touches reads 0.3 Ω more."""

    def take(some: Sequence[Pair]) -> Readings:
        readings = measure(loom, some, rng, meter)
        return replace(readings, value=readings.value + 0.3 * (rng.random(len(some)) < poor))

    first = readings = take(pairs)
    report = judged(loom, readings)
    for _ in range(2):
        doubtful = {suspect.wire for finding in report.undecided for suspect in finding.suspects}
        wires = [w for w, wire in enumerate(loom.harness.wires) if wire.name in doubtful]
        again = [pair for pair in pairs if any(_leads_over(loom.harness, pair, w) for w in wires)]
        if not again:
            break
        readings = joined(readings, take(again))
        report = judged(loom, readings)
    return report, first


def _leads_over(harness: Harness, pair: Pair, wire: int) -> bool:
    return bool(harness.net_of[pair[0]] == harness.net_of[harness.start[wire]])


def joined(one: Readings, other: Readings) -> Readings:
    """Both, one after the other."""
    names = ("start", "end", "quantity", "value", "above_ohm", "current_a", "uncertainty", "temperature_c")
    both = {name: np.concatenate([getattr(one, name), getattr(other, name)]) for name in names}
    return replace(one, **both, row=np.arange(2, len(both["value"]) + 2))


def ordinary(
    seed: int, looms: int, excess_ohm: float, meter: Handheld, wires: int = 24, exact: bool = True
) -> Ordinary:
    """The two-wire meter with unknown leads on the plan's pairs; excess 0: healthy looms."""
    found = alarms = exact_found = exact_alarms = 0
    for number in range(looms):
        rng = np.random.default_rng([seed, number])
        harness = random_harness(rng, replace(PLAIN, wires=wires))
        loom = healthy_loom(harness, rng)
        bad = int(rng.integers(len(harness.wires)))
        loom.ohms[bad] += excess_ohm
        own = replace(meter, lead_ohm=float(rng.uniform(0.05, 0.45)))
        pairs = continuity_pairs(harness, rng)
        report, readings = touched_again(loom, pairs, rng, own)
        alarms += bool(report.findings)
        named = [suspect.wire for finding in report.findings for suspect in finding.suspects]
        found += len(report.findings) == 1 and harness.wires[bad].name in named
        if exact:
            suspects = ordinary_posterior(harness, pairs, readings.value, own).suspects(
                harness.limits.confidence
            )
            exact_alarms += bool(suspects)
            exact_found += bad in suspects
    return Ordinary(excess_ohm, looms, found / looms, alarms, exact_found / looms, exact_alarms)


def main() -> None:
    """Print the experiments."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a tenth of the looms")
    parser.add_argument("--part", type=int, choices=(1, 2, 3), help="only one of the three experiments")
    arguments = parser.parse_args()
    quick = 10 if arguments.quick else 1
    for number, part in enumerate((_calibrated, _detected, _ordinary), 1):
        if arguments.part in (None, number):
            part(quick)


def _calibrated(quick: int) -> None:
    print(
        "1. Truth as [expect] says, bad joints at 2 %: coverage of intervals, calibration of bad_probability"
    )
    cases: list[tuple[str, Meter, bool]] = [
        ("four-wire 1 mΩ, all pairs", FourWire(0.001, 0.0), True),
        ("four-wire 1 mΩ, plan", FourWire(0.001, 0.0), False),
        ("four-wire 10 mΩ, all pairs", FourWire(0.010, 0.0), True),
        ("four-wire 10 mΩ, plan", FourWire(0.010, 0.0), False),
        ("two-wire 3½ digits, leads unknown, all pairs", Handheld(), True),
        ("two-wire 3½ digits, leads unknown, plan", Handheld(), False),
    ]
    for name, meter, all_pairs in cases:
        c = calibration(1, 300 // quick, meter, all_pairs)
        print(f"   {name}: coverage {100 * c.inside.mean():.1f} % of {c.inside.size}")
        for low, high, count, given, bad in c.reliability():
            print(f"      given {low:5.3f}-{high:5.3f}: {count:6d} wires, mean {given:.4f}, bad {bad:.4f}")


def _detected(quick: int) -> None:
    print("2. One bad joint of 20-200 mΩ or none: 1 - ROC area over wires, beside the exact posterior")
    told = Expect(bad_joint_from_milliohms=20.0, bad_joint_to_ohms=0.2)
    for all_pairs in (True, False):
        for noise in (0.010, 0.020, 0.030):
            d = detection(2, 300 // quick, noise, all_pairs, expect=told)
            print(
                f"   [expect] says 20 mΩ to 0.2 Ω, {'all pairs' if all_pairs else 'plan'}, noise "
                f"{1e3 * noise:.0f} mΩ: ours {d.ours:.5f}, exact {d.exact:.5f}, ratio {d.ours / d.exact:.3f}",
                flush=True,
            )
    for all_pairs in (True, False):
        for noise in (0.010, 0.020, 0.030):
            d = detection(2, 300 // quick, noise, all_pairs)
            print(
                f"   {'all pairs' if all_pairs else 'plan'}, noise {1e3 * noise:.0f} mΩ: ours {d.ours:.5f}, "
                f"exact {d.exact:.5f}, ratio {d.ours / d.exact:.3f}; exact told [expect] {d.told:.5f}, ratio "
                f"{d.ours / d.told:.3f} ({d.bad} bad of {d.wires} wires)",
                flush=True,
            )


def _ordinary(quick: int) -> None:
    print("3. Ordinary two-wire meter, leads unknown, the plan's pairs: found alone and named")
    for name, meter in (("3½ digits", Handheld()), ("3½ digits, steadier touch", Handheld(touch_ohm=0.01))):
        healthy = ordinary(3, 100 // min(quick, 5), 0.0, meter)
        print(
            f"   {name}: {healthy.alarms} of {healthy.looms} healthy looms raise an alarm, exact "
            f"{healthy.exact_alarms}"
        )
        for excess in (0.1, 0.15, 0.2, 0.25, 0.3):
            o = ordinary(4, 200 // quick, excess, meter)
            print(
                f"   {name}: {1e3 * excess:.0f} mΩ found in {100 * o.found:.0f} % of {o.looms}, exact "
                f"{100 * o.exact_found:.0f} %"
            )


if __name__ == "__main__":
    main()
