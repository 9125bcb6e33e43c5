"""The history of kept runs: verdicts over time, and each circuit's resistance with its trend."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from loomtest.diagnosis.numbers.statistics import median
from loomtest.errors import ArchiveError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.index import MOST_COMPARED, Index, Kept, Wanted, WireOhms
from loomtest.evidence.archive.trend import FEWEST_FOR_TREND, Forecast, Trend, forecast, theil_sen
from loomtest.harness.model import FloatArray
from loomtest.harness.outward import sheet_cell

# The slopes of all pairs grow with the square of the runs; the newest of them tell the present.
MOST_RUNS_FOR_TREND = 200
DAYS_PER_YEAR = 365.25
EPOCH = datetime(2000, 1, 1, tzinfo=UTC)


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
    made anew."""

    runs: tuple[Kept, ...]
    courses: tuple[Course, ...]
    index_was_wrong: bool = False


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which kept runs are wanted: of this harness, job and unit; empty is any."""

    harness: str | None = None
    job: str = ""
    unit: str = ""

    def takes(self, kept: Kept) -> bool:
        """True for a run that is wanted."""
        return (not self.job or kept.job == self.job) and (not self.unit or kept.unit == self.unit)


ANY = Chosen()


def history_of(archive: Archive, chosen: Chosen = ANY) -> History:
    """The history of the chosen runs. Two units of one harness have courses of their own, as two looms have.

    Raises ArchiveError.
    """
    harness = chosen.harness
    index = Index(archive)
    if not archive.exists():
        raise ArchiveError(f"{archive.folder} is no archive: nothing has been kept there")
    index.catch_up()
    wanted = Wanted(harness=harness)
    entries = archive.entries()
    newest = [entries[kept.sequence - 1] for kept in index.kept(wanted, MOST_COMPARED)]
    was_wrong = bool(index.differing(newest))
    runs = [kept for kept in index.kept(wanted) if chosen.takes(kept)]
    if not runs and (chosen.job or chosen.unit):
        raise ArchiveError(f"nothing of that job or unit has been kept in {archive.folder}")
    if harness is not None and not runs:
        names = [name for name, _ in index.distinct("harness")]
        raise ArchiveError(
            f"nothing of {harness!r} has been kept in {archive.folder}; kept: {', '.join(names)}"
        )
    courses: list[Course] = []
    for name, unit in dict.fromkeys((kept.harness, kept.unit) for kept in runs):
        of_harness = [kept for kept in runs if (kept.harness, kept.unit) == (name, unit)]
        real = [kept for kept in of_harness if not kept.rehearsal]  # a rehearsal is no measurement of these
        measured = _once_each(real or of_harness)[-MOST_RUNS_FOR_TREND:]
        day_of = {kept.sequence: day_of_run(kept) for kept in measured}
        found = _courses(name, index.wires(list(day_of)), day_of)
        courses += [replace(course, unit=unit) for course in found]
    return History(tuple(runs), tuple(sorted(courses, key=_urgency)), was_wrong)


def _urgency(course: Course) -> tuple[bool, bool, float]:
    return course.level <= 1.0, course.passes is None, -course.level


def day_of_run(kept: Kept) -> float:
    """Days since 2000-01-01 UTC at which a run was begun, or kept where that is not known."""
    for text in (kept.started, kept.kept):
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            continue
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        return (moment - EPOCH).total_seconds() / 86400.0
    return 0.0


def date_of(days: float) -> str:
    """The date of a number of days since 2000-01-01."""
    return (EPOCH + timedelta(days=days)).date().isoformat()


def _once_each(runs: Sequence[Kept]) -> list[Kept]:
    """Runs by their own time; one that was kept twice counts once, as it was kept last."""
    last = {(kept.readings or kept.folder, kept.started): kept for kept in runs}
    return sorted(last.values(), key=day_of_run)


def _courses(harness: str, rows: Iterable[WireOhms], day_of: dict[int, float]) -> list[Course]:
    by_wires: dict[str, list[WireOhms]] = {}
    for row in rows:
        by_wires.setdefault(row.wires, []).append(row)
    courses = []
    for wires, measured in by_wires.items():
        measured.sort(key=lambda row: day_of[row.sequence])
        days = np.array([day_of[row.sequence] for row in measured])
        ohms = np.array([row.ohms for row in measured])
        last, trend = measured[-1], _trend(days, ohms, measured)
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


def history_csv(history: History) -> str:
    """The runs as a table for a spreadsheet; a cell that it would run as a formula is guarded."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    rows = history_json(history)["runs"]
    names = list(rows[0]) if rows else ["bag"]
    writer.writerow(names)
    writer.writerows(
        [[sheet_cell("" if row[name] is None else str(row[name])) for name in names] for row in rows]
    )
    return out.getvalue()


def _six(value: float) -> float:
    return float(f"{value:.6g}")
