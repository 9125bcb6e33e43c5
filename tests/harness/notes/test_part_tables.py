"""Tables with a device and its terminal in two columns, and where its wire goes in one.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes

WIRES = [
    "ramp_switch:B red to battery+",
    "ramp_switch:C blue to ramp_motor:1",
    "ramp_motor:2 black to frame_stud",
    "lift_relay:85 white to ramp_switch:D",
    "lift_relay:87 red/black to tail_lift_main_post",
]


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


@pytest.mark.parametrize(
    "page",
    [
        "part         pin   color   goes to\n"
        "ramp switch  B     red     battery +\n"
        '  "          C     blue    ramp motor 1\n'
        "ramp motor   2     black   frame stud\n"
        "lift relay   85    white   ramp switch D\n"
        '  "          87    red/blk tail lift main post\n',
        "Device | Terminal | Colour | To\n"
        "ramp switch | B | red | battery +\n"
        "| C | blue | ramp motor 1\n"
        "ramp motor | 2 | black | frame stud\n"
        "lift relay | 85 | white | ramp switch D\n"
        "| 87 | red/black | tail lift main post\n",
        "Component\tTag\tGoes to\tColour\n"
        "ramp switch\tB\tbattery +\tred\n"
        "ramp switch\tC\tramp motor 1\tblue\n"
        "ramp motor\t2\tframe stud\tblack\n"
        "lift relay\t85\tramp switch D\twhite\n"
        "lift relay\t87\ttail lift main post\tred/black\n",
        "Unit          Term    Wire       Destination\n"
        "ramp switch   B       red        battery +\n"
        "              C       blue       ramp motor 1\n"
        "ramp motor    2       black      frame stud\n"
        "lift relay    85      white      ramp switch D\n"
        "              87      red/black  tail lift main post\n",
        "From, Post, Col, To\n"
        "ramp switch, B, red, battery +\n"
        "ramp switch, C, blue, ramp motor 1\n"
        "ramp motor, 2, black, frame stud\n"
        "lift relay, 85, white, ramp switch D\n"
        "lift relay, 87, red/black, tail lift main post\n",
    ],
)
def test_a_device_and_its_terminal_in_two_columns(page: str) -> None:
    assert wires(page) == WIRES


def test_a_terminal_of_several_words_names_the_point_as_a_sentence_does() -> None:
    page = (
        "part       post        colour     goes to\n"
        "winch      hot stud    red 6 ga   battery +\n"
        "  ditto    small 2     black      frame\n"
        "key sw     B           red        winch hot stud, 20 amp fuse in the wire\n"
        "hold pump  -           black      frame\n"
    )
    assert wires(page) == [
        "winch_hot_stud red, AWG 6 to battery+",
        "winch_small:2 black to frame",
        "key_sw:B red, fuse to winch_hot_stud  # fuse 20 A",
        "hold_pump:- black to frame",
    ]


@pytest.mark.parametrize(
    "tail",
    [
        "20 amp fuse in it",
        "20 A fuse in the wire",
        "fused at 20 amp",
        "20A blade fuse near the battery",
        "with its own 20 amp fuse in line",
    ],
)
def test_a_fuse_in_the_wire_is_no_end(tail: str) -> None:
    (wire,) = read_notes(f"winch switch 1 to battery +, red, {tail}\n").wires
    assert (wire.start, wire.end, wire.colour, wire.kind) == ("winch_switch:1", "battery+", "red", "fuse")
    assert "20 A" in wire.note
