"""What `keep`, `history` and `verify` print, in lines of at most 80 columns where names allow."""

from __future__ import annotations

from collections.abc import Iterable

from loomtest.evidence.archive_history import DAYS_PER_YEAR, Course, History, date_of
from loomtest.evidence.archive_index import Kept
from loomtest.evidence.archive_verify import Checked
from loomtest.evidence.plain import Line
from loomtest.evidence.units import counted, ohms

MOST_RUNS = 20
MOST_COURSES = 20
_TONE = {"pass": "good", "fail": "bad", "not-proven": "doubt"}


def history_lines(history: History, everything: bool = False) -> list[Line]:
    """Runs, newest last, then each circuit's resistance, nearest to its limit first."""
    runs = history.runs if everything else history.runs[-MOST_RUNS:]
    lines: list[Line] = []
    if len(runs) < len(history.runs):
        lines.append(
            Line(f"… {counted(len(history.runs) - len(runs), 'earlier run')} (--all shows them)", "soft")
        )
    harness = ""
    for kept in runs:
        if kept.harness != harness:
            lines += [Line(kept.harness or "(cannot be read)", "head")]
            harness = kept.harness
        lines.append(_run_line(kept))
    courses = history.courses if everything else history.courses[:MOST_COURSES]
    if courses:
        lines += [Line(""), Line("Resistance over time, nearest to its limit first", "head")]
    several = len({course.harness for course in history.courses}) > 1
    for course in courses:
        lines += _course_lines(course, several)
    if len(courses) < len(history.courses):
        rest = counted(len(history.courses) - len(courses), "more wire")
        lines.append(Line(f"… {rest}, further within their limits (--all shows them)", "soft"))
    return lines


def _run_line(kept: Kept) -> Line:
    when = (kept.started or kept.kept)[:10] or "no date"
    faults = counted(kept.findings, "fault")
    verdict = kept.verdict or "cannot be read"
    text = f"  {when}  {kept.stage or 'no stage':<10} {verdict:<11} {faults:<10} {kept.operator}".rstrip()
    return Line(text, _TONE.get(kept.verdict, "plain"))


def _course_lines(course: Course, several: bool) -> list[Line]:
    name = course.circuit if course.circuit == course.wires else f"{course.circuit} ({course.wires})"
    name = f"{course.harness}: {name}" if several else name
    above = course.limit_ohms is not None and course.ohms[-1] > course.limit_ohms
    limit = f", limit {ohms(course.limit_ohms)}" if course.limit_ohms is not None else ""
    values = f"{ohms(course.ohms[-1])}{limit}"
    if len(course.ohms) > 1:
        values = f"{ohms(course.ohms[0])} at first, now {values}"
    lines = [Line(f"  {name}: {values}{': above it' if above else ''}", "bad" if above else "plain")]
    said = trend_words(course)
    return [*lines, Line(f"      {said}", "doubt" if course.passes else "soft")] if said else lines


def trend_words(course: Course) -> str:
    """What the trend says, or "" with too few runs to say anything."""
    trend = course.trend
    if trend is None or len(course.ohms) < 3:
        return ""
    if trend.low <= 0.0 <= trend.high:
        return f"no trend shown by {counted(len(course.ohms), 'run')}"
    slopes = [abs(slope) * DAYS_PER_YEAR for slope in (trend.slope, trend.low, trend.high)]
    way = "rises" if trend.slope > 0 else "falls"
    text = f"{way} {ohms(slopes[0])} a year ({ohms(min(slopes[1:]))} to {ohms(max(slopes[1:]))})"
    if course.passes is not None:
        passes = course.passes
        text += f"; will pass its limit about {date_of(passes.about)}"
        text += f" ({date_of(passes.earliest)} to {date_of(passes.latest)})"
    return text


def verify_lines(checked: Iterable[Checked]) -> Iterable[Line]:
    """One line a bag, as soon as it has been checked."""
    for one in checked:
        if one.wrong:
            yield Line(f"WRONG  {one.name} {'; '.join(one.wrong)}", "bad")
        else:
            yield Line(f"good   {one.name}" + (f": {', '.join(one.said)}" if one.said else ""))
