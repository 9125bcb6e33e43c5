"""Tables of a connector in a run, with a wire at each side.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


def test_a_table_of_both_sides_of_a_connector_has_a_wire_at_each_side() -> None:
    page = (
        "Tag strip 1, under the deck, 4 tags\n"
        "tag    helm side               bow side\n"
        "1      red    ammeter 2        red     fuse box IN\n"
        "2      blue   dip switch 2     blue    port lamp and starboard lamp\n"
        "3      spare  -                spare   -\n"
        "4      black  helm stud        black   -\n"
    )
    assert wires(page) == [
        "Tag_strip_1:1 red to ammeter:2",
        "Tag_strip_1:1 red to fuse_box:IN",
        "Tag_strip_1:2 blue to dip_switch:2",
        "Tag_strip_1:2 blue to port_lamp",
        "Tag_strip_1:2 blue to starboard_lamp",
        "Tag_strip_1:4 black to helm_stud",
    ]
    assert "Tag_strip_1:3" in read_notes(page).lines[4].empty
    nameless = page.partition("\n")[2]  # the rows are asked about: of what connector they are is not said
    assert wires(nameless) == [] and len(read_notes(nameless).unread) >= 3


def test_the_connector_of_both_sides_may_stand_in_the_header() -> None:
    page = (
        "plug S   colour   boat end      trailer end\nS1       brown    fuse 2        left lamp, right lamp\n"
    )
    assert wires(page) == [
        "plug_S:1 brown to fuse_2",
        "plug_S:1 brown to left_lamp",
        "plug_S:1 brown to right_lamp",
    ]


CLUSTERS = [
    "port_lamp_plug:1 red to JB:1",
    "starboard_lamp_plug:1 red to JB:2",
    "port_lamp_plug:2 black to deck_bus",
    "starboard_lamp_plug:2 black to deck_bus",
    "starboard_lamp_plug:3 green/white to JB:5",
]


@pytest.mark.parametrize(
    "page",
    [
        "pin   port lamp plug    starboard lamp plug\n"
        "1     JB 1 red          JB 2 red\n2     deck bus black    deck bus black\n"
        "3     -                 JB 5 green/white\n",
        "Way | port lamp plug | starboard lamp plug\n"
        "1 | red to JB 1 | red to JB 2\n2 | black, deck bus | black, deck bus\n3 | empty | grn/wht to JB 5\n",
        "Cavity\tport lamp plug\tstarboard lamp plug\n"
        "1\tJB 1 red\tJB 2 red\n2\tdeck bus black\tdeck bus black\n3\tnot used\tJB 5 green/white\n",
        "terminal     port lamp plug      starboard lamp plug\n"
        "1            red JB 1            red JB 2\n2            black deck bus      black deck bus\n"
        "3            spare               green/white JB 5\n",
        "no.   port lamp plug      starboard lamp plug\n"
        "1     JB 1, red           JB 2, red\n2     deck bus, black     deck bus, black\n"
        "3     nothing             JB 5, green/white\n",
    ],
)
def test_a_column_for_each_of_several_connectors(page: str) -> None:
    notes = read_notes(page)
    assert [wire.words for wire in notes.wires] == CLUSTERS
    assert [line.empty for line in notes.lines if line.empty] == [("port_lamp_plug:3",)]
