"""Tables of a connector in a run, with a wire at each side.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

from loomtest.harness.notes.reader import read_notes


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
