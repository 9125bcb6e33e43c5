"""Notes in whole sentences: verbs, what a sentence is about, what its words point back to.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


def asked(text: str) -> list[str]:
    return [line.text for line in read_notes(text).lines if line.kind.value == "unread"]


FROM_ONE_TO_THE_OTHER = """goes aft to|is led to|is bolted to|is earthed at|was brought back to
    |passes along to|splices into|ties into|crosses to|drops down to|is fastened to|grounds to
    |has been wired straight to|heads off to|branches to|reaches|energises|is the feed for
    |then just runs to|daisy chains on to|arrives at|is pinned into
    |is fed from|takes its supply from|picks up its feed from|is driven by|hangs off|is looped from
    |originates at|draws its power from|taps off|receives its feed from|is switched by|leaves from"""


@pytest.mark.parametrize("verb", [" ".join(verb.split()) for verb in FROM_ONE_TO_THE_OTHER.split("|")])
def test_a_verb_and_its_preposition_join_two_ends(verb: str) -> None:
    page = f"fuse box 3 to horn button 1\nkey switch 2 {verb} fuse box 3, red"
    assert wires(page)[1] == "key_switch:2 red to fuse_box:3"


def test_what_joins_nothing_is_no_join() -> None:
    denied = wires("key switch 2 to fuse box 3, red, NOT connected to fuse box 4")
    assert denied == ["key_switch:2 red to fuse_box:3  # NOT connected to fuse box 4"]
    assert wires("step led to frame lug, black") == ["step_led black to frame_lug"]
    assert wires("old plug P9 replaced by P1: P9-1 = P1-A, P9-2 = P1-F") == []


LAMP = ["deck_lamp white to deck_switch:2", "deck_lamp:E black to dash_earth_bar"]


@pytest.mark.parametrize(
    "page",
    [
        "deck lamp. The white goes up the mast to deck switch 2, the black with it to dash earth bar.",
        "deck lamp: white goes up to deck switch 2, its black to the dash earth bar",
        "deck lamp.  WHITE TO deck_switch 2.  BLACK TO dash_earth_bar.".replace("_", " "),
        "deck lamp\n   the white comes down the mast and on to deck switch 2\n   the black to dash earth bar",
        "deck lamp has two wires. The white one joins deck switch 2, the black returns to dash earth bar.",
        "deck lamp: two wires in it. White to deck switch 2; the black goes on its own to dash earth bar.",
    ],
)
def test_the_wires_of_a_device_are_told_by_their_colours(page: str) -> None:
    assert wires(page) == LAMP


REGULATOR = [
    "regulator:D yellow to dynamo:D",
    "regulator:F green to dynamo:F",
    "regulator:E black to frame",
]


@pytest.mark.parametrize(
    "page",
    [
        "regulator. D: yellow to dynamo D. F: green, to dynamo F. E is black to the frame.",
        "regulator: D yellow > dynamo D, F green > dynamo F, E black > frame",
        "regulator\n  D goes to dynamo D, yellow\n  terminal F to dynamo F in green\n  E, black, to frame",
        "regulator: the D post has a yellow to dynamo D; F takes a green from dynamo F; E black to frame.",
        "regulator. Three wires. D yellow to dynamo D; the green on F to dynamo F; the black on E to frame.",
    ],
)
def test_terminals_alone_are_of_what_the_paragraph_is_about(page: str) -> None:
    assert wires(page) == REGULATOR


def test_a_device_of_its_own_is_the_subject_of_its_clause() -> None:
    page = "fan motor. Red from fuse 4 to fan switch 1. Fan switch 2 to fan motor +, red."
    assert wires(page) == ["fuse_4 red to fan_switch:1", "fan_switch:2 red to fan_motor:+"]
    page = "pump: + brown to pump switch 2, - black to bar\n  + also to gauge 1, brown\nhorn 1 to fuse 3, red"
    assert wires(page) == [
        "pump:+ brown to pump_switch:2",
        "pump:- black to bar",
        "pump:+ brown to gauge:1",
        "horn:1 red to fuse_3",
    ]
    page = "horn. It is fed from fuse 4, purple. Other tag to frame, black."
    assert wires(page) == ["horn:1 violet to fuse_4", "horn:2 black to frame"]


def test_two_wires_on_one_terminal_of_the_subject() -> None:
    page = "starter: big stud has red from isolator OUT, and the brown off alternator B+"
    page += "\n  small tag: white from key S"
    assert wires(page) == [
        "starter_big_stud red to isolator:OUT",
        "starter_big_stud brown to alternator:B+",
        "starter_small_tag white to key:S",
    ]


@pytest.mark.parametrize(
    "said",
    [
        "control lamp 1, it lights when the platform is open",
        "control lamp 1 so there is no second one",
        "control lamp 1 in the lift box",
        "control lamp 1, on its own all the way",
        "control lamp 1 because the old one was thin",
        "control lamp 1, same deal",
    ],
)
def test_how_where_and_why_is_of_no_name(said: str) -> None:
    (wire,) = read_notes(f"relay 4 green to {said}").wires
    assert (wire.start, wire.end) == ("relay:4", "control_lamp:1")


def test_wires_of_two_terminals_to_one_device_any_way_round_are_two() -> None:
    assert [w.split("  #")[0] for w in wires("chime 3 and 4 to the speaker, pink, brown, any way round")] == [
        "chime:3 pink to speaker:1",
        "chime:4 brown to speaker:2",
    ]
    assert wires("chime 3 and 4 to the speaker, pink, brown") == []


FAN = ["vent_fan:1 yellow to vent_switch:2", "vent_fan:2 yellow to bar"]


@pytest.mark.parametrize(
    "page",
    [
        "vent fan, 2 thin yellow wires, one from vent switch 2, one to the bar",
        "vent fan: one wire goes to vent switch 2 and the other to the bar, yellow",
        "vent fan has two leads. One is yellow to vent switch 2, the other one is yellow to the bar.",
        "vent fan. One side to vent switch 2, yellow, the other side to the bar, yellow.",
        "vent fan. First wire yellow to vent switch 2; the second goes to the bar, also yellow",
    ],
)
def test_one_here_and_one_there(page: str) -> None:
    assert wires(page) == FAN


@pytest.mark.parametrize(
    ("page", "last"),
    [
        ("splice A to pump relay 30, orange\n87 to float switch 1, orange",
         "pump_relay:87 orange to float_switch:1"),
        ("fuse B to tap switch 1, yellow. Out of 2 to pump +, blue", "tap_switch:2 blue to pump:+"),
        ("box 2 goes to left valve +, green. 3 goes to right valve +, blue", "box:3 blue to right_valve:+"),
        ("port battery + to fuse 1. Bow lamp 2 goes to fuse 4, red. Fuse 5 goes to 3",
         "Bow_lamp:2 red to fuse_4"),
        ("battery A + to selector 1, red. Battery B + goes to terminal 2, red",
         "Battery_B:+ red to selector:2"),
        ("the dynamo has two. The yellow on D goes to regulator D and the green is F to F",
         "dynamo:F green to regulator:F"),
    ],
)  # fmt: skip
def test_a_bare_terminal_is_of_the_device_whose_terminals_are_like_it(page: str, last: str) -> None:
    assert (wires(page) or [""])[-1] == last


def test_wires_of_two_colours_and_heads_that_count() -> None:
    page = "the alternator gives two wires, the yellow goes to rectifier 1 and the yellow and black to "
    page += "rectifier 2"
    assert wires(page) == [
        "alternator:yellow yellow to rectifier:1",
        "alternator:yellow_black yellow/black to rectifier:2",
    ]
    assert wires("SENSOR 3 WIRES. RED TO STOP BUTTON 1, BLUE TO JB BOLT, WHITE TO FUSE 2") == [
        "SENSOR:red red to STOP_BUTTON:1",
        "SENSOR:E blue to JB_BOLT",
        "SENSOR:white white to FUSE_2",
    ]
    page = "blade switch has 2 more: 3 = green to seat switch NO, 4 = blue to clutch 1"
    assert wires(page) == ["blade_switch:3 green to seat_switch:NO", "blade_switch:4 blue to clutch:1"]
    assert wires("KEY SWITCH: BAT RED TO PLUG 1, GND BLK TO PLUG 2, START YEL TO PLUG 3")[1:] == [
        "KEY_SWITCH:GND black to PLUG:2",
        "KEY_SWITCH:START yellow to PLUG:3",
    ]


@pytest.mark.parametrize(
    ("page", "last"),
    [
        ("battery - is bolted to the negative bar and from the bar one more black goes to the engine block",
         "negative_bar black to engine_block"),
        ("to the minus bar, all black: fridge -, fan -", "minus_bar black to fan:-"),
        ("from the joint: left lamp, right lamp, dash bulb", "joint to dash_bulb"),
        ("LH headlight + to fuse 1\nRH headlight + to fuse 2\nboth headlights earth on the grille bolt",
         "RH_headlight:E to grille_bolt"),
        ("lights.  Red from splice A to light switch 1", "splice_A red to light_switch:1"),
        ("heater fan. Fuse 4 to fan switch 1, green", "Fuse_4 green to fan_switch:1"),
        ("alternator D+ to charge lamp, brown, out the other side of the charge lamp white to fuse 1",
         "charge_lamp:2 white to fuse_1"),
        ("ignition box 5 is ground, black to the frame lug", "ignition_box:5 black to frame_lug"),
        ("engine block to frame stud by strap", "engine_block to frame_stud  # by strap"),
        ("switch 2 brown to motor +, in loom along the frame",
         "switch:2 brown to motor:+  # in loom along the frame"),
        ("feed strip: five more whites leave it, to gauge 1, lamp 2", "feed_strip white to lamp:2"),
    ],
)  # fmt: skip
def test_small_words_of_sentences(page: str, last: str) -> None:
    assert (wires(page) or [""])[-1] == last
