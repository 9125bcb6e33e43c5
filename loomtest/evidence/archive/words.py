"""What `keep`, `history` and `verify` print, in lines of at most 80 columns where names allow."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from loomtest.evidence.archive.history import DAYS_PER_YEAR, Course, History, date_of
from loomtest.evidence.archive.index import Kept
from loomtest.evidence.archive.jobs import JobCourse
from loomtest.evidence.archive.trend import FEWEST_FOR_TREND
from loomtest.words.lines import Line
from loomtest.words.numbers import counted, ohms

if TYPE_CHECKING:
    from loomtest.evidence.archive.same_unit import SameUnit
    from loomtest.evidence.archive.verify import (
        Checked,
    )  # which imports what judges: history needs none of it

MOST_RUNS = 20
MOST_COURSES = 20
MOST_COURSES_OF_SEVERAL = 3
# Over a shorter time a rate a year says more than anybody knows.
_DAYS_FOR_A_RATE = 60.0
_LEAST_OHMS = 1e-4  # below it a rate reads as nothing
_TONE = {"pass": "good", "fail": "bad", "not-proven": "doubt"}


def history_lines(history: History, everything: bool = False) -> list[Line]:
    """Each harness: its runs, newest last, and its resistances, nearest to their limit first."""
    harnesses = list(dict.fromkeys(kept.harness for kept in history.runs))
    most = MOST_COURSES if len(harnesses) == 1 else MOST_COURSES_OF_SEVERAL
    lines: list[Line] = []
    for harness in harnesses:
        lines += [Line("")] if lines else []
        lines.append(Line(harness or "(cannot be read: see loomtest verify)", "head"))
        runs = [kept for kept in history.runs if kept.harness == harness]
        shown = runs if everything else runs[-MOST_RUNS:]
        left_out = len(runs) - len(shown) + history.earlier.get(harness, 0)
        if left_out:
            earlier = counted(left_out, "earlier run")
            lines.append(Line(f"  … {earlier} (--all shows them)", "soft"))
        lines += map(_run_line, shown)
        courses = [course for course in history.courses if course.harness == harness]
        several = (
            len({course.unit for course in courses}) > 1
        )  # a list of many looms' wires tells nobody much
        few = min(most, MOST_COURSES_OF_SEVERAL) if several else most
        lines += _courses_lines(courses, len(courses) if everything else few)
        if unfollowed := history.unfollowed.get(harness, 0):
            text = f"  … {counted(unfollowed, 'more unit')}, measured before these (--unit NUMBER shows one)"
            lines.append(Line(text, "soft"))
    if history.index_was_wrong:
        lines += [Line(""), Line("The index did not match the kept runs. It was made anew from them.", "bad")]
    return lines


def _courses_lines(courses: list[Course], most: int) -> list[Line]:
    if not courses:
        return []
    lines = [Line("  Resistance over time, nearest to its limit first", "head")]
    for course in courses[:most]:
        lines += _course_lines(course)
    if len(courses) > most:
        rest = counted(len(courses) - most, "more wire")
        lines.append(Line(f"  … {rest}, further within their limits (--all shows them)", "soft"))
    return lines


def _run_line(kept: Kept) -> Line:
    when = (kept.started or kept.kept)[:10] or "no date"
    faults = counted(kept.findings, "fault")
    verdict = kept.verdict or "cannot be read"
    who = ", ".join(part for part in (f"unit {kept.unit}" if kept.unit else "", kept.operator) if part)
    text = f"  {when}  {kept.stage or 'no stage':<10} {verdict:<11} {faults:<10} {who}".rstrip()
    text += "  (rehearsal)" if kept.rehearsal else ""
    return Line(text, _TONE.get(kept.verdict, "plain"))


def _course_lines(course: Course) -> list[Line]:
    name = course.circuit if course.circuit == course.wires else f"{course.circuit} ({course.wires})"
    name = f"unit {course.unit}, {name}" if course.unit else name
    above = course.limit_ohms is not None and course.ohms[-1] > course.limit_ohms
    limit = f", limit {ohms(course.limit_ohms)}" if course.limit_ohms is not None else ""
    values = f"{ohms(course.ohms[-1])}{limit}"
    if len(course.ohms) > 1:
        values = f"{ohms(course.ohms[0])} at first, now {values}"
    lines = [Line(f"  {name}: {values}{': above it' if above else ''}", "bad" if above else "plain")]
    said = trend_words(course)
    return [*lines, Line(f"      {said}", "doubt" if course.passes else "soft")] if said else lines


def trend_words(course: Course) -> str:
    """What the trend says; "" where there are too few runs to say anything."""
    trend = course.trend
    if trend is None or len(course.ohms) < FEWEST_FOR_TREND:
        return ""
    span = course.days[-1] - course.days[0]
    per_year = span >= _DAYS_FOR_A_RATE
    scale = DAYS_PER_YEAR if per_year else span
    rise, *interval = (abs(slope) * scale for slope in (trend.slope, trend.low, trend.high))
    if trend.low <= 0.0 <= trend.high or min(interval) < _LEAST_OHMS:
        return f"no trend shown by {counted(len(course.ohms), 'run')}"
    way = ("rises" if trend.slope > 0 else "falls") if per_year else ("rose" if trend.slope > 0 else "fell")
    over = "a year" if per_year else f"in {max(round(span), 1)} days"
    text = f"{way} {ohms(rise)} {over} ({ohms(min(interval))} to {ohms(max(interval))})"
    if course.passes is not None:
        passes = course.passes
        text += f"; will pass its limit about {date_of(passes.about)}"
        text += f" ({date_of(passes.earliest)} to {date_of(passes.latest)})"
    return text


SAME_UNIT_QUESTION = "Is it that loom, tested again?"


def same_unit_words(found: SameUnit) -> str:
    """Says which run was kept under the number of the unit that is being kept."""
    kept = found.kept
    when = (kept.kept or kept.started)[:16].replace("T", " at ")
    where = f" at {kept.bench}" if kept.bench else ""
    if found.together:
        return f"Unit {kept.unit} was kept{where} about the same time, on {when}: {kept.verdict}."
    return f"Unit {kept.unit} has passed already: kept on {when}{where}."


def verify_lines(checked: Iterable[Checked]) -> Iterable[Line]:
    """One line a bag, as soon as it has been checked."""
    for one in checked:
        if one.wrong:
            yield Line(f"WRONG  {one.name} {'; '.join(one.wrong)}", "bad")
        elif one.unchecked:
            yield Line(f"unsure {one.name} {'; '.join(one.unchecked)}", "doubt")
        else:
            yield Line(f"good   {one.name}" + (f": {', '.join(one.said)}" if one.said else ""))


def jobs_lines(jobs: Sequence[JobCourse]) -> list[Line]:
    """One line a job: open or done, for whom, what, and since when nothing happened."""
    if not jobs:
        return [Line("No kept run names a job (loomtest log --job NUMBER).")]
    lines = []
    for job in jobs:
        since = "today" if job.days_since == 0 else f"{counted(job.days_since, 'day')} ago"
        parts = [
            f"job {job.job}",
            f"for {job.customer}" if job.customer else "",
            " and ".join(job.harnesses),
            f"unit {', '.join(job.units)}" if job.units else "",
            f"{counted(job.runs, 'run')}, the last {since}: {job.verdict or 'cannot be read'}",
        ]
        text = ("done  " if job.done else "open  ") + ", ".join(part for part in parts if part)
        lines.append(Line(text, "good" if job.done else "doubt"))
    return lines
