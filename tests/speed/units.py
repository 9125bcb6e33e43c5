"""How `history` and `yield` grow with the runs: `python -m tests.speed.units [RUNS]` (100,000 by default).

Prints what the whole processes take over a hundredth, a tenth and all of the runs, on SQLite and on a
PostgreSQL of its own, beside a bare Python process that imports the same libraries: elapsed and processor
seconds, the least of five each. Making the largest archive takes a minute or two.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from tests.evidence.archive.many import HARNESS, many
from tests.postgres import PASSWORD, running
from tests.speed.archive import cost

QUESTIONS = {
    "history": ("history",),
    "history, chosen": ("history", "--bench", "bench-3", "--verdict", "fail", "--fault", "open"),
    "yield": ("yield", HARNESS),
}


def table(name: str, counts: list[int], folder: Path, urls: list[str | None], bare: float) -> None:
    """One line a count of runs."""
    for count, url in zip(counts, urls, strict=True):
        place = folder / f"{name}-{count}"
        many(place, count, url)
        where = ["--archive", str(place), *(["--index", url] if url else [])]
        told = []
        for question in QUESTIONS.values():
            elapsed, used = cost(sys.executable, "-m", "loomtest", *question, *where)
            told.append(f"{elapsed:>6.2f} s {used:>5.2f} s {used / bare:>5.1f}x")
        print(f"{name:<11}{count:>8}  {'  '.join(told)}", flush=True)


def main(runs: int) -> None:
    """Measure and print."""
    elapsed, bare = cost(sys.executable, "-c", "import typer, numpy, sqlalchemy")
    print(f"bare process (typer, numpy, sqlalchemy): {elapsed:.2f} s, {bare:.2f} s of processor")
    print(f"{'':<11}{'runs':>8}  " + "  ".join(f"{name:<23}" for name in QUESTIONS))
    counts = [runs // 100, runs // 10, runs]
    with tempfile.TemporaryDirectory() as folder, running() as server:
        os.environ["PGPASSWORD"] = PASSWORD
        table("SQLite", counts, Path(folder), [None] * 3, bare)
        table("PostgreSQL", counts, Path(folder), [server.url() for _ in counts], bare)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
