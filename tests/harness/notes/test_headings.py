"""Headings that open a connector, however they are marked: numbers, frames, underlines, sentences.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes

ROWS = "1 red fuse 3\n2 black earth stud\n3 empty\n4 green fan switch\n"
WIRES = ["1 red to fuse_3", "2 black to earth_stud", "4 green to fan_switch"]


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


@pytest.mark.parametrize(
    "heading",
    [
        "Dash plug", "DASH PLUG", "Dash plug:", "Dash plug -", "-- dash plug --", "== Dash plug ==",
        "* dash plug *", "[dash plug]", "<dash plug>", "(dash plug, 6 way)", "Dash plug (6 pin)",
        "dash plug, 6 way, behind the dash", "Dash plug – looking at wire side", "2) Dash plug",
        "A. DASH PLUG", "## Dash plug", "dash plug has 6 pins, from left:", "At the dash plug:",
        "dash plug\n---------", "Dash plug\n", "Next the dash plug.",
    ],
)  # fmt: skip
def test_a_heading_opens_its_connector_however_it_is_marked(heading: str) -> None:
    found = wires(f"Orchard tractor, notes\nmain switch 1 to battery +, red\n\n{heading}\n{ROWS}")
    assert [words.casefold() for words in found[1:]] == [f"dash_plug:{row}" for row in WIRES]


def test_a_row_between_its_neighbours_is_no_heading_though_it_has_a_number_and_a_name() -> None:
    rows = "1. red fuse 3\n2. Horn\n3. black earth stud\n"
    assert wires(f"Dash plug\n{rows}")[-1] == "Dash_plug:3 black to earth_stud"
    rows = "A5 red fuse 3\nA6  ---\nA7 black earth stud\n"
    assert read_notes(f"Dash plug\n{rows}").lines[2].empty == ("Dash_plug:A6",)


@pytest.mark.parametrize("heading", ["PLUG: dash", "Connector: dash, 6 way", "Plug: dash, behind the clock"])
def test_what_stands_behind_a_kind_of_connector_is_its_name(heading: str) -> None:
    title = heading.partition(":")[0]
    assert wires(f"Pump\nmain switch 1 to battery +\n\n{heading}\n{ROWS}")[1:] == [
        f"dash_{title}:{row}" for row in WIRES
    ]


@pytest.mark.parametrize(
    "row", ["{} / {} / {}", "{1} {0} to {2}", "no. {} {}, {}", "{} ({}) {}", "{}..{}..{}"]
)
def test_rows_below_a_heading_in_other_layouts(row: str) -> None:
    parts = [("A", "red", "fuse 3"), ("B", "black", "earth stud"), ("D", "green", "fan switch")]
    found = wires("Pump\n\nDash plug\n" + "\n".join(row.format(*own) for own in parts))
    assert found == [
        "Dash_plug:A red to fuse_3",
        "Dash_plug:B black to earth_stud",
        "Dash_plug:D green to fan_switch",
    ]
