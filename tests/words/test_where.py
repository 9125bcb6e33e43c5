"""Where a fault is, in a sentence; what it means to the owner; where the probes go; and the close-ups."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from typing import get_args

import pytest

from loomtest.diagnosis.verdict import Fault, Finding, Suspect
from loomtest.evidence.pictures.closeup import MOST_FACES, closeups
from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Polyline, Words
from loomtest.evidence.pictures.look import WIRE_COLOURS
from loomtest.harness.model import Face, Harness, Wire
from loomtest.words.where import plain_sentence, probes_for, where_sentence
from tests.evidence import example

TRACTOR = example.tractor()
BY_NAME = {wire.name: wire for wire in TRACTOR.wires}
AT: dict[str, list[Wire]] = {}
for _wire in TRACTOR.wires:
    for _point in (_wire.start, _wire.end):
        AT.setdefault(_point, []).append(_wire)


def where(finding: Finding) -> str:
    return where_sentence(finding, TRACTOR, BY_NAME)


def test_an_open_is_told_by_the_wire_in_the_hand_and_its_span() -> None:
    cut = Finding("open", ("X1:7", "X2:1"), (Suspect("W10", probability=0.9),))
    assert where(cut) == (
        "blue-white 2.5 mm², somewhere between X1 cavity 7 (bulkhead, left of the battery) and "
        "splice SP2 (under the tape, behind the grille)"
    )
    turned = replace(cut, points=("SP2", "X1:7"))  # told from the point that was named first
    assert where(turned).startswith("blue-white 2.5 mm², somewhere between splice SP2")


def test_an_end_that_is_known_is_named() -> None:
    assert where(example.FINDINGS[2]) == (
        "black 2.5 mm² from X3 cavity 4 (rear lamps, on the axle housing), at its end in GND3 "
        "(rear axle housing)"
    )


def test_wires_that_cannot_be_told_apart_are_all_named() -> None:
    either = Finding(
        "open", ("X1:7", "X2:1"), (Suspect("W10", probability=0.5), Suspect("W11", probability=0.5))
    )
    said = where(either)
    assert said.startswith(
        "in one of 2 wires, blue-white 2.5 mm² (W10) or blue-white 1.5 mm² (W11), between X1"
    )


def test_crossed_and_misplaced_say_what_sits_where() -> None:
    assert where(example.FINDINGS[0]) == "in X2 (front lamps, behind the grille), cavities 3 and 4"
    moved = Finding("misplaced", ("X2:5", "X2:6"), (Suspect("W19"),), {"X2:5": "X2:6"})
    assert where(moved).startswith(
        "the wire for X2 cavity 5 (front lamps, behind the grille) is in X2 cavity 6"
    )


@pytest.mark.parametrize("fault", get_args(Fault))
def test_every_kind_of_fault_is_told_without_a_word_of_electricity(fault: Fault) -> None:
    finding = Finding(fault, ("X1:3", "X1:12"), (Suspect("W5"),))
    said = plain_sentence(finding, TRACTOR, BY_NAME)
    assert "starter" in said
    assert "bulkhead, left of the battery" in said
    jargon = (
        r"\b(ohms?|Ω|volts?|amps?|amperes?|resistance|circuit|continuity|isolation|leakage|short|open|net)\b"
    )
    assert not re.search(jargon, said, re.IGNORECASE)
    assert said.endswith(".")


def test_probes_go_where_a_hand_can_reach() -> None:
    taped = Finding("open", ("X1:7", "SP2"), (Suspect("W10"),))
    probes = probes_for(taped, TRACTOR)
    assert probes is not None
    assert (probes.red, probes.joined) == ("X1:7", True)
    assert probes.black in ("X2:1", "X2:2")  # the legs of the splice, which lies under the tape
    touching = probes_for(example.FINDINGS[3], TRACTOR)
    assert touching is not None
    assert touching.sentence == (
        "Red lead: X1 cavity 3. Black lead: X1 cavity 12. Once fixed, the meter shows over-range."
    )
    crossed = probes_for(example.FINDINGS[0], TRACTOR)  # from the cavity to the far end of its own net
    assert crossed is not None
    assert (crossed.red, crossed.black) == ("X2:3", "X1:8")
    hidden = replace(TRACTOR, unreachable=frozenset(TRACTOR.points))
    assert probes_for(taped, hidden) is None


def words(drawing: Drawing) -> list[str]:
    return [item.text for item in drawing.items if isinstance(item, Words)]


def test_a_close_up_frames_the_cavities_and_leads_their_wires_out_to_labels() -> None:
    (face,) = closeups(TRACTOR, example.FINDINGS[3], "bad", AT)
    said = words(face)
    assert said[0] == "X1"
    assert said[1] == "mating side, where the other connector goes on"
    assert "3: red-white 2.5 mm², W5 to SOL" in said
    assert said[said.index("3: red-white 2.5 mm², W5 to SOL") + 1] == "Red lead here"
    assert said[said.index("12: black 2.5 mm², W22 to SP1") + 1] == "Black lead here"
    # the rightmost wire has the topmost label, so that no wire runs across the words of another
    assert said.index("12: black 2.5 mm², W22 to SP1") < said.index("3: red-white 2.5 mm², W5 to SOL")
    frames = [item for item in face.items if isinstance(item, Box) and item.width == 2.8]
    rings = {(i.x, i.y): i.title for i in face.items if isinstance(i, Dot) and i.title}
    framed = {rings[f.x + f.w / 2, f.y + f.h / 2].partition(": ")[0] for f in frames}
    assert framed == {"X1:3", "X1:12"}
    leads = {item.stroke for item in face.items if isinstance(item, Polyline) and item.width == 4.0}
    assert leads == {WIRE_COLOURS["RD"], WIRE_COLOURS["BK"]}
    stripes = {item.stroke for item in face.items if isinstance(item, Polyline) and item.width == 1.6}
    assert stripes == {WIRE_COLOURS["WH"]}


def test_a_close_up_says_which_side_is_seen_or_that_nobody_knows() -> None:
    wire_side = replace(TRACTOR, faces={**TRACTOR.faces, "X1": Face(2, "across", "wire")})
    assert "wire side, where the wires go in" in words(closeups(wire_side, example.FINDINGS[3], "bad", AT)[0])
    unknown = replace(TRACTOR, faces={})
    assert any("plain rows" in said for said in words(closeups(unknown, example.FINDINGS[3], "bad", AT)[0]))


def test_a_wire_in_the_wrong_cavity_is_told_where_it_was_found() -> None:
    faces = closeups(TRACTOR, example.FINDINGS[0], "bad", AT)
    assert [words(face)[0] for face in faces] == ["X2", "X1"]
    said = words(faces[0])
    assert said[said.index("3: grey 1 mm², W14 to SP3") + 1] == "found in 4 instead"
    moved = Finding("misplaced", ("X2:5", "X2:6"), (Suspect("W19"),), {"X2:5": "X2:6"})
    assert "6: stays empty" in words(closeups(TRACTOR, moved, "bad", AT)[0])


def test_labels_never_cover_a_label_or_the_face_and_stay_on_the_drawing() -> None:
    wires = tuple(Wire(f"W{i}", f"X1:{i}", f"Y{i}:1", colour="RD", size_mm2=1.0) for i in range(1, 17))
    harness = Harness("wide", wires, tuple(p for w in wires for p in (w.start, w.end)))
    at = {point: [wire] for wire in wires for point in (wire.start, wire.end)}
    cycle = {f"X1:{i}": f"X1:{i % 16 + 1}" for i in range(1, 17)}
    found = closeups(harness, Finding("crossed", tuple(cycle), (), cycle), "bad", at)
    assert len(found) <= MOST_FACES
    face = found[0]
    boxes = [i for i in face.items if isinstance(i, Box) and i.width in (1.3, 1.8)]  # labels, and the face
    assert len(boxes) == 17
    rows = sorted((box.y, box.y + box.h) for box in boxes)
    assert all(above[1] <= below[0] for above, below in pairwise(rows))
    assert all(box.x >= 0 and box.x + box.w <= face.width and box.y + box.h <= face.height for box in boxes)
