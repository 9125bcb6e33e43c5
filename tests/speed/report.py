"""How long the report and the plots of 1,024 pins take: `python -m tests.speed.report`.

Processor time of a process that holds the verdict already, its imports counted, beside a bare script that
draws as many shapes and words as the picture of the loom holds, the usual way (an artist of matplotlib for
each), and saves a PNG of the same size. The least of three. The page's size stands below.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

from loomtest.evidence.page.page import board_of
from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Polyline, Way, Words
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.words.verdict import judge
from tests.speed.processes import costs
from tests.speed.scans import FAULTY, HEALTHY, Faults, Scanned, write_scan

PINS = 1024
MANY = Faults(opens=24, shorts=6, crossed=6, leaks=6, bad_joints=12)
GOAL_SECONDS, GOAL_MEGABYTES = 5.0, 5.0

BARE = """
import sys
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, FancyBboxPatch
width, height, boxes, dots, lines, words = map(float, sys.argv[1:7])
figure = Figure(figsize=(width / 96, height / 96), dpi=192)
FigureCanvasAgg(figure)
axes = figure.add_axes((0, 0, 1, 1))
axes.set_xlim(0, width)
axes.set_ylim(height, 0)
axes.axis("off")
for i in range(int(boxes)):
    axes.add_artist(FancyBboxPatch((i % width, i % height), 30, 20, boxstyle="round,pad=0"))
for i in range(int(dots)):
    axes.add_artist(Circle((7 * i % width, 11 * i % height), 10))
for i in range(int(lines)):
    axes.add_artist(Line2D((i % width, i % width), (0, height)))
for i in range(int(words)):
    axes.text(13 * i % width, 17 * i % height, str(i), fontsize=8)
figure.savefig(sys.argv[7])
"""

# Report and plots of what is judged already; their imports are counted, reading and judging are not.
DRAW = """
import sys, time
from pathlib import Path
from loomtest.diagnosis.change.change import Side, change_between
from loomtest.words.verdict import judge
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
harness = load_harness(sys.argv[1])
sides = []
for path in sys.argv[2:4]:
    readings = load_readings(path, harness)
    sides.append(Side(readings, judge(harness, readings)))
change = change_between(harness, *sides)
begun = time.process_time()
from loomtest.evidence.page.page import write_report
write_report(harness, sides[0].readings, sides[0].verdict, Path(sys.argv[4]))
reported = time.process_time()
from loomtest.evidence.plots.plots import write_plots
write_plots(harness, change, *sides, Path(sys.argv[4]))
print(reported - begun, time.process_time() - reported)
"""
KINDS = ("boxes", "dots", "lines", "words")


def content(picture: Drawing) -> list[str]:
    """Size and numbers of boxes, dots, lines and words of the picture, as the bare script takes them."""
    counted = Counter(type(item) for item in picture.items if not isinstance(item, Way))
    kinds = [counted[kind] for kind in (Box, Dot, Polyline, Words)]
    kinds[0] += sum(counted.values()) - sum(kinds)
    return [f"{picture.width:.0f}", f"{picture.height:.0f}", *map(str, kinds)]


def measured(folder: Path, before: Scanned, after: Scanned, rounds: int) -> None:
    """Print the rows of one loom."""
    harness = load_harness(before.harness)
    picture = board_of(harness, judge(harness, load_readings(before.readings, harness)))
    bare = ["-c", BARE, *content(picture), str(folder / "bare.png")]
    drawn = ["-c", DRAW, *map(str, (before.harness, before.readings, after.readings, folder / "out"))]
    times: list[list[float]] = []
    least = float("inf")
    for _ in range(rounds):  # in turns, so that all see one machine
        least = min(least, costs({"bare": bare}, 1)["bare"].seconds)
        said = subprocess.run([sys.executable, *drawn], check=True, capture_output=True, text=True).stdout
        times.append([float(word) for word in said.split()])
    report, plots = (min(column) for column in zip(*times, strict=True))
    kinds = ", ".join(f"{n} {k}" for n, k in zip(content(picture)[2:], KINDS, strict=True))
    print(f"{'bare script: ' + kinds:<60} {least:8.2f} s   1.00 x")
    for name, seconds in (("report", report), ("plots", plots), ("both", report + plots)):
        goal = f" (goal {GOAL_SECONDS:g} s)" if name == "both" else ""
        print(f"{f'  {name}{goal}':<60} {seconds:8.2f} s {seconds / least:6.2f} x")
    page = (folder / "out" / "report.html").stat().st_size / 1e6
    print(f"{f'  the page (goal {GOAL_MEGABYTES:g} MB)':<60} {page:8.2f} MB")


def main(rounds: int = 3) -> None:
    """Print the rows of a loom with fourteen faults and of one with fifty-four."""
    for name, faults in (("fourteen faults", FAULTY), ("fifty-four faults", MANY)):
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            before = write_scan(folder / "before", PINS, faults)
            after = write_scan(folder / "after", PINS, HEALTHY)
            print(f"{f'{PINS:,} pins, {name}':<60} {'processor time':>19}")
            measured(folder, before, after, rounds)


if __name__ == "__main__":
    main()
