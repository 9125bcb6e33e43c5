"""Reads the tables in `data/`: the first lines name the standard and say how the copy was obtained."""

from __future__ import annotations

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows_of(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))
