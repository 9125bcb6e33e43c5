"""Layouts of whole blocks and the small signs in them, each as several people would write it.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


def asked(text: str) -> list[str]:
    return [line.text for line in read_notes(text).lines if line.kind.value == "unread"]


@pytest.mark.parametrize(
    ("line", "wire"),
    [
        ("winch switch 2 -> plus bar, red", "winch_switch:2 red to plus_bar"),
        ("winch switch 2 to minus bar, black", "winch_switch:2 black to minus_bar"),
        ("plus busbar to winch relay 30, red", "plus_busbar red to winch_relay:30"),
        ("red from plus rail to winch relay 30", "plus_rail red to winch_relay:30"),
        ("plus stud   winch relay 30   red", "plus_stud red to winch_relay:30"),
        ("battery plus post to winch relay 30, red", "battery+ red to winch_relay:30"),
    ],
)
def test_a_bar_is_called_plus_or_minus(line: str, wire: str) -> None:
    assert wires(line) == [wire]


@pytest.mark.parametrize(
    ("line", "wire"),
    [
        ("Deck light switch OUT to mast block 2, red", "Deck_light_switch:OUT red to mast_block:2"),
        ("deck light switch IN from fuse 3, red", "deck_light_switch:IN red to fuse_3"),
        ("fuse 3 to hoist relay UP, green", "fuse_3 green to hoist_relay:UP"),
        ("hoist relay UP to lift valve 1, green", "hoist_relay:UP green to lift_valve:1"),
        ("charger OUT+ to plus bar, red", "charger:OUT+ red to plus_bar"),
        ("inverter IN- to minus bar, black", "inverter:IN- black to minus_bar"),
    ],
)
def test_out_and_in_behind_a_device_are_its_terminals(line: str, wire: str) -> None:
    assert wires(line) == [wire]


@pytest.mark.parametrize("name", ["12V outlet", "24v socket", "5V charger", "0v bar", "6V coil"])
def test_a_voltage_before_a_noun_is_part_of_its_name(name: str) -> None:
    assert wires(f"Shed\nfuse box 3 to {name} 1, red")[-1].endswith(f"to {name.replace(' ', '_')}:1")


def test_a_voltage_is_a_remark_where_the_device_has_a_name_without_it() -> None:
    page = "shed outlet 1 to fuse box 3, red\noutlet 2 to frame, black\n12V outlet 1 to fuse box 4, red"
    assert "12V_outlet" not in " ".join(wires(page))


def test_a_length_that_comes_again_before_the_same_word_is_part_of_a_name() -> None:
    page = "No  color  from  to\n1  red  plus bar  2 meter rig +\n2  black  minus bar  2 meter rig -"
    assert wires(page) == ["plus_bar red to 2_meter_rig:+", "minus_bar black to 2_meter_rig:-"]
    assert wires("lamp relay 87 to work lamp, red, 2 meter run") == ["lamp_relay:87 red, 2 m to work_lamp"]


@pytest.mark.parametrize(
    "where", ["right at the switch", "right by the battery", "just behind the panel", "up under the seat"]
)
def test_where_a_fuse_sits_is_no_end(where: str) -> None:
    found = wires(f"pump relay 30 to battery +, red, 30A inline fuse {where}")
    assert not [wire for wire in found if "fuse_" in wire.split("#")[0]]


@pytest.mark.parametrize(
    "line",
    [
        "F6 is 20 amp, the others 10.",
        "F6 is 20 amp, the rest 10 amp.",
        "F6 20A, others 10A",
        "Fuse 6 is a 20 amp, all others are 10",
    ],
)
def test_ratings_of_fuses_are_no_wires(line: str) -> None:
    assert wires(f"F6 to horn relay 30, red\nF7 to lamp switch 1, brown\n{line}") == wires(
        "F6 to horn relay 30, red\nF7 to lamp switch 1, brown"
    )


OUTLINES = [
    ("Bilge pump", "   auto > float sw 1, red|   manual > bilge sw 2, brown|   neg > earth bar, black"),
    ("Fan head", "\tslow - timer 1, red|\tfull - timer 2, brown|\tcommon - earth bar, black"),
    ("Grow lamp driver", "  DIM -> dimmer 2, red|  L -> timer 3, brown|  N -> earth bar, black"),
    ("Gate motor", "    open: gate board 1, red|    shut: gate board 2, brown|    minus: earth bar, black"),
    ("Wiper unit", "  park to wiper switch P, red|  fast to wiper switch 2, brown|  - to earth bar, black"),
]  # fmt: skip


@pytest.mark.parametrize(("device", "lines"), OUTLINES)
def test_the_words_below_a_device_are_its_terminals(device: str, lines: str) -> None:
    below = lines.replace("|", "\n")
    found = wires(f"Notes of the shed\n\n{device}\n{below}\n")
    assert len(found) == 3
    assert all(wire.startswith(f"{device.replace(' ', '_')}:") for wire in found)


def test_below_a_bar_a_leading_gauge_is_the_size() -> None:
    page = (
        "Awg sizes\n\nEarth bar\n   16 black > lamp -, bell -\n   10 black > pump -\n   12 green > hull stud"
    )
    found = wires(page)
    assert found[0] == "Earth_bar black, AWG 16 to lamp:-"
    assert found[2:] == [
        "Earth_bar black, AWG 10 to pump:-",
        "Earth_bar green, AWG 12 to hull_stud",
    ]


def test_devices_below_a_place_are_no_terminals_of_it() -> None:
    found = wires("Left side\n   lamp > fuse 3, red\n   horn > fuse 4, brown")
    assert not [wire for wire in found if wire.startswith("Left_side")]


@pytest.mark.parametrize("name", ["speed knob", "flatbed lamp", "feed pump", "moped horn", "bleed valve"])
def test_a_noun_that_looks_like_a_past_tense_is_part_of_a_name(name: str) -> None:
    rows = f"MOTOR PLUG, 5 pin\n1  green  {name} 1\n2  brown  {name} 2\n3  red  fuse 3"
    assert wires(rows)[1] == f"MOTOR_PLUG:2 brown to {name.replace(' ', '_')}:2"


def test_a_supply_with_both_its_signs_is_a_device() -> None:
    page = "key 1 from supply +, brown\nsupply - to frame stud, blue"
    assert wires(page) == ["key:1 brown to supply:+", "supply:- blue to frame_stud"]
    assert wires("lamp 1 to feed, brown\nhorn 1 from supply, red") == []


@pytest.mark.parametrize(
    ("line", "wire"),
    [
        ("start button 2 > K1 A1, orange", "start_button:2 orange to K1:A1"),
        ("K1 A2 to earth bar, black", "K1:A2 black to earth_bar"),
        ("K2 B1 from K1 A1, white", "K2:B1 white to K1:A1"),
    ],
)
def test_coil_contacts_of_a_relay_that_stands_elsewhere(line: str, wire: str) -> None:
    assert wire in wires(
        f"K1 13 to start button 1, red\nK2 13 to K1 14, green\nK2 A1 to lamp 1, white\n{line}"
    )


@pytest.mark.parametrize("lead", ["tag", "pin", "position", "way"])
def test_the_leads_word_of_the_rows_names_the_same_block_s_cavities(lead: str) -> None:
    page = f"BLOCK A, in the cab\n{lead} 1 ... red ... fuse 1\n{lead} 2 ... bare strap to {lead} 1"
    assert wires(page)[-1] == "BLOCK_A:2 to BLOCK_A:1"


def test_or_between_dots_is_orange() -> None:
    found = wires("K2 87 ... or ... stop solenoid +\nK2 30 ... rd ... fuse 2")
    assert found[0] == "K2:87 orange to stop_solenoid:+"
    assert asked("K2 87 to fuse 2 or fuse 3, red") == ["K2 87 to fuse 2 or fuse 3, red"]


def test_brackets_behind_a_device_before_its_cavities() -> None:
    found = wires("K1 (start): 30 to battery stud RED, 85 to frame lug BLACK")
    assert found == ["K1:30 red to battery_stud", "K1:85 black to frame_lug"]


def test_the_valve_earth_of_several_valves_is_a_point_of_its_own() -> None:
    page = (
        "UP VALVE.  1: green to plug 4.  2: black to valve ground.\n"
        "LEFT VALVE.  1: blue to plug 5.  2: black to valve ground.\n"
        "VALVE GROUND.  Black to the engine block, 4 FT.\n"
    )
    assert wires(page)[3:] == ["LEFT_VALVE:2 black to valve:E", "valve:E black, 4 ft to engine_block"]


@pytest.mark.parametrize(
    "line",
    [
        "HOIST SOLENOID.  B2: #2 RED TO PUMP MOTOR POS.  S1: #16 WHITE TO DASH 3.  S2: #16 BLACK TO LUG.",
        "Hoist solenoid. B2: #2 red to pump motor pos. S1: #16 white to dash 3. S2: #16 black to lug.",
        "Hoist solenoid: B2 #2 red to pump motor pos, S1 #16 white to dash 3, S2 #16 black to lug",
        "Hoist solenoid.  B2, #2 red, to pump motor pos.  S1, #16 white, to dash 3.  S2, #16 black, to lug.",
        "HOIST SOLENOID.  B2: #2 RED TO PUMP MOTOR POS, 6 FT.  S1: #16 WHITE TO DASH 3, 4 FT.  "
        "S2: #16 BLACK TO LUG.",
    ],
)
def test_terminals_behind_a_device_with_gauges_behind_a_sign(line: str) -> None:
    page = f"BEACON.  NEG: #16 BLACK TO LUG.\nHORN.  NEG: #16 BLACK TO LUG.\n{line}"
    found = [wire.casefold().replace(", 6 ft", "").replace(", 4 ft", "") for wire in wires(page)[2:]]
    assert found == [
        "hoist_solenoid:b2 red, awg 2 to pump_motor:+",
        "hoist_solenoid:s1 white, awg 16 to dash:3",
        "hoist_solenoid:s2 black, awg 16 to lug",
    ]


def test_a_cavity_among_clauses_is_empty_or_asked_and_never_dropped() -> None:
    read = read_notes("JOYSTICK.  A: red to plug 2.  E: not used.  F: yellow to plug 6.")
    assert [line.empty for line in read.lines] == [("JOYSTICK:E",)]
    assert read_notes("RIGHT VALVE.  1: yellow to plug 6.  2: likewise.").unread


@pytest.mark.parametrize(
    "line",
    [
        "Directly to the minus bar, all black: fridge -, pump -, heater plug 2",
        "To minus bar, black: fridge -, pump -, heater plug 2",
        "All to the minus bar in black: fridge -, pump -, heater plug 2",
        "Straight back to the minus bar, black: fridge -, pump -, heater plug 2",
        "From the minus bar, black: fridge -, pump -, heater plug 2",
    ],
)
def test_a_list_behind_where_all_of_it_goes(line: str) -> None:
    assert wires(f"fridge + to fuse 3, red\n{line}")[1:] == [
        "minus_bar black to fridge:-",
        "minus_bar black to pump:-",
        "minus_bar black to heater_plug:2",
    ]


@pytest.mark.parametrize(
    ("one", "other"),
    [("tip", "shell"), ("ring", "sleeve"), ("hat", "foot"), ("nose", "skirt"), ("tongue", "cup")],
)
def test_words_behind_the_same_devices_are_their_terminals(one: str, other: str) -> None:
    page = (
        "LIGHT BAR, 5 way\n"
        f"1  yellow  left turn lamp, {one}\n2  green  right turn lamp, {one}\n3  white  brake lamp {one}\n"
        f"4  black  left turn lamp {other}, right turn lamp {other}, brake lamp {other}\n"
    )
    found = wires(page)
    assert found[0] == f"LIGHT_BAR:1 yellow to left_turn_lamp:{one}"
    assert found[2] == f"LIGHT_BAR:3 white to brake_lamp:{one}"
    assert found[3] == f"LIGHT_BAR:4 black to left_turn_lamp:{other}"


@pytest.mark.parametrize(
    "line",
    [
        "F1 10A slow blow. Left in its clips.",
        "F1 10A, left in",
        "F1 stays in its holder, 10A",
        "F1 (10 amp) was left in",
        "F1 was still in, 10A",
    ],
)
def test_a_fuse_left_in_joins_its_two_ends(line: str) -> None:
    page = "PLUG A, 2 way\n1  red  F1 line side\n2  brown  F1 load side\n\n"
    assert wires(page + line)[2:] == ["F1_line_side fuse to F1_load_side  # left in"]


@pytest.mark.parametrize(
    "line",
    [
        "Diode across K2 coil, band to 86",
        "diode over the coil of K2, stripe at 86",
        "There is a diode across the K2 coil, cathode 86",
    ],
)
def test_a_diode_across_a_coil(line: str) -> None:
    page = "K2: 30 to fuse 2 red, 85 to frame lug black, 86 to horn button white\n"
    assert wires(page + line)[3:] == ["K2:85 diode to K2:86  # across the coil"]


@pytest.mark.parametrize(
    "line",
    [
        "Trunk, block A to block B, tag for tag, 1 to 1, 2 to 2 and so on up to 8. Cores black",
        "Block A to block B, 1 to 8, tag for tag, black",
        "Block A 1 to 8 straight through to block B 1 to 8, black",
        "block A 1-8 to block B 1-8 in order, black",
        "Black cable from block A to block B, like for like, 1-8",
        "Black, block A to block B, same numbers, 1 thru 8",
    ],
)
def test_a_cable_cavity_for_cavity(line: str) -> None:
    page = "BLOCK A, in the cab\n1  red  fuse 1\n2  white  lamp 2\n\n"
    page += "BLOCK B, engine end\n1  red  horn 1\n2  white  pump 2\n"
    found = wires(f"{page}\n{line}")[4:]
    assert found == [f"BLOCK_A:{n} black to BLOCK_B:{n}  # cavity for cavity" for n in range(1, 9)]


def test_a_range_of_one_connector_alone_is_no_cable() -> None:
    page = "X1\n1  red  fuse 1\n2  white  lamp 2\n\n"
    assert len(wires(page + "X1 1-8 to the dash, black")) == 2


@pytest.mark.parametrize(
    "line",
    [
        "Heater fan. Fuse 4 to fan switch 1, green. Fan switch S to fan resistor 1, white.",
        "Fan on 12 volt. Fuse 4 to fan switch 1, green. Fan switch S to fan resistor 1, white.",
        "Cabin heater. Fuse 4 goes to fan switch 1, green. Fan switch S goes to fan resistor 1, white.",
        "Blower and heater. Fuse 4 > fan switch 1, green. Fan switch S > fan resistor 1, white.",
    ],
)
def test_a_title_before_statements_of_their_own(line: str) -> None:
    found = [wire.casefold() for wire in wires(line)]
    assert found == ["fuse_4 green to fan_switch:1", "fan_switch:s white to fan_resistor:1"]


@pytest.mark.parametrize("said", ["KEY", "keyed", "key plug", "polarising plug"])
def test_the_closed_cavity_of_a_keyed_plug_is_empty(said: str) -> None:
    read = read_notes(f"DASH PLUG, 3 way\n1  red  fuse 1\n2  {said}\n3  black  frame lug\n")
    assert ("DASH_PLUG:2",) in [line.empty for line in read.lines]


@pytest.mark.parametrize(
    "said",
    [
        "two more whites leave it, to",
        "two whites come off it, to",
        "two more whites go out of it to",
        "two whites run from it to",
        "two other whites leave here, to",
    ],
)
def test_wires_that_leave_what_the_line_is_about(said: str) -> None:
    found = wires(f"rev gauge neg to frame\nFEED STRIP: {said} rev gauge pos and temp gauge pos")
    assert found[1:] == ["FEED_STRIP white to rev_gauge:+", "FEED_STRIP white to temp_gauge:+"]
