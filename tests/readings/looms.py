"""A small invented loom for the tests of readings."""

from __future__ import annotations

from pathlib import Path

from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness

WIRES = """from,to,wire
X1:1,X2:1,W1
X1:2,X2:2,W2
X1:3,SP1,W3
SP1,GND1,W4
SP1,X2:3,W5
"""
SETTINGS = """name = "launch, test loom"
unreachable = ["SP1"]
[cavities]
X1 = 6
"""


def small_loom(folder: Path) -> Harness:
    folder.mkdir(exist_ok=True)
    (folder / "wires.csv").write_text(WIRES, "utf-8")
    (folder / "harness.toml").write_text(SETTINGS, "utf-8")
    return load_harness(folder)
