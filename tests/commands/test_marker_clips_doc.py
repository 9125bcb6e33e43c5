"""docs/marker-clips.md: what it shows is what the program prints, and its sitting is the one it judges."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from tests.documents import ROOT, printed

PAGE = ROOT / "docs" / "marker-clips.md"


def test_every_command_of_the_page(tmp_path: Path) -> None:
    told = []
    for block, status, output in printed(PAGE, tmp_path):
        assert (status, output) == (block.status, block.text), block.what
        told.append(block.what.split()[1])
    assert told == ["markers", "markers", "plan", "markers", "judge"]


def test_the_sitting_that_the_page_types_ends_in_the_same_finding(tmp_path: Path) -> None:
    list(printed(PAGE, tmp_path))  # writes the files
    command = [sys.executable, "-m", "loomtest"]
    log = [*command, "log", "wires.csv", "--out", "run", "--markers", "kit.csv"]
    typed = (tmp_path / "touches.txt").read_text(encoding="utf-8")
    subprocess.run(
        log, cwd=tmp_path, input=typed, text=True, encoding="utf-8", check=True, capture_output=True
    )
    judge = [*command, "judge", "wires.csv", "run", "--json"]
    said = subprocess.run(judge, cwd=tmp_path, capture_output=True, text=True, encoding="utf-8", check=False)
    assert [finding["fault"] for finding in json.loads(said.stdout)["findings"]] == ["crossed"]
