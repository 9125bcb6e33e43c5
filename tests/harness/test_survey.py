"""What `check` counts."""

from __future__ import annotations

from loomtest.harness.model import Harness, Wire
from loomtest.harness.survey import is_ground, survey


def test_survey_of_an_invented_loom() -> None:
    wires = (
        Wire("W1", "X1:1", "SP1", size_mm2=1.0, length_m=1.0),
        Wire("W2", "SP1", "X2:1", size_mm2=1.0),
        Wire("W3", "SP1", "X2:2", length_m=1.0),
        Wire("W4", "X2:2", "X2:1"),  # a second way round
        Wire("L1", "X2:1", "X3:1", kind="lamp"),
        Wire("W5", "BATT+", "X3:2"),
        Wire("W6", "BATT+", "GND1"),
        Wire("F1", "GND1", "X3:3", kind="fuse"),
    )
    points = (*dict.fromkeys(p for w in wires for p in (w.start, w.end)), "X1:2")
    found = survey(Harness("invented", wires, points, unreachable=frozenset({"SP1"})))
    assert found.wires == ("W1", "W2", "W3", "W4", "W5", "W6")
    assert found.parts == ("L1", "F1")
    assert found.connectors == ("X1", "X2", "X3")
    assert found.splices == ("SP1",)  # not BATT+, though two wires meet there
    assert found.grounds == ("GND1",)
    assert found.empty_cavities == ("X1:2",)  # the lamp's far end X3:1 is none
    assert found.unreachable == ("SP1",)
    assert found.without_size_or_length == ("W2", "W3", "W4", "W5", "W6")
    assert len(found.nets) == 2
    assert found.loops == 1


def test_what_sounds_like_a_ground() -> None:
    assert all(map(is_ground, ["GND2", "gnd", "Earth_left", "NEG"]))
    assert not any(map(is_ground, ["X1:GND", "SP1", "BATT+"]))
