"""What makes a wire a question: each gate rests on counts over labelled pages (tests/scores/gates.py)."""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes

PLUG = "Engine plug\n1 red to key switch 1\n2 black to tacho GND\n"

ASKED = [
    # a new name beside a device that the page has once and without a terminal
    "the upper cab to horn",
    "galley spur to deck light",
    # a bare earth word behind a device: its terminal, or a second end
    "Sensor plug\n3 black to pedal sensor, ground",
    "Sensor plug\n3 black to tank unit, earth",
    # a lamp, horn or buzzer has no way out: the rows are another device's
    "Buzzer\n1 red to fuse 1\nout to deck light 1",
    # a terminal's name alone
    PLUG + "GND black to engine plug 2",
    # a side in brackets
    "panel lamp (other side) to negative bar, black",
    # a device of several, and which is not said
    "positive post to starter solenoid 1, red",
]


@pytest.mark.parametrize("page", ASKED)
def test_what_is_not_sure_is_asked(page: str) -> None:
    last = len(page.split("\n"))
    read = read_notes(page)
    assert last in {line.number for line in read.unread} and last not in {wire.line for wire in read.wires}


READ = [
    ("reading lamp 1 to fuse 3, red", "reading_lamp:1"),
    ("fuse 3 to cooling fan +, red", "cooling_fan:+"),
    ("key switch 50 to starter solenoid, small tag, white", "starter_solenoid_small_tag"),
    ("Controller\nB-: black to battery -", "Controller:B-"),
    ("fuse 2 to tail lamp, no. plate lamp, red", "no_plate_lamp"),
]


@pytest.mark.parametrize(("page", "point"), READ)
def test_names_that_look_like_remarks_are_whole(page: str, point: str) -> None:
    read = read_notes(page)
    assert point in {end for wire in read.wires for end in (wire.start, wire.end)}


@pytest.mark.parametrize("sign", ["and", "&", "and also"])
def test_a_name_behind_an_and_is_an_end_and_behind_a_comma_it_is_asked(sign: str) -> None:
    read = read_notes(f"fuse box 1 to coil + {sign} reg sense, black/red")
    assert [wire.end for wire in read.wires] == ["coil:+", "reg_sense"] and not read.unread
    assert read_notes("fuse box 1 to coil +, reg sense, black/red").unread


@pytest.mark.parametrize(
    "line",
    [
        "fuse 1 to galley lamp and saloon lamp, by a joint behind the cupboard (joint A), yellow",
        "fuse 1 to galley lamp and saloon lamp, through a splice in the locker, yellow",
        "fuse 1 to galley lamp, red (joint B)",
    ],
)
def test_a_joint_in_passing_is_a_point_that_is_asked_about(line: str) -> None:
    read = read_notes(line)
    assert read.unread and not read.wires
