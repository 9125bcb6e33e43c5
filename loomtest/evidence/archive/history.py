"""The history of kept runs: verdicts over time, and each circuit's resistance with its trend."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import timedelta
from itertools import takewhile
from typing import Any

import numpy as np

from loomtest.diagnosis.numbers.statistics import median
from loomtest.errors import ArchiveError
from loomtest.evidence.archive.database.rows import EPOCH
from loomtest.evidence.archive.folder import Archive, Entry
from loomtest.evidence.archive.index import ANYTHING, MOST_COMPARED, Index, Kept, Wanted, WireOhms
from loomtest.evidence.archive.trend import FEWEST_FOR_TREND, Forecast, Trend, forecast, theil_sen
from loomtest.harness.model import FloatArray

# The slopes of all pairs grow with the square of the runs; the newest of them tell the present.
MOST_RUNS_FOR_TREND = 200
DAYS_PER_YEAR = 365.25
# Of a harness that is made in numbers each unit has a history of its own, of a run or two; the newest tell.
MOST_UNITS_FOLLOWED = 50


_SAME = ("harness", "stage", "operator", "started", "kept", "verdict", "wiring", "joints", "findings")
_COLUMNS = {  # of the table of runs: what each is called in the index
    "bag": "folder",
    **{name: name for name in _SAME},
    "tool_version": "tool",
    "signed_by": "key",
    **{name: name for name in ("rehearsal", "job", "unit", "customer", "bench", "date")},
    "run": "sequence",
}


@dataclass(frozen=True, slots=True)
class Course:
    """The resistance of one wire (or of wires that cannot be told apart) over the kept runs.

    `days` since 2000-01-01 UTC, ascending, and `ohms`, one each run. `limit_ohms` is that of the last run.
    `trend` in ohms a day: its slope is that of what was measured (the estimates of one run share its leads
    and offset, and one wire that rises draws them along), its height that of `ohms`.
    """

    harness: str
    circuit: str
    wires: str
    days: tuple[float, ...]
    ohms: tuple[float, ...]
    limit_ohms: float | None
    trend: Trend | None
    passes: Forecast | None
    unit: str = ""

    @property
    def level(self) -> float:
        """The last resistance as a share of the limit; 0 without one."""
        return self.ohms[-1] / self.limit_ohms if self.limit_ohms else 0.0


@dataclass(frozen=True, slots=True)
class History:
    """Kept runs in the order of keeping, and the courses: those above their limit, those that will
    pass it, then the nearest to it. `index_was_wrong`: the index said something else than the bags, and was
    made anew. `earlier`: how many runs of a harness were left out before those in `runs`, where only the
    newest were asked for; `unfollowed`: how many of its units have no courses here, since others were
    measured after them."""

    runs: tuple[Kept, ...]
    courses: tuple[Course, ...]
    index_was_wrong: bool = False
    earlier: Mapping[str, int] = field(default_factory=dict)
    unfollowed: Mapping[str, int] = field(default_factory=dict)


def history_of(archive: Archive, wanted: Wanted = ANYTHING, newest: int | None = None) -> History:
    """The history of the wanted runs; `newest`: at most so many of each harness. Two units of one harness
    have courses of their own, as two looms have.

    Raises ArchiveError.
    """
    index = Index(archive)
    if not archive.exists():
        raise ArchiveError(f"{archive.folder} is no archive: nothing has been kept there")
    index.catch_up()
    was_wrong = bool(index.differing(_entries(archive, index.kept(wanted, MOST_COMPARED))))
    counted = dict(index.distinct("harness", wanted))
    if not counted and wanted != ANYTHING:
        raise _nothing_of(archive, index, wanted)
    if newest is None:
        runs = index.kept(wanted)
    else:
        each = (index.kept(replace(wanted, harness=name), newest) for name in counted)
        runs = sorted((kept for of_harness in each for kept in of_harness), key=lambda kept: kept.sequence)
    shown = Counter(kept.harness for kept in runs)
    courses: list[Course] = []
    unfollowed = {}
    for name in counted:
        found, left_out = _harness_courses(index, replace(wanted, harness=name))
        courses += found
        unfollowed[name] = left_out
    return History(
        tuple(runs),
        tuple(sorted(courses, key=_urgency)),
        was_wrong,
        {name: count - shown[name] for name, count in counted.items()},
        unfollowed,
    )


def _entries(archive: Archive, runs: Sequence[Kept]) -> list[Entry]:
    """The ledger's lines of the newest runs of an index; it has been brought up to the ledger."""
    ledger = archive.ledger()
    first = runs[0].sequence if runs else 0
    numbers = {kept.sequence for kept in runs}
    lines = takewhile(lambda entry: entry.sequence >= first, ledger.newest_first())
    return [entry for entry in lines if entry.sequence in numbers]


def _nothing_of(archive: Archive, index: Index, wanted: Wanted) -> ArchiveError:
    names = [name for name, _ in index.distinct("harness")]
    if wanted.harness is not None and wanted.harness not in names:
        return ArchiveError(
            f"nothing of {wanted.harness!r} has been kept in {archive.folder}; kept: {', '.join(names)}"
        )
    asked = [each.name for each in fields(wanted) if getattr(wanted, each.name) is not None]
    return ArchiveError(f"nothing of that {' and '.join(asked)} has been kept in {archive.folder}")


def _harness_courses(index: Index, wanted: Wanted) -> tuple[list[Course], int]:
    """The courses of the units of one harness that were measured last, and how many units that leaves out."""
    units, every = index.newest_units(wanted, MOST_UNITS_FOLLOWED)
    of_unit: dict[str, list[Kept]] = {}
    for kept in index.kept_of_units(wanted, units):
        of_unit.setdefault(kept.unit, []).append(kept)
    measured: dict[str, dict[int, float]] = {}
    for unit, runs in of_unit.items():
        real = [kept for kept in runs if not kept.rehearsal]  # a rehearsal is no measurement of these
        once = _once_each(real or runs)[-MOST_RUNS_FOR_TREND:]
        measured[unit] = {kept.sequence: kept.day for kept in once}
    wires = index.wires([sequence for days in measured.values() for sequence in days])
    unit_of = {sequence: unit for unit, days in measured.items() for sequence in days}
    rows: dict[str, list[WireOhms]] = {}
    for wire in wires:
        rows.setdefault(unit_of[wire.sequence], []).append(wire)
    harness = wanted.harness or ""
    found = [
        replace(course, unit=unit)
        for unit, own in rows.items()
        for course in _courses(harness, own, measured[unit])
    ]
    return found, every - len(units)


def _urgency(course: Course) -> tuple[bool, bool, float]:
    return course.level <= 1.0, course.passes is None, -course.level


def date_of(days: float) -> str:
    """The date of a number of days since 2000-01-01."""
    return (EPOCH + timedelta(days=days)).date().isoformat()


def _once_each(runs: Sequence[Kept]) -> list[Kept]:
    """Runs by their own time; one that was kept twice counts once, as it was kept last."""
    last = {(kept.readings or kept.folder, kept.started): kept for kept in runs}
    return sorted(last.values(), key=lambda kept: kept.day)


def _courses(harness: str, rows: Iterable[WireOhms], day_of: dict[int, float]) -> list[Course]:
    by_wires: dict[str, list[WireOhms]] = {}
    for row in rows:
        by_wires.setdefault(row.wires, []).append(row)
    courses = []
    for wires, measured in by_wires.items():
        measured.sort(key=lambda row: day_of[row.sequence])
        days = np.array([day_of[row.sequence] for row in measured])
        ohms = np.array([row.ohms for row in measured])
        last = measured[-1]
        trend = _trend(days, ohms, measured) if len(measured) >= FEWEST_FOR_TREND else None
        passes = forecast(days, trend, last.limit_ohms) if trend and last.limit_ohms else None
        courses.append(
            Course(
                harness,
                last.circuit or wires,
                wires,
                tuple(days.tolist()),
                tuple(ohms.tolist()),
                last.limit_ohms,
                trend,
                passes,
            )
        )
    return courses


def _trend(days: FloatArray, ohms: FloatArray, rows: Sequence[WireOhms]) -> Trend | None:
    own = [row.measured_ohms for row in rows if row.measured_ohms is not None]
    level = theil_sen(days, ohms)
    if level is None or len(own) < len(rows):
        return level
    slope = theil_sen(days, np.array(own))
    assert slope is not None  # there are two different days
    middle = level.at(median(days))
    return replace(slope, intercept=middle - slope.slope * median(days))


def history_json(history: History) -> dict[str, Any]:
    """The object of `loomtest history --json`."""
    return {
        "schema": "loomtest-history/1",
        "runs": [
            {
                "bag": kept.folder,
                "harness": kept.harness,
                "stage": kept.stage,
                "operator": kept.operator,
                "started": kept.started,
                "kept": kept.kept,
                "verdict": kept.verdict,
                "wiring": kept.wiring,
                "joints": kept.joints,
                "findings": kept.findings,
                "tool_version": kept.tool,
                "signed_by": kept.key or None,
                "rehearsal": bool(kept.rehearsal),
                "job": kept.job,
                "unit": kept.unit,
                "customer": kept.customer,
                "bench": kept.bench,
            }
            for kept in history.runs
        ],
        "courses": [_course_json(course) for course in history.courses],
    }


def _course_json(course: Course) -> dict[str, Any]:
    trend, passes = course.trend, course.passes
    trend = trend if len(course.ohms) >= FEWEST_FOR_TREND else None
    return {
        "harness": course.harness,
        "circuit": course.circuit,
        "wires": course.wires.split(" + "),
        "unit": course.unit,
        "dates": [date_of(day) for day in course.days],
        "ohms": [_six(value) for value in course.ohms],
        "limit_ohms": None if course.limit_ohms is None else _six(course.limit_ohms),
        "trend_ohms_per_year": _six(trend.slope * DAYS_PER_YEAR) if trend else None,
        "trend_interval": [_six(s * DAYS_PER_YEAR) for s in (trend.low, trend.high)] if trend else None,
        "passes_limit": None
        if passes is None
        else {key: date_of(getattr(passes, key)) for key in ("about", "earliest", "latest")},
    }


def runs_table(archive: Archive, wanted: Wanted = ANYTHING) -> dict[str, list[Any]]:
    """The wanted runs as columns, named as in the object of `history --json`, and `run`, their number in the
    order of keeping, and `date`, when each was begun. The index has been brought up to the ledger."""
    columns = Index(archive).columns(wanted, list(_COLUMNS.values()))
    table = {name: columns[own] for name, own in _COLUMNS.items()}
    table["signed_by"] = [key or None for key in table["signed_by"]]
    table["rehearsal"] = [bool(mark) for mark in table["rehearsal"]]
    return table


def _six(value: float) -> float:
    return float(f"{value:.6g}")
