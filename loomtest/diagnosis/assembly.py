"""Puts the parts of a verdict together: rows of wires and nets, findings, the three answers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.faults.parts import PartReport
from loomtest.diagnosis.joints.report import JointReport
from loomtest.diagnosis.seen.coverage import Isolation, untested_items
from loomtest.diagnosis.verdict import (
    Coverage,
    Doubted,
    Finding,
    NetRow,
    Outcome,
    Row,
    Suspect,
    Verdict,
    WireRow,
)
from loomtest.diagnosis.why import FlexBetween, Remark, TouchesNowAndThen
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.model import BoolArray, Harness

_WORST: tuple[Row, ...] = ("fail", "undecided", "untested", "pass")


@dataclass(frozen=True)
class Evidence:
    """What the verdict is made of. `wiring_findings`: about joined, apart and parts, decided; `unexplained`:
    readings that do not fit them; `doubted`: those that the loom as found does not give, and how many."""

    harness: Harness
    wiring: Wiring
    wiring_findings: tuple[Finding, ...]
    joints: JointReport
    parts: PartReport
    isolation: Isolation
    unexplained: tuple[Finding, ...]
    doubted: tuple[tuple[Doubted, ...], int]
    remarks: tuple[Remark, ...]


def verdict_of(evidence: Evidence) -> Verdict:
    """The verdict: `fail` when any finding stands, `not-proven` when anything is undecided or untested."""
    harness, joints, isolation = evidence.harness, evidence.joints, evidence.isolation
    broken = tuple(f for f in joints.findings if f.fault == "open")
    wiring_findings = (*evidence.wiring_findings, *broken)
    findings = (*evidence.wiring_findings, *joints.findings)
    untested = untested_items(harness, joints.tested, evidence.parts.tested, isolation)
    incomplete = (
        bool(untested)
        or bool(evidence.parts.undecided)
        or bool(evidence.unexplained)
        or isolation.tested < isolation.required
        or isolation.unreachable_nets > 0
        or isolation.level == "none"
        or evidence.doubted[1] > 0
        or bool(isolation.net_untested.any())
    )
    wiring: Outcome = "fail" if wiring_findings else "not-proven" if incomplete else "pass"
    outcome: Outcome = "pass"
    if "not-proven" in (wiring, joints.outcome):
        outcome = "not-proven"
    if findings or "fail" in (wiring, joints.outcome):
        outcome = "fail"
    rows = _with_suspects(harness, joints.rows, [f for f in wiring_findings if f.fault == "open"])
    return Verdict(
        harness=harness.name,
        verdict=outcome,
        wiring=wiring,
        joints=joints.outcome,
        joints_judged_at_ohms=joints.joints_judged_at_ohms,
        joints_resolved_ohms=joints.joints_resolved_ohms,
        isolation=isolation.level,
        isolation_shown=isolation.shown,
        doubted=evidence.doubted[0],
        doubted_count=evidence.doubted[1],
        findings=findings,
        undecided=(*evidence.unexplained, *evidence.parts.undecided, *joints.undecided),
        wires=rows,
        nets=_net_rows(harness, rows, findings, evidence),
        coverage=_coverage(evidence),
        untested=untested,
        remarks=evidence.remarks,
    )


def _coverage(evidence: Evidence) -> Coverage:
    harness, isolation = evidence.harness, evidence.isolation
    return Coverage(
        int(harness.conducts.sum()),
        int((evidence.joints.tested & harness.conducts).sum()),
        isolation.required,
        isolation.tested,
        int(harness.parts.sum()),
        int((evidence.parts.tested & harness.parts).sum()),
        isolation.unreachable_nets,
        isolation.unchecked,
        len(harness.restraint),
    )


def _with_suspects(
    harness: Harness, rows: Sequence[WireRow], opens: Iterable[Finding]
) -> tuple[WireRow, ...]:
    """Wires that cannot be told apart as the broken one are one group, and the group fails."""
    blamed: dict[str, tuple[Suspect, ...]] = {}
    for finding in opens:
        for suspect in finding.suspects:
            blamed[suspect.wire] = finding.suspects
    expected = {row.wire: row.expected_ohms for row in rows}
    limits = {row.wire: row.limit_ohms for row in rows}
    out = []
    for row in rows:
        suspects = blamed.get(row.wire)
        if suspects is not None:
            names = [s.wire for s in suspects if s.wire in expected]
            row = replace(
                row,
                expected_ohms=_sum(expected[name] for name in names),
                limit_ohms=_sum(limits[name] for name in names),
                ohms=float("inf"),
                uncertainty_ohms=None,
                interval_ohms=None,
                group=tuple(name for name in names if name != row.wire),
                bad_probability=next(s.probability for s in suspects if s.wire == row.wire),
                verdict="fail",
                todo=None,
            )
        out.append(row)
    return tuple(out)


def _sum(values: Iterable[float | None]) -> float | None:
    total = 0.0
    for value in values:
        if value is None:
            return None
        total += value
    return total


def _net_rows(
    harness: Harness, rows: Sequence[WireRow], findings: Sequence[Finding], evidence: Evidence
) -> tuple[NetRow, ...]:
    """Each net with the worst of its wires and its isolation."""
    by_name = {row.wire: row for row in rows}
    failed: BoolArray = np.zeros(len(harness.nets), dtype=np.bool_)
    wires = {row.name: index for index, row in enumerate(harness.wires)}
    for finding in findings:
        touched = {
            p for p in (*finding.points, *finding.moves, *finding.moves.values()) if p in harness.code_of
        }
        failed[[int(harness.net_of[harness.code_of[p]]) for p in touched]] = True
        for suspect in finding.suspects:
            index = wires[suspect.wire]
            if harness.wires[index].conducts:
                failed[harness.net_of[harness.start[index]]] = True
    used = np.zeros(len(harness.points), dtype=np.bool_)
    used[harness.start] = used[harness.end] = True
    out = []
    for index, net in enumerate(harness.nets):
        if not used[list(net.points)].any():
            continue  # an empty cavity is no net that anyone looks for
        states: list[Row] = [by_name[harness.wires[w].name].verdict for w in net.conductors]
        if failed[index]:
            states.append("fail")
        if evidence.isolation.net_untested[index]:
            states.append("untested")
        verdict: Row = next((state for state in _WORST if state in states), "pass")
        out.append(NetRow(net.name, tuple(harness.points[p] for p in net.points), verdict))
    return tuple(out)


def intermittent_shorts(contradictory: Iterable[tuple[str, str]], apart: Iterable[bool]) -> list[Finding]:
    """Pairs of different nets read both joined and over-range: something touches now and then."""
    return [
        Finding("intermittent", (a, b), probability=0.99, why=TouchesNowAndThen(), todo=FlexBetween(a, b))
        for (a, b), differ in zip(contradictory, apart, strict=True)
        if differ
    ]
