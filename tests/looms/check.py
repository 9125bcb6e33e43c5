"""An independent reader of a verdict: do its findings reproduce the readings, and name what was done?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.harness.model import Harness, connector_of
from loomtest.readings.model import Quantity, Readings
from tests.looms.faults import JOINED_BELOW_OHM, Fault, Loom, wires_at
from tests.looms.solve import BoolArray, FloatArray, IntArray, components, resistances

NEVER_OHM = 1e15
Bonded = tuple[tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True)
class Told:
    """The wiring that the findings say is there: where ends sit, what is cut, what is bridged."""

    ends: tuple[tuple[str, str], ...]
    cut: frozenset[int]
    shorts: tuple[tuple[str, str], ...]
    leaks: tuple[tuple[str, str], ...]
    wrong_parts: frozenset[int]
    excess_ohm: float  # what bad joints and shorts may add in series with a part


@dataclass(frozen=True)
class Score:
    """`exact`: every reading explained by no more faults than were made, each one named or its equal.

    `named`: kinds and places are those that were made, listed alternatives included. `reasons` say what
    is missing; `group` is a short key for counting failures of one kind.
    """

    exact: bool
    named: bool
    fewer: bool
    reasons: tuple[str, ...]
    group: str


def told_wiring(harness: Harness, findings: Sequence[Finding]) -> Told:
    """Applies findings to the drawn wiring by the contract's words.

    Raises ValueError for a finding that cannot be applied (an open without suspects, an unknown wire).
    """
    ends = [[w.start, w.end] for w in harness.wires]
    row = {w.name: i for i, w in enumerate(harness.wires)}
    cut: set[int] = set()
    wrong: set[int] = set()
    shorts: list[tuple[str, str]] = []
    leaks: list[tuple[str, str]] = []
    for finding in findings:
        suspects = [row[s.wire] for s in finding.suspects]
        if finding.fault == "open":
            if not suspects:
                raise ValueError(f"open at {finding.points} without suspects")
            fresh = [w for w in suspects if w not in cut]
            cut.add((fresh or suspects)[0])
        elif finding.fault in ("crossed", "misplaced"):
            for end, target in moved_ends(harness, finding, finding.moves).items():
                ends[end[0]][end[1]] = target
        elif finding.fault == "short":
            shorts.append((finding.points[0], finding.points[1]))
        elif finding.fault == "leakage":
            leaks.append((finding.points[0], finding.points[1]))
        elif finding.fault == "wrong-part":
            wrong.update(suspects)  # parts across the same two nets cannot be told apart by ohms
    excess = 100.0 * sum(finding.fault in ("high-resistance", "short") for finding in findings)
    places = tuple((a, b) for a, b in ends)
    return Told(places, frozenset(cut), tuple(shorts), tuple(leaks), frozenset(wrong), excess)


def moved_ends(harness: Harness, finding: Finding, moves: Mapping[str, str]) -> dict[tuple[int, int], str]:
    """(wire, side) → point. A cavity's whole terminal moves; of a splice or ground one suspect's end does.

    Parts plugged in at a cavity stay where they are.
    """
    out: dict[tuple[int, int], str] = {}
    row = {w.name: i for i, w in enumerate(harness.wires)}
    for point, target in moves.items():
        ends = wires_at(harness, point)
        if not connector_of(point):
            named = [row[s.wire] for s in finding.suspects if s.end in (None, point)]
            ends = [end for w in named for end in ends if end[0] == w and end not in out][:1]
        if not ends:
            raise ValueError(f"{finding.fault}: nothing that belongs at {point} can move to {target}")
        out.update(dict.fromkeys(ends, target))
    return out


def unexplained(harness: Harness, readings: Readings, told: Told) -> list[str]:
    """Readings of a resistance that the told wiring does not show, in words; diode volts are not judged."""
    points = readings.points
    code = {p: i for i, p in enumerate(points)}
    for place in [*(p for pair in told.ends for p in pair), *(p for pair in told.shorts for p in pair)]:
        code.setdefault(place, len(code))
    out = [*_compare(harness, readings, told, code, None)]
    for tie in {tie for tie in readings.bonded.values() if tie != ((), ())}:
        out += _compare(harness, readings, told, code, tie)
    return out


def _compare(
    harness: Harness, readings: Readings, told: Told, code: Mapping[str, int], tie: Bonded | None
) -> list[str]:
    mine = [n for n in range(len(readings)) if readings.bonded.get(n, ((), ())) == (tie or ((), ()))]
    index = np.array([n for n in mine if readings.quantity[n] != Quantity.DIODE], dtype=np.int64)
    if not len(index):
        return []
    start, end = readings.start[index], readings.end[index]
    links: list[tuple[int, int]] = []
    if tie:
        links = [(int(start[0]), p) for p in tie[0]] + [(int(end[0]), p) for p in tie[1]]
    copper, low, high = _shown_by(harness, told, code, links)
    value = _ohms(readings, index)
    same = copper[start] == copper[end]
    lo, hi = low[start, end], high[start, end]
    isolation = harness.limits.isolation_ohms
    joined = value < JOINED_BELOW_OHM
    bad_joined = same & ~joined
    linked = np.isfinite(lo)
    bad_apart = ~same & ~linked & (joined | (value < isolation))
    slack = np.where(readings.quantity[index] == Quantity.RESISTANCE_4W, 0.01, 0.8)  # noise, or leads
    bad_part = ~same & linked & ((value < lo / 1.2 - slack) | (value > hi * 1.2 + slack + told.excess_ohm))
    beeps = readings.quantity[index] == Quantity.CONTINUITY
    beep_apart = joined & ~same & ~linked
    wrong: BoolArray = bad_joined | np.where(beeps, beep_apart, bad_apart | bad_part)
    names = readings.points
    what = np.where(same, "joined", np.where(linked, "through parts or leaks", "apart"))
    return [
        f"{names[start[n]]}–{names[end[n]]} reads {value[n]:.4g}, told wiring says {what[n]}"
        for n in np.flatnonzero(wrong)
    ]


def _ohms(readings: Readings, index: IntArray) -> FloatArray:
    value = readings.value[index].copy()
    beeps = readings.quantity[index] == Quantity.CONTINUITY
    value[beeps] = np.where(value[beeps] > 0, 0.0, np.inf)
    return value


def _shown_by(
    harness: Harness, told: Told, code: Mapping[str, int], links: Sequence[tuple[int, int]]
) -> tuple[IntArray, FloatArray, FloatArray]:
    """(copper labels, lowest ohms, highest ohms) of the told wiring."""
    joins = [(a, b, 0.01) for a, b in links]
    low: list[tuple[int, int, float]] = []
    high: list[tuple[int, int, float]] = []
    for w, row in enumerate(harness.wires):
        if w in told.cut:
            continue
        a, b = (code[p] for p in told.ends[w])
        if row.conducts:
            joins.append((a, b, 0.01))
            continue
        least, most = row.ohms_min if row.ohms_min is not None else 0.1, row.ohms_max or 1e4
        if row.kind == "diode" or w in told.wrong_parts:
            least, most = 0.01, NEVER_OHM
        low.append((a, b, least))
        high.append((a, b, most))
    joins += [(code[a], code[b], 0.01) for a, b in told.shorts]
    leaks = [(code[a], code[b]) for a, b in told.leaks]
    low += [(a, b, 50.0) for a, b in leaks]
    high += [(a, b, 1.2e6) for a, b in leaks]
    copper = components(len(code), [(a, b) for a, b, _ in joins])
    # points that copper joins are one node: the ranges ask only about what stands between nets
    merged = [[(int(copper[a]), int(copper[b]), ohm) for a, b, ohm in part] for part in (low, high)]
    least_most = [resistances(len(code), part)[np.ix_(copper, copper)] for part in merged]
    least_most[1] = np.where(least_most[1] > NEVER_OHM / 1e4, np.inf, least_most[1])
    return copper, least_most[0], least_most[1]


# --- against what was made ------------------------------------------------------------------------------


def score(
    loom: Loom,
    readings: Readings,
    verdict: Verdict,
    required: Sequence[Fault] | None = None,
    said: bool = False,
) -> Score:
    """Compares a verdict with the faults that are in the copper.

    `required`: those that the readings show; all by default. `said`: accept more findings than faults
    where each of them says by `next` what to probe.
    """
    harness = loom.harness
    required = loom.faults if required is None else required
    try:
        told = told_wiring(harness, verdict.findings)
    except (ValueError, KeyError, IndexError) as problem:
        return Score(False, False, False, (f"cannot be applied: {problem!r}",), "cannot be applied")
    reasons = []
    open_readings = unexplained(harness, readings, told)
    if open_readings:
        reasons.append(f"{len(open_readings)} readings unexplained, as {open_readings[0]}")
    made, found = len(required), len(verdict.findings)
    if found > made and not (said and all(f.next for f in verdict.findings)):
        reasons.append(f"{found} findings for {made} faults")
    missing = [fault for fault in required if not _named(loom, fault, verdict)]
    must = ("high-resistance", "wrong-part") if said else ("high-resistance", "wrong-part", "leakage")
    electrical = [f for f in missing if f.fault in must]
    reasons += [f"not named: {f.fault} {f.detail} at {f.points}" for f in electrical]
    same_kinds = Counter(f.fault for f in verdict.findings) == Counter(f.fault for f in required)
    group = "" if not reasons else _group(required, verdict, open_readings, electrical)
    notes = [f"other than made: {f.fault} {f.detail} at {f.points}" for f in missing if f not in electrical]
    named = not reasons and same_kinds and not missing
    return Score(not reasons, named, found < made and not reasons, (*reasons, *notes), group)


def one_limit_per_pair(harness: Harness, readings: Readings) -> int:
    """How many findings a limit on each pair by itself gives: above 1 Ω in a net, below 1 MΩ between nets."""
    wires = [(harness.code_of[w.start], harness.code_of[w.end]) for w in harness.wires if w.conducts]
    parts = [(harness.code_of[w.start], harness.code_of[w.end]) for w in harness.wires if not w.conducts]
    size = len(readings.points)
    net, linked = components(size, wires), components(size, wires + parts)
    start, end = readings.start, readings.end
    same = net[start] == net[end]
    high = same & (readings.value > harness.limits.continuity_ohms)
    low = (linked[start] != linked[end]) & (readings.value < harness.limits.isolation_ohms)
    return int(np.count_nonzero(high | low))


def _group(
    made_faults: Sequence[Fault], verdict: Verdict, open_readings: list[str], electrical: Sequence[Fault]
) -> str:
    made = "+".join(sorted(f.fault for f in made_faults))
    found = "+".join(sorted(f.fault for f in verdict.findings)) or "nothing"
    why = "unexplained" if open_readings else "not named" if electrical else "too many"
    return f"{why}: made {made}; found {found}"


def _named(loom: Loom, fault: Fault, verdict: Verdict) -> bool:
    names = {loom.harness.wires[w].name for w in fault.wires}
    same = [f for f in verdict.findings if f.fault == fault.fault]
    if fault.fault in ("crossed", "misplaced"):
        ways = [way.moves for f in same for way in f.alternatives] + [f.moves for f in same]
        return any(dict(way) == fault.moves for way in ways)
    if fault.bridge or fault.fault == "short":
        by_name = [f for f in same if names & {s.wire for s in f.suspects}]
        return bool(by_name) or _bridged(loom, fault, same)
    if fault.fault == "open" and not loom.harness.wires[fault.wires[0]].conducts:
        # beside another part across the same nets an open one does not read over-range
        same = same + [f for f in verdict.findings if f.fault == "wrong-part"]
    if fault.fault == "high-resistance":
        # a swap at one end is a swap at the other, and then the bad joint is in the other wire
        crossed = [f for f in verdict.findings if f.fault in ("crossed", "misplaced")]
        for finding in crossed:
            swapped = {s.wire for s in finding.suspects}
            names |= swapped if names & swapped else set()
    return any(names & {s.wire for s in f.suspects} for f in same)


def _bridged(loom: Loom, fault: Fault, same: Sequence[Finding]) -> bool:
    """True when findings of this kind join the two sides that the fault joins, in the true copper.

    A leak of many kilohms reads alike on both sides of a lamp or a coil: parts of less than a twentieth
    of it count as joints.
    """
    code = {p: i for i, p in enumerate(loom.points)}
    other = Loom(loom.harness, loom.ohms, tuple(f for f in loom.faults if f.fault != fault.fault))
    copper = loom.copper() if fault.fault == "leakage" else other.copper()
    base = np.append(copper, np.arange(len(copper), len(code)))
    links = [(int(base[code[f.points[0]]]), int(base[code[f.points[1]]])) for f in same]
    if fault.fault == "leakage" and fault.bridge:
        ends = loom.ends()
        parts = [w for w, row in enumerate(loom.harness.wires) if not row.conducts]
        small = [w for w in parts if loom.ohms[w] < fault.bridge[2] / 20]
        links += [(int(base[code[ends[w][0]]]), int(base[code[ends[w][1]]])) for w in small]
    label = components(len(code), links)
    one, two = (int(base[code[p]]) for p in fault.points[:2])
    return bool(label[one] == label[two])


def untidy(verdict: Verdict) -> list[str]:
    """Breaches of what the contract says of every verdict, whatever the loom."""
    out = []
    for finding in (*verdict.findings, *verdict.undecided):
        total = sum(s.probability or 0.0 for s in finding.suspects)
        if total > 1 + 1e-6:
            out.append(f"{finding.fault}: suspects' probabilities add to {total}")
        ordered = [s.probability for s in finding.suspects if s.probability is not None]
        if ordered != sorted(ordered, reverse=True):
            out.append(f"{finding.fault}: suspects are not in order of probability")
        if len(finding.alternatives) > 6:
            out.append(f"{finding.fault}: {len(finding.alternatives)} alternatives")
        if finding.fault in ("crossed", "misplaced"):
            if not finding.alternatives:
                out.append(f"{finding.fault}: no alternatives, the first of which is itself")
            elif dict(finding.alternatives[0].moves) != dict(finding.moves):
                out.append(f"{finding.fault}: the first alternative is not the finding itself")
        if finding.fault == "crossed" and not (
            set(finding.points) == set(finding.moves) == set(finding.moves.values())
        ):
            out.append(f"crossed: {finding.points} and {dict(finding.moves)} are not one cycle")
        if finding.fault == "misplaced" and list(finding.moves.items()) != [tuple(finding.points)]:
            out.append(f"misplaced: {finding.points} and {dict(finding.moves)} differ")
        if not finding.text:
            out.append(f"{finding.fault}: no text")
    if verdict.findings and verdict.verdict != "fail":
        out.append(f"findings stand and the verdict is {verdict.verdict}")
    if not verdict.findings and verdict.verdict == "fail":
        out.append("fail without a finding")
    return out
