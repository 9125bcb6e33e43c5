"""The plots of before and after: every circuit against its limit, and the faults of both runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from loomtest.diagnosis.change.change import Change, Side
from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.errors import InputError, Problem
from loomtest.evidence.pictures.drawing import (
    Dot,
    Drawing,
    Item,
    Polyline,
    Shape,
    Words,
    to_svg,
    with_caption,
)
from loomtest.evidence.pictures.ends import mark_shapes
from loomtest.evidence.pictures.png import save_png
from loomtest.evidence.plots.rows import PlotRow, plot_rows
from loomtest.harness.model import Harness
from loomtest.words.conditions import REHEARSAL
from loomtest.words.labels import FAULT_WORD, OUTCOME_TONE
from loomtest.words.numbers import ohms
from loomtest.words.plain import headline

WIDTH = 1000.0
ROW = 26.0
LEFT, RIGHT = 320.0, 850.0  # of the logarithmic axis
OVER = 924.0  # where over-range stands
TOP = 118.0
MOST_FAULTS = 40


def write_plots(harness: Harness, change: Change, before: Side, after: Side, out: Path) -> list[Path]:
    """Write circuits.png, circuits.svg, faults.png and faults.svg into the folder `out`; their paths.

    Raises InputError where `out` cannot be a folder.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        found = "a file" if out.exists() else (error.strerror or str(error)).lower()
        raise InputError([Problem(str(out), None, "", found, "a folder to write the plots into")]) from error
    paths = []
    for name, drawing in (
        ("circuits", circuits_plot(harness, change)),
        ("faults", faults_plot(harness, change, before.verdict, after.verdict)),
    ):
        if before.verdict.rehearsal or after.verdict.rehearsal:
            drawing = with_caption(drawing, REHEARSAL)
        save_png(drawing, out / f"{name}.png")
        (out / f"{name}.svg").write_text(
            to_svg(drawing, alone=True, ident=name), encoding="utf-8", newline="\n"
        )
        paths += [out / f"{name}.png", out / f"{name}.svg"]
    return paths


def circuits_plot(harness: Harness, change: Change) -> Drawing:
    """The resistance of every circuit before and after, on a logarithmic axis, with its limit."""
    rows, left_out = plot_rows(harness, change)
    height = TOP + ROW * len(rows) + (64 if left_out else 40)
    told = [f"{row.circuit} {row.pair.start} to {row.pair.end}: {_told(row)}" for row in rows]
    picture = Drawing(
        WIDTH, height, f"{harness.name}: before and after", "; ".join(told) or "no pair in both runs"
    )
    items = picture.items
    items.append(Words(24, 36, harness.name, 19, bold=True))
    items.append(
        Words(24, 58, "Resistance of every circuit before and after, against its limit", 13.5, "soft")
    )
    _legend(items)
    low, high = _decades(rows)
    bottom = TOP + ROW * len(rows)
    for decade in range(low, high + 1):
        x = _at(10.0**decade, low, high)
        items.append(Polyline(((x, TOP - 14), (x, bottom)), "line", 1.0))
        items.append(Words(x, bottom + 18, ohms(10.0**decade), 12, "soft", "middle"))
    items.append(Polyline(((OVER, TOP - 14), (OVER, bottom)), "line", 1.0, (3, 4)))
    items.append(Words(OVER, bottom + 18, "over-range", 12, "soft", "middle"))
    shown = ""
    for number, row in enumerate(rows):
        y = TOP + ROW * (number + 0.5)
        if row.circuit != shown:
            items.append(Polyline(((24, y - ROW / 2), (WIDTH - 24, y - ROW / 2)), "line", 0.8))
            items.append(Words(24, y + 4.5, _short(row.circuit, 22), 13, bold=True))
            shown = row.circuit
        items.append(Words(LEFT - 18, y + 4.5, f"{row.pair.start} – {row.pair.end}", 12, "soft", "end"))
        _row(items, row, y, low, high)
    if left_out:
        text = f"{left_out:,} more pairs are not drawn: they lie further within their limits."
        items.append(Words(24, bottom + 46, text, 12, "soft"))
    return picture


def _told(row: PlotRow) -> str:
    pair = row.pair
    return f"{ohms(pair.before_ohms)} before, {ohms(pair.after_ohms)} after, limit {ohms(row.limit_ohms)}"


def _legend(items: list[Item]) -> None:
    x, y = 24.0, 84.0
    items.extend(_before(x + 6, y))
    items.append(Words(x + 20, y + 4.5, "before", 12.5))
    items.append(Dot(x + 96, y, 6, "good"))
    items.append(Words(x + 110, y + 4.5, "after, within its limit", 12.5))
    items.append(_square(x + 268, y, "bad"))
    items.append(Words(x + 282, y + 4.5, "after, above it", 12.5))
    items.append(Polyline(((x + 396, y - 8), (x + 396, y + 8)), "ink", 2.2))
    items.append(Words(x + 408, y + 4.5, "limit", 12.5))


def _row(items: list[Item], row: PlotRow, y: float, low: int, high: int) -> None:
    before, after = _at(row.pair.before_ohms, low, high), _at(row.pair.after_ohms, low, high)
    limit = _at(row.limit_ohms, low, high)
    if abs(after - before) > 12:
        towards = 7 if after > before else -7
        stop = after - towards * 1.5
        tone = "good" if row.pair.change == "better" else "bad" if row.pair.change == "worse" else "soft"
        items.append(Polyline(((before, y), (stop, y)), tone, 2.0))
        items.append(Shape(((stop + towards, y), (stop, y - 4), (stop, y + 4)), tone))
    items.append(Polyline(((limit, y - 9), (limit, y + 9)), "ink", 2.2))
    items.extend(_before(before, y))
    if row.pair.after_ohms <= row.limit_ohms:
        items.append(Dot(after, y, 5.4, "good", "card", 1.0))
    else:
        items.append(_square(after, y, "bad"))


def _before(x: float, y: float) -> list[Item]:
    """A hollow tile set on its corner."""
    return [Shape(((x, y - 8.5), (x + 8.5, y), (x, y + 8.5), (x - 8.5, y)), "card", "soft", 1.8)]


def _square(x: float, y: float, tone: str) -> Shape:
    return Shape(
        ((x - 5.5, y - 5.5), (x + 5.5, y - 5.5), (x + 5.5, y + 5.5), (x - 5.5, y + 5.5)), tone, "paper", 1.0
    )


def _decades(rows: Sequence[PlotRow]) -> tuple[int, int]:
    values = [v for row in rows for v in (row.pair.before_ohms, row.pair.after_ohms, row.limit_ohms)]
    finite = [max(v, 1e-3) for v in values if math.isfinite(v)]
    low = math.floor(math.log10(min(finite, default=1e-3)))
    return low, max(math.ceil(math.log10(max(finite, default=1.0))), low + 2)


def _at(value: float, low: int, high: int) -> float:
    if math.isinf(value):
        return OVER
    share = (math.log10(max(value, 10.0**low)) - low) / (high - low)
    return LEFT + (RIGHT - LEFT) * min(share, 1.0)


def _short(text: str, letters: int) -> str:
    return text if len(text) <= letters else text[: letters - 1] + "…"


def faults_plot(harness: Harness, change: Change, before: Verdict, after: Verdict) -> Drawing:
    """Every fault of the two runs: where it stood before, and what became of it."""
    rows = _fault_rows(harness, change, before, after)
    left_out = max(0, len(rows) - MOST_FAULTS)
    rows = rows[:MOST_FAULTS]
    height = TOP + 34 + 34 * max(len(rows), 1) + (30 if left_out else 8)
    told = "; ".join(f"{FAULT_WORD[f.fault]} at {' and '.join(f.points)}: {word}" for f, _, _, word in rows)
    picture = Drawing(
        WIDTH, height, f"{harness.name}: faults before and after", told or "no fault in either run"
    )
    items = picture.items
    items.append(Words(24, 36, harness.name, 19, bold=True))
    items.append(Words(24, 58, "Faults before and after", 13.5, "soft"))
    for x, name, verdict in ((500.0, "Before", before), (740.0, "After", after)):
        items.append(Words(x, 92, name, 14, bold=True, anchor="middle"))
        items.append(
            Words(x, 112, _short(headline(verdict, harness).split(":")[0].rstrip("."), 34), 12.5,
                  OUTCOME_TONE[verdict.verdict], "middle", bold=True)
        )  # fmt: skip
    y = TOP + 34.0
    for finding, was, now, word in rows:
        items.append(Polyline(((24, y - 18), (WIDTH - 24, y - 18)), "line", 0.8))
        items.append(Words(24, y + 5, FAULT_WORD[finding.fault], 13.5, bold=True))
        items.append(Words(150, y + 5, _short(" – ".join(finding.points), 34), 12.5, "soft"))
        if was:
            items.extend(mark_shapes(finding, 500, y, 9.5, "bad"))
        if was and now != "mark":
            items.append(Polyline(((526, y), (716, y)), "line", 2.0))
        if now == "mark":
            items.extend(mark_shapes(finding, 740, y, 9.5, "bad"))
        else:
            items.append(Dot(740, y, 8, "paper", "good" if now == "gone" else "doubt", 2.2))
            if now != "gone":
                items.append(Words(740, y + 4.2, "?", 11.5, "doubt", "middle", bold=True))
        tone = "bad" if now == "mark" else "good" if now == "gone" else "doubt"
        items.append(Words(766, y + 5, word, 13, tone, bold=True))
        y += 34
    if not rows:
        items.append(Words(24, y + 4, "No fault in either run.", 13.5, "good", bold=True))
    if left_out:
        items.append(Words(24, y + 4, f"{left_out:,} more faults are not drawn.", 12, "soft"))
    return picture


def _fault_rows(
    harness: Harness, change: Change, before: Verdict, after: Verdict
) -> list[tuple[Finding, bool, str, str]]:
    """(finding, was there before, how it stands after, the word for it)."""
    rows = [(f, False, "mark", "new") for f in change.new]
    rows += [(f, True, "mark", "still there") for f in change.remaining]
    rows += [(f, True, "unknown", "not shown gone") for f in change.not_shown_gone]
    return rows + [(f, True, "gone", "gone") for f in change.gone]
