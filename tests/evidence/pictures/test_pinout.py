"""Pinout cards: where the cavities are drawn, and that nothing in a name can act."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from loomtest.evidence.pictures.drawing import to_svg
from loomtest.evidence.pictures.pinout import NOT_KNOWN, card_of, pinout_drawing
from loomtest.evidence.pinout_text import card_lines
from loomtest.harness.model import Face, Harness, Wire

SVG = "{http://www.w3.org/2000/svg}"


def loom(face: Face | None, count: int = 6, name: str = "W1", circuit: str = "") -> Harness:
    wires = (Wire(name, "X1:2", "GND1", colour="BK/WH", size_mm2=1.5, circuit=circuit),)
    cavities = tuple(str(number) for number in range(1, count + 1))
    points = ("X1:2", "GND1", *(f"X1:{cavity}" for cavity in cavities if cavity != "2"))
    return Harness("invented", wires, points, cavities={"X1": cavities}, faces={"X1": face} if face else {})


def rows(harness: Harness, side: str) -> list[list[str]]:
    card = card_of(harness, "X1", side)
    return [[c.cavity for c in card.cavities if c.row == row] for row in range(card.rows)]


@pytest.mark.parametrize(
    ("face", "mating"),
    [
        (Face(2, "across"), [["1", "2", "3"], ["4", "5", "6"]]),
        (Face(2, "down"), [["1", "3", "5"], ["2", "4", "6"]]),
        (Face(2, "back-and-forth"), [["1", "2", "3"], ["6", "5", "4"]]),
        (Face(1, "across"), [["1", "2", "3", "4", "5", "6"]]),
        (None, [["1", "2", "3", "4", "5", "6"]]),
    ],
)
def test_the_two_sides_are_mirror_images(face: Face | None, mating: list[list[str]]) -> None:
    assert rows(loom(face), "mating") == mating
    assert rows(loom(face), "wire") == [list(reversed(row)) for row in mating]


def test_a_face_described_from_the_back_is_mirrored_for_the_front() -> None:
    face = Face(2, "across", "wire")
    assert rows(loom(face), "wire") == [["1", "2", "3"], ["4", "5", "6"]]
    assert rows(loom(face), "mating") == [["3", "2", "1"], ["6", "5", "4"]]


def places(svg: str) -> dict[str, tuple[float, float]]:
    texts = [t for t in ElementTree.fromstring(svg).iter(f"{SVG}text") if (t.text or "").isdecimal()]
    return {str(t.text): (float(t.attrib["x"]), float(t.attrib["y"])) for t in texts}


def test_the_picture_has_the_cavities_where_the_card_has_them() -> None:
    harness = loom(Face(2, "across"))
    front = places(to_svg(pinout_drawing(harness, [card_of(harness, "X1", "mating")]), alone=True))
    back = places(to_svg(pinout_drawing(harness, [card_of(harness, "X1", "wire")]), alone=True))
    assert front["1"][0] < front["2"][0] < front["3"][0] and front["1"][1] < front["4"][1]
    assert back["1"][0] > back["2"][0] > back["3"][0] and back["1"][1] < back["4"][1]


def test_the_side_is_said_in_the_picture_and_in_the_text() -> None:
    harness = loom(Face(2, "across"))
    for side, words in (("mating", "the other connector goes on"), ("wire", "where the wires go in")):
        card = card_of(harness, "X1", side)
        svg = to_svg(pinout_drawing(harness, [card]), alone=True)
        assert f"X1, {side} side" in svg and words in svg
        assert card_lines(card)[0] == f"X1, {side} side" and words in " ".join(card_lines(card))
        assert NOT_KNOWN not in svg


def test_a_face_that_nobody_described_is_said_to_be_unknown() -> None:
    harness = loom(None)
    card = card_of(harness, "X1", "wire")
    assert NOT_KNOWN in to_svg(pinout_drawing(harness, [card]), alone=True)
    assert NOT_KNOWN in " ".join(card_lines(card))


def test_a_wide_connector_goes_on_below_and_misses_none() -> None:
    card = card_of(loom(Face(1, "across"), 13), "X1", "mating")
    text = card_lines(card)
    found = [word for line in text if "[" in line for word in line.split()]
    assert found == [f"[{number}]" for number in range(1, 14)]
    assert max(map(len, text)) <= 80


def test_names_are_shown_and_do_nothing() -> None:
    harness = loom(Face(2, "across"), name="<script>x</script>", circuit="\x1b[2J\u202e&")
    card = card_of(harness, "X1", "wire")
    svg = to_svg(pinout_drawing(harness, [card]), alone=True)
    assert "<script" not in svg and "\x1b" not in svg and "\u202e" not in svg
    ElementTree.fromstring(svg)
    assert all(line.isprintable() for line in card_lines(card))
