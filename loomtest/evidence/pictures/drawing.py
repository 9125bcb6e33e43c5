"""A drawing as a list of simple shapes, written as themed SVG (`png.py` paints the same as PNG).

Lengths are CSS pixels, y down. Colours are names of the palette in `look`, or a literal `#rrggbb`, so that
one SVG shows well on light and on dark grounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from html import escape

from loomtest.evidence.pictures.look import DARK, LIGHT
from loomtest.harness.outward import HARD_SPACE
from loomtest.harness.outward import visible as written_out

FONT = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
XY = tuple[float, float]
WIDE = 800.0  # wider drawings are not squeezed into a page: they scroll


@dataclass(frozen=True, slots=True)
class Polyline:
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
    """A rectangle with rounded corners; `dash` of its outline in pixels, () for solid."""

    x: float
    y: float
    w: float
    h: float
    radius: float
    fill: str
    stroke: str = "none"
    width: float = 0.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Dot:
    """A circle; `title` is what a pointer finds there, `wires` the names of the wires that end there."""

    x: float
    y: float
    r: float
    fill: str
    stroke: str = "none"
    width: float = 0.0
    title: str = ""
    wires: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Way:
    """Where a wire runs: seen in a page only, when its script shows it; `told` says what wire it is."""

    points: tuple[XY, ...]
    wire: str
    told: str


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


Item = Polyline | Shape | Box | Dot | Way | Words


@dataclass
class Drawing:
    """Shapes in painting order, within `width` by `height`; `title` and `text` describe it in words.

    `top`: the y at which the drawing begins. `cuts`: where it may be cut across, so that a page can break.
    """

    width: float
    height: float
    title: str
    text: str
    items: list[Item] = field(default_factory=list)
    top: float = 0.0
    cuts: tuple[float, ...] = ()


def with_caption(drawing: Drawing, caption: str) -> Drawing:
    """The drawing with a line of words below it, in its text for those who hear it too."""
    words = Words(drawing.width / 2, drawing.top + drawing.height + 20, caption, 14, "ink", "middle", True)
    return replace(
        drawing,
        height=drawing.height + 32,
        text=f"{caption} {drawing.text}",
        items=[*drawing.items, words],
    )


def bands(drawing: Drawing) -> list[Drawing]:
    """The drawing cut across at its `cuts`; each item goes where its upper end lies."""
    edges = [drawing.top, *drawing.cuts, drawing.top + drawing.height]
    parts: list[list[Item]] = [[] for _ in edges[1:]]
    for item in drawing.items:
        at = item.y if isinstance(item, Box | Dot | Words) else min(y for _, y in item.points)
        parts[sum(at >= edge for edge in drawing.cuts)].append(item)
    return [
        replace(
            drawing, height=below - above, top=above, cuts=(), items=items,
            title=drawing.title if not number else f"{drawing.title}, row {number + 1}",
            text=drawing.text if not number else "told with row 1",
        )
        for number, (above, below, items) in enumerate(zip(edges, edges[1:], parts, strict=False))
    ]  # fmt: skip


def to_svg(drawing: Drawing, *, alone: bool, ident: str = "drawing", sized: bool = False) -> str:
    """The drawing as an SVG element.

    `alone`: with its own palette, for a file; else it takes the palette (`--ink` ...) of the page around it.
    `sized`: at its natural size where a letter is 16 pixels high; else as wide as the page lets it be.
    """
    w, h = _n(drawing.width), _n(drawing.height)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 {_n(drawing.top)} {w} {h}" role="img" '
        f'aria-labelledby="{ident}-t {ident}-d" class="drawing{" wide" if drawing.width > WIDE else ""}"'
        + (f' width="{w}" height="{h}">' if alone else f"{_ems(drawing)}>" if sized else ">")
        + f'<title id="{ident}-t">{_escaped(drawing.title)}</title>'
        + f'<desc id="{ident}-d">{_escaped(drawing.text)}</desc>'
    )
    if alone:
        head += (
            f"<style>{_palette_css()}</style>"
            + f'<rect width="{w}" height="{h}" {_paint("paper", "none", 0)}/>'
        )
    items = [item for item in drawing.items if not (alone and isinstance(item, Way))]
    return head + "".join(_element(item) for item in items) + "</svg>\n"


def _ems(drawing: Drawing) -> str:
    return f' width="{drawing.width / 16:.3f}em" height="{drawing.height / 16:.3f}em"'


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
    if isinstance(item, Polyline):
        cap = "butt" if item.dash else "round"
        return (
            f'<polyline points="{_points(item.points)}" {_paint("none", item.stroke, item.width)}'
            f' stroke-linejoin="round" stroke-linecap="{cap}"{_dashed(item.dash)}/>'
        )
    if isinstance(item, Way):
        told = f' data-told="{_escaped(item.told)}"' if item.told else ""
        return (
            f'<polyline class="way" points="{_points(item.points)}" data-wire="{_escaped(item.wire)}"{told}/>'
        )
    paint = _paint(item.fill, item.stroke, item.width) if not isinstance(item, Words) else ""
    if isinstance(item, Shape):
        return f'<polygon points="{_points(item.points)}" {paint} stroke-linejoin="round"/>'
    if isinstance(item, Box):
        place = f'x="{_n(item.x)}" y="{_n(item.y)}" width="{_n(item.w)}" height="{_n(item.h)}"'
        return f'<rect {place} rx="{_n(item.radius)}" {paint}{_dashed(item.dash)}/>'
    if isinstance(item, Dot):
        title = f"<title>{_escaped(item.title)}</title>" if item.title else ""
        wires = f' data-wires="{_escaped(chr(10).join(item.wires))}"' if item.wires else ""
        return f'<circle cx="{_n(item.x)}" cy="{_n(item.y)}" r="{_n(item.r)}" {paint}{wires}>{title}</circle>'
    anchor = f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
    classes = f'class="f-{item.fill}{" b" if item.bold else ""}"'
    return (
        f'<text x="{_n(item.x)}" y="{_n(item.y)}" font-size="{_n(item.size)}" {classes}{anchor}>'
        f"{_escaped(item.text)}</text>"
    )


def _dashed(dash: tuple[float, ...]) -> str:
    return f' stroke-dasharray="{" ".join(_n(d) for d in dash)}"' if dash else ""


def visible(text: str) -> str:
    """Text with every control and direction-changing character made visible; a hard space stays."""
    return written_out(text, HARD_SPACE)


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
