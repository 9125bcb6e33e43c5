"""The station's second screen: one file that a browser shows by itself, unit after unit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from loomtest.diagnosis.verdict import Verdict
from loomtest.evidence.page.page import board_of, page_hash, save_whole, with_palette
from loomtest.evidence.page.templates import templates
from loomtest.evidence.pictures.drawing import bands, to_svg
from loomtest.harness.model import Harness
from loomtest.words import station as words
from loomtest.words.conditions import REHEARSAL
from loomtest.words.labels import OUTCOME_TONE

SCREEN_FILE = "station.html"
MOST_ROWS = 2  # of the picture


def write_screen(path: Path, unit: str, harness: Harness, verdict: Verdict) -> None:
    """Show a unit: its word in large letters, and for one that is not right its faults on the picture."""
    save_whole(path, screen_page(unit, harness, verdict))


def write_ready(path: Path, harness: Harness) -> None:
    """Show that the station waits for its first unit."""
    facts = {"tone": "soft", "sign": "→", "word": words.READY, "lines": [words.READY_FOR], "rehearsal": ""}
    save_whole(path, _page(unit="", harness=harness.name, boards=[], **facts))


def screen_page(unit: str, harness: Harness, verdict: Verdict) -> str:
    """The page: it asks for itself again every second, and for nothing else."""
    from markupsafe import Markup

    rows = [] if verdict.verdict == "pass" else bands(board_of(harness, verdict))
    marks = {"bad", "doubt"}
    marked = [
        row
        for row in rows
        if any({getattr(i, "fill", ""), getattr(i, "stroke", "")} & marks for i in row.items)
    ]
    return _page(
        unit=unit,
        harness=harness.name,
        tone=OUTCOME_TONE[verdict.verdict],
        sign=words.SIGN[verdict.verdict],
        word=words.WORD[verdict.verdict],
        lines=words.unit_lines(verdict, harness),
        rehearsal=REHEARSAL if verdict.rehearsal else "",
        boards=[
            Markup(to_svg(row, alone=False, ident=f"row-{number}"))
            for number, row in enumerate(marked[:MOST_ROWS], 1)
        ],
    )


def _page(**facts: Any) -> str:
    from markupsafe import Markup

    here = Path(__file__).parent
    style = with_palette((here / "screen.css").read_text(encoding="utf-8"))
    template = templates(here).get_template("screen.html")
    return template.render(style=Markup(style), style_hash=page_hash(style), not_safe=words.NOT_SAFE, **facts)
