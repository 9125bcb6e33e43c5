"""Drawings: themed SVG that nothing from a file can break, and the same picture as PNG."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from matplotlib import image

from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Polyline, Shape, Way, Words, to_svg
from loomtest.evidence.pictures.look import DARK, LIGHT
from loomtest.evidence.pictures.png import save_png

SVG = "{http://www.w3.org/2000/svg}"


def everything() -> Drawing:
    items = [
        Polyline(((0, 0), (50, 20)), "bad", 3, (4, 2)),
        Shape(((1, 1), (9, 1), (5, 9)), "good", "ink", 1),
        Box(10, 10, 20, 10, 3, "#123456", "line", 2),
        Dot(40, 40, 5, "none", "doubt", 2, 'a "dot" <b>'),
        Words(5, 55, "5 < 6 & \x1b[31m\u202e", 12, "soft", "middle", True),
    ]
    return Drawing(60, 60, "<title>", "told & said", items)


def test_an_svg_is_well_formed_whatever_the_text() -> None:
    root = ElementTree.fromstring(to_svg(everything(), alone=True))
    assert root.find(f"{SVG}title").text == "<title>"
    words = root.find(f"{SVG}text").text or ""
    assert words == "5 < 6 & \\x1b[31m\\u202e"
    assert [e.tag.removeprefix(SVG) for e in root] == [
        "title", "desc", "style", "rect", "polyline", "polygon", "rect", "circle", "text",
    ]  # fmt: skip


def test_fill_and_stroke_of_one_shape_both_take_hold() -> None:
    root = ElementTree.fromstring(to_svg(everything(), alone=False))
    assert root.find(f"{SVG}polygon").attrib["class"] == "f-good s-ink"
    box = root.find(f"{SVG}rect").attrib
    assert (box["fill"], box["class"], box["stroke-width"]) == ("#123456", "s-line", "2")
    assert root.find(f"{SVG}circle").attrib["fill"] == "none"


def test_an_svg_inside_a_page_brings_no_style_of_its_own() -> None:
    inside = to_svg(everything(), alone=False)
    assert "<style" not in inside
    assert "style=" not in inside
    assert "prefers-color-scheme:dark" in to_svg(everything(), alone=True)


def test_the_png_shows_the_same_places_and_colours(tmp_path: Path) -> None:
    drawing = Drawing(100, 60, "", "", [Box(10, 10, 20, 20, 0.01, "#ff0000"), Dot(70, 30, 10, "#0000ff")])
    save_png(drawing, tmp_path / "a.png", scale=2)
    picture = image.imread(tmp_path / "a.png")[:, :, :3]
    assert picture.shape == (120, 200, 3)
    assert np.allclose(picture[40, 40], (1, 0, 0), atol=0.01)
    assert np.allclose(picture[60, 140], (0, 0, 1), atol=0.01)
    for kind, first, last in ((0, 20, 59), (2, 120, 159)):  # of red and of blue, to the pixel
        strong = np.flatnonzero((picture[:, :, kind] > 0.9) & (picture[:, :, 1] < 0.3)) % 200
        assert (strong.min(), strong.max()) == pytest.approx((first, last), abs=1)
    assert np.allclose(picture[5, 5], np.array([0xFB, 0xFA, 0xF6]) / 255, atol=0.01)


def test_the_same_drawing_is_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.png", "b.png"):
        save_png(everything(), tmp_path / name)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_a_broken_outline_is_broken_in_both(tmp_path: Path) -> None:
    whole, broken = (
        Drawing(80, 40, "", "", [Box(10, 10, 60, 20, 0, "none", "#000000", 2, dash)]) for dash in ((), (4, 6))
    )
    assert 'stroke-dasharray="4 6"' in to_svg(broken, alone=True)
    dark = []
    for drawing in (whole, broken):
        save_png(drawing, tmp_path / "a.png")
        dark.append((image.imread(tmp_path / "a.png")[:, :, 0] < 0.3).sum())
    assert dark[1] < 0.6 * dark[0]


def test_a_letter_that_the_typeface_lacks_is_a_box_and_no_warning(tmp_path: Path) -> None:
    words = Words(10, 30, "\u65e5\u672c", 20)  # warnings are errors here
    save_png(Drawing(80, 40, "", "", [words]), tmp_path / "a.png")
    assert (image.imread(tmp_path / "a.png")[:, :, 0] < 0.3).sum() > 50


def test_words_stand_where_they_are_anchored(tmp_path: Path) -> None:
    middles = {}
    for anchor in ("start", "middle", "end"):
        words = Words(100, 30, "HHHH", 20, "ink", anchor)
        save_png(Drawing(200, 40, "", "", [words]), tmp_path / "a.png", scale=2)
        dark = image.imread(tmp_path / "a.png")[:, :, 0] < 0.3
        columns = np.flatnonzero(dark.any(axis=0)) / 2
        middles[anchor] = (columns[0], columns[-1])
        rows = np.flatnonzero(dark.any(axis=1)) / 2
        assert rows[-1] + 0.5 == pytest.approx(30, abs=1)  # the base line
        assert rows[-1] - rows[0] == pytest.approx(0.72 * 20, abs=1.5)
    assert middles["start"][0] == pytest.approx(100, abs=3)
    assert middles["end"][1] == pytest.approx(100, abs=3)
    assert sum(middles["middle"]) / 2 == pytest.approx(100, abs=1)


def test_a_png_has_a_ground_of_its_own_and_so_shows_on_any_other(tmp_path: Path) -> None:
    for dark, ground in ((False, LIGHT), (True, DARK)):
        save_png(everything(), tmp_path / "a.png", dark=dark)
        picture = image.imread(tmp_path / "a.png")
        assert picture.shape[2] == 3 or picture[:, :, 3].min() == 1  # nothing shows through
        paper = [int(ground["paper"][i : i + 2], 16) / 255 for i in (1, 3, 5)]
        assert picture[-1, -1, :3] == pytest.approx(paper, abs=0.01)


def test_a_drawing_too_tall_for_a_viewer_is_made_smaller(tmp_path: Path) -> None:
    tall = Drawing(10, 40_000, "", "", [])
    save_png(tall, tmp_path / "a.png")
    assert image.imread(tmp_path / "a.png").shape[0] == 30_000


def test_where_a_wire_runs_is_for_a_page_only() -> None:
    drawing = Drawing(10, 10, "", "", [Way(((0, 0), (5, 5)), 'W"1', "red <b>")])
    assert "polyline" not in to_svg(drawing, alone=True)
    root = ElementTree.fromstring(to_svg(drawing, alone=False))
    way = root.find(f"{SVG}polyline")
    assert way is not None
    assert (way.attrib["data-wire"], way.attrib["data-told"]) == ('W"1', "red <b>")
