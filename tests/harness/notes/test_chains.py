"""A run through several points, told from one point to several: common practice, invented scenes."""

from __future__ import annotations

from itertools import pairwise

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


# From each point to the next: the same terminal again, lamps one behind the other, what the line says itself.
@pytest.mark.parametrize(
    ("line", "points"),
    [
        ("fuse 3 - oil gauge I - temp gauge I, pink", "fuse_3 oil_gauge:I temp_gauge:I"),
        ("oil gauge I -> temp gauge I -> tacho I -> key IGN", "oil_gauge:I temp_gauge:I tacho:I key:IGN"),
        ("oil gauge G - temp gauge G - ground bus, black", "oil_gauge:G temp_gauge:G ground_bus"),
        ("horn switch 2 -> horn L -> horn R", "horn_switch:2 horn_L horn_R"),
        ("switch 2 > saloon lamp > galley lamp > deck lamp", "switch:2 saloon_lamp galley_lamp deck_lamp"),
        ("battery - -> engine block -> frame, braid", "battery- engine_block frame"),
        ("plug 5 - TB1/6 - neg bar", "plug:5 TB1:6 neg_bar"),
        ("key 15 -> headlamp main -> warning lamp", "key:15 headlamp:main warning_lamp"),
    ],
)
def test_a_run_goes_from_each_point_to_the_next(line: str, points: str) -> None:
    run = points.split()
    found = [(wire.start, wire.end) for wire in read_notes(line).wires]
    assert found == list(pairwise(run))


@pytest.mark.parametrize(
    "line",
    [
        "splice S4 - pump 1 - relay 86",
        "SP4 - pump 1 - relay 86",
        "X1 3 -> switch 2 -> relay 86",
        "switch 1 -> bulb -> X1 3",
        "battery + -> lamp -> frame",
    ],
)
def test_what_may_be_a_star_or_a_lamp_in_the_middle_is_asked(line: str) -> None:
    assert wires(line) == []
    assert read_notes(line).unread[-1].readings


def test_the_earths_of_a_run_are_other_points_than_its_feeds() -> None:
    page = "switch 2 -> port lamp -> mast lamp   red\nport lamp -> mast lamp -> neg bar   black\n"
    assert wires(page) == [
        "switch:2 red to port_lamp",
        "port_lamp red to mast_lamp",
        "port_lamp:E black to mast_lamp:E",
        "mast_lamp:E black to neg_bar",
    ]


# A device in a run, with the terminal at which the wire comes in and the one at which it goes on.
@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("key S -> brake switch (1 in 2 out) -> solenoid S   yellow all the way",
         ["key:S yellow to brake_switch:1", "brake_switch:2 yellow to solenoid:S"]),
        ("key S > brake switch (in 1, out 2) > solenoid S",
         ["key:S to brake_switch:1", "brake_switch:2 to solenoid:S"]),
        ("key S to brake switch (A is in, B is out) to solenoid S",
         ["key:S to brake_switch:A", "brake_switch:B to solenoid:S"]),
        ("fuse 3 to lamp switch (1 in, 2 out), blue", ["fuse_3 blue to lamp_switch:1"]),
        ("seat switch (1 in, 2 out) to solenoid S", ["seat_switch:2 to solenoid:S"]),
    ],
)  # fmt: skip
def test_terminals_in_and_out_in_brackets(line: str, expected: list[str]) -> None:
    assert [wire.split("  #")[0] for wire in wires(line)] == expected


@pytest.mark.parametrize(
    "run",
    [
        "light switch 1 > tail l > tail r > plate light, brown",
        "light switch 1 - tail l - tail r - plate light   brown",
        "light switch 1 -> tail l -> tail r -> plate light, brown",
    ],
)
def test_from_lamp_to_lamp_of_any_name_is_no_series(run: str) -> None:
    assert [wire.words for wire in read_notes(f"{run}\n").wires] == [
        "light_switch:1 brown to tail_l",
        "tail_l brown to tail_r",
        "tail_r brown to plate_light",
    ]
    assert not read_notes("fuse 4 > warning lamp > oil switch\n").wires  # its other side
