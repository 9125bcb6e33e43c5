"""A name keeps all its words: none is lost to a phrase of joining, a sign, a size or a measure."""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes

# Invented: an orchard tractor's lamps and a fishing launch. The same trap in other words on each line.
KEPT = [
    # what ends a name may begin a phrase of joining
    ("horn black to frame lug under the seat", "frame_lug"),
    ("horn black to chassis bolt behind the tank", "chassis_bolt"),
    ("main fuse in comes off battery switch 2, red", "main_fuse_in"),
    ("fuse box feed to key switch 30, brown", "fuse_box:feed"),
    ("switch panel supply from battery switch 2", "switch_panel_supply"),
    # one of a device's two sides
    ("light switch 2 to fuse 2 top, red", "fuse_2_top"),
    ("Fuse 1 bottom brown to light switch 1", "fuse_1_bottom"),
    ("key switch 15 > fuse 3 in", "fuse_3:in"),
    ("brake switch 1 to F1 load side, orange", "f1_load_side"),
    ("start relay 87 to solenoid small, white", "solenoid_small"),
    # a sign as a word
    ("Main switch 2 -> plus bar, red", "plus_bar"),
    ("Plus bar -> bilge fuse 1, red", "plus_bar"),
    ("bilge pump - -> minus bar, black", "minus_bar"),
    ("winch - to minus post, black", "minus_post"),
    ("plus rail to fuse box feed, red", "plus_rail"),
    # a number with an article, a shade or a size behind it
    ("From key switch 2 a white wire goes to the horn", "key_switch:2"),
    ("From start solenoid 1 a thinner red goes to key switch B", "start_solenoid:1"),
    ("dimmer switch 1 light green to left headlamp", "dimmer_switch:1"),
    ("door switch 2 grey/black to buzzer +", "door_switch:2"),
    ("brake switch 1 a second red to horn relay 30", "brake_switch:1"),
]


@pytest.mark.parametrize(("line", "point"), KEPT)
def test_no_word_of_a_name_is_lost(line: str, point: str) -> None:
    read = read_notes(line)
    ends = {end.casefold() for wire in read.wires for end in (wire.start, wire.end)}
    told = {end for reading in read.unread for end in " ".join(reading.readings).casefold().split()}
    assert point in ends | told  # read, or asked about with the whole name
    assert not ends or point in ends


def test_a_minus_before_a_colour_is_a_terminal_where_the_device_has_a_plus() -> None:
    page = "door switch 2 grey to buzzer +\nbuzzer - black to ground stud\nhorn - black to ground stud\n"
    ends = [wire.start for wire in read_notes(page).wires]
    assert ends == ["door_switch:2", "buzzer:-", "horn"]


@pytest.mark.parametrize("sign", [", ", "  "])
def test_a_number_of_its_own_behind_the_colour_is_a_size_where_the_page_has_gauges(sign: str) -> None:
    rows = [
        ("1", "2", "red", "8"),
        ("2", "3", "blue", "16"),
        ("3", "4", "white", "16"),
        ("4", "5", "tan", "8"),
    ]
    page = "wire in AWG\n" + "".join(f"starter {a} - panel {b}, {c}{sign}{d}\n" for a, b, c, d in rows)
    read = read_notes(page)
    assert [(w.start, w.end, w.size) for w in read.wires] == [
        (f"starter:{a}", f"panel:{b}", f"AWG {d}") for a, b, _, d in rows
    ]


@pytest.mark.parametrize(
    ("line", "wire"),
    [
        ("plug P 3, white/red, winch solenoid, small tag", "plug_P:3 white/red to winch_solenoid_small_tag"),
        ("Main fuse, battery side, brown to winch 1", "Main_fuse_battery_side brown to winch:1"),
        ("Breaker 2, load side, to winch 1, brown", "Breaker_2_load_side brown to winch:1"),
        ("Batt 1 neg - hull stud, black", "Batt_1:- black to hull_stud"),
        ("tank 2 sender neg to hull stud, black", "tank_2_sender:- black to hull_stud"),
    ],
)
def test_a_word_behind_a_comma_or_a_number_tells_which_terminal(line: str, wire: str) -> None:
    assert [found.words for found in read_notes(line).wires] == [wire]


def test_a_sign_behind_a_number_is_of_the_numbered_device() -> None:
    wires = [
        wire.words for wire in read_notes("Plug A\n3 brown to hold pump 1 plus, hold pump 2 plus, both").wires
    ]
    assert wires == ["Plug_A:3 brown to hold_pump_1:+", "Plug_A:3 brown to hold_pump_2:+"]


@pytest.mark.parametrize(
    "said",
    ["each have a black to", "both have a black to", "each get a black to", "each has its own black to",
     "both take one black to"],
)  # fmt: skip
def test_what_each_of_two_devices_has_is_a_wire_of_each(said: str) -> None:
    wires = [wire.words for wire in read_notes(f"Hold lamp and mast lamp {said} hull stud").wires]
    assert wires == ["Hold_lamp black to hull_stud", "mast_lamp black to hull_stud"]


@pytest.mark.parametrize(
    "row",
    ["GD -> neg bar, wht", "GD = neg bar, wht", "GD: white to neg bar", "GD   wht   neg bar",
     "GD - wht - neg bar"],
)  # fmt: skip
def test_letters_of_a_cavity_that_could_be_a_colour_are_the_cavity_beside_a_colour(row: str) -> None:
    page = f"TRAILER PLUG, 7 way\nTM -> left tail, brn\n{row}\nLT -> left turn, yel\n"
    assert [wire.words for wire in read_notes(page).wires][1] == "TRAILER_PLUG:GD white to neg_bar"
