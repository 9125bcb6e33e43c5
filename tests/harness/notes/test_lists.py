"""Lists that leave words out, plurals and group names: written out to the devices that they mean.

How people write is nobody's standard: common practice. All scenes are invented.
"""

from __future__ import annotations

import pytest

from loomtest.harness.notes.lists import one_of
from loomtest.harness.notes.meaning import Ask
from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    """The wires of the last line of a page."""
    notes = read_notes(text)
    return [wire.words for wire in notes.wires if wire.line == notes.lines[-1].number]


INJECTORS = [f"relay:87 red to injector_{n}:1" for n in "1234"]


# Numbers, letters and sides behind a plural tell its members apart; what is said of each goes to all.
@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("relay 87 to injectors 1 to 4, red, pin 1 of each", INJECTORS),
        ("relay 87 to injectors 1, 2, 3 and 4, pin 1 of each, red", INJECTORS),
        ("injectors 1-4, terminal 1 of each: relay 87 red",
         [f"injector_{n}:1 red to relay:87" for n in "1234"]),
        ("relay 87 -> injectors 1/2/3/4, pin 1 on each   red", INJECTORS),
        ("Relay 87 feeds injectors 1 2 3 4, a red wire to pin 1 of each.", INJECTORS),
        ("Stud supplies toggles 1 & 2, a short red wire to the upper terminal of each.",
         ["Stud red to toggle_1:upper", "Stud red to toggle_2:upper"]),
        ("fuse 3 to stop lamps L & R, green", ["fuse_3 green to stop_lamp_L", "fuse_3 green to stop_lamp_R"]),
        ("fuse 3 to both stop lamps L/H & R/H",
         ["fuse_3 to stop_lamp_L/H", "fuse_3 to stop_lamp_R/H"]),
        ("X1 3 to relays A, B and C, terminal 86 of each, grey",
         [f"X1:3 grey to relay_{letter}:86" for letter in "ABC"]),
        ("horse lights 1, 2 and 3 to chassis bolt", [f"horse_light_{n} to chassis_bolt" for n in "123"]),
        ("blink lamps minus: left rail X, right rail Y",
         ["blink_lamp_left:- to rail_X", "blink_lamp_right:- to rail_Y"]),
        ("tail lamps: LH to fuse 4, RH to fuse 5", ["tail_lamp_LH to fuse_4", "tail_lamp_RH to fuse_5"]),
    ],
)  # fmt: skip
def test_a_plural_with_numbers_letters_or_sides_is_its_members(line: str, expected: list[str]) -> None:
    assert [wire.replace("Relay", "relay") for wire in wires(line)] == expected


PAGE = """Launch, invented

LH headlamp main to dip switch M
RH headlamp main to dip switch M
plate lamp L + to fuse 2
plate lamp R + to fuse 2
engine battery + to isolator 1
house battery + to isolator 2
galley light 1 + to fuse 6
front cabin light + to fuse 7
rear cabin light + to fuse 7
deck lamp + to fuse 8

"""


@pytest.mark.parametrize(
    ("line", "members"),
    [
        ("both headlamps - to frame", ["LH_headlamp:-", "RH_headlamp:-"]),
        ("minus of both headlamps to frame", ["LH_headlamp:-", "RH_headlamp:-"]),
        ("headlamps E to frame", ["LH_headlamp:E", "RH_headlamp:E"]),
        ("Plate lamps negative, black, one each to frame.", ["plate_lamp_L:-", "plate_lamp_R:-"]),
        ("both battery negatives to frame", ["engine_battery-", "house_battery-"]),
        ("negatives of both batteries to frame", ["engine_battery-", "house_battery-"]),
        ("the two galley lights - to frame", ["galley_light_1:-", "galley_light_2:-"]),
        ("both cabin lights - : frame", ["front_cabin_light:-", "rear_cabin_light:-"]),
        ("frame to both cabin lights -", ["front_cabin_light:-", "rear_cabin_light:-"]),
    ],
)
def test_a_plural_means_the_devices_that_the_page_names(line: str, members: list[str]) -> None:
    found = read_notes(PAGE + line)
    own = [wire for wire in found.wires if wire.line == found.lines[-1].number]
    assert sorted({wire.start, wire.end} - {"frame"} for wire in own) == [{member} for member in members]


@pytest.mark.parametrize(
    ("line", "likeliest"),
    [
        ("both tails to fuse 9", "L_tail to fuse_9; R_tail to fuse_9"),
        ("both work lamps to fuse 9", "L_work_lamp to fuse_9; R_work_lamp to fuse_9"),
    ],
)
def test_members_that_the_page_does_not_name_are_asked(line: str, likeliest: str) -> None:
    asked = read_notes(PAGE + line).unread[-1]
    assert (asked.why, asked.readings[0]) == (Ask.WHICH_OF_THEM, likeliest)


def test_one_of_several() -> None:
    assert [one_of(word) for word in ("lamps", "switches", "SOLS", "boxes", "indis")] == [
        "lamp", "switch", "SOL", "box", "indi",
    ]  # fmt: skip
    assert not any(map(one_of, ("bus", "chassis", "terminals", "pins", "gas", "glass", "lamp")))


# A bare number in a run takes the name before it; a bare pair behind a statement takes both names.
@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("cabin switch 2 to light 1, on to 2, on to 3",
         ["cabin_switch:2 to light_1", "light_1 to light_2", "light_2 to light_3"]),
        ("cabin switch 2 > light 1 > 2 > 3",
         ["cabin_switch:2 to light_1", "light_1 to light_2", "light_2 to light_3"]),
        ("TB1 pin 1 looped to 2", ["TB1:1 to TB1:2"]),
        ("regulator D to dynamo D, yellow. F to F, green.",
         ["regulator:D yellow to dynamo:D", "regulator:F green to dynamo:F"]),
        ("regulator D to dynamo D, F to F", ["regulator:D to dynamo:D", "regulator:F to dynamo:F"]),
        ("X1 3 to X2 5; 4 to 6", ["X1:3 to X2:5", "X1:4 to X2:6"]),
    ],
)  # fmt: skip
def test_bare_terminals_take_the_names_before_them(line: str, expected: list[str]) -> None:
    assert wires(line) == expected


# Statements in one line, each with its own list and its own colour.
@pytest.mark.parametrize(
    "line",
    [
        "key B -> lamp switch 1 orange, lamp switch 2 -> L lamp & R lamp, white",
        "key B -> lamp switch 1 orange  /  lamp switch 2 -> L lamp, R lamp white",
        "key B -> lamp switch 1 orange; lamp switch 2 -> L lamp + R lamp white",
        "key B to lamp switch 1 orange and lamp switch 2 to L lamp and R lamp, white",
        "key B > lamp switch 1 orange.  Lamp switch 2 > L lamp, R lamp, white.",
    ],
)
def test_statements_in_one_line_keep_their_lists_and_colours(line: str) -> None:
    assert [wire.replace("Lamp", "lamp") for wire in wires(line)] == [
        "key:B orange to lamp_switch:1", "lamp_switch:2 white to L_lamp", "lamp_switch:2 white to R_lamp",
    ]  # fmt: skip


def test_a_list_between_two_statements_is_asked_about_unless_its_signs_say_whose_it_is() -> None:
    assert wires("X1 1 to X2 1 and X2 2, X1 3 to X2 3") == [
        "X1:1 to X2:1", "X1:1 to X2:2", "X1:3 to X2:3",
    ]  # fmt: skip
    assert wires("X1 1 to X2 1, X1 2 and X1 3 to X2 3")[1:] == ["X1:2 to X2:3", "X1:3 to X2:3"]
    assert wires("X1 1 to X2 1, X1 2, X1 3 to X2 3") == []


def test_the_reds_and_the_blacks_of_lamps_are_their_two_terminals() -> None:
    assert wires("The blacks are from the lamps.\nswitch 2 to L lamp, on to R lamp. Reds.") == [
        "switch:2 red to L_lamp:+", "L_lamp:+ red to R_lamp:+",
    ]  # fmt: skip


def test_lamps_that_are_told_apart_by_numbers_have_an_earth_of_their_own() -> None:
    page = "fuse 2 to horse light 1, horse light 2, red\nhorse lights 1 and 2: one black each to the frame\n"
    ends = [(wire.start, wire.end) for wire in read_notes(page).wires]
    assert ends == [
        ("fuse_2", "horse_light_1"), ("fuse_2", "horse_light_2"),
        ("horse_light_1:E", "frame"), ("horse_light_2:E", "frame"),
    ]  # fmt: skip


def test_further_terminals_of_a_device_in_a_list() -> None:
    assert wires("lamp switch H, L to lamp main, dip") == [
        "lamp_switch:H to lamp:main", "lamp_switch:L to lamp:dip",
    ]  # fmt: skip
    assert wires("n/s lamp main to o/s lamp main; dip to dip") == [
        "n/s_lamp:main to o/s_lamp:main", "n/s_lamp:dip to o/s_lamp:dip",
    ]  # fmt: skip
    assert wires("RF ind to frame\nRR ind to frame\nind switch R > RF, RR") == [
        "ind_switch:R to RF_ind", "ind_switch:R to RR_ind",
    ]  # fmt: skip


# A point in front of a colon that all of a list is joined to, however it is led up to.
@pytest.mark.parametrize(
    "line",
    [
        "neg bar: fridge -, fan - and pump -, black",
        "Directly to the neg bar, all black: fridge -, fan -, pump -",
        "from the neg bar: fridge -, fan -, pump -, all black",
        "off neg bar, black: fridge - / fan - / pump -",
        "from neg bar: fridge -, fan - + pump -, black",
    ],
)
def test_what_is_joined_to_the_point_before_a_colon(line: str) -> None:
    assert wires(line) == [f"neg_bar black to {end}:-" for end in ("fridge", "fan", "pump")]


def test_what_is_said_behind_statements_ends_none_of_them() -> None:
    assert wires("battery + to lug A1 and battery - to frame, both black and thick") == [
        "battery+ black to lug_A1", "battery- black to frame",
    ]  # fmt: skip
    assert wires("blue/yellow + green/white  pickup 1 + 2 > CDI 4 + 5") == [
        "pickup:1 blue/yellow to CDI:4", "pickup:2 green/white to CDI:5",
    ]  # fmt: skip
    assert wires("Plug P (6 way)\n5 horn 1, brown & horn 2 to frame, black") == [
        "Plug_P:5 brown to horn:1", "horn:2 black to frame",
    ]  # fmt: skip


MARKERS = "L marker + to fuse 1\nR marker + to fuse 1\n"


@pytest.mark.parametrize(
    "line",
    [
        "each marker - to frame, black",
        "markers neg to frame, black one each",
        "frame to every marker -, black",
        "both markers -: frame, black",
        "markers L & R - to frame, black",
    ],
)
def test_each_of_several_and_a_terminal_behind_them(line: str) -> None:
    ends = [{wire.start, wire.end} for wire in read_notes(MARKERS + line).wires]
    assert ends[2:] == [{"L_marker:-", "frame"}, {"R_marker:-", "frame"}]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("X1 1-3 to X2 4-6", [f"X1:{n} to X2:{n + 3}" for n in (1, 2, 3)]),
        ("X1 pins 1, 2 and 3 to X2 pins 4, 5, 6 respectively", [f"X1:{n} to X2:{n + 3}" for n in (1, 2, 3)]),
        ("pins 1-3 of X1 to pins 4-6 of X2", [f"X1:{n} to X2:{n + 3}" for n in (1, 2, 3)]),
        ("switch 1/2/3 to relay 86/87/30, red/blue/green",
         ["switch:1 red to relay:86", "switch:2 blue to relay:87", "switch:3 green to relay:30"]),
        ("X1 4 and 5 to X2 7 and 8, yellow & green", ["X1:4 yellow to X2:7", "X1:5 green to X2:8"]),
        ("horns 1 & 2 + to relay 87a, both purple",
         ["horn_1:+ violet to relay:87a", "horn_2:+ violet to relay:87a"]),
    ],
)  # fmt: skip
def test_as_many_at_one_end_as_at_the_other(line: str, expected: list[str]) -> None:
    assert wires(line) == expected
