"""Why a finding was made and what comes next, as facts: `loomtest.words` turns them into sentences.

Each class is one way to come to a finding (`Why`) or one step that would settle or mend it (`Todo`). A new
way is a new class here, and a sentence registered for it in `words/findings.py` or `words/todo.py`; a test
holds that none is without. Points and wires are names.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


class Why:
    """What shows a finding. Ohms are as read or as estimated; +inf is over-range."""


class Todo:
    """One step that would settle or mend something."""


@dataclass(frozen=True)
class WrongPlaces(Why):
    """Wires sit in cavities that are not theirs: the finding's `moves`, `alternatives` and `suspects`."""


@dataclass(frozen=True)
class MayBeSwapped(Why):
    """Two wires read open along their own pairs: the finding's `moves` may have changed places."""


@dataclass(frozen=True)
class LeftOn(Why):
    """`start` to `end` read `ohm` through a switch, or through something nobody listed: a switch left on or a
    part still plugged in may join them. `switches`: those between the two, none where nobody listed one."""

    start: str
    end: str
    ohm: float
    switches: tuple[str, ...] = ()


@dataclass(frozen=True)
class ReadApart(Why):
    """Two points that should be joined read `ohm`."""

    ohm: float


@dataclass(frozen=True)
class ReadJoined(Why):
    """Two circuits that should be apart: `start` to `end` read `ohm`, or only clipped points did (NaN).

    `beside`: the finding's two points lie in one connector. Suspects are parts plugged in across them.
    `marked`: the two points read the same marker clips, and nobody read ohms between them.
    """

    start: str
    end: str
    ohm: float
    beside: bool
    marked: bool = False


@dataclass(frozen=True)
class Leaks(Why):
    """Two circuits that should be apart read `ohm`: too much for a short, too little for isolation."""

    ohm: float


@dataclass(frozen=True)
class PartReads(Why):
    """A part, or several side by side, reads `ohm` where at least or at most so much is expected."""

    ohm: float
    least_ohm: float | None = None
    most_ohm: float | None = None


@dataclass(frozen=True)
class DiodeConducts(Why):
    """A diode conducts only the wrong way, both ways (`forward` and `backward`), or not at all."""

    forward: bool
    backward: bool


@dataclass(frozen=True)
class Contradicts(Why):
    """A reading of `ohm` that the loom as found does not give: its points are `joined` there, or apart."""

    ohm: float
    joined: bool


@dataclass(frozen=True)
class TouchesNowAndThen(Why):
    """Two circuits were read joined once and over-range another time."""


@dataclass(frozen=True)
class PlaceReading:
    """One reading that helps to tell where along a wire a fault is.

    `voltage_drop`: volts from the fed end `start` to the end `end`, a current flowing in at the first point
    of `feed` and out at the second. `resistance_4w`: ohms by four leads. `capacitance`: of `start` against
    `end` and the points of `bonded` tied together.
    """

    quantity: Literal["voltage_drop", "resistance_4w", "capacitance"]
    start: str
    end: str
    feed: tuple[str, ...] = ()
    bonded: tuple[str, ...] = ()


@dataclass(frozen=True)
class ReadBothEnds(Todo):
    """`asked`: readings that would tell where along the wires a short is; none where all were taken.

    `fits` False: what was read fits no single place.
    """

    asked: tuple[PlaceReading, ...]
    fits: bool = True


BreakWhy = Literal["one end", "rests", "lengths", "damp", "less", "faint"]


@dataclass(frozen=True)
class ReadPieces(Todo):
    """Capacitances that would tell where `wire` is broken, from these ends; `why` those read do not tell it:
    `one end` only, against different `rests`, `lengths` unknown, together too much (`damp` or half broken)
    or `less` than the wire, or too `faint` for the meter. `rests`: the circuits that either end was read
    against."""

    wire: str
    ends: tuple[str, ...]
    why: BreakWhy
    rests: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class MeasureAgain(Todo):
    """Mend, and measure `start` to `end` again; `part`: what to look at is a part, not a wire."""

    start: str
    end: str
    part: bool = False


@dataclass(frozen=True)
class MoveBack(Todo):
    """Put the wires of these cavities where they belong."""

    points: tuple[str, ...]


@dataclass(frozen=True)
class TellWhich(Todo):
    """A reading from `start` to `end` tells which of the suspects it is."""

    start: str
    end: str


@dataclass(frozen=True)
class LookAtEach(Todo):
    """No reading at reachable points tells the `count` suspects apart."""

    count: int


@dataclass(frozen=True)
class TellCrossed(Todo):
    """`start` to `end` joined: the two wires are crossed; not joined: both are broken."""

    start: str
    end: str
    wires: tuple[str, str]


@dataclass(frozen=True)
class WorkTheSwitch(Todo):
    """Turn the switches off, unplug what is still plugged in, and measure `start` to `end` again."""

    start: str
    end: str


@dataclass(frozen=True)
class FindBridge(Todo):
    """Look for what bridges the two points; first unplug the parts named in the suspects."""


@dataclass(frozen=True)
class UnclipOneByOne(Todo):
    """Only clipped points show it: the last clip taken off is the other side."""


@dataclass(frozen=True)
class DryAndClean(Todo):
    """A leak: measure again without fingers, then dry and clean."""


@dataclass(frozen=True)
class UnplugPart(Todo):
    """Measure the part by itself; `exchange_leads`: a diode beside it may conduct, exchange the leads."""

    exchange_leads: bool = False


@dataclass(frozen=True)
class TurnDiode(Todo):
    """Measure the diode the other way round, then turn or replace it."""


@dataclass(frozen=True)
class TouchAnew(Todo):
    """Measure `start` to `end` again, probes touched anew, and flex the loom."""

    start: str
    end: str


@dataclass(frozen=True)
class FlexBetween(Todo):
    """Flex the loom while measuring `start` to `end`."""

    start: str
    end: str


@dataclass(frozen=True, kw_only=True)
class JointReads(Why):
    """The likeliest suspect has more than its limit: `ohm` and its central 95 %, `expected_ohm` where known.

    `open`: it does not conduct, and another path joins its ends. `sure` False: suspected, not decided.
    """

    ohm: float
    interval_ohms: tuple[float, float]
    expected_ohm: float | None
    open: bool
    sure: bool = True


@dataclass(frozen=True)
class JumpsBetween(Why):
    """Repeated readings of `start` to `end` lie between `low_ohm` and `high_ohm`, and mean it."""

    start: str
    end: str
    low_ohm: float
    high_ohm: float


@dataclass(frozen=True)
class RemakeJoints(Todo):
    """Clean or remake the joints of `wire`."""

    wire: str


@dataclass(frozen=True)
class MeasureWire(Todo):
    """Measure `wire`: for the first time, `again`, or with a meter set to ohms (`in_ohms`)."""

    wire: str
    again: bool = False
    in_ohms: bool = False


@dataclass(frozen=True)
class SecondTouch(Todo):
    """One touch alone shows it: touch the ends of `wire` again, for two that agree decide."""

    wire: str


@dataclass(frozen=True)
class OpenRing(Todo):
    """Another way round hides `wire`: take `free` off and measure `other` to that end."""

    wire: str
    free: str
    other: str


@dataclass(frozen=True)
class UnplugOneEnd(Todo):
    """`wire` has others beside it: unplug one end and measure along it."""

    wire: str


@dataclass(frozen=True)
class TellFromOthers(Todo):
    """Measuring `wire` by itself tells it from the other suspects; an end may be under the wrapping."""

    wire: str


@dataclass(frozen=True)
class MeasureDrop(Todo):
    """Measure the volts lost in `wire` under its own `amps`; at a `ground` end against battery minus."""

    start: str
    end: str
    amps: float
    ground: bool


@dataclass(frozen=True, kw_only=True)
class Advice:
    """How to decide at `allowed_ohm` above healthy: `repeats` readings averaged (None: averaging never does),
    `shared_ohm` of uncertainty common to all readings, `amps` for a voltage drop."""

    allowed_ohm: float
    repeats: int | None
    shared_ohm: float
    amps: float


@dataclass(frozen=True)
class MeasureFiner(Todo):
    """The readings of `wire` have the standard uncertainty `uncertainty_ohm`, too much for the limit."""

    wire: str
    uncertainty_ohm: float
    advice: Advice


@dataclass(frozen=True)
class FlexAtBothEnds(Todo):
    """Flex the loom with the probes on `start` and `end`, and mend the joint that moves the value."""

    start: str
    end: str


class Remark:
    """Something about the whole run that is worth knowing."""


@dataclass(frozen=True)
class MeterNotGiven(Remark):
    """Nobody said which meter was used: the one of this name is assumed, its leads not known."""

    assumed: str


@dataclass(frozen=True)
class LeadsFromReadings(Remark):
    """The resistance of the leads was worked out from the readings."""

    ohm: float
    uncertainty_ohm: float


@dataclass(frozen=True)
class LeadsDisagree(Remark):
    """Every reading is off by about `ohm`, more than the stated leads explain."""

    ohm: float


@dataclass(frozen=True)
class JudgedCoarsely(Remark):
    """Joints were judged at `at_ohm`, the least that these readings can show."""

    at_ohm: float
    advice: Advice


@dataclass(frozen=True)
class DependsOnDirection(Remark):
    """`start` to `end` reads otherwise with the leads swapped, by `difference_ohm` (+inf: over-range)."""

    start: str
    end: str
    difference_ohm: float


@dataclass(frozen=True)
class CurrentAssumed(Remark):
    """The current of a voltage drop is taken to be known to 1 % (k = 1)."""
