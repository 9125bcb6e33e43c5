"""What touches against marker clips leave in doubt, as facts; points are codes into `Readings.points`."""

from __future__ import annotations

from dataclasses import dataclass

from loomtest.diagnosis.why import Todo, Why


@dataclass(frozen=True, slots=True)
class NotRegistered:
    """`point` does not read `clip`, the one of its circuit, or reads it where another should be: a touch on
    `seat` itself tells crossed or broken wires from a clip that sits wrong. `reads`: the clips it reads;
    `plug`: the connector of the marker plug that the clip is built into, "" for a loose one."""

    seat: int
    point: int
    clip: str
    reads: tuple[str, ...]
    round: int
    plug: str = ""


@dataclass(frozen=True, slots=True)
class ClipAstray:
    """The point that `clip` was put on does not read it: it sits elsewhere, or is off."""

    seat: int
    clip: str
    round: int


@dataclass(frozen=True, slots=True)
class MaybeClipsTouch:
    """The circuits of these seats read alike: shorted, or their clips touch each other. `built_in`: all clips
    are built into plugs, so that only a leak could look the same."""

    seats: tuple[int, ...]
    clips: tuple[str, ...]
    round: int
    built_in: bool = False


@dataclass(frozen=True, slots=True)
class LeaksAlone:
    """The circuit of this point leaks by `ohm` to something that no other touch names."""

    point: int
    ohm: float
    round: int


@dataclass(frozen=True, slots=True)
class Damp:
    """Many circuits read low: damp, or corrosion that makes a voltage of its own."""

    points: tuple[int, ...]
    least_ohm: float
    most_ohm: float


@dataclass(frozen=True, slots=True)
class MuchInWire:
    """About `ohm` stand between the clip at `seat` and `point`."""

    seat: int
    point: int
    ohm: float


@dataclass(frozen=True, slots=True)
class ReadsNothing:
    """`ohm` is what no clips of the kit give, or what two ways give about as well."""

    point: int
    ohm: float
    round: int


@dataclass(frozen=True, slots=True)
class OtherMeter:
    """The touches stand above the clips throughout: the kit was measured with another meter or range."""

    round: int


Doubt = (
    NotRegistered | ClipAstray | MaybeClipsTouch | LeaksAlone | Damp | MuchInWire | ReadsNothing | OtherMeter
)


@dataclass(frozen=True)
class LeftByMarkers(Why):
    """What touches against marker clips leave in doubt; the finding's points are those of the doubt."""

    doubt: Doubt


@dataclass(frozen=True)
class SettleByTouch(Todo):
    """The touch or the hand that settles such a doubt."""

    doubt: Doubt
