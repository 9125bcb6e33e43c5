"""A drawing as a PNG: its shapes painted one by one by matplotlib's Agg renderer.

An artist for each of the thousands of shapes of a large loom takes most of the time of a report; the
renderer alone takes a small part of it.
"""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

import numpy as np

from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Item, Polyline, Way, Words, visible
from loomtest.evidence.pictures.look import DARK, LIGHT

Widths = dict[tuple[str, float, bool], float]

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties
    from matplotlib.path import Path
    from matplotlib.transforms import Transform

POINTS = 72 / 96  # typographic points in a CSS pixel
MOST_PIXELS = 30_000  # along an edge: what viewers open, and well below what the renderer can hold
MISSING = "\N{WHITE SQUARE}"  # for a letter that the typeface lacks


def save_png(drawing: Drawing, path: FilePath, *, dark: bool = False, scale: float = 2.0) -> None:
    """The drawing as a PNG of `scale` times its size in pixels; less where that is too large to open."""
    from matplotlib.backends import backend_agg
    from matplotlib.image import imsave

    colours = DARK if dark else LIGHT
    scale = min(scale, MOST_PIXELS / max(drawing.width, drawing.height))
    size = round(drawing.width * scale), round(drawing.height * scale)
    renderer: Any = backend_agg.RendererAgg(*size, 96 * scale)  # type: ignore[no-untyped-call]  # not typed there
    _paint(renderer, Box(0, drawing.top, drawing.width, drawing.height, 0, "paper"), colours, drawing, scale)
    widths: Widths = {}
    for item in drawing.items:
        if isinstance(item, Words):
            _write(renderer, item, colours, drawing, scale, widths)
        elif not isinstance(item, Way):
            _paint(renderer, item, colours, drawing, scale)
    pixels = np.asarray(renderer.buffer_rgba())[:, :, :3]
    quick = {"compress_level": 3}  # half the time for a seventh more bytes
    imsave(path, pixels, dpi=round(96 * scale), metadata={"Software": "loomtest"}, pil_kwargs=quick)


def _paint(renderer: Any, item: Item, colours: dict[str, str], drawing: Drawing, scale: float) -> None:
    from matplotlib.colors import to_rgba
    from matplotlib.transforms import Affine2D

    assert not isinstance(item, Words | Way)
    below = drawing.top + drawing.height
    to_pixels: Transform = Affine2D().translate(0, -below).scale(scale, -scale)
    if isinstance(item, Dot):
        to_pixels = Affine2D().scale(item.r).translate(item.x, item.y) + to_pixels
    gc = renderer.new_gc()
    stroke = item.stroke
    gc.set_linewidth(item.width * POINTS if stroke != "none" else 0.0)
    if stroke != "none":
        gc.set_foreground(colours.get(stroke, stroke))
    gc.set_joinstyle("round")
    fill = None
    if isinstance(item, Polyline):
        gc.set_capstyle("butt" if item.dash else "round")
    elif item.fill != "none":
        fill = to_rgba(colours.get(item.fill, item.fill))
    if isinstance(item, Polyline | Box) and item.dash:
        gc.set_dashes(0, [dash * POINTS for dash in item.dash])
    renderer.draw_path(gc, _outline(item), to_pixels, fill)
    gc.restore()


def _outline(item: Item) -> Path:
    from matplotlib.path import Path

    if isinstance(item, Box):
        return _rounded(item)
    if isinstance(item, Dot):
        return Path.unit_circle()  # one outline for all, put in its place by the caller
    assert not isinstance(item, Words)
    closed = not isinstance(item, Polyline)
    return Path([*item.points, item.points[0]] if closed else list(item.points), closed=closed)


def _rounded(box: Box) -> Path:
    """The outline of a box: straight sides, and a quarter of a circle at each corner."""
    from matplotlib.path import Path

    r = min(box.radius, box.w / 2, box.h / 2)
    k = r * (1 - 4 / 3 * (math.sqrt(2) - 1))  # a cubic curve within 0.03 % of a quarter circle
    left, top, right, bottom = box.x, box.y, box.x + box.w, box.y + box.h
    corners = [
        ((right - r, top), (right - k, top), (right, top + k), (right, top + r)),
        ((right, bottom - r), (right, bottom - k), (right - k, bottom), (right - r, bottom)),
        ((left + r, bottom), (left + k, bottom), (left, bottom - k), (left, bottom - r)),
        ((left, top + r), (left, top + k), (left + k, top), (left + r, top)),
    ]
    points = [(left + r, top), *(point for corner in corners for point in corner), (left + r, top)]
    codes = [Path.MOVETO, *([Path.LINETO] + [Path.CURVE4] * 3) * 4, Path.CLOSEPOLY]
    return Path(points, codes)


def _write(
    renderer: Any, words: Words, colours: dict[str, str], drawing: Drawing, scale: float, widths: Widths
) -> None:
    text = _writable(visible(words.text), words.bold)
    if not text.strip():
        return
    font = _font(words.size, words.bold)
    gc = renderer.new_gc()
    gc.set_foreground(colours.get(words.fill, words.fill))
    width = 0.0
    if words.anchor != "start":
        if (text, words.size, words.bold) not in widths:  # the numbers of cavities come again and again
            measured = renderer.get_text_width_height_descent(text, font, ismath=False)
            widths[text, words.size, words.bold] = measured[0]
        width = widths[text, words.size, words.bold]
    left = words.x * scale - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[words.anchor]
    renderer.draw_text(gc, left, (words.y - drawing.top) * scale, text, font, 0.0)
    gc.restore()


@lru_cache(maxsize=32)
def _font(size: float, bold: bool) -> FontProperties:
    from matplotlib.font_manager import FontProperties

    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
    font.set_size(size * POINTS)
    return font


@lru_cache(maxsize=2)
def _letters(bold: bool) -> frozenset[int]:
    """What the typeface that comes with matplotlib can draw."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
    return frozenset(get_font(findfont(font)).get_charmap())


def _writable(text: str, bold: bool) -> str:
    if text.isascii():
        return text
    known = _letters(bold)
    return "".join(letter if ord(letter) in known else MISSING for letter in text)
