"""The question asked at the end: does the loom as found give every reading that was taken?

Each kept reading, of any quantity, is held against the loom as found: its wires at their estimated ohms, the
faults, the parts anywhere in their ranges, the leads and the meter. One that it does not give, with a
probability below 0.001 ÷ n among n readings, is doubted; while one is doubted nothing passes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.doubts.copper import CopperReadings, edges_as_found, misfits
from loomtest.diagnosis.doubts.touched import CopperAsFound, doubted_touches
from loomtest.diagnosis.faults.parts import part_range
from loomtest.diagnosis.faults.scene import PartPaths
from loomtest.diagnosis.joints.report import JointReport
from loomtest.diagnosis.markers.facts import MarkerFacts
from loomtest.diagnosis.numbers.network import component_labels
from loomtest.diagnosis.numbers.statistics import normal_quantile
from loomtest.diagnosis.seen.observe import Observations
from loomtest.diagnosis.verdict import Doubted, DoubtKind, Finding
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray
from loomtest.readings.model import Instrument, Quantity, Readings

DOUBTED_BELOW = 0.001  # probability, over all readings of the run
MOST_LISTED = 1000
_DIODE_AMPS = 1e-3  # of a meter's diode test (common practice)
_DIODE_FULL_VOLTS = 1.5  # what every diode test shows before over-range (common practice)
_FORWARD_VOLTS = 0.1  # no junction shows less
_SHARE = 0.02  # by which a part may lie outside its range before anyone says so, as in the parts' own check


@dataclass(frozen=True)
class AsFound:
    """The loom as found. `labels`: (P,) what wires, fuses and shorts join; `findings`: decided ones;
    `slack_ohm`: what leads, touch and the wires on the way add to a reading across parts."""

    harness: Harness
    wiring: Wiring
    joints: JointReport
    labels: IntArray
    findings: Sequence[Finding]
    slack_ohm: float


@dataclass(frozen=True)
class _Off:
    """Readings that do not fit: (k,) index and what was expected, between `least` and `most`."""

    kind: DoubtKind
    index: IntArray
    least: FloatArray
    most: FloatArray


def doubted(
    found: AsFound,
    readings: Readings,
    told: tuple[Observations, MarkerFacts],
    meter: Instrument,
) -> tuple[tuple[Doubted, ...], int]:
    """(the doubted readings in their order, at most MOST_LISTED; how many there are), touches against marker
    clips among them."""
    seen, marker = told
    paths = _Paths(found, readings.points)
    a, b = found.labels[readings.start], found.labels[readings.end]
    inside = a == b
    over = np.isinf(readings.value)
    settled = _told_by_findings(found, readings)
    settled |= readings.start == readings.end
    settled[list(readings.bonded)] = True
    pieces = [
        _along(found, readings, inside & ~settled),
        _parted(readings, inside & over & ~settled, seen),
        *_silent(found, readings, inside & ~over & ~settled),
        *_across(found, readings, seen, paths, (~inside & ~settled, over), meter),
        *_clipped(found, readings, paths),
    ]
    listed, count = _listed(readings, pieces)
    copper = CopperAsFound(found.labels, paths.told[found.labels])
    touches = doubted_touches(copper, readings.points, marker, found.harness.limits.isolation_ohms)
    both = sorted((*listed, *touches), key=lambda one: one.row)[:MOST_LISTED]
    return tuple(both), count + len(touches)


def _listed(readings: Readings, pieces: Sequence[_Off]) -> tuple[tuple[Doubted, ...], int]:
    rows = sorted(
        (int(index), piece.kind, float(low), float(high))
        for piece in pieces
        for index, low, high in zip(piece.index, piece.least, piece.most, strict=True)
    )
    out = []
    for index, kind, low, high in rows[:MOST_LISTED]:
        out.append(
            Doubted(
                int(readings.row[index]),
                readings.points[int(readings.start[index])],
                readings.points[int(readings.end[index])],
                kind,
                Quantity(int(readings.quantity[index])).name.lower(),
                float(readings.value[index]),
                low,
                high,
            )
        )
    return tuple(out), len({row[0] for row in rows})


def _told_by_findings(found: AsFound, readings: Readings) -> BoolArray:
    """Readings of a pair that comes and goes: the finding gives them all."""
    code = {name: i for i, name in enumerate(readings.points)}
    size = len(readings.points)
    pairs = [
        sorted((code[f.points[0]], code[f.points[1]]))
        for f in found.findings
        if f.fault == "intermittent" and len(f.points) == 2
    ]
    if not pairs:
        return np.zeros(len(readings), dtype=np.bool_)
    keys = np.array([low * size + high for low, high in pairs], dtype=np.int64)
    low, high = np.minimum(readings.start, readings.end), np.maximum(readings.start, readings.end)
    return np.asarray(np.isin(low * size + high, keys), dtype=np.bool_)


def copper_readings(found: AsFound, readings: Readings, which: BoolArray) -> tuple[IntArray, CopperReadings]:
    """(index, the readings of ohms and of volts lost along copper among `which`), leads taken off."""
    budget = found.joints.budget
    kept = np.flatnonzero(which[budget.index])
    index = budget.index[kept]
    shared_ohm, shared_sd = _shared(found.joints)
    spread = np.sqrt(
        budget.own[kept] ** 2
        + (budget.shared[kept] * shared_sd) ** 2
        + np.sum(budget.common[kept] ** 2, axis=1)
    )
    ohm = budget.ohm[kept] - budget.shared[kept] * shared_ohm
    return index, CopperReadings(readings.start[index], readings.end[index], ohm, np.asarray(spread))


def _shared(joints: JointReport) -> tuple[float, float]:
    """What all readings share beyond what was taken off: no more than leads and offset can be."""
    mean, sd = joints.shared_ohm
    least, most = joints.budget.prior.bounds
    beyond = mean - joints.budget.lead_ohm
    if least <= beyond <= most:
        return beyond, sd
    return float(np.clip(beyond, least, most)), 0.0


def _along(found: AsFound, readings: Readings, which: BoolArray) -> _Off:
    """Ohms and volts lost along copper."""
    index, told = copper_readings(found, readings, which)
    if not len(index):
        return _Off("value", index, np.empty(0), np.empty(0))
    sigmas = normal_quantile(1 - DOUBTED_BELOW / len(readings) / 2)
    edges = edges_as_found(found.harness, found.wiring, found.joints)
    off, given = misfits(edges, found.labels, told, sigmas)
    off_by = found.joints.budget.lead_ohm + _shared(found.joints)[0]
    two_wire = (readings.quantity[index] == Quantity.RESISTANCE)[off]
    shown = given[off] + two_wire * off_by
    return _Off("value", index[off], shown, shown)


def _parted(readings: Readings, which: BoolArray, seen: Observations) -> _Off:
    """Over-range, whatever the quantity, between points that copper joins."""
    index = np.flatnonzero(which)
    return _Off("joined", index, np.zeros(len(index)), np.zeros(len(index)))


def _silent(found: AsFound, readings: Readings, which: BoolArray) -> list[_Off]:
    """A beeper that kept silent, megohms or a diode's volts along copper."""
    beeps = which & (readings.quantity == Quantity.CONTINUITY) & (readings.value < 0.5)
    large = which & (readings.quantity == Quantity.INSULATION)
    large &= readings.value >= 0.1 * found.harness.limits.isolation_ohms
    volts = which & (readings.quantity == Quantity.DIODE)
    volts &= readings.value > found.harness.limits.short_below_ohms * _DIODE_AMPS
    index = np.flatnonzero(beeps | large | volts)
    return [_Off("joined", index, np.zeros(len(index)), np.zeros(len(index)))]


class _Paths:
    """Parts and leaks between pieces of copper."""

    def __init__(self, found: AsFound, points: Sequence[str]) -> None:
        harness, wiring, labels = found.harness, found.wiring, found.labels
        self.size = int(labels.max(initial=0)) + 1
        links = []
        for wire in np.flatnonzero(~harness.conducts & wiring.joined).tolist():
            ends = int(labels[wiring.start[wire]]), int(labels[wiring.end[wire]])
            links.append((*ends, *part_range(harness.wires[wire])))
        self.parts = PartPaths(self.size, links)
        self.group = self.parts.group_of(self.size)
        code = {name: i for i, name in enumerate(points)}
        told = [f for f in found.findings if f.fault in ("leakage", "wrong-part", "short", "intermittent")]
        touched = [[int(labels[code[p]]) for p in f.points if p in code] for f in told]
        pairs = np.array([pair for pair in touched if len(pair) == 2], dtype=np.int64).reshape(-1, 2)
        group = self.group
        # what a finding joins is told by it: its two groups of parts are one
        merged = component_labels(self.size, group[pairs[:, 0]], group[pairs[:, 1]])
        self.told = merged[group]
        at_fault = np.zeros(self.size, dtype=np.bool_)
        at_fault[self.told[pairs.ravel()]] = True
        self.excused = at_fault[self.told]  # (size,) labels near a finding: the finding speaks for them

    def between(self, a: int, b: int) -> tuple[float, float] | None:
        """(least, most) ohms through parts."""
        return self.parts.between(a, b)


def _across(
    found: AsFound,
    readings: Readings,
    seen: Observations,
    paths: _Paths,
    masks: tuple[BoolArray, BoolArray],
    meter: Instrument,
) -> list[_Off]:
    """Readings between pieces of copper that nothing joins, or only parts."""
    which, over = masks
    a, b = found.labels[readings.start], found.labels[readings.end]
    led = paths.group[a] == paths.group[b]
    told = (paths.told[a] == paths.told[b]) & paths.excused[a]
    which = which & ~told & (~over | led)
    rows = np.flatnonzero(which & (led | ~_apart_fits(found, readings)))
    off: dict[DoubtKind, list[tuple[int, float, float]]] = {"apart": [], "part": []}
    for row in rows.tolist():
        bounds = paths.between(int(a[row]), int(b[row])) if led[row] else None
        if bounds is None:
            off["apart"].append((row, found.harness.limits.isolation_ohms, math.inf))
        elif not _part_fits(found, readings, seen, (row, bounds), meter):
            off["part"].append((row, *bounds))
    out = []
    for kind, listed in off.items():
        columns = np.array(listed, dtype=np.float64).reshape(-1, 3)
        out.append(_Off(kind, columns[:, 0].astype(np.int64), columns[:, 1], columns[:, 2]))
    return out


def _apart_fits(found: AsFound, readings: Readings) -> BoolArray:
    """(n,) readings that circuits which nothing joins give: no volts over a diode, no current, no beep."""
    quantity, value = readings.quantity, readings.value
    ohms = (
        (quantity == Quantity.RESISTANCE)
        | (quantity == Quantity.RESISTANCE_4W)
        | (quantity == Quantity.INSULATION)
    )
    fits = np.isinf(value) | (ohms & (value >= found.harness.limits.isolation_ohms))
    return np.asarray(fits | ((quantity == Quantity.CONTINUITY) & (value < 0.5)), dtype=np.bool_)


def _part_fits(
    found: AsFound,
    readings: Readings,
    seen: Observations,
    at: tuple[int, tuple[float, float]],
    meter: Instrument,
) -> bool:
    row, (least, most) = at
    value, quantity = float(readings.value[row]), Quantity(int(readings.quantity[row]))
    if quantity == Quantity.DIODE:
        if math.isinf(value):
            return most * _DIODE_AMPS >= _DIODE_FULL_VOLTS
        return value >= min(0.3 * least * _DIODE_AMPS, _FORWARD_VOLTS)
    if quantity == Quantity.CONTINUITY:
        beeps = meter.beep_below_ohms
        if value > 0.5:
            return beeps is None or least * (1 - _SHARE) < beeps + found.slack_ohm
        return beeps is None or most * (1 + _SHARE) + found.slack_ohm > beeps
    if math.isinf(value):
        return float(seen.low_ohm[row]) <= most * (1 + _SHARE) + found.slack_ohm
    ohm = float(seen.low_ohm[row])
    u = float(readings.uncertainty[row])
    sigmas = normal_quantile(1 - DOUBTED_BELOW / len(readings) / 2)
    reach = sigmas * u if math.isfinite(u) and quantity != Quantity.VOLTAGE_DROP else 0.03 * ohm + 0.1
    return least * (1 - _SHARE) - reach <= ohm <= most * (1 + _SHARE) + found.slack_ohm + reach


def _clipped(found: AsFound, readings: Readings, paths: _Paths) -> list[_Off]:
    """Readings with clips: any pair across may conduct, all pairs across must be apart."""
    limits = found.harness.limits
    joined, apart = [], []
    for row, (with_start, with_end) in sorted(readings.bonded.items()):
        one = found.labels[[int(readings.start[row]), *with_start]]
        other = found.labels[[int(readings.end[row]), *with_end]]
        touching = bool(np.isin(one, other).any())
        led = bool(np.isin(paths.told[one], paths.told[other]).any())
        value, quantity = float(readings.value[row]), Quantity(int(readings.quantity[row]))
        silent = quantity == Quantity.CONTINUITY and value < 0.5
        if quantity == Quantity.CONTINUITY:
            value = math.inf if silent else 0.0
        if touching and value >= limits.short_below_ohms:
            joined.append(row)
        elif not touching and not led and value < limits.isolation_ohms:
            apart.append(row)
    none, many = np.zeros, np.full
    return [
        _Off("joined", np.array(joined, dtype=np.int64), none(len(joined)), none(len(joined))),
        _Off(
            "apart",
            np.array(apart, dtype=np.int64),
            many(len(apart), limits.isolation_ohms),
            many(len(apart), math.inf),
        ),
    ]
