"""What should be there: the types that the other rooms read. All are frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from loomtest.errors import Problem
from loomtest.harness.lie import Lie, WireWay

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

Kind = Literal["wire", "fuse", "resistor", "lamp", "coil", "diode", "switch", "restraint"]
IsolationLevel = Literal["full", "neighbours", "bonded", "none"]
ISOLATION_LEVELS: tuple[IsolationLevel, ...] = (
    "full",
    "bonded",
    "neighbours",
    "none",
)  # each within the last


@dataclass(frozen=True, slots=True)
class Wire:
    """One row of the wire list: a wire, or a part that stays plugged in.

    `start` and `end` are points in the spelling of the wire list (the columns `from` and `to`); `colour` is
    an IEC 60757 code or a plain word, "" where absent; a missing number is None. `row` is the line of the
    file, header = 1. `named` is False where the list gives no name and `name` is that of the row. `inches`:
    its length is written in inches or feet. `extra` holds the columns that the contract does not know, as
    (column, cell).
    """

    name: str
    start: str
    end: str
    kind: Kind = "wire"
    colour: str = ""
    size_mm2: float | None = None
    length_m: float | None = None
    ohms_min: float | None = None
    ohms_max: float | None = None
    amps: float | None = None
    circuit: str = ""
    note: str = ""
    row: int = 0
    extra: tuple[tuple[str, str], ...] = ()
    named: bool = True
    inches: bool = False

    @property
    def conducts(self) -> bool:
        """True for what joins its two points into one net: a wire or a fuse."""
        return self.kind in ("wire", "fuse")


@dataclass(frozen=True, slots=True)
class Expect:
    """Healthy copper and joints, the table `[expect]`; spreads are standard deviations."""

    temperature_c: float = 20.0
    temperature_spread_c: float = 5.0
    copper_factor: float = 1.05
    copper_spread_percent: float = 4.0
    length_spread_percent: float = 3.0
    joint_milliohms: float = 2.0
    joint_spread_milliohms: float = 1.5
    bad_joint_rate: float = 0.02
    bad_joint_from_milliohms: float = 10.0
    bad_joint_to_ohms: float = 100.0
    unknown_wire_to_ohms: float = 0.25


@dataclass(frozen=True, slots=True)
class Limits:
    """The table `[limits]`. `bad_joint_written`, `isolation_written`: the file itself names that key."""

    bad_joint_milliohms: float = 20.0
    joint_drop_volts: float = 0.1
    system_volts: float = 12.0
    continuity_ohms: float = 1.0
    short_below_ohms: float = 100.0
    isolation_ohms: float = 1e6
    isolation: IsolationLevel = "neighbours"
    isolation_in_segments: bool = False
    confidence: float = 0.95
    bad_joint_written: bool = False
    isolation_written: bool = False


@dataclass(frozen=True, slots=True)
class Face:
    """How the cavities of a connector lie: `rows` of equal length, numbered "across" or "down".

    "across" counts along a row before the next row begins; "down" counts through the rows of a column
    first; "back-and-forth" counts across, turning round at each row's end. The first cavity is at the top
    left when the connector is `seen_from` there: its "mating" side, or the "wire" side (the mirror image).
    """

    rows: int = 1
    numbering: Literal["across", "down", "back-and-forth"] = "across"
    seen_from: Literal["mating", "wire"] = "mating"


@dataclass(frozen=True, slots=True)
class Net:
    """Points that wires and fuses join: `points` are codes into `Harness.points`, ascending;
    `conductors` are indices into `Harness.wires`."""

    name: str
    points: tuple[int, ...]
    conductors: tuple[int, ...]


@dataclass(frozen=True)
class Harness:
    """A whole expected harness.

    `points`: those of the wire list in order of first mention, then the declared cavities that no wire
    uses. A point's code is its index there. `unreachable`: no probe can touch them; among them
    `untouchable`: no probe may, for they belong to a restraint system. `source` is the path that was given,
    `files` what was read there: harness.toml and branches.csv, where there are any, and the wire list (last).
    `lie`: how the loom lies, where that is known.

    >>> harness = loomtest.load_harness("orchard_tractor")
    >>> harness.wires[0].name, harness.wires[0].start, harness.wires[0].end
    ('W1', 'BATT+', 'X7:1')

    `nets` are the points that wires and fuses join; they hold codes, which `points` turns into names:

    >>> charge_lamp = harness.nets[1]
    >>> charge_lamp.name, [harness.points[code] for code in charge_lamp.points]
    ('charge lamp', ['X4:2', 'X1:2'])
    >>> [harness.wires[index].name for index in charge_lamp.conductors]
    ['W4']
    >>> harness.nets[harness.net_of[harness.code_of["X1:2"]]].name
    'charge lamp'
    """

    name: str
    wires: tuple[Wire, ...]
    points: tuple[str, ...]
    unreachable: frozenset[str] = frozenset()
    untouchable: frozenset[str] = frozenset()
    worked_on: frozenset[str] = frozenset()
    expect: Expect = field(default_factory=Expect)
    limits: Limits = field(default_factory=Limits)
    cavities: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    faces: Mapping[str, Face] = field(default_factory=dict)
    places: Mapping[str, str] = field(default_factory=dict)
    lie: Lie | None = None
    warnings: tuple[Problem, ...] = ()
    source: Path | None = None
    files: tuple[Path, ...] = ()
    laid_out: bool = False

    @cached_property
    def code_of(self) -> dict[str, int]:
        """Point name to point code."""
        return {point: code for code, point in enumerate(self.points)}

    @cached_property
    def start(self) -> IntArray:
        """(W,) point codes of the wires' starts."""
        return np.array([self.code_of[w.start] for w in self.wires], dtype=np.int64)

    @cached_property
    def end(self) -> IntArray:
        """(W,) point codes of the wires' ends."""
        return np.array([self.code_of[w.end] for w in self.wires], dtype=np.int64)

    @cached_property
    def conducts(self) -> BoolArray:
        """(W,) True where the row is a wire or a fuse."""
        return np.array([w.conducts for w in self.wires], dtype=np.bool_)

    @cached_property
    def reachable(self) -> BoolArray:
        """(P,) True where a probe can touch the point."""
        return np.array([p not in self.unreachable for p in self.points], dtype=np.bool_)

    @cached_property
    def parts(self) -> BoolArray:
        """(W,) True where the row is a part that stays plugged in and is measured."""
        kinds = [not w.conducts and w.kind != "restraint" for w in self.wires]
        return np.array(kinds, dtype=np.bool_)

    @cached_property
    def restraint(self) -> tuple[str, ...]:
        """Names of the wires of a restraint system: never measured."""
        return tuple(wire.name for wire in self.wires if wire.kind == "restraint")

    @cached_property
    def nets(self) -> tuple[Net, ...]:
        """All nets, single-point ones (an empty cavity, a part's far end) included, by first point."""
        from loomtest.harness.nets import nets_of  # here to keep this module free of algorithms

        return nets_of(self)

    @cached_property
    def ways(self) -> tuple[WireWay | None, ...]:
        """(W,) the way of every row of the wire list along the branches; None where it is not known."""
        if self.lie is None:
            return (None,) * len(self.wires)
        return tuple(self.lie.courses([(wire.start, wire.end) for wire in self.wires]))

    @cached_property
    def former(self) -> dict[str, tuple[str, ...]]:
        """Points that came out of a connector change, each with the point or points that it was before."""
        from loomtest.harness.origin import former_points

        return former_points(self)

    @cached_property
    def net_of(self) -> IntArray:
        """(P,) index into `nets` of every point."""
        out = np.empty(len(self.points), dtype=np.int64)
        for index, net in enumerate(self.nets):
            out[list(net.points)] = index
        return out


def connector_of(point: str) -> str:
    """The connector's name of `X3:2`; "" for a single-terminal point (`GND2`, `SP1`)."""
    connector, colon, _ = point.rpartition(":")
    return connector if colon else ""


def cavity_of(point: str) -> str:
    """The cavity of `X3:2`; the whole name for a single-terminal point."""
    return point.rpartition(":")[2]
