"""Sizes as bare numbers beside the colours: told from cavities by the page, in whatever layout.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes

ENDS = [("18", "tan", "fuse 4"), ("14", "red", "horn 1"), ("18", "grey", "oil sender"), ("18", "blue", "fan")]


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


@pytest.mark.parametrize(
    "row",
    [
        "{pin}   {size}  {colour}   {end}",
        "{pin} {size} {colour} {end}",
        "{pin}: #{size} {colour} to {end}",
        "{pin}   {colour}   {size}   {end}",
        "{pin} - {colour} {size} - {end}",
        "{pin} -> {end}, {size} {colour}",
    ],
)
def test_a_column_of_bare_gauges_is_one_in_any_layout(row: str) -> None:
    rows = [
        row.format(pin=pin, size=size, colour=colour, end=end)
        for pin, (size, colour, end) in enumerate(ENDS, 1)
    ]
    assert wires("Dash plug\n" + "\n".join(rows)) == [
        "Dash_plug:1 tan, AWG 18 to fuse_4",
        "Dash_plug:2 red, AWG 14 to horn:1",
        "Dash_plug:3 grey, AWG 18 to oil_sender",
        "Dash_plug:4 blue, AWG 18 to fan",
    ]


def test_a_column_with_decimals_is_of_square_millimetres() -> None:
    page = "Dash plug\n1  red 4  battery +\n2  black 4  frame\n3  tan 1.5  horn 1\n4  grey 1.5  fan\n"
    assert wires(page)[0] == "Dash_plug:1 red, 4 mm² to battery+"


def test_cavities_behind_a_colour_count_on_and_stay_cavities() -> None:
    page = "X1 to X4:\n1 red 2\n2 blue 4\n3 green 6\n4 black 8\n"
    assert wires(page) == [
        "X1:1 red to X4:2",
        "X1:2 blue to X4:4",
        "X1:3 green to X4:6",
        "X1:4 black to X4:8",
    ]


def test_a_name_beside_a_column_of_pins_has_no_terminal_of_its_own() -> None:
    page = "ID\tFROM\tPIN\tTO\tPIN\tCOL\nW1\tIGN SW\tB\tLT SW\t1\tred\nW2\tIGN SW\tS\tSTART SOL\tS\twhite\n"
    assert wires(page) == ["IGN_SW:B red to LT_SW:1", "IGN_SW:S white to START_SOL:S"]


@pytest.mark.parametrize(
    "row",
    [
        "{start} - {end}, {colour}, {size}",
        "{start} to {end}, {colour}, {size}, soldered",
        "{start} -> {end} ; {colour} ; {size}",
        "{colour} {size}   {start} to {end}",
        "{colour}, {size}   {start} > {end}",
    ],
)
def test_a_gauge_behind_the_colour_is_one_before_or_behind_the_ends(row: str) -> None:
    ends = ["winch switch 1", "hold lamp +", "fish box pump 2", "deck horn S"]
    rows = [
        row.format(start=f"panel plug {pin}", end=end, colour=colour, size=size)
        for pin, (end, (size, colour, _)) in enumerate(zip(ends, ENDS, strict=True), 1)
    ]
    assert [wire.partition("  #")[0] for wire in wires("\n".join(rows))] == [
        "panel_plug:1 tan, AWG 18 to winch_switch:1",
        "panel_plug:2 red, AWG 14 to hold_lamp:+",
        "panel_plug:3 grey, AWG 18 to fish_box_pump:2",
        "panel_plug:4 blue, AWG 18 to deck_horn:S",
    ]


def test_a_number_behind_a_colour_and_a_comma_that_goes_on_is_a_cavity() -> None:
    page = "\n".join(f"K{n}: 30 to fuse {n} red, 85 to lug black" for n in (1, 2, 3, 4))
    assert "K1:85 black to lug" in wires(page)


def test_the_numbers_of_switches_are_no_thick_cables_on_a_page_that_speaks_of_gauges() -> None:
    page = (
        "fuse 3 red 12 ga to dip switch C\ndip switch 1 tan to left high beam\n"
        "dip switch 2 blue to left low beam\nbrake switch 2 orange to brake lamp\n"
    )
    assert wires(page)[1:] == [
        "dip_switch:1 tan to left_high_beam",
        "dip_switch:2 blue to left_low_beam",
        "brake_switch:2 orange to brake_lamp",
    ]


def test_behind_a_sharp_inside_a_line_a_number_before_a_colour_is_a_gauge() -> None:
    assert wires("UP VALVE.  1: #16 GREEN TO P1-4.  2: #16 BLACK TO FRAME STUD.\n") == [
        "UP_VALVE:1 green, AWG 16 to P1:4",
        "UP_VALVE:2 black, AWG 16 to FRAME_STUD",
    ]


@pytest.mark.parametrize("sign", [";", "\t", " | "])
def test_a_decimal_comma_in_a_column_is_no_list(sign: str) -> None:
    rows = ["from;to;colour;mm2", "horn 1;fuse 2;red;1,5", "horn 2;frame;black;0,75", "fan +;fuse 3;grey;1,7"]
    assert wires("\n".join(row.replace(";", sign) for row in rows)) == [
        "horn:1 red, 1.5 mm² to fuse_2",
        "horn:2 black, 0.75 mm² to frame",
        "fan:+ grey, 1.7 mm² to fuse_3",
    ]


def test_a_unit_in_a_columns_heading_is_that_of_its_figures() -> None:
    page = "from;to;colour;size, mm2;len m\nhorn 1;fuse 2;red;1,7;2,5\nhorn 2;frame;black;0,75;1\n"
    assert wires(page)[0] == "horn:1 red, 1.7 mm², 2.5 m to fuse_2"
