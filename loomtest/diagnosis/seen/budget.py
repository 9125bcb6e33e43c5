"""The uncertainty budget of every reading: what is its own, and what it shares with the others of its run.

JCGM 100:2008 (GUM): a maker's limit of error is the half-width of a rectangular distribution (4.3.7,
u = a/√3), one display step is a rectangle of full width (F.2.2.1, u = step/√12), and what is common to
several readings is carried as a covariance (5.2, F.1.2.3), because averaging does not shrink it and a
difference loses it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.diagnosis.why import CurrentAssumed, Remark
from loomtest.harness.model import BoolArray, FloatArray, IntArray
from loomtest.readings.generic import UNKNOWN_LEADS_OHM
from loomtest.readings.model import Instrument, Quantity, Range, Readings, Sitting

CURRENT_SHARE = 0.01  # standard uncertainty of a current read off a clamp or a supply (common practice)
VOLT_SHARE, VOLT_FLOOR = 0.005 / math.sqrt(3), 0.001 / math.sqrt(3)  # handheld, d.c. volts (common practice)
SILENT_VOLT = 5e-4  # below half a count of that range: what a probe that touches nothing shows as well
GENERIC_RANGE = Range(200.0, 0.8, 3.0, 0.1)  # 3½ digits: for an instrument file without ranges
ZERO_RESISTANCE_C = -234.5  # copper: where its resistance would vanish, R ∝ T + 234.5 (IEC 60228)
_COPPER_BELOW_OHM = 100.0  # what reads more is no way through wires (the contract's short_below_ohms)
_MOST_OHM = 1e12  # beyond this a value is only a large one
STATED, DROP = -1, -2  # classes of readings that have no range of the instrument


@dataclass(frozen=True)
class Shared:
    """One value for all readings of the run that carry it: leads, and the offset of the range most used.

    `lead_low`, `lead_high`: bounds of a rectangular lead (equal when the lead is a normal distribution of
    `lead_sd` about zero, what was subtracted being its mean). `offset_half`: half-width of the offset.
    """

    lead_low: float = 0.0
    lead_high: float = 0.0
    lead_sd: float = 0.0
    offset_half: float = 0.0

    @property
    def mean(self) -> float:
        """Prior mean in ohms."""
        return (self.lead_low + self.lead_high) / 2

    @property
    def sd(self) -> float:
        """Prior standard uncertainty in ohms."""
        width = self.lead_high - self.lead_low
        return math.sqrt(width**2 / 12 + self.lead_sd**2 + self.offset_half**2 / 3)

    @property
    def bounds(self) -> tuple[float, float]:
        """What the shared value cannot leave: 6 standard deviations of a normal lead, and the rectangles."""
        reach = self.offset_half + 6 * self.lead_sd
        return self.lead_low - reach, self.lead_high + reach


@dataclass(frozen=True)
class Budget:
    """The readings that give a number of ohms, with known leads subtracted; arrays are (k,).

    `index`: which reading. `ohm`: its value. `own`: standard uncertainty that is independent of all others
    (display step, touch, or what the row states). `shared`: how much of the run's `Shared` value it carries
    (0 or 1, times the temperature factor). `common`: (k, c) further errors that several readings share, as
    columns already multiplied by their standard uncertainty: gains, and offsets of other ranges.
    `group`: readings of one group carry the same common errors. `lead_ohm`: what was subtracted as lead.
    `touched`: through two probes that a hand put on, so that a poor touch adds to it.
    """

    index: IntArray
    ohm: FloatArray
    own: FloatArray
    shared: FloatArray
    common: FloatArray
    group: IntArray
    prior: Shared
    lead_ohm: float
    touched: BoolArray
    remarks: tuple[Remark, ...]

    def combined(self, shared_sd: float | None = None) -> FloatArray:
        """(k,) combined standard uncertainty of each reading by itself."""
        sd = self.prior.sd if shared_sd is None else shared_sd
        return np.asarray(np.sqrt(self.own**2 + (self.shared * sd) ** 2 + np.sum(self.common**2, axis=1)))


def budget_of(readings: Readings, instrument: Instrument, temperature_c: float) -> Budget:
    """Budget of all readings of resistance or voltage drop that show a number, brought to `temperature_c`.

    Of several runs judged together each has its own leads, meter and temperature.
    """
    if readings.sitting is None or len(readings.sittings) < 2:
        return _of_one_run(readings, instrument, temperature_c)
    budgets = []
    for number, sitting in enumerate(readings.sittings):
        rows = np.flatnonzero(readings.sitting == number)
        part = _rows_of(readings, rows, sitting)
        own = _of_one_run(part, sitting.instrument, temperature_c)
        budgets.append(replace(own, index=rows[own.index]))
    return _merged(budgets)


def _rows_of(readings: Readings, rows: IntArray, sitting: Sitting) -> Readings:
    """The rows of one run, with that run's own record."""
    named = {f.name: getattr(readings, f.name) for f in fields(readings)}
    columns: dict[str, Any] = {
        name: column[rows] for name, column in named.items() if isinstance(column, np.ndarray)
    }
    columns["sitting"] = None
    at = {int(row): new for new, row in enumerate(rows.tolist())}
    bonded = {at[row]: tie for row, tie in readings.bonded.items() if row in at}
    return replace(readings, **columns, bonded=bonded, run=sitting.run, sittings=())


def _merged(budgets: Sequence[Budget]) -> Budget:
    """One budget of several runs: the shared value of the largest stays; what another run shares is taken
    off at its mean, and its uncertainty is one more common error of that run's readings."""
    main = max(range(len(budgets)), key=lambda number: float(budgets[number].shared.sum()))
    width = sum(one.common.shape[1] for one in budgets) + len(budgets)
    ohm, shared, common, group, at = [], [], [], [], 0
    for number, one in enumerate(budgets):
        columns = np.zeros((len(one.index), width))
        columns[:, at : at + one.common.shape[1]] = one.common
        at += one.common.shape[1]
        if number != main:
            columns[:, at] = one.shared * one.prior.sd
        at += 1
        common.append(columns)
        ohm.append(one.ohm - (one.shared * one.prior.mean if number != main else 0.0))
        shared.append(one.shared if number == main else np.zeros_like(one.shared))
        group.append(one.group + 1000 * number)
    order = np.argsort(np.concatenate([one.index for one in budgets]), kind="stable")
    kept = np.concatenate(common)[order]
    return Budget(
        np.concatenate([one.index for one in budgets])[order],
        np.concatenate(ohm)[order],
        np.concatenate([one.own for one in budgets])[order],
        np.concatenate(shared)[order],
        kept[:, kept.any(axis=0)],
        np.concatenate(group)[order],
        budgets[main].prior,
        budgets[main].lead_ohm,
        np.concatenate([one.touched for one in budgets])[order],
        tuple(dict.fromkeys(note for one in budgets for note in one.remarks)),
    )


def _of_one_run(readings: Readings, instrument: Instrument, temperature_c: float) -> Budget:
    drop = readings.quantity == Quantity.VOLTAGE_DROP
    wires = (readings.quantity == Quantity.RESISTANCE) | (readings.quantity == Quantity.RESISTANCE_4W) | drop
    plain = np.ones(len(readings), dtype=np.bool_)
    plain[list(readings.bonded)] = False
    index = np.flatnonzero(wires & np.isfinite(readings.value) & plain & (readings.start != readings.end))
    value, current, drop = readings.value[index], readings.current_a[index], drop[index]
    usable = ~drop | (np.isfinite(current) & (current != 0) & (np.abs(value) >= SILENT_VOLT))
    index, value, current, drop = index[usable], value[usable], current[usable], drop[usable]
    stated = readings.uncertainty[index]
    two_wire = (readings.quantity[index] == Quantity.RESISTANCE) & (instrument.method != "four-wire")
    lead, lead_prior = _lead(readings, instrument)

    ohm, own = np.clip(value, -_MOST_OHM, _MOST_OHM), np.zeros(len(value))
    ohm[drop] = np.clip(value[drop] / current[drop], -_MOST_OHM, _MOST_OHM)
    group = _range_of(np.abs(ohm), instrument)
    group[np.isfinite(stated)] = STATED
    group[drop] = DROP
    ranges = instrument.ranges or (GENERIC_RANGE,)
    step = np.array([r.resolution_ohms for r in ranges])
    by_meter = group >= 0
    own[by_meter] = step[group[by_meter]] / math.sqrt(12)
    own[by_meter & two_wire] = np.hypot(own[by_meter & two_wire], instrument.touch_ohms)
    told = ~by_meter & np.isfinite(stated)
    own[told] = stated[told]
    volts = drop & ~np.isfinite(stated)
    own[volts] = _volts_within(np.abs(value[volts]), instrument)
    own[drop] /= np.abs(current[drop])
    ohm[two_wire] -= lead

    main = _main_group(group, two_wire, np.abs(ohm) < _COPPER_BELOW_OHM)
    halves = np.array([r.counts * r.resolution_ohms for r in ranges])
    prior = Shared(*lead_prior, offset_half=float(halves[main[0]]) if main and main[0] >= 0 else 0.0)
    if (
        main is not None and not main[1]
    ):  # no two-wire reading: the offset of the main range is what is shared
        prior = Shared(offset_half=prior.offset_half)
    if main is None:
        prior = Shared()  # nothing carries it
    carries = (
        two_wire.astype(np.float64) if main is None or main[1] else (group == main[0]).astype(np.float64)
    )
    columns = _columns(ohm + lead * two_wire, group, two_wire, ranges, main)
    warmer = _to_temperature(readings, index, temperature_c)
    label = group * 2 + two_wire
    remarks = (CurrentAssumed(),) if drop.any() else ()
    return Budget(
        index,
        ohm * warmer,
        own * warmer,
        carries * warmer,
        columns * warmer[:, None],
        label,
        prior,
        lead,
        two_wire & (instrument.touch_ohms > 0),
        remarks,
    )


def _lead(readings: Readings, instrument: Instrument) -> tuple[float, tuple[float, float, float]]:
    """(ohms to subtract, (low, high, sd) of what is left); the run's own zeros go before the instrument's."""
    run = readings.run
    zeros = [z for z in (run.lead_start_ohms, run.lead_end_ohms) if z is not None] if run else []
    if run is not None and zeros:
        of_one = run.lead_uncertainty_ohms
        if of_one is None:
            of_one = instrument.lead_uncertainty_ohms or (instrument.ranges or (GENERIC_RANGE,))[
                0
            ].resolution_ohms / math.sqrt(12)
        drift = max(zeros) - min(zeros)
        return sum(zeros) / len(zeros), (0.0, 0.0, math.hypot(of_one, drift / math.sqrt(12)))
    if instrument.lead_ohms is not None:
        return instrument.lead_ohms, (0.0, 0.0, instrument.lead_uncertainty_ohms)
    return 0.0, (*UNKNOWN_LEADS_OHM, 0.0)


def _volts_within(volts: FloatArray, instrument: Instrument) -> FloatArray:
    """(k,) standard uncertainty of volts in the smallest range that holds them, else of a handheld's."""
    if not instrument.voltage_ranges:
        return np.asarray(np.hypot(VOLT_SHARE * volts, VOLT_FLOOR))
    ranges = sorted(instrument.voltage_ranges, key=lambda one: one.up_to_volts)
    at = np.minimum(np.searchsorted([one.up_to_volts for one in ranges], volts), len(ranges) - 1)
    share = np.array([one.percent / 100 for one in ranges])[at]
    floor = np.array([one.counts * one.resolution_volts for one in ranges])[at]
    step = np.array([one.resolution_volts for one in ranges])[at]
    limit = np.hypot(share * volts, floor) / math.sqrt(3)
    return np.asarray(np.hypot(limit, step / math.sqrt(12)))


def _range_of(ohm: FloatArray, instrument: Instrument) -> IntArray:
    """(k,) index of the smallest range that holds the value (the last one for anything above)."""
    tops = np.array([r.up_to_ohms for r in instrument.ranges or (GENERIC_RANGE,)])
    order = np.argsort(tops, kind="stable")
    return order[np.minimum(np.searchsorted(tops[order], ohm), len(tops) - 1)].astype(np.int64)


def _main_group(group: IntArray, two_wire: np.ndarray, copper: np.ndarray) -> tuple[int, bool] | None:
    """The group with most readings whose offset is modelled exactly: among two-wire ones if there are any.

    Readings of copper choose it where there are any: a scan by a meter that shows megohms has many more
    that say nothing of a joint.
    """
    candidates = two_wire if two_wire.any() else group >= 0
    if not candidates.any():
        return None
    if (candidates & copper).any():
        candidates = candidates & copper
    labels, counts = np.unique(group[candidates], return_counts=True)
    return int(labels[np.argmax(counts)]), bool(two_wire.any())


def _columns(
    shown: FloatArray,
    group: IntArray,
    two_wire: np.ndarray,
    ranges: tuple[Range, ...],
    main: tuple[int, bool] | None,
) -> FloatArray:
    """(k, c) gains of each range, and offsets of the ranges other than the main one, times their u."""
    columns: list[FloatArray] = []
    for label in distinct(group):
        if label == STATED:
            continue
        member = group == label
        share = CURRENT_SHARE if label == DROP else ranges[label].percent / 100 / math.sqrt(3)
        if share > 0:
            columns.append(np.where(member, shown * share, 0.0))
        if label == DROP:
            continue
        offset = ranges[label].counts * ranges[label].resolution_ohms / math.sqrt(3)
        aside = member if main is None or main[0] != label else member & (two_wire != main[1])
        if offset > 0 and aside.any():
            columns.append(np.where(aside, offset, 0.0))
    if main is not None and main[1] and main[0] >= 0:  # two-wire readings that do not carry the main offset
        others = two_wire & (group != main[0])
        if others.any():
            columns.append(
                np.where(others, ranges[main[0]].counts * ranges[main[0]].resolution_ohms / math.sqrt(3), 0.0)
            )
    return np.column_stack(columns) if columns else np.zeros((len(shown), 0))


def _to_temperature(readings: Readings, index: IntArray, temperature_c: float) -> FloatArray:
    """(k,) factor from the temperature of the row to that of the expectation (copper)."""
    own = readings.temperature_c[index]
    at = np.where(np.isfinite(own), own, temperature_c)
    return np.asarray((temperature_c - ZERO_RESISTANCE_C) / (at - ZERO_RESISTANCE_C), dtype=np.float64)
