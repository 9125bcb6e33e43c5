"""The verdict on a harness from its readings: one pure function."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.assembly import Evidence, intermittent_shorts, verdict_of
from loomtest.diagnosis.coverage import isolation_coverage
from loomtest.diagnosis.explain import Solution, explain
from loomtest.diagnosis.findings import Told, crossed_or_broken, findings_of
from loomtest.diagnosis.joints import alternative_log_likelihoods, estimate
from loomtest.diagnosis.leakage import FoundLabels, leakage_findings, with_parts_joined
from loomtest.diagnosis.network import component_labels
from loomtest.diagnosis.observe import Observations, observe
from loomtest.diagnosis.plugged import judge_parts
from loomtest.diagnosis.scene import Scene
from loomtest.diagnosis.scenes import likeliness_of, net_codes, scenes_of
from loomtest.diagnosis.statistics import median
from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.diagnosis.wiring import Wiring, as_drawn
from loomtest.harness.copper import Expectation, expectation_of
from loomtest.harness.model import Harness, IntArray, Limits
from loomtest.readings.instrument import generic_handheld
from loomtest.readings.model import Instrument, Readings

_TRIED = 8  # explanations of equal cost, and of one fault more, tried against the resistances
_PART_SLACK_OHM = 0.2  # what wires and joints on the way to a part may add
_UNKNOWN_LEADS_OHM = 0.5  # contract: leads nobody stated have 0 to 0.5 Ω


def judge(harness: Harness, readings: Readings, instrument: Instrument | None = None) -> Verdict:
    """What the readings say about the harness.

    The instrument is the one given, else the run's own, else a generic 3½-digit handheld meter, which the
    verdict's notes then say. Never raises for what readings say of each other.
    """
    meter = instrument or readings.instrument or generic_handheld()
    run = _Run(harness, readings, meter, expectation_of(harness, _temperature_c(readings)))
    seen = observe(readings, meter, harness.limits)
    told = [_told(run, scene) for scene in scenes_of(harness, readings.points, seen)]
    wiring = _wiring_found(harness, told)
    size = len(readings.points)
    labels = _found_labels(harness, size, wiring)
    parts = judge_parts(harness, wiring, readings, seen, labels, _part_slack_ohm(meter))
    leaks = leakage_findings(
        harness,
        readings.points,
        seen,
        _leak_labels(harness, size, wiring),
        _telling(readings, seen, harness.limits),
    )
    names = readings.points
    pairs = [(names[a], names[b]) for a, b in seen.contradictory.tolist()]
    differ = labels[seen.contradictory[:, 0]] != labels[seen.contradictory[:, 1]]
    touching = intermittent_shorts(harness, pairs, differ.tolist())
    found = [finding for one in told for finding in findings_of(one)]
    if len(found) > 1:
        found = crossed_or_broken(harness, found, _probed(names, seen, found))
    joints = estimate(harness, wiring, readings, meter, run.expectation)
    evidence = Evidence(
        harness,
        (*found, *parts.findings, *leaks, *touching),
        joints,
        parts,
        isolation_coverage(harness, seen, _nets_as_found(net_codes(harness, size), told)),
        (*_assumed(meter), *joints.notes),
    )
    return verdict_of(evidence)


@dataclass(frozen=True)
class _Run:
    harness: Harness
    readings: Readings
    instrument: Instrument
    expectation: Expectation


def _temperature_c(readings: Readings) -> float | None:
    return readings.run.temperature_c if readings.run is not None else None


def _assumed(meter: Instrument) -> tuple[str, ...]:
    if not meter.assumed:
        return ()
    return (
        f"No instrument was stated: a {meter.name} with unknown leads is assumed. "
        "Name yours with --instrument for a surer verdict.",
    )


def _part_slack_ohm(meter: Instrument) -> float:
    """What leads, touch and the wires on the way may add to a reading across a part."""
    if meter.method == "four-wire":
        return _PART_SLACK_OHM
    leads = _UNKNOWN_LEADS_OHM if meter.lead_ohms is None else meter.lead_ohms
    return _PART_SLACK_OHM + leads + 3 * meter.lead_uncertainty_ohms + 3 * meter.touch_ohms


def _told(run: _Run, scene: Scene) -> Told:
    """The scene's explanations, weighed by the resistances where the placements differ."""
    likeliness = likeliness_of(run.harness, run.readings.points, scene)
    solutions, dearer = explain(scene, likeliness)
    told = Told(run.harness, run.readings.points, scene, likeliness, tuple(solutions))
    readings = _within(run.readings, scene)
    if not len(readings):
        return told
    best = _with_fewest_joints(run, told, readings, [*solutions[:_TRIED], *dearer[:_TRIED]])
    alike = [s for s in solutions if _shape(s) == _shape(best)]  # the same readings are used in each
    if len(alike) < 2 or not best.move_faults:
        return replace(told, solutions=(best, *(s for s in solutions if s is not best)))
    wirings = [_wiring_found(run.harness, [told], solution) for solution in alike]
    fit = alternative_log_likelihoods(run.harness, wirings, readings, run.instrument, run.expectation)
    weighed = [
        replace(solution, log_weight=solution.log_weight + float(gain))
        for solution, gain in zip(alike, fit - fit.max(), strict=True)
        if np.isfinite(gain)
    ]
    return replace(told, solutions=tuple(sorted(weighed, key=lambda s: -s.log_weight)))


def _with_fewest_joints(
    run: _Run, told: Told, readings: Readings, candidates: Sequence[Solution]
) -> Solution:
    """The candidate with the fewest faults in all, counting the bad joints it makes necessary.

    What joins and parts may be explained cheaply by a terminal in another place, and the resistances then
    want bad joints that nobody made.
    """

    def faults(solution: Solution) -> int:
        wiring = _wiring_found(run.harness, [told], solution)
        report = estimate(run.harness, wiring, readings, run.instrument, run.expectation)
        return solution.cost + sum(f.fault in ("high-resistance", "open") for f in report.findings)

    best, least = candidates[0], faults(candidates[0])
    for solution in candidates[1:]:
        if least == candidates[0].cost:
            break  # no joint is bad under it
        if solution.cost < least and (count := faults(solution)) < least:
            best, least = solution, count
    return best


def _shape(solution: Solution) -> tuple[int, tuple[int, ...], int]:
    return len(solution.move_faults), solution.repair.opens, len(solution.repair.shorts)


def _within(readings: Readings, scene: Scene) -> Readings:
    """The readings between the scene's points, clips left out."""
    inside = np.zeros(len(readings.points), dtype=np.bool_)
    inside[list(scene.codes)] = True
    kept = inside[readings.start] & inside[readings.end]
    kept[list(readings.bonded)] = False
    columns = (
        "start",
        "end",
        "quantity",
        "value",
        "above_ohm",
        "current_a",
        "uncertainty",
        "temperature_c",
        "row",
    )
    picked = {name: getattr(readings, name)[kept] for name in columns}
    return replace(readings, **picked, bonded={}, notes={}, times={})


def _wiring_found(harness: Harness, told: Sequence[Told], solution: Solution | None = None) -> Wiring:
    """The wiring under each scene's best solution, or under this one."""
    drawn = as_drawn(harness)
    start, end, joined = drawn.start.copy(), drawn.end.copy(), drawn.joined.copy()
    shorts: list[tuple[int, int]] = []
    for one in told:
        scene, best = one.scene, solution or one.best
        for edge, (a, b) in enumerate(best.moves.placement(scene)):
            start[scene.wire[edge]], end[scene.wire[edge]] = scene.codes[a], scene.codes[b]
        joined[[scene.wire[edge] for edge in best.repair.opens]] = False
        shorts += [(scene.codes[a], scene.codes[b]) for a, b, _ in best.repair.shorts]
    return Wiring(start, end, joined, np.array(shorts, dtype=np.int64).reshape(-1, 2))


def _nets_as_found(nets: IntArray, told: Sequence[Told]) -> IntArray:
    """(P,) the net of the terminal that sits at each point; what is not there any more has left its net."""
    found = nets.copy()
    for one in told:
        for home, place in one.best.moves.cavity:
            found[one.scene.codes[place]] = nets[one.scene.codes[home]]
    return found


def _probed(names: Sequence[str], seen: Observations, of: Sequence[Finding]) -> set[frozenset[str]]:
    """Pairs of the findings' points that some reading joined or parted."""
    told = {point for finding in of for point in finding.points}
    asked = np.array([name in told for name in names], dtype=np.bool_)
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
