"""Rows whose lead is a wire's number or a cavity: told from the block, and the connector from the line above.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from loomtest.harness.notes.meaning import Ask
from tests.harness.notes.once import read_once as read_notes

TWO_ENDED = ["red 2.5  battery + - main switch 1", "black  horn 2 - frame", "blue  key 2 - fan +"]
ONE_ENDED = ["red  fuse 3", "black  earth stud", "green  fan switch"]


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


@pytest.mark.parametrize(
    "lead", ["#{}", "#{} ", "flag {}", "wire {}:", "core {} -", "{}.", "{}", "no. {}", "W{}"]
)
def test_rows_that_are_whole_wires_have_the_wires_numbers_in_front(lead: str) -> None:
    rows = [f"{lead.format(number)}  {row}" for number, row in enumerate(TWO_ENDED, 7)]
    found = wires("Pump set, every wire by its sleeve\n\n" + "\n".join(rows))
    assert [words.partition(": ")[2] or words for words in found] == [
        "battery+ red, 2.5 mm² to main_switch:1",
        "horn:2 black to frame",
        "key:2 blue to fan:+",
    ]
    own = lead.format("").strip(" :-.") not in ("", "no")
    assert [words.split(":")[0] for words in found] == (
        ["W7", "W8", "W9"] if lead == "W{}" else ["7", "8", "9"]
    ) or not own


@pytest.mark.parametrize(
    "above",
    [
        "The dash plug has three pins:",
        "Now for the dash plug, seen from the wires",
        "Next comes the dash plug. Grey, behind the clock",
        "4. The dash plug has three pins, numbered on the back:",
        "Key 2 feeds the dash plug, 3 ways",
        "(this is the dash plug)",
    ],
)
def test_rows_of_one_end_are_cavities_of_the_connector_named_above(above: str) -> None:
    rows = [f"   {number}  {row}" for number, row in enumerate(ONE_ENDED, 1)]
    found = wires("Pump set\nbattery + to main switch 1\n\n" + "\n".join([above, *rows]))
    assert found[-3:] == [
        "dash_plug:1 red to fuse_3",
        "dash_plug:2 black to earth_stud",
        "dash_plug:3 green to fan_switch",
    ]


def test_rows_of_a_relays_terminals_are_of_the_relay_named_before() -> None:
    page = (
        "Main plug\n1 red fuse 3\n2 black frame\n\nM: fan relay, behind the seat\n30  red  battery +\n"
        "87  red  fan +\n86  green  key 2\n85  black  frame\n"
    )
    assert wires(page)[-4:] == [
        "fan_relay:30 red to battery+",
        "fan_relay:87 red to fan:+",
        "fan_relay:86 green to key:2",
        "fan_relay:85 black to frame",
    ]


@pytest.mark.parametrize(
    ("heading", "sign"),
    [
        ("HEAD PLUG - 3 pin.  engine side  ->  head side", "->"),
        ("head plug, front end / rear end", "/"),
        ("Head plug: what comes up from below | what goes off on top", "/"),
    ],
)
def test_a_heading_of_both_sides_gives_each_cavity_a_wire_at_each_side(heading: str, sign: str) -> None:
    rows = [
        f"1  red  battery + {sign} lift switch 1",
        f"2  black  frame {sign} head stud",
        f"3  blue  key 2 {sign} lamp +",
    ]
    found = [words.casefold() for words in wires("Saw bench\n\n" + "\n".join([heading, *rows]))]
    assert found == [
        "head_plug:1 red to battery+",
        "head_plug:1 red to lift_switch:1",
        "head_plug:2 black to frame",
        "head_plug:2 black to head_stud",
        "head_plug:3 blue to key:2",
        "head_plug:3 blue to lamp:+",
    ]


def test_the_letter_of_a_connector_before_its_cavities_is_no_part_of_them() -> None:
    page = "conn A, grey, behind the seat\nA1 red  fuse 1\nA2 blue  light switch 2\n"
    assert wires(page) == ["conn_A:1 red to fuse_1", "conn_A:2 blue to light_switch:2"]


def test_a_stroke_in_every_row_joins_its_two_ends() -> None:
    page = "Box van\n\nflag 1   red   battery + / board IN\nflag 2   black   horn 2 / chassis\n"
    page += "flag 3   blue   fan + / board 2\n"
    assert wires(page)[1] == "2: horn:2 black to chassis"


def test_codes_below_a_heading_of_things_are_devices_and_no_cavities() -> None:
    assert not [
        w for w in wires("LOOSE PARTS\nF1 10A slow blow\nK1 30 to battery +\n") if w.startswith("LOOSE")
    ]


def test_a_line_that_names_a_device_and_says_a_wire_of_it_is_no_heading_only() -> None:
    page = "Heater relay: 30 red from battery +\n   87 red to heater +\n   85 black to engine block\n"
    assert wires(page) == [
        "Heater_relay:30 red to battery+",
        "Heater_relay:87 red to heater:+",
        "Heater_relay:85 black to engine_block",
    ]


@pytest.mark.parametrize(
    ("header", "between"),
    [
        ("13 pin plug, new cable | colour | mm2 | other end in front locker", " | "),
        ("Plug A pin | colour | size | goes to", " | "),
        ("dash plug   colour   size   far end", "   "),
        ("Pin (dash plug)   core colour   size   where to", "   "),
        ("Junction box clamp\tcolour\tmm2\tlands on", "\t"),
    ],
)
def test_a_header_that_names_the_connector_above_its_cavities(header: str, between: str) -> None:
    rows = [("1", "red", "1.5", "fuse 3"), ("2", "blue", "2.5", "horn 1"), ("4", "grey", "1.5", "earth stud")]
    found = wires("Box van\n\n" + header + "\n" + "\n".join(map(between.join, rows)))
    assert [words.partition(":")[2] for words in found] == [
        "1 red, 1.5 mm² to fuse_3",
        "2 blue, 2.5 mm² to horn:1",
        "4 grey, 1.5 mm² to earth_stud",
    ]


def test_rows_of_no_known_connector_are_asked_about_with_those_of_the_page() -> None:
    page = "Main plug\n1 red fuse 3\n2 black frame\n\nall right so far, now the rest\n\n"
    page += "1  red  fan +\n2  black  horn 2\n"
    line = read_notes(page).lines[-1]
    assert line.why is Ask.CAVITY and line.readings == ("Main_plug:2 black to horn:2",)


def test_a_colour_with_its_size_in_one_column_is_no_place() -> None:
    rows = [
        "1  Brn/yel 1 mm2   alternator D+",
        "2  Wht/brn 1 mm2   oil switch",
        "3  Grn/blu 1 mm2   temp sender",
    ]
    rows += ["4  Grn 1 mm2   fan switch"]
    found = wires("Roller\n\nEngine side of the main plug\n" + "\n".join(rows))
    assert found[0] == "main_plug:1 brown/yellow, 1 mm² to alternator:D+" and len(found) == 4
