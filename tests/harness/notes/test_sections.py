"""Titles between the rows of a table: sections, or the connectors of the rows below them.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words.casefold() for wire in read_notes(text).wires]


SPACED = "From            To               Colour\n{}light switch R  tail lamp left   brown\n"
STROKES = "| from | to | colour |\n|---|---|---|\n{}| light switch R | tail lamp left | brown |\n"
COMMAS = "from,to,colour,size\n{}light switch R,tail lamp left,brown,\n"
TABS = "from\tto\tcolour\n{}light switch R\ttail lamp left\tbrown\n"


@pytest.mark.parametrize(
    ("table", "title"),
    [
        (SPACED, "TAIL LAMPS (REAR)\n"), (SPACED, "\nTail lamps\n\n"), (SPACED, "-- winch --\n"),
        (SPACED, "Winch:\n"),
        (STROKES, "| **Winch** | | |\n"), (STROKES, "| Bilge pump | | |\n"), (COMMAS, "LIGHTS,,,\n"),
        (COMMAS, "Winch plug,,,\n"), (TABS, "Winch plug (4 way)\n"), (TABS, "\nLights\n------\n"),
    ],
)  # fmt: skip
def test_a_title_between_the_rows_of_a_table_changes_nothing(table: str, title: str) -> None:
    row = table.split("{}")[1]
    other = row.replace("tail lamp left", "horn 1").replace("brown", "black")
    found = wires(table.replace("{}", other + title) + row.replace("left", "right"))
    assert found == [
        "light_switch:r black to horn:1",
        "light_switch:r brown to tail_lamp_left",
        "light_switch:r brown to tail_lamp_right",
    ]


def test_a_connector_named_between_the_rows_of_a_pin_table_is_that_of_the_rows_below_it() -> None:
    table = "Plug A (4 way)\nPin  Colour  To\n1    red     fuse 1\n2    black   frame\n"
    assert wires(f"{table}Plug B, 4 way\n1    white   horn 2\n")[-1] == "plug_b:1 white to horn:2"


HEADED = """{}
red      battery +        main fuse 1
black    battery -        engine block
{}
brown    fuse 4           bilge pump +
black    bilge pump -     neg bus
"""


@pytest.mark.parametrize(
    "titles", [("Fishing launch", "Bilge pump"), ("MAIN FEEDS:", "Pump plug"), ("1) Feeds", "2) Bilge pump")]
)
def test_a_title_above_rows_with_both_their_ends_is_no_connector(titles: tuple[str, str]) -> None:
    assert wires(HEADED.format(*titles)) == [
        "battery+ red to main_fuse_1",
        "battery- black to engine_block",
        "fuse_4 brown to bilge_pump:+",
        "bilge_pump:- black to neg_bus",
    ]


def test_a_colour_beside_one_place_is_a_cavity_of_the_heading_all_the_same() -> None:
    assert (
        wires("Ignition switch\nred - fuse 1\nbrown - light switch 1\n")[0]
        == "ignition_switch:red red to fuse_1"
    )
