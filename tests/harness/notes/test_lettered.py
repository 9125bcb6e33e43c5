"""Connectors known by a letter, and their cavities by it: `conn A` has A1, and `A1-B1` is a wire.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words.casefold() for wire in read_notes(text).wires]


ROWS = "A1 red fuse 1\nA2 black frame\nA3 blue horn 1\n"
OTHER = "Plug B, 4 way\nB1 red winch relay 86\nB2 black winch relay 85\n"


@pytest.mark.parametrize(
    "heading", ["conn A, grey, behind the seat", "Connector A", "PLUG A:", "plug A, black 8 way"]
)
@pytest.mark.parametrize(
    "through",
    ["A1-B1, A2-B2", "straight through, same colours: A1-B1, A2-B2", "A1 to B1, A2 to B2", "A1-B1\nA2-B2"],
)
def test_a_cavity_by_its_letter_is_one_point_wherever_it_stands(heading: str, through: str) -> None:
    found = wires(f"Orchard tractor\n{heading}\n{ROWS}\n{OTHER}\n{through}\nhorn button 2 to A3, blue\n")
    name = " ".join(heading.split()[:2]).strip(",:").replace(" ", "_").casefold()
    assert found[0] == f"{name}:1 red to fuse_1"
    assert found[-3:] == [f"{name}:1 to plug_b:1", f"{name}:2 to plug_b:2", f"horn_button:2 blue to {name}:3"]


def test_a_code_and_a_cavity_that_stand_nowhere_alone_are_one_point() -> None:
    page = "\n".join(f"C1-A{n} to C2-A{n}, red" for n in range(1, 5))
    assert wires(page)[0] == "c1:a1 red to c2:a1"
