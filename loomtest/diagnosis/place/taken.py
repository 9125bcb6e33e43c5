"""The readings that tell where a short is: of which circuits, from which fed end, up to where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.place.legs import Legs, legs_at
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.copper import Expectation
from loomtest.harness.model import Harness, IntArray
from loomtest.readings.model import Instrument, Quantity, Readings


@dataclass(frozen=True)
class Bench:
    """What was measured of a loom: its readings all together, with what meter, and what was expected."""

    harness: Harness
    readings: Readings
    meter: Instrument
    expectation: Expectation
    wiring: Wiring

    @property
    def can_place_shorts(self) -> bool:
        """The meter was stated, and shows small volts or ohms by four leads."""
        return not self.meter.assumed and bool(self.meter.voltage_ranges or self.meter.method == "four-wire")

    @property
    def can_place_breaks(self) -> bool:
        """The meter was stated, and shows capacitance."""
        return not self.meter.assumed and bool(self.meter.capacitance_ranges)


def circuits_of(bench: Bench, finding: Finding) -> tuple[Legs, Legs] | None:
    """The two circuits of a short, as found; None where one of them holds a ring, or neither a wire."""
    if finding.fault != "short" or len(finding.points) != 2:
        return None
    codes = [bench.readings.points.index(point) for point in finding.points]
    one, other = (legs_at(bench.harness, bench.wiring, code) for code in codes)
    if one is None or other is None or one.points & other.points or not (one.ends or other.ends):
        return None
    return one, other


def drops_of(bench: Bench, circuits: tuple[Legs, Legs]) -> IntArray:
    """Voltage drops from one point of a circuit to another."""
    readings = bench.readings
    drops = (readings.quantity == Quantity.VOLTAGE_DROP) & np.isfinite(readings.value)
    drops[list(readings.bonded)] = False
    side = side_of(bench, circuits)
    return np.flatnonzero(drops & (side[readings.start] >= 0) & (side[readings.start] == side[readings.end]))


def side_of(bench: Bench, circuits: tuple[Legs, Legs]) -> IntArray:
    """(P,) 0 or 1 for the points of the two circuits, −1 for all others."""
    side = np.full(len(bench.readings.points), -1, dtype=np.int64)
    for number, legs in enumerate(circuits):
        side[list(legs.points)] = number
    return side


def fed_and_far(readings: Readings, rows: IntArray) -> tuple[IntArray, IntArray]:
    """(k,) points as they were written: the fed end, and the far one."""
    turned = np.zeros(len(rows), dtype=np.bool_) if readings.turned is None else readings.turned[rows]
    start, end = readings.start[rows], readings.end[rows]
    return np.where(turned, end, start), np.where(turned, start, end)


def four_wire_of(bench: Bench, circuits: tuple[Legs, Legs]) -> tuple[IntArray, IntArray]:
    """Ohms by four leads from one circuit to the other, and within one."""
    readings = bench.readings
    four = readings.quantity == Quantity.RESISTANCE_4W
    if bench.meter.method == "four-wire":
        four |= readings.quantity == Quantity.RESISTANCE
    four &= np.isfinite(readings.value) & (readings.value < bench.harness.limits.short_below_ohms)
    four[list(readings.bonded)] = False
    side = side_of(bench, circuits)
    one, other = side[readings.start], side[readings.end]
    four &= (one >= 0) & (other >= 0) & (readings.start != readings.end)
    return np.flatnonzero(four & (one != other)), np.flatnonzero(four & (one == other))
