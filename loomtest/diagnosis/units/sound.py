"""Which runs may say what is healthy: one run of each sound unit, all of the same loom."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from loomtest.diagnosis.units.proposal import FEWEST_UNITS
from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.difference import difference
from loomtest.harness.model import Harness
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import Readings

# Columns of the wire list that another resistance follows from.
_TELLING = ("from", "to", "kind", "size_mm2", "length_m")


@dataclass(frozen=True, slots=True, eq=False)
class UnitRun:
    """One run of one unit: where it lies, the harness it was recorded against, its readings."""

    source: str
    recorded: Harness
    readings: Readings

    @property
    def unit(self) -> str:
        """The unit's serial number; "" where the run names none."""
        return self.readings.run.job.unit if self.readings.run is not None else ""

    @property
    def started(self) -> str:
        """When the run was begun; "" where that is not known."""
        return self.readings.run.started if self.readings.run is not None else ""

    @property
    def meter(self) -> str:
        """The meter's name."""
        return (self.readings.instrument or generic_handheld()).name


@dataclass(frozen=True, slots=True)
class Refused:
    """A run that may not say what is healthy. `why`: faults stand (`faults`: how many), its joints are not
    proven, its meter was a simulated one, or its wire list is another (`wires`: which differ)."""

    source: str
    why: Literal["fail", "joints", "rehearsal", "loom"]
    faults: int = 0
    wires: tuple[str, ...] = ()


@dataclass(frozen=True)
class SoundUnits:
    """`runs`: one a unit, the latest, in the order given. `refused`: those that may not be used. `earlier`:
    runs of a unit that a later one stands for. `nameless`: runs that name no unit, each taken for a unit of
    its own. `meters`: name of each meter and how many runs it took. `isolation_open`: runs that prove their
    joints and leave something else open."""

    runs: tuple[UnitRun, ...]
    refused: tuple[Refused, ...]
    earlier: tuple[str, ...]
    nameless: tuple[str, ...]
    meters: tuple[tuple[str, int], ...]
    open_else: tuple[str, ...]

    @property
    def enough(self) -> bool:
        """True for at least five units."""
        return len(self.runs) >= FEWEST_UNITS


def sound_units(
    harness: Harness,
    runs: Sequence[UnitRun],
    judge: Callable[[Harness, Readings], Verdict],
    rehearsals: bool = False,
) -> SoundUnits:
    """Sort the runs; each is judged under the harness as it stands now. A unit is sound when no fault stands
    and all its joints pass. `rehearsals`: runs of a simulated meter are taken too."""
    latest: dict[str, UnitRun] = {}
    for run in runs:
        key = run.unit or f"\0{run.source}"
        if key not in latest or latest[key].started <= run.started:
            latest[key] = run
    kept, refused, open_else = [], [], []
    for run in runs:
        if latest[run.unit or f"\0{run.source}"] is not run:
            continue
        if run.readings.run is not None and run.readings.run.rehearsal and not rehearsals:
            refused.append(Refused(run.source, "rehearsal"))
            continue
        if others := _other_wires(run.recorded, harness):
            refused.append(Refused(run.source, "loom", wires=others))
            continue
        verdict = judge(harness, run.readings)
        if verdict.verdict == "fail":
            refused.append(Refused(run.source, "fail", len(verdict.findings)))
        elif verdict.joints != "pass":
            refused.append(Refused(run.source, "joints"))
        else:
            kept.append(run)
            open_else += [run.source] if verdict.verdict != "pass" else []
    chosen = {id(run) for run in latest.values()}
    return SoundUnits(
        tuple(kept),
        tuple(refused),
        tuple(run.source for run in runs if id(run) not in chosen),
        tuple(run.source for run in kept if not run.unit),
        tuple(Counter(run.meter for run in kept).items()),
        tuple(open_else),
    )


def _other_wires(recorded: Harness, harness: Harness) -> tuple[str, ...]:
    """Names of the wires by which another wire list differs in what is measured."""
    apart = difference(recorded, harness)
    changed = [one.wire for one in apart.changed if any(field[0] in _TELLING for field in one.fields)]
    return tuple(dict.fromkeys(wire.name for wire in (*apart.added, *apart.removed, *changed)))
