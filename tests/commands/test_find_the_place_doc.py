"""docs/find-the-place.md: its tables judged as they stand say what the page says."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from loomtest import judge, load_harness, load_readings
from loomtest.bench.plan.adaptive import Guide
from loomtest.bench.session.events import prompt_of
from loomtest.readings.instrument import load_instrument

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


def test_the_lines_of_the_page_place_the_same_short(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(WIRES)
    typed = re.findall(r"^X\d:\d X\d:\d -?\d+ mV 1.5 A$", PAGE, re.MULTILINE)
    assert len(typed) == 4
    lines = ["X1:1 X2:1 0.2", "X1:2 X2:2 0.2", "X1:1 X1:2 0.4", *typed]
    asked = [
        sys.executable,
        "-m",
        "loomtest",
        "log",
        str(tmp_path / "wires.csv"),
        "--out",
        str(tmp_path / "before"),
    ]
    asked += ["--instrument", "handheld-3half"]
    subprocess.run(asked, input="\n".join(lines) + "\n", text=True, check=True, capture_output=True)
    harness = load_harness(tmp_path / "wires.csv")
    (finding,) = judge(harness, load_readings(tmp_path / "before", harness)).findings
    assert "0.61 m from X1 cavity 1" in finding.text


def test_the_prompt_of_the_page_is_the_sitting_s(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(WIRES)
    harness = load_harness(tmp_path / "wires.csv")
    rows = ["from,to,value", "X1:1,X2:1,0.2", "X1:2,X2:2,0.2", "X1:1,X1:2,0.4"]
    (tmp_path / "readings.csv").write_text("\n".join(rows) + "\n")
    meter = load_instrument("handheld-3half")
    step = Guide(harness, meter).next(load_readings(tmp_path / "readings.csv", harness))
    assert step is not None
    assert step.what == "place"
    assert prompt_of(harness, step, "").sentence in PAGE
