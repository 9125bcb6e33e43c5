"""A workshop with an invented loom that was measured twice, and every screen of the bench page."""

from __future__ import annotations

import shutil
from pathlib import Path

from playwright.sync_api import Page

from loomtest.harness.load import load_harness
from loomtest.readings.run import About, Reading, create_run
from loomtest.web.place import now

LOOM = "tractor"
SCREENS = {
    "looms": "/", "new-notes": "/new", "new-sheet": "/new", "new-table": "/new", "loom": f"/loom/{LOOM}",
    "measure": f"/loom/{LOOM}/measure", "picture": f"/loom/{LOOM}/show",
    "answer": f"/loom/{LOOM}/answer?run=run-1", "compare": f"/loom/{LOOM}/compare?before=run-1&after=run-2",
    "other-screens": "/screens", "enter": "/enter", "message": "/loom/nobody",
}  # fmt: skip
NOTES = "X1 1 red to X4 3\nX1 2 yellow to X4 1, 1.5 mm²\nX1 3 green and then?\nX1 4 black to GND1\n"
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desktop": (1440, 900)}


def made(place: Path) -> Path:
    """The workshop: the tractor's loom, a broken wire in run-1, mended in run-2."""
    sample = Path(__file__).parents[2] / "sample_runs" / "orchard_tractor"
    folder = place / "shop" / LOOM
    folder.mkdir(parents=True)
    for name in ("harness.toml", "wires.csv"):
        shutil.copy(sample / name, folder / name)
    harness = load_harness(folder)
    for run, broken in (("run-1", "X1:10"), ("run-2", "")):
        about = About(stage="before" if broken else "after")
        with create_run(folder / "runs" / run, harness, about, clock=now) as writer:
            for start, end in (("X1:4", "OILSW"), ("X1:10", "X3:2"), ("X1:9", "X2:4"), ("X1:5", "TEMP")):
                for _ in range(2):
                    writer.record(Reading(start, end, "OL" if start == broken else "0.2"))
            writer.record(Reading("X1:4", "X1:5", "OL"))
    return place / "shop"


def open_screen(page: Page, base: str, name: str) -> None:
    """Go to a screen and wait until it shows what it has to show."""
    page.goto(base + SCREENS[name])
    if name == "measure":
        if page.get_by_role("button", name="Start a new run").count() == 0:
            page.locator("#next .sentence, #next .lead").first.wait_for()
        page.evaluate(
            f"fetch('/loom/{LOOM}/measure/begin', {{method: 'POST', body: '{{\"stage\": \"x\"}}'}})"
            ".then((answer) => answer.json())"
        )
        page.locator("#next .lead").first.wait_for()
        page.locator("#faces svg").first.wait_for()
    if name.startswith("new-"):
        way = {
            "new-notes": "Type my notes",
            "new-sheet": "Use a spreadsheet",
            "new-table": "Fill in a table",
        }[name]
        page.get_by_role("button", name=way).click()
    if name == "new-notes":
        page.get_by_label("Your notes, one wire a line").fill(NOTES)
        page.locator(".lines-read").wait_for()
