"""What is said of several runs judged together: which reading came from which day, and what was left out."""

from __future__ import annotations

from loomtest.readings.mended import mended_of
from loomtest.readings.model import Readings, Run
from loomtest.words.lines import all_of


def runs_said(readings: Readings) -> list[str]:
    """One sentence a run, in their order; nothing for a single run."""
    return [
        _one(number, sitting.run, sitting.source, sitting.count, sitting.left_out)
        for number, sitting in enumerate(readings.sittings, 1)
    ]


def _one(number: int, run: Run | None, source: str, count: int, left_out: int) -> str:
    day = run.started[:10] if run is not None and run.started else "no date"
    stage = f" ({run.stage})" if run is not None and run.stage else ""
    readings = "1 reading" if count == 1 else f"{count:,} readings"
    text = f"Run {number}, {source}{stage}, {day}: {readings}."
    if left_out:
        gone = "1 more does" if left_out == 1 else f"{left_out:,} more do"
        text += f" {gone} not count: what was read there has been mended since."
    mended = mended_of(run.raw) if run is not None else mended_of({})
    if mended:
        pairs = [f"between {a} and {b}" for a, b in mended.pairs]
        text += f" Mended before it: {all_of([*mended.wires, *mended.places, *pairs])}."
    return text


def day_of(readings: Readings, index: int) -> str:
    """The day of one reading where several runs are judged together, else nothing."""
    if readings.sitting is None:
        return ""
    run = readings.sittings[int(readings.sitting[index])].run
    return run.started[:10] if run is not None else ""
