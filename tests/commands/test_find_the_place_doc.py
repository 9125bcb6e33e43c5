"""docs/find-the-place.md: its tables judged as they stand say what the page says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from loomtest import judge, load_harness, load_readings

PAGE = (Path(__file__).parents[2] / "docs" / "find-the-place.md").read_text("utf-8")
WIRES, SHORT, BREAK = re.findall(r"```csv\n(.*?)```", PAGE, re.DOTALL)


def test_the_short_of_the_page(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(WIRES)
    (tmp_path / "readings.csv").write_text(SHORT)
    harness = load_harness(tmp_path / "wires.csv")
    (finding,) = judge(harness, load_readings(tmp_path / "readings.csv", harness)).findings
    said = re.search(r"^> (.*)$", PAGE, re.MULTILINE)
    assert said
    assert said[1] in finding.text


def test_the_break_of_the_page(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(WIRES + "W3,X1:3,X2:3,GN,0.5,2.0 m,horn\n")
    (tmp_path / "readings.csv").write_text(BREAK)
    harness = load_harness(tmp_path / "wires.csv")
    (finding,) = judge(harness, load_readings(tmp_path / "readings.csv", harness)).findings
    assert finding.place is not None
    assert finding.place.metres == pytest.approx(0.5)
