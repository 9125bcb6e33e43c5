"""A device with its terminals behind it in one line, and in the lines below that stand further to the right.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words.casefold() for wire in read_notes(text).wires]


KEY = [
    "key_switch:bat red to engine_plug:1",
    "key_switch:gnd black to engine_plug:2",
    "key_switch:ign white to engine_plug:3",
]


@pytest.mark.parametrize(
    "page",
    [
        "Key switch: BAT red to engine plug 1, GND black to engine plug 2,\n   IGN white to engine plug 3.",
        "KEY SWITCH: BAT RED TO ENGINE PLUG 1. GND BLACK TO ENGINE PLUG 2\n  IGN WHITE TO ENGINE PLUG 3",
        "key switch - BAT red > engine plug 1, GND black > engine plug 2, IGN white > engine plug 3",
        "key switch = BAT red -> engine plug 1; GND black -> engine plug 2; IGN white -> engine plug 3",
        "key switch: BAT is red and goes to engine plug 1\n  GND, black, to engine plug 2\n"
        "  IGN white engine plug 3",
        "key switch: BAT red to engine plug 1 / GND black to engine plug 2 / IGN white to engine plug 3",
    ],
)
def test_what_begins_with_a_terminal_is_of_the_device_before_it(page: str) -> None:
    assert wires(f"Fishing launch, the panel\n{page}\nhorn 2 to frame, black\n") == [
        *KEY,
        "horn:2 black to frame",
    ]


@pytest.mark.parametrize(
    ("line", "found"),
    [
        (
            "Battery: + red to isolator IN, - black to engine block",
            ["battery+ red to isolator:in", "battery- black to engine_block"],
        ),
        (
            "isolator: OUT red to fuse box IN, OUT again red to winch relay 30",
            ["isolator:out red to fuse_box:in", "isolator:out red to winch_relay:30"],
        ),
        (
            "trim switch: up blue to plug 7, dn green to plug 8",
            ["trim_switch:up blue to plug:7", "trim_switch:dn green to plug:8"],
        ),
        (
            "starter: big stud has red from battery +, and the brown off alternator B+",
            ["starter_big_stud red to battery+", "starter_big_stud brown to alternator:b+"],
        ),
        (
            "oil gauge: S white to oil sender. neg looped on from temp gauge neg, black",
            ["oil_gauge:s white to oil_sender", "oil_gauge:- black to temp_gauge:-"],
        ),
    ],
)
def test_terminals_of_any_sort(line: str, found: list[str]) -> None:
    assert wires(f"Fishing launch\n{line}\n") == found


def test_a_cavity_without_a_wire_below_its_device_is_empty() -> None:
    notes = read_notes("Fuse box: 1 yellow to lamp switch A, 2 brown to pump switch A\n   3 spare\n")
    assert notes.lines[1].empty == ("Fuse_box:3",)
    notes = read_notes("ignition box: 5 black to coil -.  6 has nothing\n")
    assert (notes.lines[0].empty, len(notes.wires)) == (("ignition_box:6",), 1)


def test_what_is_no_terminal_keeps_its_name() -> None:
    found = wires("fan relay: 30 red to fuse 2\n   horn 1 violet to horn button 2\n")
    assert found == ["fan_relay:30 red to fuse_2", "horn:1 violet to horn_button:2"]


ROWS = ["+ - brown - horn button 2", "- - black - frame"]


@pytest.mark.parametrize("sign", ["-", ":", "=", "->", "–"])
@pytest.mark.parametrize("heading", ["HORN", "Horn:", "horn"])
def test_a_terminal_a_colour_and_an_end_between_equal_signs_below_a_device(sign: str, heading: str) -> None:
    rows = [f"{row[0]}{row[1:].replace(' - ', f' {sign} ')}" for row in ROWS]
    other = f"Tail lamp\ntail {sign} green {sign} light switch 3\nearth {sign} black {sign} frame\n"
    page = f"Orchard tractor, from device to device\n{heading}\n" + "\n".join(rows) + f"\n{other}"
    assert wires(page) == [
        "horn:+ brown to horn_button:2",
        "horn:- black to frame",
        "tail_lamp:tail green to light_switch:3",
        "tail_lamp:earth black to frame",
    ]


def test_a_bare_number_behind_a_colour_before_a_sign_is_asked_about_as_a_size_first() -> None:
    line = read_notes("Starter motor\nmain - red 16 - solenoid 2\n").lines[1]
    assert line.readings[0] == "Starter_motor:main red, 16 mm² to solenoid:2"


SIDES = ("left", "centre", "right")
VALVES = "".join(f"valve switch {number} to {side} valve, blue\n" for number, side in enumerate(SIDES, 1))


@pytest.mark.parametrize(
    "line",
    [
        "3 valves, other terminal -- frame     black",
        "ALL 3 VALVES: OTHER TERMINAL BLK TO FRAME",
        "3 valves other side > frame, black",
        "all valves, other leg to frame, black",
        "valves: other side black to frame",
        "the other side of all 3 valves goes to frame, black",
    ],
)
def test_the_other_side_of_so_many_devices_is_one_of_each(line: str) -> None:
    found = wires(f"Orchard sprayer\n{VALVES}{line}\n")[3:]
    assert [words.partition(",")[0] for words in found] == [
        f"{side}_valve:2 black to frame" for side in SIDES
    ]


def test_of_another_number_than_the_page_names_it_is_asked() -> None:
    assert len(wires(f"Orchard sprayer\n{VALVES}4 valves, other terminal - frame, black\n")) == 3
