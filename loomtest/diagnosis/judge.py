"""The verdict: observations, explanation, joints, coverage, put together. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.coverage import isolation_coverage, merged_labels, untested_items
from loomtest.diagnosis.explain import explain
from loomtest.diagnosis.findings import Told, crossed_or_broken, findings_of
from loomtest.diagnosis.leakage import FoundLabels, leakage_findings, with_parts_joined
from loomtest.diagnosis.observe import Observations, observe
from loomtest.diagnosis.plugged import judge_parts
from loomtest.diagnosis.scenes import likeliness_of, net_codes, scenes_of
from loomtest.diagnosis.verdict import Coverage, Finding, Outcome, Verdict
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Harness, IntArray, Limits
from loomtest.readings.instrument import generic_handheld
from loomtest.readings.model import Instrument, Readings


@dataclass(frozen=True)
class _Explained:
    findings: tuple[Finding, ...]
    wiring: Wiring


def judge(harness: Harness, readings: Readings, instrument: Instrument | None = None) -> Verdict:
    """What the readings say about the harness.

    The instrument is the one given, else the run's own, else a generic 3½-digit handheld meter, which the
    verdict's notes then say.
    """
    meter = instrument or readings.instrument or generic_handheld()
    seen = observe(readings, meter, harness.limits)
    nets = net_codes(harness, len(readings.points))
    explained = _explain(harness, readings.points, seen)
    wiring = explained.wiring
    labels = _found_labels(harness, len(readings.points), wiring)
    parts = judge_parts(harness, wiring, readings, seen, labels, 1.0)
    leaks = leakage_findings(
        harness,
        readings.points,
        seen,
        _leak_labels(harness, len(readings.points), wiring),
        _telling(readings, seen, harness.limits),
    )
    expectation = expectation_of(harness)
    del expectation
    findings = [*explained.findings, *parts.findings, *leaks]
    isolation = isolation_coverage(harness, seen, nets)
    tested = np.ones(len(harness.wires), dtype=np.bool_)
    coverage = Coverage(
        int(harness.conducts.sum()),
        int((tested & harness.conducts).sum()),
        isolation.required,
        isolation.tested,
        int((~harness.conducts).sum()),
        int(parts.tested.sum()),
        isolation.unreachable_nets,
    )
    complete = not untested_items(harness, tested, parts.tested, isolation) and not isolation.unreachable_nets
    wiring_outcome: Outcome = "fail" if findings else "pass" if complete else "not-proven"
    return Verdict(
        harness.name,
        wiring_outcome,
        wiring_outcome,
        "not-proven",
        None,
        None,
        harness.limits.isolation,
        tuple(findings),
        (),
        (),
        (),
        coverage,
        untested_items(harness, tested, parts.tested, isolation),
    )


def _explain(harness: Harness, points: tuple[str, ...], seen: Observations) -> _Explained:
    """Findings about what is joined and apart, and the wiring as found."""
    start, end = harness.start.copy(), harness.end.copy()
    joined = np.ones(len(harness.wires), dtype=np.bool_)
    shorts: list[tuple[int, int]] = []
    findings: list[Finding] = []
    for scene in scenes_of(harness, points, seen):
        likeliness = likeliness_of(harness, points, scene)
        told = Told(harness, points, scene, likeliness, tuple(explain(scene, likeliness)))
        findings += findings_of(told)
        for edge, (a, b) in enumerate(told.best.moves.placement(scene)):
            start[scene.wire[edge]], end[scene.wire[edge]] = scene.codes[a], scene.codes[b]
        joined[[scene.wire[edge] for edge in told.best.repair.opens]] = False
        shorts += [(scene.codes[a], scene.codes[b]) for a, b, _ in told.best.repair.shorts]
    probed = (
        {
            frozenset((points[a], points[b]))
            for a, b in zip(seen.pair_start.tolist(), seen.pair_end.tolist(), strict=True)
        }
        if findings
        else set()
    )
    wiring = Wiring(start, end, joined, np.array(shorts, dtype=np.int64).reshape(-1, 2))
    return _Explained(tuple(crossed_or_broken(harness, findings, probed)), wiring)


def _found_labels(harness: Harness, size: int, wiring: Wiring) -> IntArray:
    """(P,) what wires, fuses and shorts join as found."""
    whole = harness.conducts & wiring.joined
    a = np.concatenate([wiring.start[whole], wiring.shorts[:, 0]])
    b = np.concatenate([wiring.end[whole], wiring.shorts[:, 1]])
    return merged_labels(size, a, b)


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
    return 4.0 * float(np.median(stated)) if len(stated) else 0.02
