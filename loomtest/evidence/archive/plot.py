"""The resistance of the circuits nearest to their limit, over time."""

from __future__ import annotations

from pathlib import Path

from loomtest.errors import InputError, Problem
from loomtest.evidence.archive.history import Course, History, date_of
from loomtest.evidence.archive.trend import FEWEST_FOR_TREND
from loomtest.evidence.archive.words import trend_words
from loomtest.evidence.pictures.drawing import Dot, Drawing, Item, Polyline, Shape, Words, to_svg
from loomtest.evidence.pictures.png import save_png
from loomtest.words.numbers import ohms

WIDTH = 900.0
LEFT, RIGHT = 330.0, 860.0
TOP, ROW = 120.0, 74.0
MOST_ROWS = 16


def write_history_plot(history: History, out: Path) -> list[Path]:
    """Write history.png and history.svg into the folder `out`; their paths. Raises InputError."""
    made_folder(out)
    return save_both(history_plot(history), out / "history")


def made_folder(out: Path) -> None:
    """Make the folder for plots. Raises InputError."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        found = "a file" if out.exists() else (error.strerror or str(error)).lower()
        raise InputError([Problem(str(out), None, "", found, "a folder to write the plot into")]) from error


def save_both(picture: Drawing, stem: Path) -> list[Path]:
    """Write the drawing as PNG and as SVG beside each other; their paths."""
    png, svg = stem.with_name(f"{stem.name}.png"), stem.with_name(f"{stem.name}.svg")
    save_png(picture, png)
    svg.write_text(to_svg(picture, alone=True, ident=stem.name), encoding="utf-8", newline="\n")
    return [png, svg]


def history_plot(history: History) -> Drawing:
    """One strip a circuit: its resistance from zero up, the limit as a line, the trend through it."""
    courses = [course for course in history.courses if course.limit_ohms][:MOST_ROWS]
    told = "; ".join(
        f"{course.circuit}: {trend_words(course) or ohms(course.ohms[-1])}" for course in courses
    )
    height = TOP + ROW * max(len(courses), 1) + 40
    harness = ", ".join(dict.fromkeys(kept.harness for kept in history.runs))
    picture = Drawing(WIDTH, height, f"{harness}: resistance over time", told or "no resistance known")
    items = picture.items
    items.append(Words(24, 36, harness[:80], 19, bold=True))
    items.append(Words(24, 58, "Resistance over the kept runs, nearest to its limit first", 13.5, "soft"))
    items.append(Dot(30, 84, 5.4, "good"))
    items.append(Words(44, 88.5, "within its limit", 12.5))
    items.append(_square(168, 84))
    items.append(Words(182, 88.5, "above it", 12.5))
    items.append(Polyline(((270, 84), (296, 84)), "ink", 1.6, (5, 4)))
    items.append(Words(304, 88.5, "limit", 12.5))
    items.append(Polyline(((366, 84), (392, 84)), "soft", 1.6))
    items.append(Words(400, 88.5, "trend (median of slopes)", 12.5))
    if not courses:
        items.append(
            Words(24, TOP + 30, "No run that was kept knows a resistance and its limit.", 13, "soft")
        )
        return picture
    first = min(course.days[0] for course in courses)
    last = max(course.days[-1] for course in courses)
    for number, course in enumerate(courses):
        _strip(items, course, TOP + ROW * number, (first, last))
    bottom = TOP + ROW * len(courses) + 18
    items.append(Words(LEFT, bottom, date_of(first), 12, "soft"))
    items.append(Words(RIGHT, bottom, date_of(last), 12, "soft", "end"))
    return picture


def _strip(items: list[Item], course: Course, top: float, span: tuple[float, float]) -> None:
    assert course.limit_ohms is not None
    base = top + ROW - 12
    most = 1.15 * max(course.limit_ohms, *course.ohms)

    def at(day: float, value: float) -> tuple[float, float]:
        wide = span[1] - span[0]
        share = (day - span[0]) / wide if wide else 0.5
        height = min(max(value / most, 0.0), 1.0)
        return LEFT + (RIGHT - LEFT) * share, base - (ROW - 22) * height

    items.append(Polyline(((24, top), (RIGHT, top)), "line", 0.8))
    items.append(Words(24, top + 24, course.circuit[:40], 13, bold=True))
    said = f"{course.wires[:30]}: {ohms(course.ohms[-1])}, limit {ohms(course.limit_ohms)}"
    items.append(Words(24, top + 42, said, 12, "soft"))
    items.append(Polyline(((LEFT, base), (RIGHT, base)), "line", 1.0))
    limit = at(span[0], course.limit_ohms)[1]
    items.append(Polyline(((LEFT, limit), (RIGHT, limit)), "ink", 1.6, (5, 4)))
    if course.trend is not None and len(course.ohms) >= FEWEST_FOR_TREND:
        ends = [(day, course.trend.at(day)) for day in (course.days[0], course.days[-1])]
        items.append(Polyline((at(*ends[0]), at(*ends[1])), "soft", 1.6))
    for day, value in zip(course.days, course.ohms, strict=True):
        x, y = at(day, value)
        if value <= course.limit_ohms:
            items.append(Dot(x, y, 4.2, "good", "card", 0.8, f"{date_of(day)}: {ohms(value)}"))
        else:
            items.append(_square(x, y))


def _square(x: float, y: float) -> Shape:
    return Shape(((x - 5, y - 5), (x + 5, y - 5), (x + 5, y + 5), (x - 5, y + 5)), "bad", "paper", 1.0)
