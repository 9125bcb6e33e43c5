"""A drawing as a list of simple shapes, written as themed SVG or, through matplotlib, as PNG.

Lengths are CSS pixels, y down. Colours are names of the palette in `look`, or a literal `#rrggbb`, so that
one SVG shows well on light and on dark grounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from loomtest.evidence.look import DARK, LIGHT

FONT = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
XY = tuple[float, float]
HARD_SPACE = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True)
class Line:
    """A polyline; `dash` in pixels, () for solid."""

    points: tuple[XY, ...]
    stroke: str
    width: float
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Shape:
    """A closed polygon."""

    points: tuple[XY, ...]
    fill: str
    stroke: str = "none"
    width: float = 0.0


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle with rounded corners."""

    x: float
    y: float
    w: float
    h: float
    radius: float
    fill: str
    stroke: str = "none"
    width: float = 0.0


@dataclass(frozen=True, slots=True)
class Dot:
    """A circle; `title` is what a pointer or a screen reader finds there."""

    x: float
    y: float
    r: float
    fill: str
    stroke: str = "none"
    width: float = 0.0
    title: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text; `anchor` is start, middle or end; y is the base line."""

    x: float
    y: float
    text: str
    size: float
    fill: str = "ink"
    anchor: str = "start"
    bold: bool = False


Item = Line | Shape | Box | Dot | Words


@dataclass
class Drawing:
    """Shapes in painting order, within `width` by `height`; `title` and `text` describe it in words."""

    width: float
    height: float
    title: str
    text: str
    items: list[Item] = field(default_factory=list)


def to_svg(drawing: Drawing, *, alone: bool, ident: str = "drawing") -> str:
    """The drawing as an SVG element.

    `alone`: with its own palette, for a file; else it takes the palette (`--ink` ...) of the page around it.
    """
    w, h = _n(drawing.width), _n(drawing.height)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" role="img" '
        f'aria-labelledby="{ident}-t {ident}-d" class="drawing"'
        + (f' width="{w}" height="{h}">' if alone else ">")
        + f'<title id="{ident}-t">{_escaped(drawing.title)}</title>'
        + f'<desc id="{ident}-d">{_escaped(drawing.text)}</desc>'
    )
    if alone:
        head += (
            f"<style>{_palette_css()}</style>"
            + f'<rect width="{w}" height="{h}" {_paint("paper", "none", 0)}/>'
        )
    return head + "".join(_element(item) for item in drawing.items) + "</svg>\n"


def paint_rules() -> str:
    """CSS rules that turn palette names into paint; a page needs them once."""
    return "".join(f".f-{n}{{fill:var(--{n})}}.s-{n}{{stroke:var(--{n})}}" for n in LIGHT) + (
        f".drawing text{{font-family:{FONT}}}.b{{font-weight:650}}"
    )


def palette(names: dict[str, str]) -> str:
    """CSS custom properties of a palette."""
    return "".join(f"--{name}:{colour};" for name, colour in names.items())


def _palette_css() -> str:
    dark = f"@media (prefers-color-scheme:dark){{:root{{{palette(DARK)}}}}}"
    return f":root{{{palette(LIGHT)}}}{dark}{paint_rules()}"


def _element(item: Item) -> str:
    if isinstance(item, Line):
        dash = f' stroke-dasharray="{" ".join(_n(d) for d in item.dash)}"' if item.dash else ""
        cap = "butt" if item.dash else "round"
        return (
            f'<polyline points="{_points(item.points)}" {_paint("none", item.stroke, item.width)}'
            f' stroke-linejoin="round" stroke-linecap="{cap}"{dash}/>'
        )
    paint = _paint(item.fill, item.stroke, item.width) if not isinstance(item, Words) else ""
    if isinstance(item, Shape):
        return f'<polygon points="{_points(item.points)}" {paint} stroke-linejoin="round"/>'
    if isinstance(item, Box):
        place = f'x="{_n(item.x)}" y="{_n(item.y)}" width="{_n(item.w)}" height="{_n(item.h)}"'
        return f'<rect {place} rx="{_n(item.radius)}" {paint}/>'
    if isinstance(item, Dot):
        title = f"<title>{_escaped(item.title)}</title>" if item.title else ""
        return f'<circle cx="{_n(item.x)}" cy="{_n(item.y)}" r="{_n(item.r)}" {paint}>{title}</circle>'
    anchor = f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
    classes = f'class="f-{item.fill}{" b" if item.bold else ""}"'
    return (
        f'<text x="{_n(item.x)}" y="{_n(item.y)}" font-size="{_n(item.size)}" {classes}{anchor}>'
        f"{_escaped(item.text)}</text>"
    )


def visible(text: str) -> str:
    """Text with every control and direction-changing character made visible."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c == HARD_SPACE else _spelled(c) for c in text)


def _spelled(letter: str) -> str:
    return letter.encode("unicode_escape", "surrogatepass").decode("ascii")


def _escaped(text: str) -> str:
    return escape(visible(text))


def _paint(fill: str, stroke: str, width: float) -> str:
    """Attributes that fill and stroke: palette names as classes, literal colours as they are."""
    classes = [f"{k}-{c}" for k, c in (("f", fill), ("s", stroke)) if c != "none" and not c.startswith("#")]
    parts = [f'class="{" ".join(classes)}"'] if classes else []
    parts += [f'fill="{fill}"'] if fill == "none" or fill.startswith("#") else []
    parts += [f'stroke="{stroke}"'] if stroke.startswith("#") else []
    parts += [f'stroke-width="{_n(width)}"'] if stroke != "none" else []
    return " ".join(parts)


def _points(points: Sequence[XY]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def save_png(drawing: Drawing, path: Path, *, dark: bool = False, scale: float = 2.0) -> None:
    """The drawing as a PNG of `scale` times its size in pixels."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    colours = DARK if dark else LIGHT
    figure = Figure(figsize=(drawing.width / 100, drawing.height / 100), dpi=100 * scale)
    FigureCanvasAgg(figure)
    figure.patch.set_facecolor(colours["paper"])
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, drawing.width)
    axes.set_ylim(drawing.height, 0)
    axes.axis("off")
    for order, item in enumerate(drawing.items):
        _patch(axes, item, colours, order + 1)
    figure.savefig(path, metadata={"Software": None})


def _patch(axes: object, item: Item, colours: dict[str, str], order: int) -> None:
    from matplotlib import patches
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D

    assert isinstance(axes, Axes)

    def colour(name: str) -> str:
        return colours.get(name, name)

    points = 72 / 100  # a CSS pixel in typographic points on this figure
    if isinstance(item, Words):
        align = {"start": "left", "middle": "center", "end": "right"}[item.anchor]
        weight = "bold" if item.bold else "normal"
        axes.text(
            item.x, item.y, visible(item.text), fontsize=item.size * points, color=colour(item.fill),
            ha=align, va="baseline", weight=weight, zorder=order, parse_math=False,
        )  # fmt: skip
        return
    if isinstance(item, Line):
        xs, ys = zip(*item.points, strict=True)
        line = Line2D(xs, ys, color=colour(item.stroke), linewidth=item.width * points, zorder=order)
        line.set_solid_capstyle("round")
        line.set_solid_joinstyle("round")
        if item.dash:
            line.set_linestyle((0, tuple(max(d / item.width, 0.1) for d in item.dash)))
        axes.add_artist(line)
        return
    if isinstance(item, Shape):
        patch: patches.Patch = patches.Polygon(item.points, closed=True)
    elif isinstance(item, Box):
        style = f"round,pad=0,rounding_size={item.radius}"
        patch = patches.FancyBboxPatch((item.x, item.y), item.w, item.h, boxstyle=style)
    else:
        patch = patches.Circle((item.x, item.y), item.r)
    patch.set(fc=colour(item.fill), ec=colour(item.stroke), lw=item.width * points, zorder=order)
    axes.add_artist(patch)  # add_patch would measure every outline for limits that are set already
