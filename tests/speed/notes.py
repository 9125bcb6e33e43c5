"""How many lines of notes are read in a second: `python -m tests.speed.notes [COPIES]`.

The pages of tests/harness/notes/pages, each copy with other numbers, so that no line is read twice. Beside
it a bare script that splits the same lines at arrows, commas and columns and understands nothing of them.
Time is the processor's, the least of three runs in processes of their own; loading the program is left out.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

PAGES = Path(__file__).parents[1] / "harness" / "notes" / "pages"
GOAL_LINES = 2_000
OURS = """
import sys, time
from pathlib import Path
from loomtest.harness.notes.reader import read_notes
pages = [path.read_text("utf-8") for path in sorted(Path(sys.argv[1]).glob("*.txt"))]
read_notes("X1:1 red to X4:3")
before = time.process_time()
wires = sum(len(read_notes(page).wires) for page in pages)
print(time.process_time() - before, wires)
"""
BARE = r"""
import re, sys, time
from pathlib import Path
pages = [path.read_text("utf-8") for path in sorted(Path(sys.argv[1]).glob("*.txt"))]
split = re.compile(r"\s*(?:-+>|=+>|\bto\b|,|;|\t|\||\s{2,}|\s-\s)\s*")
before = time.process_time()
wires = 0
for page in pages:
    for line in page.split("\n"):
        cells = [cell for cell in split.split(line) if cell]
        wires += len(cells) > 1
print(time.process_time() - before, wires)
"""


def written(folder: Path, copies: int) -> int:
    """The pages with other numbers in each copy; how many lines they have."""
    lines = 0
    for page in sorted(PAGES.glob("*.txt")):
        text = page.read_text("utf-8")
        for copy in range(copies):
            other = re.sub(r"\d+", lambda m, k=copy: str(int(m[0]) + k), text)
            (folder / f"{page.stem}_{copy:03d}.txt").write_text(other, encoding="utf-8")
            lines += other.count("\n")
    return lines


def seconds(script: str, folder: Path) -> float:
    """Processor time, the least of three."""
    found = []
    for _ in range(3):
        done = subprocess.run(
            [sys.executable, "-c", script, str(folder)], capture_output=True, text=True, check=True
        )
        found.append(float(done.stdout.split()[0]))
    return min(found)


def main() -> None:
    """Print the lines a second of both, and the ratio."""
    copies = int(sys.argv[1]) if sys.argv[1:] else 8
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lines = written(folder, copies)
        ours, bare = seconds(OURS, folder), seconds(BARE, folder)
    print(f"{lines:,} lines of notes: {lines / ours:,.0f} a second (goal {GOAL_LINES:,})")
    print(f"bare splitting {lines / bare:,.0f} a second; reading takes {ours / bare:.0f} times as long")


if __name__ == "__main__":
    main()
