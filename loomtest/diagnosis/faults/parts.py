"""Parts left plugged in: ranges, and diodes fitted the wrong way round."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.faults.scene import PartPaths
from loomtest.diagnosis.faults.scenes import short_and_most_ohm
from loomtest.diagnosis.seen.observe import Observations
from loomtest.diagnosis.verdict import Fault, Finding, Suspect
from loomtest.diagnosis.why import DiodeConducts, PartReads, TurnDiode, UnplugPart
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.copper import part_ohms
from loomtest.harness.model import BoolArray, Harness, IntArray, Wire
from loomtest.readings.model import Quantity, Readings

PART_SLACK_OHM = 0.2  # what wires and joints on the way to a part may add: at the bench and in the verdict

_NO_OHMS = ("diode", "switch")  # what ohms alone do not judge


@dataclass(frozen=True)
class PartReport:
    """`findings`: wrong parts; `undecided`: what only exchanged leads can tell; `tested`: (W,) True for the
    parts that some reading goes through."""

    findings: tuple[Finding, ...]
    undecided: tuple[Finding, ...]
    tested: BoolArray


@dataclass(frozen=True)
class _Across:
    """Readings across the parts between two components, in ohms: under `short` a short (found elsewhere),
    `least` and `most` accepted; `least_alone` accepted where no diode beside them conducts.

    `values`: those read from the one component to the other, and those with the leads exchanged.
    """

    wires: tuple[int, ...]
    short: float
    least: float
    most: float
    least_alone: float
    diode_beside: bool
    values: tuple[tuple[float, ...], tuple[float, ...]]

    @property
    def value(self) -> float:
        """The least of the readings (joints on the way only add), of the way that no diode lowers."""
        ways = [min(way) for way in self.values if way]
        return max(ways) if self.diode_beside else min(ways)

    @property
    def exchanged(self) -> bool:
        """True where both ways were read: whatever diode stands beside conducts in one of them only."""
        return bool(self.values[0] and self.values[1])


def judge_parts(
    harness: Harness,
    wiring: Wiring,
    readings: Readings,
    seen: Observations,
    labels: IntArray,
    slack_ohm: float,
) -> PartReport:
    """Ranges of parts and directions of diodes.

    `labels`: (P,) what wires, fuses and shorts join as found. `slack_ohm`: what leads, touch and the wires
    on the way may add to a reading. The least of the readings across a part judges it: joints on the way
    only add.
    """
    tested = np.zeros(len(harness.wires), dtype=np.bool_)
    parts: list[int] = np.flatnonzero(harness.parts & wiring.joined).tolist()
    findings: list[Finding] = []
    undecided: list[Finding] = []
    at = {w: (int(labels[wiring.start[w]]), int(labels[wiring.end[w]])) for w in parts}
    for across in _direct(harness, readings, seen, labels, at):
        tested[list(across.wires)] = True
        finding = _out_of_range(harness, across, slack_ohm)
        if finding and across.short <= across.value < across.least_alone and across.value >= across.least:
            (findings if across.exchanged else undecided).append(finding)
        elif finding:
            findings.append(finding)
    for wire in parts:
        if harness.wires[wire].kind == "diode":
            state = _diode(harness, readings, labels, at, wire)
            tested[wire] = state is not None
            if isinstance(state, Finding):
                findings.append(state)
    _tested_in_series(harness, seen, labels, at, tested)
    tested |= harness.parts & ~wiring.joined
    return PartReport(tuple(findings), tuple(undecided), tested)


def _direct(
    harness: Harness,
    readings: Readings,
    seen: Observations,
    labels: IntArray,
    at: dict[int, tuple[int, int]],
) -> list[_Across]:
    """Plain numbers read between two components that resistive parts join, grouped by those components."""
    ohmic = {w: ends for w, ends in at.items() if harness.wires[w].kind not in _NO_OHMS}
    resistive = {w: ends for w, ends in ohmic.items() if ends[0] != ends[1]}
    by_ends: dict[tuple[int, int], list[int]] = {}
    for wire, (a, b) in resistive.items():
        by_ends.setdefault((min(a, b), max(a, b)), []).append(wire)
    if not by_ends:
        return []
    size = int(labels.max()) + 1
    network = PartPaths(size, ((*at[w], *part_range(harness.wires[w])) for w in at))
    shorts = PartPaths(size, ((*at[w], *short_and_most_ohm(harness.wires[w])) for w in at))
    keys = np.array([a * size + b for a, b in by_ends], dtype=np.int64)
    x, y = labels[readings.start], labels[readings.end]
    key = np.minimum(x, y) * size + np.maximum(x, y)
    plain = (seen.low_ohm == seen.high_ohm) & np.isin(key, keys)
    plain[list(readings.bonded)] = False
    alone = PartPaths(size, ((*ends, *part_range(harness.wires[w])) for w, ends in resistive.items()))
    values: dict[int, tuple[list[float], list[float]]] = {}
    for index in np.flatnonzero(plain).tolist():
        ways = values.setdefault(int(key[index]), ([], []))
        ways[int(x[index] > y[index])].append(float(seen.low_ohm[index]))
    out = []
    for (a, b), wires in by_ends.items():
        bounds, short = network.between(a, b), shorts.between(a, b)
        if bounds is not None and short is not None and (found := values.get(a * size + b)):
            least_alone = (alone.between(a, b) or bounds)[0]
            there, back = tuple(found[0]), tuple(found[1])
            beside = any({a, b} == set(ends) for w, ends in at.items() if w not in resistive)
            out.append(_Across(tuple(wires), short[0], *bounds, least_alone, beside, (there, back)))
    return out


def part_range(part: Wire) -> tuple[float, float]:
    """(least, most) ohms that a part may read; a diode promises no most, a switch nothing."""
    if part.kind == "switch":
        return 0.0, math.inf
    least, most = part_ohms(part)
    return least, math.inf if part.kind == "diode" else most


def _out_of_range(harness: Harness, across: _Across, slack_ohm: float) -> Finding | None:
    value, after = across.value, UnplugPart()
    if across.short <= value < across.least_alone * 0.98:
        why = PartReads(value, least_ohm=across.least_alone)
        if value >= across.least and not across.exchanged:
            after = UnplugPart(exchange_leads=True)
    elif value > across.most * 1.02 + slack_ohm:
        why = PartReads(value, most_ohm=across.most)
    else:
        return None
    rows = [harness.wires[w] for w in across.wires]
    return Finding(
        "wrong-part",
        (rows[0].start, rows[0].end),
        tuple(
            Suspect(row.name, None, value if len(rows) == 1 else None, None, 1 / len(rows)) for row in rows
        ),
        probability=0.99,
        why=why,
        todo=after,
    )


def _diode(
    harness: Harness, readings: Readings, labels: IntArray, at: dict[int, tuple[int, int]], wire: int
) -> Finding | bool | None:
    """A finding, True where readings show the diode right, None where no reading tests it."""
    a, b = at[wire]
    x, y = labels[readings.start], labels[readings.end]
    of_diodes = readings.quantity == Quantity.DIODE
    of_diodes[list(readings.bonded)] = False
    forward = np.isfinite(readings.value[of_diodes & (x == a) & (y == b)])
    backward = np.isfinite(readings.value[of_diodes & (x == b) & (y == a)])
    beside = any(set(ends) == {a, b} for other, ends in at.items() if other != wire)
    row = harness.wires[wire]
    if not len(forward) and not len(backward):
        return None
    if len(backward) and backward.all() and not beside:
        return _diode_finding(row, "wrong-part", DiodeConducts(bool(forward.any()), True))
    if len(forward) and not forward.any():
        return _diode_finding(row, "open", DiodeConducts(False, False))
    return True if len(forward) else None


def _diode_finding(row: Wire, fault: Fault, why: DiodeConducts) -> Finding:
    return Finding(
        fault,
        (row.start, row.end),
        (Suspect(row.name, None, None, None, 1.0),),
        probability=0.99,
        why=why,
        todo=TurnDiode(),
    )


def _tested_in_series(
    harness: Harness,
    seen: Observations,
    labels: IntArray,
    at: dict[int, tuple[int, int]],
    tested: BoolArray,
) -> None:
    """Mark parts without which some conducting reading would have shown over-range."""
    ohmic = [w for w in at if harness.wires[w].kind not in _NO_OHMS]
    waiting = [w for w in ohmic if not tested[w] and at[w][0] != at[w][1]]
    if not waiting:
        return
    size = int(labels.max()) + 1
    links = {w: (*at[w], *part_range(harness.wires[w])) for w in at if harness.wires[w].kind not in _NO_OHMS}
    whole = PartPaths(size, links.values())
    a, b = labels[seen.pair_start], labels[seen.pair_end]
    numbers = (a != b) & ~seen.pair_over
    pairs = {(int(x), int(y)) for x, y in zip(a[numbers], b[numbers], strict=True)}
    through = [pair for pair in pairs if whole.between(*pair) is not None]
    for wire in waiting:
        without = PartPaths(size, (link for other, link in links.items() if other != wire))
        tested[wire] = any(without.between(*pair) is None for pair in through)
