"""Lines of a drawing: bows, places along them, and what they meet. Pixels throughout."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from loomtest.evidence.pictures.drawing import XY, Box, Dot, Item, Words
from loomtest.harness.model import FloatArray, Harness


def curve_of(a: XY, b: XY, bow: bool) -> tuple[XY, ...]:
    """A branch: straight, or, where it closes a ring, a bow beside what lies between its ends."""
    if not bow:
        return a, b
    (dx, dy), steps = (b[0] - a[0], b[1] - a[1]), 16
    far = max(math.hypot(dx, dy), 1e-9)
    rise = min(0.25 * far, 110.0) * (1 if dx >= 0 else -1)  # downward on the sheet
    return tuple(
        (
            a[0] + dx * s / steps - dy / far * rise * math.sin(math.pi * s / steps),
            a[1] + dy * s / steps + dx / far * rise * math.sin(math.pi * s / steps),
        )
        for s in range(steps + 1)
    )


def is_near(box: tuple[float, float, float, float], x: float, y: float, end: XY) -> bool:
    """True where a box around (x, y) would come close to the end of a line."""
    left, top, right, bottom = box
    return (
        left < max(x, end[0]) and min(x, end[0]) < right and top < max(y, end[1]) and min(y, end[1]) < bottom
    )


def half_of(width: float, height: float, cos: float, sin: float) -> float:
    """From a box's middle to its border in a direction."""
    return min(
        width / 2 / abs(cos) if abs(cos) > 1e-9 else math.inf,
        height / 2 / abs(sin) if abs(sin) > 1e-9 else math.inf,
    )


def meets(lines: FloatArray, left: float, top: float, right: float, bottom: float) -> bool:
    """Whether any line enters the box (Liang and Barsky's clipping, all lines at once)."""
    low, high = np.zeros(len(lines)), np.ones(len(lines))
    inside = np.ones(len(lines), dtype=np.bool_)
    for begin, end, least, most in (
        (lines[:, 0], lines[:, 2], left, right),
        (lines[:, 1], lines[:, 3], top, bottom),
    ):
        step = end - begin
        flat = np.abs(step) < 1e-9
        inside &= ~flat | ((begin > least) & (begin < most))
        safe = np.where(flat, 1.0, step)
        a, b = (least - begin) / safe, (most - begin) / safe
        low = np.where(flat, low, np.maximum(low, np.minimum(a, b)))
        high = np.where(flat, high, np.minimum(high, np.maximum(a, b)))
    return bool((inside & (low < high)).any())


def place_at(harness: Harness, curves: Sequence[Sequence[XY]], wire: str, along_m: float) -> XY | None:
    """Where a wire is `along_m` metres from its start, on `curves` of branches; beyond its ends, the end.

    None for a wire whose way is not known.
    """
    index = next((i for i, one in enumerate(harness.wires) if one.name == wire), -1)
    way = harness.ways[index] if index >= 0 else None
    if harness.lie is None or way is None or not way.branches:
        return None
    left = max(along_m, 0.0)
    for branch, start in zip(way.branches, way.nodes, strict=False):
        length = harness.lie.drawn_m[branch]
        curve = list(curves[branch])
        if harness.lie.branches[branch].start != start:
            curve.reverse()
        if left <= length:
            return at_share(curve, left / length if length else 0.0)
        left -= length
    return curve[-1]


def at_share(curve: Sequence[XY], share: float) -> XY:
    """The point at a share of the curve's drawn length."""
    steps = [math.dist(a, b) for a, b in pairwise(curve)]
    left = share * sum(steps)
    for (a, b), step in zip(pairwise(curve), steps, strict=True):
        if left <= step and step:
            return a[0] + (b[0] - a[0]) * left / step, a[1] + (b[1] - a[1]) * left / step
        left -= step
    return curve[-1]


def moved(item: Item, dx: float, dy: float) -> Item:
    """The item, so much to the right and further down."""
    if isinstance(item, Box | Dot | Words):
        return replace(item, x=item.x + dx, y=item.y + dy)
    return replace(item, points=tuple((x + dx, y + dy) for x, y in item.points))


@dataclass(frozen=True, slots=True)
class PlaceMark:
    """A place along a wire to be marked, metres from the wire's start (`from`), and what is written there."""

    wire: str
    along_m: float
    words: str
    tone: str = "bad"
