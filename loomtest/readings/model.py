"""What was measured: columns, one entry a reading. All types are frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import IntEnum
from typing import Any

import numpy as np

from loomtest.errors import Problem
from loomtest.harness.model import BoolArray, FloatArray, IntArray, IsolationLevel
from loomtest.readings.marked import Marked


class Quantity(IntEnum):
    """What a reading is of; the codes of `Readings.quantity`."""

    RESISTANCE = 0  # two-wire
    RESISTANCE_4W = 1
    VOLTAGE_DROP = 2
    CONTINUITY = 3
    INSULATION = 4
    DIODE = 5
    CAPACITANCE = 6


@dataclass(frozen=True, slots=True)
class Range:
    """One range of a meter: the maker's limit of error is percent of reading plus counts · resolution."""

    up_to_ohms: float
    percent: float
    counts: float
    resolution_ohms: float


@dataclass(frozen=True, slots=True)
class CapacitanceRange:
    """One capacitance range of a meter, with its limit of error like that of a `Range`."""

    up_to_farads: float
    percent: float
    counts: float
    resolution_farads: float


@dataclass(frozen=True, slots=True)
class VoltageRange:
    """One range of direct volts of a meter, with its limit of error like that of a `Range`."""

    up_to_volts: float
    percent: float
    counts: float
    resolution_volts: float


@dataclass(frozen=True, slots=True)
class Instrument:
    """A meter's specification. `lead_ohms` None: unknown, 0 to 0.5 Ω. `assumed`: nobody stated one.
    `lead_farads`: what the leads in the air show, still to be subtracted from every capacitance.

    `source` is the file it was read from and `text` what stood in it, "" where there is none.
    """

    name: str
    method: str = "two-wire"  # or "four-wire"
    autorange: bool = False
    lead_ohms: float | None = None
    lead_uncertainty_ohms: float = 0.0
    touch_ohms: float = 0.0
    open_above_ohms: float | None = None
    beep_below_ohms: float | None = None
    ranges: tuple[Range, ...] = ()
    lead_farads: float = 0.0
    capacitance_ranges: tuple[CapacitanceRange, ...] = ()
    voltage_ranges: tuple[VoltageRange, ...] = ()
    assumed: bool = False
    source: str = field(default="", compare=False)
    text: str = field(default="", compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Job:
    """For whom and on what a run was taken. `unit`: the serial number of this very loom, boat or machine; a
    harness describes a kind of loom, and the unit says which one."""

    number: str = ""
    unit: str = ""
    customer: str = ""


NO_JOB = Job()


@dataclass(frozen=True)
class Run:
    """One sitting at the bench: the tables of `run.toml`, as read. `rehearsal`: the meter was simulated;
    `isolation`: the level it was planned for, None where the run does not say."""

    stage: str = ""
    operator: str = ""
    started: str = ""
    temperature_c: float | None = None
    lead_start_ohms: float | None = None
    lead_end_ohms: float | None = None
    lead_uncertainty_ohms: float | None = None
    harness_name: str = ""
    harness_digest: str = ""
    tool_version: str = ""
    notes: str = ""
    rehearsal: bool = False
    job: Job = NO_JOB
    isolation: IsolationLevel | None = None
    raw: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Sitting:
    """One of several runs judged together: its record, its meter with its own leads, how many of its
    readings count and how many are left out because what they read was mended since."""

    run: Run | None
    instrument: Instrument
    source: str
    count: int
    left_out: int


@dataclass(frozen=True, eq=False)
class Readings:
    """n readings as columns; withdrawn rows are gone, nothing else is.

    `withdrawn`: how many readings a later row takes back.
    `points`: the harness's points, then any undeclared cavity of a known connector that was probed.
    `start`, `end`: (n,) codes into `points` (for polarity `start` is the positive lead).
    `quantity`: (n,) codes of `Quantity`. `value`: (n,) ohms (resistance, insulation), volts (drop, diode),
    farads (capacitance), 1.0 yes / 0.0 no (continuity); +inf where the meter showed over-range.
    `above_ohm`: (n,) what an over-range value itself says (`>2M` is 2e6) or the `range` column; NaN where
    neither is stated. `current_a`, `uncertainty` (k = 1, in the value's SI unit), `temperature_c`: (n,),
    NaN where absent. `row`: (n,) line in the file, header = 1.
    `bonded`: for a reading with clips, its index to (codes tied to start, codes tied to end).
    `sitting`: (n,) index into `sittings` where several runs are judged together, else None.
    `marked`: touches against the common of marker clips, which stand in none of the columns.
    `turned`: (n,) True for a voltage drop that was written below zero and stands with its leads exchanged;
    None where there is none.

    >>> harness = loomtest.load_harness("orchard_tractor")
    >>> readings = loomtest.load_readings("orchard_tractor/1_before", harness)
    >>> readings.points[readings.start[0]], readings.points[readings.end[0]], float(readings.value[0])
    ('BATT+', 'X7:1', 0.007)
    >>> float(loomtest.frame(readings).value.max())
    inf
    """

    points: tuple[str, ...]
    start: IntArray
    end: IntArray
    quantity: IntArray
    value: FloatArray
    above_ohm: FloatArray
    current_a: FloatArray
    uncertainty: FloatArray
    temperature_c: FloatArray
    row: IntArray
    bonded: Mapping[int, tuple[tuple[int, ...], tuple[int, ...]]] = field(default_factory=dict)
    notes: Mapping[int, str] = field(default_factory=dict)
    times: Mapping[int, str] = field(default_factory=dict)
    instrument: Instrument | None = None
    run: Run | None = None
    warnings: tuple[Problem, ...] = ()
    source: str = ""
    marked: Marked | None = None
    withdrawn: int = 0
    sitting: IntArray | None = None
    sittings: tuple[Sitting, ...] = ()
    turned: BoolArray | None = None

    def __len__(self) -> int:
        return len(self.value)

    def columns(self) -> dict[str, Any]:
        """The readings by column, named as in a readings file; values in SI units, yes and no as 1 and 0."""
        names, at = np.array(self.points, dtype=object), range(len(self))
        return {
            "from": names[self.start],
            "to": names[self.end],
            "quantity": [Quantity(code).name.lower() for code in self.quantity.tolist()],
            "value": self.value,
            "range": self.above_ohm,
            "current": self.current_a,
            "uncertainty": self.uncertainty,
            "temperature": self.temperature_c,
            "time": [self.times.get(index, "") for index in at],
            "note": [self.notes.get(index, "") for index in at],
            "row": self.row,
        }

    def __eq__(self, other: object) -> bool:
        """The same readings in the same order, with the same meter and run; NaN equals NaN here."""
        if not isinstance(other, Readings):
            return NotImplemented
        return all(_same(getattr(self, column.name), getattr(other, column.name)) for column in fields(self))

    __hash__ = None  # type: ignore[assignment]  # like a list: compared by content


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    if isinstance(one, Marked) and isinstance(other, Marked):
        return all(_same(getattr(one, column.name), getattr(other, column.name)) for column in fields(one))
    return bool(one == other)
