"""A run that is being recorded reads the same line by line as all at once."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from loomtest.harness.load import load_harness
from loomtest.readings.growing import GrowingReadings
from loomtest.readings.load import load_readings
from loomtest.readings.model import Quantity
from loomtest.readings.run import About, Reading, create_run

DROP = Quantity.VOLTAGE_DROP


def test_drops_below_zero_and_clips_grow_like_any_reading(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\nX1:2,X2:2\nX1:3,X2:3\n")
    harness = load_harness(tmp_path / "wires.csv")
    rows = [
        Reading("X1:1", "X2:1", "36 mV", quantity=DROP, current_a=1.5),
        Reading("X1:2", "X2:2", "-36 mV", quantity=DROP, current_a=1.5),
        Reading("X1:3", "X2:3", "0.2"),
        Reading("X1:1", "X1:2", "35 pF", quantity=Quantity.CAPACITANCE, bonded_end=("X1:3",)),
        Reading("X2:2", "X1:2", "-78 mV", quantity=DROP, current_a=1.5),
    ]
    with create_run(tmp_path / "run", harness, About(), clock=lambda: datetime.now(UTC)) as writer:
        growing = GrowingReadings(tmp_path / "run", harness)
        growing.now()
        for row in rows:
            writer.record(row)
            found, whole = growing.now(), load_readings(tmp_path / "run", harness)
            for name in ("start", "end", "value", "quantity", "current_a"):
                np.testing.assert_array_equal(getattr(found, name), getattr(whole, name), name)
            assert found.bonded == whole.bonded
            turned = [] if found.turned is None else found.turned.tolist()
            assert turned == ([] if whole.turned is None else whole.turned.tolist())
