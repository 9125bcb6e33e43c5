"""Findings about joints: what is bad, who is suspected, how sure, what it means and what to do next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from loomtest.diagnosis.joints.decide import SUSPECT
from loomtest.diagnosis.joints.estimate import Prior, Solution
from loomtest.diagnosis.joints.layout import Arranged
from loomtest.diagnosis.joints.sparse import OPEN_OHM
from loomtest.diagnosis.joints.touches import agreed
from loomtest.diagnosis.meaning import meaning
from loomtest.diagnosis.numbers.network import effective_resistance
from loomtest.diagnosis.numbers.statistics import normal_cdf
from loomtest.diagnosis.seen.consistency import Steadiness
from loomtest.diagnosis.verdict import Finding, Suspect, WireRow
from loomtest.diagnosis.why import (
    FlexAtBothEnds,
    JointReads,
    JumpsBetween,
    MeasureWire,
    RemakeJoints,
    SecondTouch,
    TellFromOthers,
    Todo,
    UnplugOneEnd,
)
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.model import FloatArray, Harness, IntArray
from loomtest.readings.model import Readings

SUSPECTED = 0.2  # a fault less likely than this is not worth a finding
_TOLD = 0.95  # contract: suspects are listed until their probabilities add to this
_RIVALS = 0.5  # two suspects are rivals where both being bad is this much rarer than by chance


@dataclass(frozen=True)
class Found:
    """All that findings about joints are drawn from."""

    harness: Harness
    wiring: Wiring
    readings: Readings
    solution: Solution
    prior: Prior
    arranged: Arranged

    @cached_property
    def _by_link(self) -> tuple[IntArray, IntArray]:
        order = np.argsort(self.solution.link, kind="stable")
        return self.solution.link[order], order

    def wires_of(self, link: int) -> list[int]:
        """Wires (indices into the harness) of one link."""
        ordered, wires = self._by_link
        return [int(w) for w in wires[slice(*np.searchsorted(ordered, [link, link + 1]).tolist())]]


@dataclass(frozen=True)
class _Cluster:
    """Links that are rivals for one fault: `share` of the blame of each, `probability` that one is bad."""

    links: tuple[int, ...]
    share: tuple[float, ...]
    probability: float


def joint_findings(
    found: Found, steady: Steadiness, rows: Sequence[WireRow]
) -> tuple[list[Finding], list[Finding]]:
    """(decided, undecided), each with the most volts and watts lost first."""
    confidence = found.harness.limits.confidence
    passed = {row.wire for row in rows if row.verdict == "pass"}
    decided: list[Finding] = []
    suspected: list[Finding] = []
    for cluster in _clusters(found):
        likely = cluster.probability >= confidence
        sure = likely and agreed(cluster.links, found.solution, found.prior, found.arranged, steady)
        finding = _described(found, cluster, sure)
        if sure:
            decided.append(finding)
        elif likely:
            suspected.append(replace(finding, todo=SecondTouch(finding.suspects[0].wire)))
        elif cluster.probability >= SUSPECT or not all(s.wire in passed for s in finding.suspects):
            suspected.append(finding)
    loose, doubtful = _intermittent(found, steady)
    return _ranked(found.harness, decided) + loose, _ranked(found.harness, suspected) + doubtful


def _clusters(found: Found) -> list[_Cluster]:
    """Rivals together: links of one net of which rarely two are bad at once."""
    s = found.solution
    out: list[_Cluster] = []
    for nets, sets in zip(s.nets, s.sets, strict=True):
        above = s.above[nets.link]
        order_of = np.argsort(sets.row, kind="stable")
        in_order = sets.row[order_of]
        wanted = np.flatnonzero(np.any(above > 0.01, axis=1) & (np.sum(above, axis=1) >= SUSPECTED))
        for row in wanted.tolist():
            mine = order_of[slice(*np.searchsorted(in_order, [row, row + 1]).tolist())]
            member, weight = sets.member[mine], sets.weight[mine]
            links = nets.link[row]
            candidates = np.flatnonzero(above[row] > 0.01)
            share_above = np.clip(above[row] / np.maximum(s.bad[links], 1e-12), 0.0, 1.0)
            for rivals in _rivals(candidates, above[row], member, weight):
                none = np.prod(np.where(member[:, rivals], 1 - share_above[rivals], 1.0), axis=1)
                alone = above[row, rivals] - weight @ (member[:, rivals] * share_above[rivals])
                probability = 1 - float(weight @ none) * float(np.prod(1 - np.clip(alone, 0.0, 1.0)))
                if links.size == 1:  # no other set to weigh
                    probability = float(above[row, 0])
                if probability >= SUSPECTED:
                    order = rivals[np.argsort(-above[row, rivals], kind="stable")]
                    share = above[row, order] / above[row, order].sum()
                    out.append(_Cluster(tuple(links[order].tolist()), tuple(share.tolist()), probability))
    return out


def _rivals(
    candidates: IntArray, above: FloatArray, member: np.ndarray, weight: FloatArray
) -> list[IntArray]:
    """Candidates split into groups of rivals; a link that is bad almost surely has none."""
    left = [int(k) for k in candidates[np.argsort(-above[candidates], kind="stable")]]
    groups = []
    while left:
        group = [left.pop(0)]
        if above[group[0]] < _TOLD:
            for other in list(left):
                both = float(weight @ (member[:, group[0]] & member[:, other]))
                chance = float(weight @ member[:, group[0]]) * float(weight @ member[:, other])
                if chance > 0 and both < _RIVALS * chance and above[other] < _TOLD:
                    group.append(other)
                    left.remove(other)
        groups.append(np.array(group))
    return groups


def _described(found: Found, cluster: _Cluster, sure: bool) -> Finding:
    harness = found.harness
    suspects: list[Suspect] = []
    told = 0.0
    for link, share in zip(cluster.links, cluster.share, strict=True):
        wires = found.wires_of(link)
        ohms, interval = _if_bad(found, link)
        for number in wires:
            rest = float(found.prior.mean[wires].sum() - found.prior.mean[number])
            own = tuple(max(ohm - rest, 0.0) for ohm in (ohms, *interval))
            suspects.append(
                Suspect(harness.wires[number].name, None, own[0], (own[1], own[2]), share / len(wires))
            )
        told += share
        if told >= _TOLD:
            break
    first = found.wires_of(cluster.links[0])[0]
    wire = harness.wires[first]
    likely_open = _share_open(found, cluster.links[0]) > 0.5
    why = JointReads(
        ohm=suspects[0].ohms or 0.0,
        interval_ohms=suspects[0].interval_ohms or (0.0, 0.0),
        expected_ohm=float(found.prior.mean[first]) if found.prior.known[first] else None,
        open=likely_open,
        sure=sure,
    )
    return Finding(
        "open" if likely_open else "high-resistance",
        (wire.start, wire.end),
        tuple(suspects),
        probability=cluster.probability,
        why=why,
        todo=_next(found, cluster),
    )


def _if_bad(found: Found, link: int) -> tuple[float, tuple[float, float]]:
    """Median and central 95 % of a link's resistance, given that it is above its limit."""
    values = found.solution.mixture.of(link).quantile_above(
        float(found.solution.limit[link]), (0.5, 0.025, 0.975)
    )
    median, low, high = (math.inf if value > OPEN_OHM / 10 else value for value in values)
    return median, (low, high)


def _share_open(found: Found, link: int) -> float:
    """Probability of a break, given that the link is above its limit."""
    m, short_below = found.solution.mixture.of(link), found.harness.limits.short_below_ohms
    broken = float(m.weight @ normal_cdf((m.mean - short_below) / m.sd))
    whole = float(m.weight @ normal_cdf((m.mean - float(found.solution.limit[link])) / m.sd))
    return broken / max(whole, 1e-12)


def _next(found: Found, cluster: _Cluster) -> Todo:
    harness = found.harness
    wires = [harness.wires[w] for link in cluster.links for w in found.wires_of(link)]
    name = wires[0].name
    if len(wires) == 1:
        if cluster.probability >= harness.limits.confidence:
            return RemakeJoints(name)
        return MeasureWire(name, again=True)
    if len({frozenset((w.start, w.end)) for w in wires}) == 1:
        return UnplugOneEnd(name)
    return TellFromOthers(name)


def _intermittent(found: Found, steady: Steadiness) -> tuple[list[Finding], list[Finding]]:
    """(decided, undecided): each unsteady joint once, the fewest wires that lie on all unsteady pairs, taken
    greedily. One touch of two leads that stands alone may be a probe that sat badly."""
    pairs = steady.unsteady
    if pairs.size == 0:
        return [], []
    harness, wiring = found.harness, found.wiring
    live = np.flatnonzero(harness.conducts & (wiring.start != wiring.end))
    solved = effective_resistance(
        len(found.readings.points), wiring.start[live], wiring.end[live], found.prior.mean[live],
        pairs[:, 0], pairs[:, 1],
    )  # fmt: skip
    on_path = solved.sensitivity > 0.01
    left = np.any(on_path, axis=1)
    out: list[Finding] = []
    doubtful: list[Finding] = []
    while left.any():
        counts = on_path[left].sum(axis=0)
        blamed = np.flatnonzero(counts == counts.max())
        explained = left & np.any(on_path[:, blamed], axis=1)
        finding = _unsteady(found, live[blamed], pairs[explained], steady.unsteady_ohm[explained])
        if steady.unsteady_surely[explained].any():
            out.append(finding)
        else:
            first = harness.wires[int(live[blamed][0])]
            doubtful.append(replace(finding, probability=None, todo=SecondTouch(first.name)))
        left &= ~explained
    return out, doubtful


def _unsteady(found: Found, wires: IntArray, pairs: IntArray, span: FloatArray) -> Finding:
    harness = found.harness
    first = harness.wires[int(wires[0])]
    names = [found.readings.points[int(code)] for code in pairs[0]]
    low, high = float(span[:, 0].min()), float(span[:, 1].max())
    return Finding(
        "intermittent",
        (first.start, first.end),
        tuple(Suspect(harness.wires[int(w)].name, None, None, None, 1 / wires.size) for w in wires),
        probability=0.99,
        why=JumpsBetween(names[0], names[1], low, high),
        todo=FlexAtBothEnds(names[0], names[1]),
    )


def _ranked(harness: Harness, findings: list[Finding]) -> list[Finding]:
    """Most watts, then most volts, then most ohms."""
    amps = {wire.name: wire.amps for wire in harness.wires}

    def loss(finding: Finding) -> tuple[float, float, float]:
        ohms = finding.suspects[0].ohms or 0.0
        current = amps.get(finding.suspects[0].wire)
        if current is None or not math.isfinite(ohms):
            return 0.0, 0.0, ohms
        lost = meaning(ohms, current, harness.limits.system_volts)
        return lost.watts, lost.volts, ohms

    return sorted(findings, key=loss, reverse=True)
