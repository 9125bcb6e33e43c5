"""Draws a schematic from its text source: python draw_schematic.py schematic.txt schematic.svg

One thing a line, coordinates in grid steps (x to the right, y down), `#` begins a comment:

    size 120,80                     the sheet
    text 4,3 big|plain|small WORDS
    frame 2,5 40,30 TITLE           a dashed box: corner, and width,height
    wire 2,3 5,3 5,7                a line through points
    dot 5,3                         wires that meet
    res 5,3 9,3 NAME VALUE          a resistor between two points on one line
    dio 5,3 9,3 NAME VALUE          a diode, anode first
    pfet 20,10 NAME                 source above, drain below (two steps), gate two steps to the left
    nfet 20,10 NAME                 drain above, source below, gate two steps to the left
    amp 20,10 NAME                  a buffer: input at the point, output four steps to the right
    term 3,3 WORDS                  a terminal, its words on the left; termr: on the right
    gnd 3,3                         ground
    supply 3,3 WORDS                a supply rail
    block 4,4 10,12 TITLE | left pins | right pins   pins by comma, two steps apart from the third step down
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from html import escape
from pathlib import Path

STEP = 10
Point = tuple[float, float]


class Sheet:
    """Collects the shapes of one drawing."""

    def __init__(self) -> None:
        self.size: Point = (100.0, 100.0)
        self.shapes: list[str] = []

    def line(self, *points: Point, kind: str = "wire") -> None:
        path = " ".join(f"{x * STEP:g},{y * STEP:g}" for x, y in points)
        self.shapes.append(f'<polyline class="{kind}" points="{path}"/>')

    def words(self, at: Point, text: str, kind: str = "plain", anchor: str = "start") -> None:
        x, y = at
        place = f'x="{x * STEP:g}" y="{y * STEP:g}"'
        self.shapes.append(f'<text class="{kind}" text-anchor="{anchor}" {place}>{escape(text)}</text>')

    def box(self, at: Point, size: Point, kind: str = "part") -> None:
        place = f'x="{at[0] * STEP:g}" y="{at[1] * STEP:g}"'
        extent = f'width="{size[0] * STEP:g}" height="{size[1] * STEP:g}"'
        self.shapes.append(f'<rect class="{kind}" {place} {extent}/>')

    def circle(self, at: Point, radius: float, kind: str) -> None:
        place = f'cx="{at[0] * STEP:g}" cy="{at[1] * STEP:g}"'
        self.shapes.append(f'<circle class="{kind}" {place} r="{radius * STEP:g}"/>')

    def svg(self, title: str) -> str:
        width, height = (int(n * STEP) for n in self.size)
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img">\n'
            f"<title>{escape(title)}</title>\n<style>\n"
            "text{font-family:Helvetica,Arial,sans-serif;fill:#1c2733;font-size:10px}"
            ".big{font-size:18px;font-weight:bold}.name{font-weight:bold}.small{font-size:8.5px;fill:#44525f}\n"
            ".wire,.part,.thin{fill:none;stroke:#1c2733;stroke-width:1.3;stroke-linejoin:round}"
            ".part{fill:#f4f1e8}.thin{stroke-width:1}.solid{fill:#1c2733}\n"
            ".frame{fill:none;stroke:#8a96a1;stroke-width:1;stroke-dasharray:5 4}.sheet{fill:#ffffff}\n"
            "</style>\n"
            f'<rect class="sheet" width="{width}" height="{height}"/>\n'
        )
        return head + "\n".join(self.shapes) + "\n</svg>\n"


def point(text: str) -> Point:
    x, _, y = text.partition(",")
    return float(x), float(y)


def between(sheet: Sheet, a: Point, b: Point, half: float) -> tuple[Point, Point, bool]:
    """Wires from both points up to a part `2 * half` long; the part's ends, whether it stands."""
    upright = a[0] == b[0]
    if not upright and a[1] != b[1]:
        raise ValueError(f"{a} and {b} are not on one line")
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    sign = 1.0 if (b[1] > a[1] if upright else b[0] > a[0]) else -1.0
    along = (0.0, half * sign) if upright else (half * sign, 0.0)
    start = (middle[0] - along[0], middle[1] - along[1])
    end = (middle[0] + along[0], middle[1] + along[1])
    sheet.line(a, start)
    sheet.line(end, b)
    return start, end, upright


def label(sheet: Sheet, start: Point, end: Point, upright: bool, name: str, value: str) -> None:
    x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    if upright:
        sheet.words((x + 0.9, y - 0.1), name, "name")
        sheet.words((x + 0.9, y + 0.95), value, "small")
    else:
        sheet.words((x, y - 0.75), name, "name", "middle")
        sheet.words((x, y + 1.5), value, "small", "middle")


def res(sheet: Sheet, words: list[str]) -> None:
    start, end, upright = between(sheet, point(words[0]), point(words[1]), 1.0)
    left, top = min(start[0], end[0]), min(start[1], end[1])
    sheet.box((left - 0.4, top) if upright else (left, top - 0.4), (0.8, 2.0) if upright else (2.0, 0.8))
    label(sheet, start, end, upright, words[2], " ".join(words[3:]))


def dio(sheet: Sheet, words: list[str]) -> None:
    start, end, upright = between(sheet, point(words[0]), point(words[1]), 0.6)
    across = (0.6, 0.0) if upright else (0.0, 0.6)
    wings = [(p[0] + s * across[0], p[1] + s * across[1]) for p in (start, end) for s in (-1, 1)]
    sheet.line(wings[0], wings[1], end, wings[0], kind="part")
    sheet.line(wings[2], wings[3])
    label(sheet, start, end, upright, words[2], " ".join(words[3:]))


def fet(sheet: Sheet, words: list[str], channel: str) -> None:
    x, y = point(words[0])
    gate, bar = x - 1.0, x - 0.65
    sheet.line((x - 2, y), (gate - (0.35 if channel == "p" else 0.0), y))
    if channel == "p":
        sheet.circle((gate - 0.17, y), 0.17, "part")
    sheet.line((gate, y - 0.8), (gate, y + 0.8))
    for offset in (-0.8, 0.0, 0.8):
        sheet.line((bar, y + offset - 0.25), (bar, y + offset + 0.25))
    sheet.line((bar, y - 0.8), (x, y - 0.8), (x, y - 2))
    sheet.line((bar, y + 0.8), (x, y + 0.8), (x, y + 2))
    sheet.line((bar, y), (x, y), (x, y - 0.8 if channel == "p" else y + 0.8), kind="thin")
    tip, tail = (x - 0.1, bar + 0.1) if channel == "p" else (bar + 0.05, x - 0.1)
    mid = (tip + tail) / 2
    sheet.line((mid, y - 0.22), (tip, y), (mid, y + 0.22), kind="thin")
    sheet.words((x + 0.4, y + 0.3), " ".join(words[1:]), "name")


def amp(sheet: Sheet, words: list[str]) -> None:
    x, y = point(words[0])
    sheet.line((x, y), (x + 0.8, y))
    sheet.line((x + 0.8, y - 1.2), (x + 3.2, y), (x + 0.8, y + 1.2), (x + 0.8, y - 1.2), kind="part")
    sheet.line((x + 3.2, y), (x + 4, y))
    sheet.words((x + 1.9, y - 1.5), " ".join(words[1:]), "name", "middle")


def term(sheet: Sheet, words: list[str], right: bool) -> None:
    x, y = point(words[0])
    sheet.circle((x, y), 0.35, "part")
    place = (x + 0.7, y + 0.35) if right else (x - 0.7, y + 0.35)
    sheet.words(place, " ".join(words[1:]), "name", "start" if right else "end")


def gnd(sheet: Sheet, words: list[str]) -> None:
    x, y = point(words[0])
    for drop, half in ((0.0, 0.8), (0.3, 0.5), (0.6, 0.2)):
        sheet.line((x - half, y + drop), (x + half, y + drop))


def supply(sheet: Sheet, words: list[str]) -> None:
    x, y = point(words[0])
    sheet.line((x - 0.8, y), (x + 0.8, y))
    sheet.words((x, y - 0.4), " ".join(words[1:]), "name", "middle")


def block(sheet: Sheet, words: list[str]) -> None:
    at, size = point(words[0]), point(words[1])
    title, left, right = (part.strip() for part in " ".join(words[2:]).split("|"))
    sheet.box(at, size)
    sheet.words((at[0] + size[0] / 2, at[1] + 1.4), title, "name", "middle")
    for names, x, way in ((left, at[0], -1), (right, at[0] + size[0], 1)):
        for n, name in enumerate(part.strip() for part in names.split(",")):
            if name:
                y = at[1] + 3 + 2 * n
                sheet.line((x, y), (x + way, y))
                sheet.words((x - 0.4 * way, y + 0.35), name, "small", "start" if way < 0 else "end")


def frame(sheet: Sheet, words: list[str]) -> None:
    at = point(words[0])
    sheet.box(at, point(words[1]), "frame")
    sheet.words((at[0] + 0.8, at[1] + 1.5), " ".join(words[2:]), "name")


SHAPES: dict[str, Callable[[Sheet, list[str]], None]] = {
    "wire": lambda sheet, words: sheet.line(*map(point, words)),
    "dot": lambda sheet, words: sheet.circle(point(words[0]), 0.22, "solid"),
    "text": lambda sheet, words: sheet.words(point(words[0]), " ".join(words[2:]), words[1]),
    "pfet": lambda sheet, words: fet(sheet, words, "p"),
    "nfet": lambda sheet, words: fet(sheet, words, "n"),
    "term": lambda sheet, words: term(sheet, words, right=False),
    "termr": lambda sheet, words: term(sheet, words, right=True),
    "res": res,
    "dio": dio,
    "amp": amp,
    "gnd": gnd,
    "supply": supply,
    "block": block,
    "frame": frame,
}


def draw(source: str) -> str:
    """The SVG of a text source. Raises ValueError that names the line."""
    sheet, title = Sheet(), "Schematic"
    for number, line in enumerate(source.splitlines(), 1):
        words = line.split("#")[0].split()
        if not words:
            continue
        try:
            if words[0] == "size":
                sheet.size = point(words[1])
            elif words[0] == "title":
                title = " ".join(words[1:])
            else:
                SHAPES[words[0]](sheet, words[1:])
        except (KeyError, ValueError, IndexError) as error:
            raise ValueError(f"line {number}: {line.strip()!r} is not understood ({error})") from error
    return sheet.svg(title)


if __name__ == "__main__":
    Path(sys.argv[2]).write_text(draw(Path(sys.argv[1]).read_text("utf-8")), "utf-8", newline="\n")
