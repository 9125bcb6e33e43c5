"""The verdict: frozen types in the shape of `loomtest-verdict/1`, and their JSON form."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, Literal

from loomtest.diagnosis.why import PlaceReading, Remark, Todo, Why
from loomtest.harness.changed import Setting
from loomtest.harness.model import IsolationLevel
from loomtest.readings.model import NO_JOB, Job

Outcome = Literal["pass", "fail", "not-proven"]
Row = Literal["pass", "fail", "undecided", "untested"]
Fault = Literal[
    "open", "short", "crossed", "misplaced", "high-resistance", "leakage", "intermittent", "wrong-part"
]


@dataclass(frozen=True)
class Suspect:
    """A wire that can be to blame; `end` is a point of it or None, ohms what it has, if known."""

    wire: str
    end: str | None = None
    ohms: float | None = None
    interval_ohms: tuple[float, float] | None = None
    probability: float | None = None


@dataclass(frozen=True)
class Alternative:
    """Another way that explains a crossed or misplaced finding about as well."""

    points: tuple[str, ...]
    moves: Mapping[str, str]
    probability: float


@dataclass(frozen=True)
class WirePlace:
    """Where along a wire a fault is, from the wire's end `start` (`from` in JSON), the most likely place and
    its 95 % interval: as a share of the wire, and in metres where its length is known.

    `beside`: the same place along the other circuit's wire. `short_ohm`: what a short itself has, where told.
    `zone`: the third of the wire, where nothing finer is told.
    """

    wire: str
    start: str
    metres: float | None
    interval_metres: tuple[float, float] | None
    share: float
    interval_share: tuple[float, float]
    beside: WirePlace | None = None
    short_ohm: float | None = None
    zone: Literal["start", "middle", "end"] | None = None


@dataclass(frozen=True)
class Finding:
    """One physical fault. `place`: where along the wire, when readings tell it; `asked`: the readings that
    would tell it, where the meter can take them."""

    fault: Fault
    points: tuple[str, ...]
    suspects: tuple[Suspect, ...] = ()
    moves: Mapping[str, str] = field(default_factory=dict)
    alternatives: tuple[Alternative, ...] = ()
    probability: float | None = None
    place: WirePlace | None = field(default=None, kw_only=True)
    asked: tuple[PlaceReading, ...] = field(default=(), kw_only=True)
    text: str = ""
    consequence: str = ""
    next: str = ""
    why: Why | None = field(default=None, kw_only=True)
    todo: Todo | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class WireRow:
    """The estimate of one wire with its two joints (ohms at the measuring temperature). `measured_ohms`: what
    its readings alone give, leads and offset as they were stated: what other wires show does not move it, so
    that it can be followed over runs."""

    wire: str
    start: str
    end: str
    expected_ohms: float | None
    limit_ohms: float | None
    ohms: float | None
    uncertainty_ohms: float | None
    interval_ohms: tuple[float, float] | None
    group: tuple[str, ...]  # `with` in JSON: the wires it cannot be told from
    bad_probability: float | None
    verdict: Row
    next: str = ""
    measured_ohms: float | None = None
    todo: Todo | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class NetRow:
    """One circuit and the worst of its wires and its isolation."""

    net: str
    points: tuple[str, ...]
    verdict: Row


@dataclass(frozen=True)
class Coverage:
    """What was measured of what there is. `isolation_pairs_unchecked`: pairs of the level `full` that were
    not checked for a short, asked for or not."""

    wires: int
    wires_tested: int
    isolation_pairs: int
    isolation_pairs_tested: int
    parts: int
    parts_tested: int
    unreachable_nets: int
    isolation_pairs_unchecked: int = 0
    restraint: int = 0


@dataclass(frozen=True)
class Untested:
    """A pair of points that nobody probed, and what would be proved there."""

    points: tuple[str, str]
    what: Literal["continuity", "isolation"]


DoubtKind = Literal["value", "joined", "apart", "part"]


@dataclass(frozen=True)
class Doubted:
    """A reading that the loom as found does not give.

    `kind`: ohms along copper (`value`); nothing where copper joins (`joined`); something between circuits
    that are apart (`apart`); outside what the parts on the way give (`part`). `reading` in the quantity's SI
    unit (continuity: 1 yes, 0 no); between `least_ohms` and `most_ohms` was expected. `value`, `expected` and
    `why` are these in words.
    """

    row: int
    start: str
    end: str
    kind: DoubtKind
    quantity: str
    reading: float
    least_ohms: float
    most_ohms: float
    value: str = ""
    expected: str = ""
    why: str = ""


@dataclass(frozen=True)
class Verdict:
    """What the readings say about the harness. `notes` are plain sentences shown before the findings:
    an assumed instrument, the limit the joints were judged at, warnings. `rehearsal`: the meter was a
    simulated one. `withdrawn`: how many readings were taken back. `settings`: limits and expectations that
    are not the usual ones."""

    harness: str
    verdict: Outcome
    wiring: Outcome
    joints: Outcome
    joints_judged_at_ohms: float | None
    joints_resolved_ohms: float | None
    isolation: IsolationLevel
    findings: tuple[Finding, ...]
    undecided: tuple[Finding, ...]
    wires: tuple[WireRow, ...]
    nets: tuple[NetRow, ...]
    coverage: Coverage
    untested: tuple[Untested, ...]
    notes: tuple[str, ...] = ()
    remarks: tuple[Remark, ...] = ()
    marked: int = 0  # readings that were touches against marker clips
    rehearsal: bool = False
    job: Job = NO_JOB
    withdrawn: int = 0
    settings: tuple[Setting, ...] = ()
    isolation_shown: IsolationLevel = "none"
    doubted_count: int = 0
    doubted: tuple[Doubted, ...] = ()
    placing: tuple[int, ...] = ()  # indices of readings that tell a place and nothing of a whole wire

    def to_json(self) -> dict[str, Any]:
        """The object of the contract: six significant digits, over-range as "OL", no NaN."""
        return {"schema": "loomtest-verdict/1", **_plain(self)}


_FACTS = ("why", "todo", "asked", "remarks", "placing")  # said in text and next
_RENAMED = {"group": "with", "start": "from", "end": "to"}


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        renamed = _RENAMED if isinstance(value, WireRow | Doubted | WirePlace) else {}
        facts = _FACTS if isinstance(value, Finding | WireRow | Verdict) else ()
        shown = [f.name for f in fields(value) if f.name not in facts]
        return {renamed.get(name, name): _plain(getattr(value, name)) for name in shown}
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    return plain_number(float(value))


def plain_number(value: float) -> float | str | None:
    """Six significant digits; over-range is "OL", NaN is None."""
    if math.isnan(value):
        return None
    if math.isinf(value):
        return "OL"
    return float(f"{value:.6g}")


def plain_json(value: Any) -> Any:
    """A finding, or any other part of a verdict, in the JSON form that `Verdict.to_json` gives it."""
    return _plain(value)
