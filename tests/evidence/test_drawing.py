"""Drawings: themed SVG that nothing from a file can break, and the same picture as PNG."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
from matplotlib import image

from loomtest.evidence.drawing import Box, Dot, Drawing, Line, Shape, Words, save_png, to_svg

SVG = "{http://www.w3.org/2000/svg}"


def everything() -> Drawing:
    items = [
        Line(((0, 0), (50, 20)), "bad", 3, (4, 2)),
        Shape(((1, 1), (9, 1), (5, 9)), "good", "ink", 1),
        Box(10, 10, 20, 10, 3, "#123456", "line", 2),
        Dot(40, 40, 5, "none", "doubt", 2, 'a "dot" <b>'),
        Words(5, 55, "5 < 6 & \x1b[31m\u202e", 12, "soft", "middle", True),
    ]
    return Drawing(60, 60, "<title>", "told & said", items)  # type: ignore[arg-type]


def test_an_svg_is_well_formed_whatever_the_text() -> None:
    root = ElementTree.fromstring(to_svg(everything(), alone=True))
    assert root.find(f"{SVG}title").text == "<title>"  # type: ignore[union-attr]
    words = root.find(f"{SVG}text").text or ""  # type: ignore[union-attr]
    assert words == "5 < 6 & \\x1b[31m\\u202e"
    assert [e.tag.removeprefix(SVG) for e in root] == [
        "title", "desc", "style", "rect", "polyline", "polygon", "rect", "circle", "text",
    ]  # fmt: skip


def test_fill_and_stroke_of_one_shape_both_take_hold() -> None:
    root = ElementTree.fromstring(to_svg(everything(), alone=False))
    assert root.find(f"{SVG}polygon").attrib["class"] == "f-good s-ink"  # type: ignore[union-attr]
    box = root.find(f"{SVG}rect").attrib  # type: ignore[union-attr]
    assert (box["fill"], box["class"], box["stroke-width"]) == ("#123456", "s-line", "2")
    assert root.find(f"{SVG}circle").attrib["fill"] == "none"  # type: ignore[union-attr]


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
    assert np.allclose(picture[5, 5], np.array([0xFB, 0xFA, 0xF6]) / 255, atol=0.01)


def test_the_same_drawing_is_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.png", "b.png"):
        save_png(everything(), tmp_path / name)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
