"""Notes in sentences, tables of any columns, and the wires that are never written for want of a credible end.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from loomtest.harness.notes import trade
from loomtest.harness.notes.meaning import Ask
from loomtest.words.notes import look_at
from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


# A point is spoken of in another order than it is noted in.
@pytest.mark.parametrize(
    ("sentence", "noted"),
    [
        ("Terminal 30 of the key switch goes to coil plus, brown.", "key_switch:30 brown to coil:+"),
        ("The blue one comes out of terminal 2 of the fuel gauge and goes to E on the regulator.",
         "fuel_gauge:2 blue to regulator:E"),
        ("B on the regulator is wired back to the light switch, number 1.", "regulator:B to light_switch:1"),
        ("The coil's negative terminal goes to splice S1 in green.", "coil:- green to splice_S1"),
        ("Relay pin two black to bus bar", "Relay:2 black to bus_bar"),
        ("Relay 86 blue from the alternator D plus", "Relay:86 blue to alternator:D+"),
        ("From the battery switch, terminal OUT, a red wire runs to the feed stud.",
         "battery_switch:OUT red to feed_stud"),
        ("Toggle 3 lower to the horn, yellow.", "Toggle_3:lower yellow to horn"),
        ("fusebox 1 in > fusebox 2 in, red", "fusebox_1:in red to fusebox_2:in"),
    ],
)  # fmt: skip
def test_sentences_are_read_like_notes(sentence: str, noted: str) -> None:
    assert wires(sentence) == [noted]


def test_statements_of_one_sentence_are_told_apart() -> None:
    assert wires("Pump - goes to the negative bar and so does the engine block. Both black.") == [
        "Pump:- black to negative_bar",
        "engine_block black to negative_bar",
    ]
    assert wires("charger: + to battery +, - to battery -") == [
        "charger:+ to battery+",
        "charger:- to battery-",
    ]
    assert wires("regulator D to dynamo D, and dynamo F goes to regulator F") == [
        "regulator:D to dynamo:D",
        "dynamo:F to regulator:F",
    ]
    assert wires("beacon: red to fuse 5, black to cab earth") == [
        "beacon red to fuse_5",
        "beacon:E black to cab_earth",
    ]
    assert wires("kill switch: one wire to CDI 6, other one to frame") == [
        "kill_switch:1 to CDI:6",
        "kill_switch:2 to frame",
    ]


def test_a_switch_in_a_run_and_the_other_side_of_a_lamp_are_two_points() -> None:
    assert wires("fuse 3 to toggle switch. toggle switch to work lamp +") == [
        "fuse_3 to toggle_switch:1",
        "toggle_switch:2 to work_lamp:+",
    ]
    assert wires("key switch 15 to oil lamp\nother side of the oil lamp to oil switch") == [
        "key_switch:15 to oil_lamp:1",
        "oil_lamp:2 to oil_switch",
    ]


TABLES = {
    "to before from, tabs": "no\tTO\tFROM\tcol\tlen\n1\tECU 3\tsensor 1\tred\t45\nlengths in cm\n",
    "strokes": "| no | from | to | colour |\n|----|----|----|----|\n| 1 | sensor 1 | ECU 3 | red |\n",
    "semicolons": "No;From;To;Colour\n1;sensor 1;ECU 3;red\n",
    "connector and pin apart": "Conn\tPin\tTo\tTo pin\tColour\nsensor\t1\tECU\t3\tRD\n",
    "words of another trade": "N°;depart;arrival;colour;mm²\n1;sensor 1;ECU 3;red;\n",
}


@pytest.mark.parametrize("text", TABLES.values(), ids=TABLES)
def test_a_table_is_read_by_its_columns(text: str) -> None:
    wire = read_notes(text).wires[0]
    assert (wire.start, wire.end, wire.colour) == ("sensor:1", "ECU:3", "red")


def test_a_table_without_a_header_is_told_by_what_its_cells_hold() -> None:
    rows = "1  red    battery +   main fuse 1\n2  brown  key 2       relay 86\n"
    rows += "3  black  relay 85    frame bolt\n4  green  relay 87    horn +\n5  pink   key 3       pump +\n"
    assert wires("Wires of the lamp board\n\n" + rows)[:2] == [
        "battery+ red to main_fuse_1",
        "key:2 brown to relay:86",
    ]


def test_a_sentence_that_brings_up_a_connector_opens_it() -> None:
    text = "Firewall connector is an 8 cavity one, lettered A to H.\n\nA = red, coil +\nB = brown, key 2\n"
    assert wires(text) == ["Firewall_connector:A red to coil:+", "Firewall_connector:B brown to key:2"]
    text = "key 2 feeds the little fuse box, 4 ways, red\n  way 1: horn relay 30\n  way 2: pump relay 30\n"
    assert wires(text)[-2:] == ["fuse_box:1 to horn_relay:30", "fuse_box:2 to pump_relay:30"]


def test_a_list_number_is_no_cavity() -> None:
    text = "1. X1 pin 4, red, goes to lamp pin 2.\n2. X1 pin 5 to lamp pin 3.\n3. X1 pin 6 to lamp pin 4.\n"
    assert wires(text) == ["X1:4 red to lamp:2", "X1:5 to lamp:3", "X1:6 to lamp:4"]


def test_a_line_that_another_puts_right_is_asked_about() -> None:
    text = "1. X1 pin 4 to lamp pin 2.\n2. X1 pin 5 to lamp pin 3.\n3. X1 pin 6 to lamp pin 5.\n"
    text += "CORRECTION to 2: pin 4\n"
    notes = read_notes(text)
    assert [line.why for line in notes.lines][:3] == [None, Ask.PUT_RIGHT, None]
    assert notes.lines[1].readings == ("X1:5 to lamp:3",)


# Each of these was once a wire that nobody wrote.
@pytest.mark.parametrize(
    "text",
    [
        "12 volts, minus to the frame.",
        "The thick one starts and goes down to somewhere near the seat.",
        "Signed off to strip.",
        "Somebody had joined the tail lamp to the horn.",
        "measured 0.4 ohm battery - to engine, 0.2 to frame",
        "contactor terminals: pack + on one, controller M+ on the other",
        "CDI 3 & 4 = stator",
        "their blacks > choc block 2",
        "fridge -, heater - go alone each one until somewhere",
        "fog lamp across fog switch 2 and earth",
        "work lamps both earth to the frame",
        "left indicator earth = frame, right one the same",
        "horn + to fog lamp +, cable is joined with a red crimp",
        "glow plug relay 30 battery +, 87 glow plugs, 85 frame",
        "J1-12 blank J1-13 purple to horn +",
    ],
)
def test_a_row_needs_two_credible_ends(text: str) -> None:
    assert wires(text) == []


def test_studs_of_two_colours_are_two_studs() -> None:
    assert wires("charger + to the red stud\nthe black stud to charger -") == [
        "charger:+ to red_stud",
        "black_stud to charger:-",
    ]


def test_names_that_may_be_one_device_are_told() -> None:
    notes = read_notes("joint box 1 to LH lamp, red\nbutton box 2 to horn +\nbox 3 to fog lamp\n")
    assert [look_at(look) for look in notes.look_at] == [
        "box stands beside button_box and joint_box: if two of them are one thing, give it one name"
    ]


@pytest.mark.parametrize(
    ("line", "empty"),
    [
        ("CP11, CP12 -> nothing", ("CP:11", "CP:12")),
        ("CP7 -> CP9 : spare, capped off", ("CP:7", "CP:8", "CP:9")),
        ("joint box, ways 5 and 6: nothing.", ("joint_box:5", "joint_box:6")),
    ],
)
def test_cavities_without_a_wire_are_told_in_many_ways(line: str, empty: tuple[str, ...]) -> None:
    notes = read_notes(f"roof plug CP (12)\nCP1 -> lamp +   red\njoint box 1 to lamp -   black\n\n{line}\n")
    assert [wire.words for wire in notes.wires] == ["CP:1 red to lamp:+", "joint_box:1 black to lamp:-"]
    assert notes.lines[-1].empty == empty


def test_two_devices_side_by_side_are_no_device_and_its_terminal() -> None:
    page = "K1.85 => X2.8 BK\nK1.86 => X2.1 RD\nK2.85 => X2.8 BK\nK1 K2 to base for measuring\n"
    assert [line.why for line in read_notes(page).unread] == [Ask.SEVERAL_MEANINGS]


def test_ditto_inside_a_name_stands_for_its_noun_alone() -> None:
    assert wires("o/s sidelamp 1 to n/s ditto, red") == ["o/s_sidelamp:1 red to n/s_sidelamp"]


def test_a_terminal_block_is_no_ground_and_an_engine_block_is() -> None:
    assert trade.is_ground("engine block") and trade.is_ground("block")
    assert not trade.is_ground("tag block 1") and not trade.is_ground("terminal block")


# Each was once read in silence as a wire that nobody wrote.
@pytest.mark.parametrize(
    ("text", "likeliest"),
    [
        ("battery - to engine block 25", "battery- 25 mm² to engine_block"),
        ("horn relay 85 red 6  from ignition switch 3", "horn_relay:85 red, 6 mm² to ignition_switch:3"),
        ("dynamo strap 400 to frame", "dynamo_strap:400 to frame"),
        ("blower + to F5 (yellow), - bar", "blower:+ yellow to F5; F5 yellow to bar"),
        ("L/R oil switch -> oil lamp", "L/R_oil_switch to oil_lamp"),
        ("neutral switch sky blue to neutral lamp", "neutral_switch_sky blue to neutral_lamp"),
        ("key 4 start red to starter 50", "key:4 red to start; key:4 red to start:50"),
        ("fuse board 2 to bilge pump, brown, float switch on the way",
         "fuse_board:2 brown to bilge_pump; fuse_board:2 to float_switch"),
    ],
)  # fmt: skip
def test_a_figure_or_word_that_may_not_be_a_terminal_is_asked(text: str, likeliest: str) -> None:
    notes = read_notes(text)
    assert notes.wires == ()
    assert likeliest in notes.unread[0].readings


def test_two_places_behind_one_cavity_are_asked_where_the_rows_have_one() -> None:
    page = (
        "Plug A, 3 way\n1   red    horn relay 87\n2   green  stop switch 2  brake lamp 1\n3  black  frame\n"
    )
    assert [line.number for line in read_notes(page).unread] == [3]


def test_a_statement_is_no_heading_of_the_one_row_below_it() -> None:
    page = "dynamo earth to frame\n4 to 7, 5 to 8 on the terminal strip\n"
    assert wires(page) == ["dynamo_earth to frame"]


def test_a_device_that_is_wired_as_another_is_asked() -> None:
    assert [line.number for line in read_notes("stern lamp 1 same as port lamp 1").unread] == [1]


def test_a_connector_with_its_poles_counted_is_a_heading() -> None:
    page = "X1 = plug to tractor, 3 pol\n1    RD  4,0    => X2.1\n2    BK  4,0    => X2.8\n"
    assert wires(page) == ["X1:1 red, 4.0 mm² to X2:1", "X1:2 black, 4.0 mm² to X2:8"]


def test_where_on_a_ground_it_is_and_a_battery_without_its_sign_are_asked() -> None:
    page = "socket, 3 way\n1 yellow LH indicator\n3 white chassis, bolt by hitch\n"
    assert [line.number for line in read_notes(page).unread] == [3]
    page = "battery - to frame\nbattery + to fuse 1\nfridge - direct to battery - 4mm, not chassis\n"
    assert [line.number for line in read_notes(page).unread] == [3]


def test_old_and_new_above_rows_of_a_cavity_for_a_cavity_is_a_change_of_connector() -> None:
    """No wire from cavity 1 to cavity 8 of a plug called `12S old | new`."""
    notes = read_notes("12S old | 13 pin new\n1 -> 8\n3 -> 13    (not 11!)\n7 -> 11\n\nP1 1 red to P2 2")
    assert [(wire.start, wire.end) for wire in notes.wires] == [("P1:1", "P2:2")]


def test_up_and_down_and_second_tell_two_devices_apart() -> None:
    notes = read_notes("lift sw U to up solenoid, grn\nlift sw D to down solenoid, grn/wht")
    assert [wire.end for wire in notes.wires] == ["up_solenoid", "down_solenoid"]
    second = read_notes("batt + to X1 3\nsecond battery - chassis as well")
    assert ("batt", "chassis") not in [(wire.start, wire.end) for wire in second.wires]
    mast = read_notes("X1 3 white up mast to steaming light")
    assert mast.wires == () and mast.unread[0].readings
