"""Why a finding was made and what comes next, as facts: `loomtest.words` turns them into sentences.

Each class is one way to come to a finding (`Why`) or one step that would settle or mend it (`Todo`). A new
way is a new class here, and a sentence registered for it in `words/findings.py` or `words/todo.py`; a test
holds that none is without. Points and wires are names.
"""

from __future__ import annotations

from dataclasses import dataclass


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
