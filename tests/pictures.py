"""The pictures of the documents, drawn again: `python tests/pictures.py [FOLDER]`."""

from __future__ import annotations

import sys
from pathlib import Path

from loomtest.diagnosis.change.change import Side, change_between
from loomtest.diagnosis.verdict import Finding, Suspect
from loomtest.evidence.page.page import board_of
from loomtest.evidence.pictures.closeup import closeups
from loomtest.evidence.pictures.drawing import Drawing, to_svg
from loomtest.evidence.pictures.loom import loom_picture
from loomtest.evidence.pictures.polylines import PlaceMark
from loomtest.evidence.plots.plots import circuits_plot
from loomtest.harness.load import load_harness
from loomtest.harness.model import Wire
from loomtest.readings.load import load_readings
from loomtest.words.verdict import judge
from tests.evidence.pictures.laid import tractor

ROOT = Path(__file__).parents[1]
PICTURES = ROOT / "docs" / "pictures"


def as_it_lies() -> Drawing:
    """An invented loom with branches, two faults and a place along a wire."""
    found = [Finding("open", ("X1:2", "X3:1"), (Suspect("W2"),)), Finding("short", ("X6:1", "X6:2"), ())]
    return loom_picture(tractor(), found, places=[PlaceMark("W2", 0.6, "60 cm from X1")])


def drawn() -> dict[str, str]:
    """File name to SVG: the tractor's loom before, a close-up of it, and its circuits before and after."""
    folder = ROOT / "sample_runs" / "orchard_tractor"
    harness = load_harness(folder)
    sides = []
    for name in ("1_before", "3_final"):
        readings = load_readings(folder / name, harness)
        sides.append(Side(readings, judge(harness, readings)))
    change = change_between(harness, sides[0], sides[1])
    at: dict[str, list[Wire]] = {}
    for wire in harness.wires:
        for point in (wire.start, wire.end):
            at.setdefault(point, []).append(wire)
    crossed = next(f for f in sides[0].verdict.findings if f.fault == "crossed")
    face = closeups(harness, crossed, "bad", at)[0]
    return {
        "closeup.svg": to_svg(face, alone=True, ident="closeup"),
        "loom.svg": to_svg(board_of(harness, sides[0].verdict), alone=True, ident="loom"),
        "as-it-lies.svg": to_svg(as_it_lies(), alone=True, ident="lies"),
        "circuits.svg": to_svg(circuits_plot(harness, change), alone=True, ident="circuits"),
    }


if __name__ == "__main__":
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES
    for name, svg in drawn().items():
        (out / name).write_text(svg, encoding="utf-8", newline="\n")
