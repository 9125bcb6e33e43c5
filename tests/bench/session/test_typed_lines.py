"""A typed line as a reading."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.bench.session.by_hand import read_line
from loomtest.harness.load import load_harness
from loomtest.readings.model import Quantity


@pytest.mark.parametrize("text", ["X1:1 X2:2 120 pF the rest tied", "X1:1 X2:2 120pF the rest tied"])
def test_farads_make_a_typed_line_a_capacitance(tmp_path: Path, text: str) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\nX1:2,X2:2\n")
    reading = read_line(text, load_harness(tmp_path / "wires.csv"))
    assert reading.quantity is Quantity.CAPACITANCE
    assert reading.value in ("120 pF", "120pF")
    assert reading.note == "the rest tied"
