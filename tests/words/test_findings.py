"""Every fact of a finding has its sentence, said as one would say it at the bench."""

from __future__ import annotations

import math

import pytest

from loomtest.diagnosis import why
from loomtest.diagnosis.verdict import Alternative, Finding, Suspect
from loomtest.words.findings import finding_text
from loomtest.words.places import Places
from loomtest.words.service import resistance_text
from loomtest.words.todo import todo_text
from tests.evidence import example

HARNESS = example.tractor()


def text_of(finding: Finding) -> str:
    assert finding.why is not None
    return finding_text(finding.why, finding, Places(HARNESS))


@pytest.mark.parametrize("kind", [*why.Why.__subclasses__(), *why.Todo.__subclasses__()])
def test_every_fact_has_a_sentence(kind: type) -> None:
    registry = finding_text.registry if issubclass(kind, why.Why) else todo_text.registry
    assert kind in registry


def test_two_swapped_wires_are_said_in_one_breath_and_the_place_once() -> None:
    way, other = {"X2:3": "X2:4", "X2:4": "X2:3"}, {"X1:8": "X1:9", "X1:9": "X1:8"}
    ways = (Alternative(("X2:3", "X2:4"), way, 0.6), Alternative(("X1:8", "X1:9"), other, 0.4))
    finding = Finding(
        "crossed", ("X2:3", "X2:4"), (Suspect("W14"), Suspect("W16")), way, ways, why=why.WrongPlaces()
    )
    place = HARNESS.places["X2"]
    said = text_of(finding)
    assert said.startswith(f"The wires in X2 ({place}) cavities 3 and 4 are swapped: ")
    assert said.endswith(
        f"could equally be at X1 ({HARNESS.places['X1']}) cavities 8 and 9: check both ends."
    )
    places = Places(HARNESS)
    finding_text(why.WrongPlaces(), finding, places)
    assert place not in todo_text(why.MoveBack(("X2:3", "X2:4")), finding, places)


def test_a_short_names_the_circuits_before_the_reading() -> None:
    finding = Finding(
        "short", ("X1:3", "X1:12"), why=why.ReadJoined(start="X1:3", end="X1:12", ohm=0.22, beside=True)
    )
    said = text_of(finding)
    assert "are shorted: X1:3 to X1:12 read 0.22 Ω. The most likely place is between X1 cavity 3" in said


def test_what_a_joint_does_in_service_is_volts_before_watts() -> None:
    assert resistance_text(0.38, 9.7, 12.0) == (
        "At 9.7 A it loses 3.7 V (31 % of 12 V) and makes 36 W of heat in the joint."
    )
    assert resistance_text(math.inf, 5.0, 12.0) == "No current can flow: what it feeds (5 A) will not work."
    assert resistance_text(9.0, 5.0, 12.0) == "It cannot carry its 5 A: the circuit will not work."
    assert resistance_text(0.1, None, 12.0) == resistance_text(None, 5.0, 12.0) == ""
