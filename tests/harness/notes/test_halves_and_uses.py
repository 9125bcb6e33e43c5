"""Headings of one half of a plug, what a terminal is for, several devices at one bolt, a further braid.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words.partition("  #")[0] for wire in read_notes(text).wires]


@pytest.mark.parametrize(
    "heading",
    [
        "Engine side of the bulkhead plug",
        "Bulkhead plug, engine side",
        "bulkhead plug engine side",
        "Rear half of the bulkhead plug",
        "On the engine side of the bulkhead plug:",
    ],
)
def test_a_half_of_a_plug_is_that_plug(heading: str) -> None:
    page = f"{heading}\n1  brn   dynamo D\n2  wht   oil switch\n3  grn   tank unit T\n4  cut off flush\n"
    notes = read_notes(page)
    assert [wire.start.casefold() for wire in notes.wires] == [f"bulkhead_plug:{n}" for n in (1, 2, 3)]
    assert [point.casefold() for line in notes.lines for point in line.empty] == ["bulkhead_plug:4"]


@pytest.mark.parametrize(
    "line",
    [
        "winch box 5 is ground, black to the hull lug",
        "winch box 5 is the earth: black to the hull lug",
        "winch box 5 is negative, black to the hull lug",
        "winch box 5 is return, black, hull lug",
        "winch box 5 is an earth, black down to the hull lug",
    ],
)
def test_what_a_terminal_is_for_is_no_end(line: str) -> None:
    assert wires(line) == ["winch_box:5 black to hull_lug"]


@pytest.mark.parametrize(
    "line",
    [
        "Both work lamps earth on the boom stud, black",
        "The two work lamps ground at the boom stud, black",
        "Work lamps earth on the boom stud, black",
        "Both work lamps ground on the boom stud with a black",
        "Both work lamps earth at the boom stud in black",
    ],
)
def test_several_lamps_that_earth_on_a_stud(line: str) -> None:
    page = f"LH work lamp main to lamp switch 1, blue\nRH work lamp main to lamp switch 1, blue\n{line}\n"
    assert wires(page)[2:] == ["LH_work_lamp:E black to boom_stud", "RH_work_lamp:E black to boom_stud"]


@pytest.mark.parametrize(
    "line", ["Work lamps earth in the bodywork", "Work lamps ground through the boom",
             "Work lamps earth at the bracket, no wire", "winch box 5 to the hull lug, no wire there",
             "winch plug 2 was to the horn 1, now to the bell 1"],
)  # fmt: skip
def test_where_there_is_no_wire_none_is_read(line: str) -> None:
    assert wires(f"LH work lamp main to lamp switch 1, blue\n{line}\n") == [
        "LH_work_lamp:main blue to lamp_switch:1"
    ]


@pytest.mark.parametrize("besides", ["plus a", "and a", "plus another", "and another", "plus one"])
def test_a_further_wire_from_the_same_point(besides: str) -> None:
    assert wires(f"Engine stud to hull lug, {besides} braid from the engine stud to the battery box 1") == [
        "Engine_stud to hull_lug",
        "Engine_stud to battery_box:1",
    ]
