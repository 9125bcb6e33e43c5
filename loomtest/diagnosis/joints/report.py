"""Which joint is bad: rows, findings and remarks from all readings together.

The numbers come from `estimate`; here they are decided upon.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from loomtest.diagnosis.joints.advice import measure_drop, open_ring
from loomtest.diagnosis.joints.decide import (
    SUSPECT,
    Precision,
    Told,
    advice_at,
    resolved_ohms,
    row_verdict,
    tested,
)
from loomtest.diagnosis.joints.estimate import Prior, Solution, prior_of, solve_run
from loomtest.diagnosis.joints.findings import Found, joint_findings
from loomtest.diagnosis.joints.layout import Arranged, arrange
from loomtest.diagnosis.joints.limits import JudgedAt, judged_at
from loomtest.diagnosis.joints.sparse import OPEN_OHM
from loomtest.diagnosis.joints.touches import agreed
from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.diagnosis.numbers.statistics import median, normal_quantile
from loomtest.diagnosis.seen.budget import Budget, budget_of
from loomtest.diagnosis.seen.consistency import Steadiness, steadiness
from loomtest.diagnosis.verdict import Finding, Outcome, Row, WireRow
from loomtest.diagnosis.why import (
    DependsOnDirection,
    JudgedCoarsely,
    LeadsDisagree,
    LeadsFromReadings,
    MeasureFiner,
    MeasureWire,
    Remark,
    SecondTouch,
    Todo,
)
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.copper import Expectation
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray
from loomtest.readings.model import Instrument, Readings


@dataclass(frozen=True)
class JointReport:
    """What the readings say of every wire with its joints.

    `rows`: one for each wire or fuse of the wire list, in its order; `tested`: (W,) by the contract's
    definition. `findings` are decided (high-resistance, intermittent, and an open behind a redundant path),
    most volts and watts first; `undecided` are suspected. `outcome`: the verdict's `joints` from rows and
    findings here. `contradictory`: pairs of points read both joined and over-range; `standing_voltage`:
    pairs whose value depends on the direction, with half the difference in ohms (inf: over-range one way).
    `log_likelihood`: log evidence of the wiring, to compare placements by differences. `shared_ohm`: (mean,
    standard uncertainty) of what all readings of the run share, what was subtracted included. `budget`: of
    the readings in ohms.
    """

    rows: tuple[WireRow, ...]
    tested: BoolArray
    findings: tuple[Finding, ...]
    undecided: tuple[Finding, ...]
    outcome: Outcome
    joints_judged_at_ohms: float
    joints_resolved_ohms: float | None
    remarks: tuple[Remark, ...]
    contradictory: tuple[tuple[str, str], ...]
    standing_voltage: tuple[tuple[str, str, float], ...]
    log_likelihood: float
    shared_ohm: tuple[float, float]
    budget: Budget


@dataclass(frozen=True)
class _Solved:
    budget: Budget
    steady: Steadiness
    arranged: Arranged
    prior: Prior
    solution: Solution

    @cached_property
    def typical(self) -> float:
        """Median own uncertainty of a reading, in ohms."""
        return median(self.budget.own) if self.budget.own.size else math.inf


def estimate(
    harness: Harness,
    wiring: Wiring,
    readings: Readings,
    instrument: Instrument,
    expectation: Expectation,
) -> JointReport:
    """Estimate and judge every wire where it sits. Never raises for what readings say of each other."""
    solved = _solved(harness, wiring, readings, instrument, expectation)
    s, limits = solved.solution, harness.limits
    c = limits.confidence
    link = s.link
    seen = np.zeros(len(harness.wires), dtype=np.bool_)
    seen[link >= 0] = tested(s.opening)[link[link >= 0]]
    seen |= harness.conducts & ~wiring.joined

    at = judged_at(harness, expectation, solved.prior, s, seen)
    rows = _rows(harness, wiring, expectation, solved, (seen, at))

    found = Found(harness, wiring, readings, s, solved.prior, solved.arranged)
    decided, suspected = joint_findings(found, solved.steady, rows)
    rows = _doubted(_flagged(rows, decided), decided + suspected)
    resolved = _resolved(solved, np.flatnonzero(seen & (link >= 0)), c)
    remarks = _remarks(harness, readings.points, solved, instrument, (at, resolved))
    points = readings.points
    outcome: Outcome = "pass"
    if any(row.verdict in ("undecided", "untested") for row in rows) or suspected:
        outcome = "not-proven"
    if decided or any(row.verdict == "fail" for row in rows):
        outcome = "fail"
    return JointReport(
        rows,
        seen,
        tuple(decided),
        tuple(suspected),
        outcome,
        at.ohm,
        resolved,
        remarks,
        tuple((points[a], points[b]) for a, b in solved.steady.contradictory.tolist()),
        tuple(
            (points[a], points[b], float(ohm))
            for (a, b), ohm in zip(solved.steady.directed.tolist(), solved.steady.directed_ohm, strict=True)
        ),
        float(s.evidence.sum()),
        (s.shared_mean + solved.budget.lead_ohm, s.shared_sd),
        solved.budget,
    )


def alternative_log_likelihoods(
    harness: Harness,
    wirings: Sequence[Wiring],
    readings: Readings,
    instrument: Instrument,
    expectation: Expectation,
) -> FloatArray:
    """(k,) log evidence of each wiring from the nets that differ; only differences of it mean anything.

    For placements that join the same points (a swap at one end of two wires, or at the other), the same
    readings are explained by each. A wiring under which a used reading has no path loses that reading's
    evidence, so give only wirings that join what was read as joined.
    """
    moved = np.zeros(len(harness.wires), dtype=np.bool_)
    for wiring in wirings[1:]:
        moved |= (wiring.start != wirings[0].start) | (wiring.end != wirings[0].end)
        moved |= wiring.joined != wirings[0].joined
    out = np.zeros(len(wirings))
    for number, wiring in enumerate(wirings):
        solved = _solved(harness, wiring, readings, instrument, expectation)
        nets = {
            int(net)
            for wire in np.flatnonzero(moved & harness.conducts)
            for net in solved.arranged.net[[wiring.start[wire], wiring.end[wire]]]
            if net >= 0
        }
        out[number] = solved.solution.evidence[sorted(nets)].sum()
    return out


def _solved(
    harness: Harness,
    wiring: Wiring,
    readings: Readings,
    instrument: Instrument,
    expectation: Expectation,
) -> _Solved:
    limits = harness.limits
    budget = budget_of(readings, instrument, expectation.temperature_c)
    steady = steadiness(readings, budget, limits.bad_joint_milliohms / 1e3, limits.short_below_ohms)
    arranged = arrange(harness, wiring, readings, instrument, budget, steady)
    prior = prior_of(harness, expectation)
    solution = solve_run(arranged, prior, budget.prior, limits.continuity_ohms)
    return _Solved(budget, steady, arranged, prior, solution)


def _rows(
    harness: Harness,
    wiring: Wiring,
    expectation: Expectation,
    solved: _Solved,
    judged: tuple[BoolArray, JudgedAt],
) -> tuple[WireRow, ...]:
    s, (seen, at) = solved.solution, judged
    members: dict[int, list[int]] = {}
    for number, its_link in enumerate(s.link.tolist()):
        if its_link >= 0:
            members.setdefault(its_link, []).append(number)
    moved = (wiring.start != harness.start) | (wiring.end != harness.end)
    within, above = s.within(at.link_limit), s.mixture.above(at.link_limit)
    confidence = harness.limits.confidence
    z = normal_quantile(confidence)
    rows = []
    for index, wire in enumerate(harness.wires):
        if not wire.conducts:
            continue
        link = int(s.link[index])
        group = members.get(link, [index])
        known = all(solved.prior.known[w] for w in group)
        expected = float(sum(expectation.expected_ohm[w] for w in group)) if known else None
        limit = float(at.link_limit[link]) if link >= 0 else float(at.limit[index])
        names = tuple(harness.wires[w].name for w in group if w != index)
        if link < 0:  # open, or both ends on one point
            verdict: Row = "fail" if not wiring.joined[index] else "untested"
            missing = 1.0 if not wiring.joined[index] else None
            rows.append(
                WireRow(
                    wire.name, wire.start, wire.end, expected, limit, None, None, None, (), missing, verdict
                )
            )
            continue
        bad = float(s.above[link])
        sure = bad >= confidence and agreed([link], s, solved.prior, solved.arranged, solved.steady)
        spare = limit - (expected or 0.0)
        decidable = not at.held[index] or float(s.uncertainty[link]) * z <= spare
        told = Told(bool(seen[index]), bad, sure, float(within[link]), float(above[link]), decidable)
        verdict = "fail" if moved[index] else row_verdict(told, confidence)
        ringed = verdict == "untested" and math.isfinite(s.loop[link]) and s.opening[link] > 0
        if ringed:
            verdict = "undecided"  # it was read, beside another way round
        low, middle, high = (_shown(ohm) for ohm in s.quantiles[:, link].tolist())
        ohms: float | None = middle
        interval: tuple[float, float] | None = (low, high)
        spread = (high - low) / (2 * normal_quantile(0.975)) if math.isfinite(high) else None
        if not seen[index]:
            ohms = interval = spread = None
        todo: Todo | None = None
        if ringed:
            todo = open_ring(wire)
        elif verdict == "undecided" and bad >= confidence:
            todo = SecondTouch(wire.name)
        elif verdict in ("undecided", "untested"):
            todo = _next(harness, solved, index, (verdict, spare, bool(at.held[index])))
        rows.append(
            WireRow(
                wire.name,
                wire.start,
                wire.end,
                expected,
                limit,
                ohms,
                spread,
                interval,
                names,
                bad,
                verdict,
                "",
                float(s.measured[link]) if seen[index] and math.isfinite(s.uncertainty[link]) else None,
                todo=todo,
            )
        )
    return tuple(rows)


def _shown(ohm: float) -> float:
    return math.inf if ohm > OPEN_OHM / 10 else ohm


def _next(harness: Harness, solved: _Solved, wire: int, why: tuple[str, float, bool]) -> Todo:
    """The reading that would decide a wire."""
    verdict, allowed, held = why
    row = harness.wires[wire]
    if verdict == "untested":
        return MeasureWire(row.name)
    s = solved.solution
    u = float(s.uncertainty[int(s.link[wire])])
    if u * normal_quantile(harness.limits.confidence) <= allowed:
        return MeasureWire(row.name, again=True)
    if held and row.amps is not None:
        return measure_drop(row, row.amps)
    if not math.isfinite(u):
        return MeasureWire(row.name, in_ohms=True)
    shared = s.shared_sd if solved.budget.shared.any() else 0.0
    precision = Precision(min(solved.typical, u), shared, row.amps)
    return MeasureFiner(row.name, u, advice_at(allowed, precision, harness.limits.confidence))


def _resolved(solved: _Solved, wires: IntArray, confidence: float) -> float | None:
    s = solved.solution
    links = distinct(s.link[wires])
    known = np.isfinite(s.uncertainty[links])
    expected = np.where(_all_known(solved)[links], s.prior_mean[links], 0.0)
    return resolved_ohms(np.where(known, s.estimate[links], 0.0), s.uncertainty[links], expected, confidence)


def _all_known(solved: _Solved) -> BoolArray:
    s = solved.solution
    out = np.ones(s.size.size, dtype=np.bool_)
    unknown = (s.link >= 0) & ~solved.prior.known
    out[s.link[unknown]] = False
    return out


def _doubted(rows: tuple[WireRow, ...], findings: list[Finding]) -> tuple[WireRow, ...]:
    """A wire that may be the one of several that is likelier bad than not does not pass."""
    next_of = {s.wire: f.next for f in findings if (f.probability or 0.0) >= SUSPECT for s in f.suspects}
    return tuple(
        replace(row, verdict="undecided", next=next_of[row.wire])
        if row.verdict == "pass" and row.wire in next_of
        else row
        for row in rows
    )


def _flagged(rows: tuple[WireRow, ...], decided: list[Finding]) -> tuple[WireRow, ...]:
    """A wire that alone is to blame for a decided finding fails."""
    blamed = {f.suspects[0].wire for f in decided if len(f.suspects) == 1}
    return tuple(
        replace(row, verdict="fail", todo=None) if row.wire in blamed and row.verdict != "fail" else row
        for row in rows
    )


def _remarks(
    harness: Harness,
    points: tuple[str, ...],
    solved: _Solved,
    instrument: Instrument,
    judged: tuple[JudgedAt, float | None],
) -> tuple[Remark, ...]:
    at, resolved = judged
    s, limits = solved.solution, harness.limits
    remarks = list(solved.budget.remarks)
    two_wire = solved.budget.shared.any() and instrument.method != "four-wire"
    if two_wire and solved.budget.prior.lead_high > solved.budget.prior.lead_low:
        remarks.append(LeadsFromReadings(max(s.shared_mean, 0.0), s.shared_sd))
    low, high = solved.budget.prior.bounds
    if two_wire and solved.budget.prior.sd > 0 and not low - 0.02 <= s.shared_mean <= high + 0.02:
        remarks.append(LeadsDisagree(s.shared_mean))
    if not at.fine and resolved is not None:
        precision = Precision(solved.typical, s.shared_sd if two_wire else 0.0)
        advice = advice_at(limits.bad_joint_milliohms / 1e3, precision, limits.confidence)
        remarks.append(JudgedCoarsely(at.ohm, advice))
    for (a, b), ohm in zip(solved.steady.directed.tolist(), solved.steady.directed_ohm, strict=True):
        remarks.append(DependsOnDirection(points[a], points[b], 2 * float(ohm)))
    return tuple(remarks)
