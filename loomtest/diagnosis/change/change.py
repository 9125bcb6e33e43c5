"""Before and after: which pairs changed and how surely, which faults are gone, remain, or are new. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loomtest.diagnosis.change.pairs import DIRECTIONS, PairChange, PairChanges
from loomtest.diagnosis.faults.switches import without
from loomtest.diagnosis.seen.budget import budget_of
from loomtest.diagnosis.seen.isolation import part_groups
from loomtest.diagnosis.verdict import Finding, Outcome, Verdict, plain_json, plain_number
from loomtest.harness.copper import PART_OHMS, part_ohms
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import Instrument, Quantity, Readings

COVERAGE_FACTOR = 1.96
SAME_OHMS, SAME_SHARE = 0.005, 0.10


@dataclass(frozen=True)
class Change:
    """What lies between two runs of one harness.

    `gone`, `remaining`, `new`: findings. `not_shown_gone`: findings of the run before that the run after
    leaves doubtful or did not measure, so that nobody can call them gone.
    """

    before: Outcome
    after: Outcome
    pairs: PairChanges
    gone: tuple[Finding, ...]
    remaining: tuple[Finding, ...]
    new: tuple[Finding, ...]
    not_shown_gone: tuple[Finding, ...]

    def to_json(self) -> dict[str, Any]:
        """The object `loomtest-change/1` of the contract, with `not_shown_gone` added."""
        return {**self.to_json_but_pairs(), "pairs": list(self.pairs_json())}

    def pairs_json(self) -> Iterator[dict[str, Any]]:
        """The list `pairs` of that object, one at a time: a scan has millions."""
        return map(_pair_json, self.pairs)

    def to_json_but_pairs(self) -> dict[str, Any]:
        """That object with no pairs in it."""
        return {
            "schema": "loomtest-change/1",
            "before": self.before,
            "after": self.after,
            "pairs": [],
            "faults": {
                name: [plain_json(finding) for finding in getattr(self, name)]
                for name in ("gone", "remaining", "new", "not_shown_gone")
            },
        }


def _pair_json(pair: PairChange) -> dict[str, Any]:
    def number(value: float | None) -> float | str | None:
        return None if value is None else plain_number(value)

    return {
        "from": pair.start,
        "to": pair.end,
        "before_ohms": number(pair.before_ohms),
        "after_ohms": number(pair.after_ohms),
        "change_ohms": number(pair.change_ohms),
        "uncertainty_ohms": number(pair.uncertainty_ohms),
        "change": pair.change,
    }


@dataclass(frozen=True)
class Side:
    """One of the two runs: its readings, the instrument they were judged with, and its verdict."""

    readings: Readings
    verdict: Verdict
    instrument: Instrument | None = None


def change_between(harness: Harness, before: Side, after: Side) -> Change:
    """Match pairs and faults of two runs.

    A pair's values are those that the meter showed, leads taken off, repeated readings averaged; nothing is
    brought to another temperature. Gain and offset of one meter cancel in the difference, and so do leads
    whose zero neither run measured anew; of two meters, or of one that nobody stated, they are independent.
    """
    same = _same_meter(before, after)
    pairs = _pair_changes(harness, _by_pair(harness, before), _by_pair(harness, after), same)
    gone, remaining, new, not_shown_gone = _match(harness, before.verdict, after.verdict)
    return Change(before.verdict.verdict, after.verdict.verdict, pairs, gone, remaining, new, not_shown_gone)


@dataclass(frozen=True)
class _Values:
    """One entry a pair: `key` is its two codes as one number; ohms; standard uncertainties: `own` of its
    readings, `maker` of the meter's gain and offset, `leads`."""

    key: IntArray
    ohm: FloatArray
    own: FloatArray
    maker: FloatArray
    leads: FloatArray


@dataclass(frozen=True)
class _SameMeter:
    """Whether two runs were measured with one meter, and with leads of one zero: a difference loses both
    (JCGM 100:2008, 5.2)."""

    meter: bool
    leads: bool


def _same_meter(before: Side, after: Side) -> _SameMeter:
    """Known only where a meter was stated; a run that measured its leads has a zero of its own."""
    meters = [side.instrument or side.readings.instrument for side in (before, after)]
    one, other = meters
    same = one is not None and other is not None and not one.assumed and one == other
    runs = [side.readings.run for side in (before, after)]
    own_zero = any(run is not None and run.lead_start_ohms is not None for run in runs)
    return _SameMeter(same, same and not own_zero)


def _by_pair(harness: Harness, side: Side) -> _Values:
    """Averages over the readings of each pair of the harness's points; NaN where readings contradict.

    Drops that were taken up to a short say nothing of the pair that the leads touched.
    """
    readings, count = side.readings, len(harness.points)
    placing = np.isin(np.arange(len(readings)), side.verdict.placing)
    readings = without(readings, placing) if placing.any() else readings
    meter = side.instrument or readings.instrument or generic_handheld()
    # An insulation tester's limits of error read like a resistance meter's; leads do not matter to it.
    insulation = readings.quantity == Quantity.INSULATION
    quantity = np.where(insulation, int(Quantity.RESISTANCE_4W), readings.quantity).astype(np.int64)
    readings = replace(readings, quantity=quantity)
    budget = budget_of(readings, meter, harness.expect.temperature_c)
    offset = budget.prior.offset_half / math.sqrt(3)
    maker = np.sqrt((budget.shared * offset) ** 2 + np.sum(budget.common**2, axis=1))
    leads = budget.shared * math.sqrt(max(budget.prior.sd**2 - offset**2, 0.0))

    resistive = np.isin(quantity, (int(Quantity.RESISTANCE), int(Quantity.RESISTANCE_4W)))
    over = np.isinf(readings.value) & resistive
    over[list(readings.bonded)] = False
    index = np.concatenate([budget.index, np.flatnonzero(over)])
    ohm = np.concatenate([budget.ohm, np.full(int(over.sum()), np.inf)])
    own = np.concatenate([budget.own, np.zeros(int(over.sum()))])
    nothing = np.zeros(int(over.sum()))
    low = np.minimum(readings.start[index], readings.end[index])
    high = np.maximum(readings.start[index], readings.end[index])
    kept = high < count  # an undeclared cavity is nothing that two runs share
    key, inverse, repeats = np.unique(low[kept] * count + high[kept], return_inverse=True, return_counts=True)
    finite = np.isfinite(ohm[kept])
    with np.errstate(invalid="ignore"):
        mean = np.bincount(inverse, np.where(finite, ohm[kept], 0.0), len(key)) / repeats
    overs = np.bincount(inverse, ~finite, len(key))
    mean = np.where(overs == repeats, np.inf, np.where(overs > 0, np.nan, mean))
    spread = np.sqrt(np.bincount(inverse, own[kept] ** 2, len(key))) / repeats

    def shared(part: FloatArray) -> FloatArray:
        squares = np.concatenate([part, nothing])[kept] ** 2
        return np.asarray(np.sqrt(np.bincount(inverse, squares, len(key)) / repeats), dtype=np.float64)

    return _Values(key, mean, spread, shared(maker), shared(leads))


def _pair_changes(harness: Harness, before: _Values, after: _Values, same: _SameMeter) -> PairChanges:
    keys, at, of = np.intersect1d(before.key, after.key, assume_unique=True, return_indices=True)
    usable = ~(np.isnan(before.ohm[at]) | np.isnan(after.ohm[of]))
    keys, at, of = keys[usable], at[usable], of[usable]
    old, new = before.ohm[at], after.ohm[of]
    start, end = np.divmod(keys, len(harness.points))
    joined = harness.net_of[start] == harness.net_of[end]
    own = np.hypot(before.own[at], after.own[of])
    makers, leads = (before.maker[at], after.maker[of]), (before.leads[at], after.leads[of])
    of_maker = np.abs(makers[1] - makers[0]) if same.meter else np.hypot(*makers)
    of_leads = np.abs(leads[1] - leads[0]) if same.leads else np.hypot(*leads)
    u = np.sqrt(own**2 + of_maker**2 + of_leads**2)
    which = _directions(old, new, u, *_wanted(harness, start, end, joined))
    return PairChanges(harness.points, start, end, old, new, u, which, joined)


def _wanted(
    harness: Harness, start: IntArray, end: IntArray, joined: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """(n,) least and most that a pair should show: 0 where joined, unlimited where apart, a part's range."""
    low = np.where(joined, 0.0, np.inf)
    high = low.copy()
    groups = part_groups(harness)
    nets = harness.net_of
    through = ~joined & (groups[nets[start]] == groups[nets[end]])
    low[through], high[through] = PART_OHMS[0], np.inf
    between: dict[frozenset[int], tuple[float, float]] = {}
    for index, wire in enumerate(harness.wires):
        if not wire.conducts and wire.kind != "diode":
            pair = frozenset((int(nets[harness.start[index]]), int(nets[harness.end[index]])))
            between[pair] = part_ohms(wire)
    for i in np.flatnonzero(through):
        low[i], high[i] = between.get(frozenset((int(nets[start[i]]), int(nets[end[i]]))), (low[i], high[i]))
    return low, high


def _directions(
    old: FloatArray, new: FloatArray, u: FloatArray, low: FloatArray, high: FloatArray
) -> NDArray[np.int8]:
    """(n,) indices into DIRECTIONS: better is nearer to what is wanted; to or from over-range the direction
    alone decides."""
    same, better, worse, unsure = map(DIRECTIONS.index, ("same", "better", "worse", "cannot tell"))
    finite = np.isfinite(old) & np.isfinite(new)
    with np.errstate(invalid="ignore"):  # over-range less over-range
        gain = _off(old, low, high) - _off(new, low, high)
        moved = np.abs(new - old)
        differs = np.where(finite, moved > COVERAGE_FACTOR * u, old != new)
        alike = moved + COVERAGE_FACTOR * u <= np.maximum(SAME_OHMS, SAME_SHARE * np.abs(old))
    direction = np.where(gain > 0, better, np.where(gain < 0, worse, same))
    return np.where(differs, direction, np.where(alike | ~finite, same, unsure)).astype(np.int8)


def _off(value: FloatArray, least: FloatArray, most: FloatArray) -> FloatArray:
    """(n,) how far values lie outside [least, most]; what should be apart is the better the higher."""
    outside = np.maximum(np.maximum(least - value, value - most), 0.0)
    return np.where(np.isinf(least), -value, outside)


def _match(harness: Harness, before: Verdict, after: Verdict) -> tuple[tuple[Finding, ...], ...]:
    """(gone, remaining, new, not shown gone): matched by kind and suspects."""
    left = list(after.findings)
    gone, remaining, unsettled = [], [], []
    for finding in before.findings:
        same = next((other for other in left if _same_fault(harness, finding, other)), None)
        if same is not None:
            left.remove(same)
            remaining.append(same)
        elif _settled(harness, finding, after):
            gone.append(finding)
        else:
            unsettled.append(finding)
    return tuple(gone), tuple(remaining), tuple(left), tuple(unsettled)


def _same_fault(harness: Harness, one: Finding, other: Finding) -> bool:
    if one.fault != other.fault:
        return False
    suspects = {s.wire for s in one.suspects}, {s.wire for s in other.suspects}
    if all(suspects):
        return bool(suspects[0] & suspects[1])
    return _nets(harness, one.points) == _nets(harness, other.points)


def _settled(harness: Harness, finding: Finding, after: Verdict) -> bool:
    """Whether the run after measured what would show this fault, and leaves no doubt about it."""
    if any(_same_fault(harness, finding, doubt) for doubt in after.undecided):
        return False
    nets = _nets(harness, finding.points)
    if finding.fault in ("short", "leakage"):
        return not any(
            item.what == "isolation" and _nets(harness, item.points) == nets for item in after.untested
        )
    wires = {suspect.wire for suspect in finding.suspects}
    open_rows = ("untested", "undecided") if finding.fault == "high-resistance" else ("untested",)
    if any(row.wire in wires and row.verdict in open_rows for row in after.wires):
        return False
    if any(wires) and finding.fault in (
        "open",
        "high-resistance",
    ):  # whatever else of its circuit was left out
        own = {frozenset((wire.start, wire.end)) for wire in harness.wires if wire.name in wires}
        return not any(item.what == "continuity" and frozenset(item.points) in own for item in after.untested)
    return not any(
        item.what == "continuity" and nets & _nets(harness, item.points) for item in after.untested
    )


def _nets(harness: Harness, points: Sequence[str]) -> frozenset[int]:
    return frozenset(int(harness.net_of[harness.code_of[p]]) for p in points if p in harness.code_of)
