"""The verdict on a harness from its readings: one pure function."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from loomtest.diagnosis.assembly import Evidence, intermittent_shorts, verdict_of
from loomtest.diagnosis.doubts.gate import AsFound, doubted
from loomtest.diagnosis.doubts.removed import held_back
from loomtest.diagnosis.faults.findings import findings_of
from loomtest.diagnosis.faults.leakage import FoundLabels, leakage_findings, with_parts_joined
from loomtest.diagnosis.faults.parts import PART_SLACK_OHM, judge_parts
from loomtest.diagnosis.faults.scenes import net_codes, scenes_of
from loomtest.diagnosis.faults.swapped import swapped_or_broken
from loomtest.diagnosis.faults.switches import Switches, left_on, switches_of, without
from loomtest.diagnosis.faults.through import explained_by_parts
from loomtest.diagnosis.faults.unexplained import unexplained
from loomtest.diagnosis.faults.weighing import MeasuredLoom, nets_as_found, weighed, wiring_found
from loomtest.diagnosis.joints.estimate import prior_of
from loomtest.diagnosis.joints.report import estimate
from loomtest.diagnosis.markers.facts import MarkerFacts
from loomtest.diagnosis.markers.seen import seen_of, wires_proved
from loomtest.diagnosis.markers.undecided import marker_findings
from loomtest.diagnosis.numbers.network import component_labels
from loomtest.diagnosis.numbers.statistics import median
from loomtest.diagnosis.place.pieces import with_break
from loomtest.diagnosis.place.taken import Bench
from loomtest.diagnosis.place.told import placed, placing_drops
from loomtest.diagnosis.seen.coverage import isolation_coverage
from loomtest.diagnosis.seen.isolation import isolation_level
from loomtest.diagnosis.seen.observe import Observations
from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.diagnosis.why import LeftOn, MeterNotGiven, Remark
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.changed import changed_settings
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import BoolArray, Harness, IntArray, Limits
from loomtest.readings.generic import UNKNOWN_LEADS_OHM, generic_handheld
from loomtest.readings.model import NO_JOB, Instrument, Quantity, Readings

_AT_AN_END = 0.02  # share of a wire: what is nearer may be plugged in there


def judge(harness: Harness, readings: Readings, instrument: Instrument | None = None) -> Verdict:
    """What the readings say about the harness.

    The instrument is the one given, else the run's own, else a generic 3½-digit handheld meter, which the
    verdict's notes then say. Never raises for what readings say of each other.
    """
    meter = instrument or readings.instrument or generic_handheld()
    everything = readings
    readings = without(readings, readings.quantity == Quantity.CAPACITANCE)  # it tells places, never joints
    seen, marker = seen_of(harness, readings, meter)
    switches = switches_of(harness, readings, seen)
    if switches.set_aside.any():
        readings = without(readings, switches.set_aside)
        seen, marker = seen_of(harness, readings, meter)
    evidence = _evidence(harness, readings, meter, (seen, marker, switches))
    drops = placing_drops(_bench(evidence, readings, meter), evidence.wiring_findings)
    if drops.any():
        readings = without(readings, drops)
        seen, marker = seen_of(harness, readings, meter)
        evidence = _evidence(harness, readings, meter, (seen, marker, switches))
    bench = _bench(evidence, everything, meter)
    placing = placing_drops(bench, evidence.wiring_findings)
    where = tuple(with_break(bench, finding) for finding in placed(bench, evidence.wiring_findings))
    pairs = list(zip(evidence.wiring_findings, where, strict=True))
    left = tuple(one for one in evidence.unexplained if not _within_a_wire(one, pairs))
    run = readings.run
    return replace(
        verdict_of(replace(evidence, wiring_findings=where, unexplained=left)),
        rehearsal=run is not None and run.rehearsal,
        job=run.job if run is not None else NO_JOB,
        withdrawn=readings.withdrawn,
        marked=0 if readings.marked is None else len(readings.marked),
        settings=changed_settings(harness, _temperature_c(readings)),
        placing=tuple(placing.nonzero()[0].tolist()),
    )


def _within_a_wire(doubt: Finding, pairs: Sequence[tuple[Finding, Finding]]) -> bool:
    """Whether no switch or part was left on after all: the short lies inside the wire, off its ends. `pairs`:
    every finding before it was placed, and after."""
    if not isinstance(doubt.why, LeftOn):
        return False
    places = [told.place for one, told in pairs if set(one.points) == set(doubt.points)]
    return any(
        place is not None
        and place.interval_share[0] > _AT_AN_END
        and place.interval_share[1] < 1 - _AT_AN_END
        for place in places
    )


def _bench(evidence: Evidence, readings: Readings, meter: Instrument) -> Bench:
    expectation = expectation_of(evidence.harness, _temperature_c(readings))
    return Bench(evidence.harness, readings, meter, expectation, evidence.wiring)


def _evidence(
    harness: Harness, readings: Readings, meter: Instrument, told: tuple[Observations, MarkerFacts, Switches]
) -> Evidence:
    """The loom as found, its wires, and what of it was shown."""
    seen, marker, switches = told
    expectation = expectation_of(harness, _temperature_c(readings))
    scenes = scenes_of(harness, readings.points, seen)
    explained = weighed(MeasuredLoom(harness, readings, meter, expectation), scenes)
    wiring = wiring_found(harness, explained)
    size = len(readings.points)
    labels = _found_labels(harness, size, wiring)
    parts = judge_parts(harness, wiring, readings, seen, labels, _part_slack_ohm(meter))
    parts = replace(parts, tested=parts.tested | switches.tested)
    leaks = leakage_findings(
        harness,
        readings.points,
        seen,
        _leak_labels(harness, size, wiring),
        _telling(readings, seen, harness.limits),
    )
    names = readings.points
    found = [finding for one in explained for finding in findings_of(one)]
    found, swaps = swapped_or_broken(harness, found, _probed(names, seen, found))
    asked = (*swaps, *switches.undecided, *left_on(harness, found))
    joints = estimate(harness, wiring, readings, meter, expectation)
    joints = replace(joints, tested=joints.tested | wires_proved(harness, wiring, marker.joined, size))
    decided = (*found, *switches.findings, *parts.findings, *leaks, *_touching(names, seen, labels))
    slack_ohm = _part_slack_ohm(meter)
    as_found = AsFound(harness, wiring, joints, labels, (*decided, *joints.findings), slack_ohm)
    joints = held_back(as_found, readings, prior_of(harness, expectation))
    as_found = replace(as_found, joints=joints)
    return Evidence(
        harness,
        wiring,
        decided,
        joints,
        parts,
        isolation_coverage(
            harness,
            seen,
            nets_as_found(net_codes(harness, size), explained),
            _proven(harness, wiring, joints.tested),
            isolation_level(harness, readings.run),
            explained_by_parts(harness, wiring, seen, labels, slack_ohm),
        ),
        (
            *asked,
            *unexplained(names, seen, labels, with_parts_joined(harness, labels, wiring)),
            *marker_findings(harness, names, marker.doubts, joints.tested),
        ),
        doubted(as_found, readings, (seen, marker), meter),
        (*_assumed(meter), *joints.remarks),
    )


def _touching(names: Sequence[str], seen: Observations, labels: IntArray) -> list[Finding]:
    """Pairs of different circuits read both joined and over-range."""
    pairs = [(names[a], names[b]) for a, b in seen.contradictory.tolist()]
    differ = labels[seen.contradictory[:, 0]] != labels[seen.contradictory[:, 1]]
    return intermittent_shorts(pairs, differ.tolist())


def _proven(harness: Harness, wiring: Wiring, tested: BoolArray) -> IntArray:
    """(k, 2) ends of the wires and fuses that readings showed to conduct, where they sit."""
    whole = tested & harness.conducts & wiring.joined
    return np.stack([wiring.start[whole], wiring.end[whole]], axis=1)


def _temperature_c(readings: Readings) -> float | None:
    return readings.run.temperature_c if readings.run is not None else None


def _assumed(meter: Instrument) -> tuple[Remark, ...]:
    return (MeterNotGiven(meter.name),) if meter.assumed else ()


def _part_slack_ohm(meter: Instrument) -> float:
    """What leads, touch and the wires on the way may add to a reading across a part."""
    if meter.method == "four-wire":
        return PART_SLACK_OHM
    leads = UNKNOWN_LEADS_OHM[1] if meter.lead_ohms is None else meter.lead_ohms
    return PART_SLACK_OHM + leads + 3 * meter.lead_uncertainty_ohms + 3 * meter.touch_ohms


def _probed(names: Sequence[str], seen: Observations, of: Sequence[Finding]) -> set[frozenset[str]]:
    """Pairs of the findings' points that some reading joined or parted."""
    named = {point for finding in of for point in finding.points}
    asked = np.array([name in named for name in names], dtype=np.bool_)
    kept = asked[seen.pair_start] & asked[seen.pair_end]
    pairs = zip(seen.pair_start[kept].tolist(), seen.pair_end[kept].tolist(), strict=True)
    return {frozenset((names[a], names[b])) for a, b in pairs}


def _found_labels(harness: Harness, size: int, wiring: Wiring) -> IntArray:
    """(P,) what wires, fuses and shorts join as found."""
    whole = harness.conducts & wiring.joined
    a = np.concatenate([wiring.start[whole], wiring.shorts[:, 0]])
    b = np.concatenate([wiring.end[whole], wiring.shorts[:, 1]])
    return component_labels(size, a, b)


def _leak_labels(harness: Harness, size: int, wiring: Wiring) -> FoundLabels:
    no_shorts = replace(wiring, shorts=wiring.shorts[:0])
    unbroken = replace(wiring, joined=np.ones_like(wiring.joined))
    return FoundLabels(
        _found_labels(harness, size, no_shorts),
        with_parts_joined(harness, _found_labels(harness, size, wiring), wiring),
        _found_labels(harness, size, unbroken),
    )


def _telling(readings: Readings, seen: Observations, limits: Limits) -> float:
    """Share by which two large readings must differ to be told apart: four stated uncertainties, else 2 %."""
    large = (seen.low_ohm == seen.high_ohm) & (seen.low_ohm >= limits.short_below_ohms)
    stated = readings.uncertainty[large] / seen.low_ohm[large]
    stated = stated[np.isfinite(stated)]
    return 4.0 * median(stated) if len(stated) else 0.02
