"""The socket table, touch to find, the zero of the leads; and the faults of a rehearsal."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import pytest

from loomtest.bench.rehearsal.faults import read_faults, true_loom
from loomtest.bench.scanner.answers import PinRow
from loomtest.bench.scanner.protocol import PinValue
from loomtest.bench.scanner.sockets import proposed, read_sockets, touched
from loomtest.errors import InputError
from loomtest.harness.load import load_harness

WIRES = """wire,from,to,size,length
W1,X1:1,X2:1,1,1.0
W2,X1:2,X2:2,1,1.0
W3,X1:3,SP1,1,0.5
W4,SP1,X2:3,1,0.5
W5,SP1,GND1,2.5,0.5
"""
SETTINGS = 'wires = "wires.csv"\nunreachable = ["SP1"]\n[cavities]\nX1 = 4\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "wires.csv").write_text(WIRES, "utf-8")
    (tmp_path / "harness.toml").write_text(SETTINGS, "utf-8")
    return tmp_path


def test_a_table_is_proposed_and_read_back(folder: Path) -> None:
    harness = load_harness(folder)
    sockets = proposed(harness, 16)
    assert [s.point for s in sockets.rows] == ["X1:1", "X1:2", "X1:3", "X1:4", "X2:1", "X2:2", "X2:3", "GND1"]
    assert "SP1" not in sockets.points  # no probe reaches it, and no pin does
    (folder / "sockets.csv").write_text(sockets.text(), "utf-8")
    assert read_sockets(folder / "sockets.csv", harness, 16) == sockets
    with pytest.raises(InputError, match="8 reachable points"):
        proposed(harness, 4)


def test_every_mistake_in_a_table_is_told(folder: Path) -> None:
    table = "pin,point,lead_ohms\n1,X1:1,0\n1,X1:2,0\n2,X1:1,0\n99,X2:1,0\n3,X9:1,0\n4,X2:2,-1\n"
    (folder / "sockets.csv").write_text(table, "utf-8")
    with pytest.raises(InputError) as caught:
        read_sockets(folder / "sockets.csv", load_harness(folder), 16)
    found = [(p.line, p.column) for p in caught.value.problems]
    assert found == [(3, "pin"), (4, "point"), (5, "pin"), (6, "point"), (7, "lead_ohms")]


def row_of(pins: int, joined: dict[int, float]) -> PinRow:
    return PinRow(
        1, tuple(PinValue(joined.get(n, math.inf if n > 1 else math.nan)) for n in range(1, pins + 1))
    )


def test_touch_to_find() -> None:
    """A touch counts once, when it is steady; two pins at once, or fingers, do not count."""
    air, five, seven = row_of(8, {}), row_of(8, {5: 0.4}), row_of(8, {7: 0.4})
    both, fingers = row_of(8, {5: 0.4, 7: 0.4}), row_of(8, {3: 3e5})
    rows = [
        air,
        five,
        air,
        five,
        five,
        five,
        five,
        air,
        both,
        both,
        both,
        fingers,
        fingers,
        fingers,
        seven,
        seven,
        seven,
    ]
    assert [pin for pin in touched(rows) if pin] == [5, 7]


def test_faults_change_the_copper(folder: Path) -> None:
    harness = load_harness(folder)
    (folder / "faults.csv").write_text(
        "fault,wire,from,to,ohms,volts\nopen,W1,,,,\nhigh-resistance,W2,,,0.5,\ncrossed,,X2:2,X2:3,,\n"
        "short,,X1:1,X1:4,0.2,\nintermittent,W5,,,,\nvoltage,,X1:1,GND1,,12.6\n",
        "utf-8",
    )
    faulty, sound = true_loom(harness, read_faults(folder, harness)), true_loom(harness)
    ohms = {(a, b): r for a, b, r in faulty.edges}
    assert ("X1:1", "X2:1") not in ohms
    healthy = {(a, b): r for a, b, r in sound.edges}
    assert ohms["X1:2", "X2:3"] == pytest.approx(healthy["X1:2", "X2:2"] + 0.5)
    assert ohms["SP1", "X2:2"] == healthy["SP1", "X2:3"]
    assert ohms["X1:1", "X1:4"] == 0.2
    assert ("SP1", "GND1") in ohms and ("SP1", "GND1") not in {(a, b) for a, b, _ in faulty.flexing}
    assert faulty.sources[0][:3] == ("X1:1", "GND1", 12.6)


def test_every_mistake_in_the_faults_is_told(folder: Path) -> None:
    (folder / "faults.csv").write_text(
        "fault,wire,from,to,ohms\nbroken,W1,,,\nopen,W9,,,\nshort,,X1:1,,\nhigh-resistance,W1,,,much\n",
        "utf-8",
    )
    with pytest.raises(InputError) as caught:
        read_faults(folder, load_harness(folder))
    lines = [(p.line, p.column) for p in caught.value.problems]
    assert lines == [(2, "fault"), (3, "wire"), (4, "to"), (5, "ohms")]


def test_no_two_points_on_one_pin(folder: Path) -> None:
    sockets = proposed(load_harness(folder), 16)
    for a, b in itertools.combinations(sockets.rows, 2):
        assert a.pin != b.pin and a.point != b.point


def test_the_order_of_the_wire_list_plays_no_part(tmp_path: Path) -> None:
    """Whoever builds lead sets by connectors and cavities gets the table that was said."""
    rows = ["GND1,X10:2", "X10:10,X2:B", "X2:A,X10:1"]
    settings = 'wires = "wires.csv"\n[cavities]\nX2 = ["B", "A"]\n'
    tables = []
    for name, order in (("one", rows), ("other", rows[::-1])):
        (tmp_path / name).mkdir()
        (tmp_path / name / "wires.csv").write_text("\n".join(["from,to", *order, ""]))
        (tmp_path / name / "harness.toml").write_text(settings)
        tables.append(proposed(load_harness(tmp_path / name), 16))
    assert [s.point for s in tables[0].rows] == ["X2:B", "X2:A", "X10:1", "X10:2", "X10:10", "GND1"]
    assert tables[0] == tables[1]
