"""A typed line as a reading."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.bench.session.by_hand import read_line
from loomtest.harness.load import load_harness
from loomtest.readings.model import Quantity
from loomtest.readings.values import parse_value


@pytest.mark.parametrize("text", ["X1:1 X2:2 120 pF the rest tied", "X1:1 X2:2 120pF the rest tied"])
def test_farads_make_a_typed_line_a_capacitance(tmp_path: Path, text: str) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\nX1:2,X2:2\n")
    reading = read_line(text, load_harness(tmp_path / "wires.csv"))
    assert reading.quantity is Quantity.CAPACITANCE
    assert reading.value in ("120 pF", "120pF")
    assert reading.note == "the rest tied"


WIRES = "from,to\nX1:1,X2:1\nX1:2,X2:2\nX1:3,GND1\n"


@pytest.mark.parametrize(
    ("text", "pair", "value", "amps", "note"),
    [
        ("X1:1 X2:1 12.4 mV 2.1 A", ("X1:1", "X2:1"), "12.4 mV", 2.1, ""),
        ("X1 1 X2 1 12.4 mV 2.1 A lamps lit", ("X1:1", "X2:1"), "12.4 mV", 2.1, "lamps lit"),
        ("X1:1 X2:1 -12,4mV 2,1A", ("X1:1", "X2:1"), "-12,4mV", 2.1, ""),
        ("GND1 X1 3 0.0124 V at 1500 mA", ("GND1", "X1:3"), "0.0124 V", 1.5, ""),
    ],
)
def test_volts_with_their_amperes_make_a_typed_line_a_drop(
    tmp_path: Path, text: str, pair: tuple[str, str], value: str, amps: float, note: str
) -> None:
    (tmp_path / "wires.csv").write_text(WIRES)
    reading = read_line(text, load_harness(tmp_path / "wires.csv"))
    assert reading.quantity is Quantity.VOLTAGE_DROP
    assert (reading.start, reading.end) == pair
    assert (reading.value, reading.note) == (value, note)
    assert reading.current_a == pytest.approx(amps)


@pytest.mark.parametrize("text", ["X1:1 X2:1 12.4 mV", "X1:1 X2:1 12 V A", "X1:1 X2:1 12 mV 0 A"])
def test_volts_without_amperes_are_refused(tmp_path: Path, text: str) -> None:
    """Never 12.4 ohm with the note "mV"."""
    (tmp_path / "wires.csv").write_text(WIRES)
    with pytest.raises(ValueError, match="expected the volts with their unit and the amperes"):
        read_line(text, load_harness(tmp_path / "wires.csv"))


def test_points_are_tied_with_a_plus(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(WIRES)
    harness = load_harness(tmp_path / "wires.csv")
    reading = read_line("X1:1 X1:2+X1:3+GND1 1.23 nF", harness)
    assert (reading.end, reading.bonded_end) == ("X1:2", ("X1:3", "GND1"))
    with pytest.raises(ValueError, match="X9:9"):
        read_line("X1:1 X1:2+X9:9 1.23 nF", harness)


def test_a_prefix_apart_from_its_number_counts(tmp_path: Path) -> None:
    """Never 3 ohm with the note "k"."""
    (tmp_path / "wires.csv").write_text(WIRES)
    harness = load_harness(tmp_path / "wires.csv")
    reading = read_line("X1:1 X2:1 3 k beside the relay", harness)
    assert (reading.value, reading.note) == ("3 k", "beside the relay")
    assert parse_value(str(reading.value)).number == 3000.0
    assert parse_value(str(read_line("X1:1 X2:1 2,2 M", harness).value)).number == 2.2e6
