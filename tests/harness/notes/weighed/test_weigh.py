"""The second reading: what makes the lines of a block alike decides what each of them is."""

from __future__ import annotations

import pytest

from loomtest.harness.notes.page import read_page
from loomtest.harness.notes.weighed.weigh import weigh

MARGIN = 0.3  # by how much the reading must be cheaper than any other


def read(text: str) -> list[set[tuple[str, str]]]:
    """The pairs of points of each line, the device's own name written out."""
    page = read_page(list(enumerate(text.strip("\n").split("\n"), 1)))
    found = weigh(page)
    names = page.names
    return [
        {
            (names.point(joint.start).casefold(), names.point(joint.end).casefold())
            for one in found[index]
            for joint in one.reading.joints
        }
        for index in sorted(found)
    ]


@pytest.mark.parametrize(
    "heading",
    ["Bow plug (6 way)", "BOW PLUG, 6 pins, under the seat", "** Bow plug, 6 pin **", "bow plug - 6 cavity:"],
)
def test_a_heading_that_counts_cavities_owns_the_rows_below(heading: str) -> None:
    page = f"{heading}\n1 red  horn 1\n2 black  frame bolt\n3 brown  nav lamp +"
    wanted = [{("bow_plug:1", "horn:1")}, {("bow_plug:2", "frame_bolt")}, {("bow_plug:3", "nav_lamp:+")}]
    assert read(page) == wanted


@pytest.mark.parametrize("bar", ["Positive bar", "POS BAR", "Earth bar:", "Splice S4"])
def test_what_stands_below_a_bar_ends_at_it(bar: str) -> None:
    rows = read(f"{bar}\npump -\nhorn 2  black\nspray light -  1.5 mm2")
    assert [{end for _, end in row} for row in rows] == [{"pump:-"}, {"horn:2"}, {"spray_light:-"}]
    assert len({start for row in rows for start, _ in row}) == 1


def test_numbers_before_two_ends_are_the_wires_own() -> None:
    rows = read(
        "1  battery +   fuse 1\n2  battery -   frame bolt\n3  fuse 2   horn 1\n4  horn 2   frame bolt"
    )
    assert rows[0] == {("battery+", "fuse:1")} or rows[0] == {("battery+", "fuse_1")}
    assert rows[3] == {("horn:2", "frame_bolt")}


def test_a_relays_numbers_are_no_cavities_of_a_small_plug() -> None:
    """The heading of the relay is not understood: its rows are dear below the plug."""
    page = read_page(list(enumerate(["Bow plug (6 way)", "1 red horn 1", "86 white pump 2"], 1)))
    first, last = (weigh(page)[index][0].reading.cost for index in (1, 2))
    assert last > first + 1.5


def test_cavities_that_begin_again_below_one_heading_are_dear() -> None:
    text = "Plug B\n1 red horn 1\n2 black frame bolt\n3 grey lamp +\n1 red pump 1\n2 black pump 2"
    found = weigh(read_page(list(enumerate(text.split("\n"), 1))))
    assert found[4][0].reading.cost > found[1][0].reading.cost + 1.0


def test_a_row_with_a_second_cell_is_read_as_its_block_is() -> None:
    """The further column is what each wire is for: it names no terminals, in any row."""
    page = "Bow plug (4 way)\n1  red  strip 1  nav lamp\n2  blue  strip 2  horn\n3  black  strip 3  pump"
    assert read(page) == [{(f"bow_plug:{n}", f"strip:{n}")} for n in (1, 2, 3)]


@pytest.mark.parametrize(
    ("line", "pairs"),
    [
        ("horn switch 1 to fuse 3, red, horn switch 2 to horn 1, blue", 2),
        ("relay 86 off key switch 2, grey, relay 85 to frame bolt, black", 2),
        ("Spray pump - red to relay 87, black to frame bolt", 2),
        ("relay: 30 to fuse 2 red, 85 to frame bolt black, 87 to spray pump +", 3),
        ("key switch 2 -> fuse 1 -> horn 1", 2),
    ],
)
def test_statements_side_by_side_and_runs(line: str, pairs: int) -> None:
    (row,) = read(line)
    assert len(row) == pairs


@pytest.mark.parametrize("point", ["fuse 3 top", "toggle 1 lower", "tow switch, top"])
def test_no_word_that_tells_terminals_apart_is_dropped(point: str) -> None:
    (row,) = read(f"horn 1 to {point}")
    ((_, end),) = row
    said = point.replace(",", "").replace(" ", "")
    assert end.replace("_", "").replace(":", "") == said


@pytest.mark.parametrize("fuse", ["thru a 15A fuse", "10 amp fuse in it", "with its own 20A breaker"])
def test_a_fuse_on_the_way_is_no_end(fuse: str) -> None:
    (row,) = read(f"pump + to key switch 2, red, {fuse}")
    assert row == {("pump:+", "key_switch:2")}
