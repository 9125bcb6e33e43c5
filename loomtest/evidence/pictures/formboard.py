"""Where the nodes of a loom lie on a flat board, lengths to scale: straight, no branch across another.

Where every node has coordinates, the board is the plane in which they spread most (principal axes). Else the
loom is laid out as a tree; a branch that closes a ring is drawn between its two ends, whatever its length.

The tree is taken apart into chains, each the longest way on from where it begins (a heavy-path decomposition
by length; Sleator and Tarjan, J. Comput. Syst. Sci. 26, 1983, 362-391). Each chain is one straight line, the
longest first, at the angle nearest to square that keeps clear of those that lie already. Where one finds no
free angle, the whole is laid out by the equal-angle algorithm instead (C. A. Meacham; in J. Felsenstein,
Inferring Phylogenies, 2004, ch. 34): each subtree has a wedge of its own, and wedges do not meet.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.harness.forest import join
from loomtest.harness.lie import Lie
from loomtest.harness.model import FloatArray

MOST_CHAINS = 400  # looms with more ends are laid out in wedges at once
GAP = 0.035  # what branches keep between them, as a share of the loom's length
_SQUARE = (90, 60, 120, 45, 75, 105, 135, 30, 150, 20, 160, 10)  # degrees, in the order tried
XYs = dict[str, tuple[float, float]]


@dataclass(frozen=True)
class FormBoard:
    """Where each node lies, metres, y down. `flattened`: from coordinates; `closing`: what closes rings.

    `untrue`: how many branches have no length of their own and are drawn with a usual one.
    """

    at_m: Mapping[str, tuple[float, float]]
    flattened: bool
    closing: frozenset[int]
    untrue: int


def form_board(lie: Lie) -> FormBoard:
    """The loom on the board."""
    untrue = sum(branch.length_m is None for branch in lie.branches)
    if all(name in lie.at_m for name in lie.nodes):
        return FormBoard(_flattened(lie), True, frozenset(), untrue)
    tree, closing = _tree(lie)
    at_m: XYs = {}
    below = 0.0
    seen: set[str] = set()
    for name in lie.nodes:
        if name in seen:
            continue
        piece = _laid(tree, name)
        seen.update(piece)
        ys = [y for _, y in piece.values()]
        room = 0.15 * max(max(x for x, _ in piece.values()) - min(x for x, _ in piece.values()), 0.2)
        left = min(x for x, _ in piece.values())
        for node, (x, y) in piece.items():
            at_m[node] = (x - left, y - min(ys) + below)
        below += max(ys) - min(ys) + room
    return FormBoard(at_m, False, frozenset(closing), untrue)


def _flattened(lie: Lie) -> XYs:
    names = list(lie.nodes)
    places = np.array([lie.at_m[name] for name in names])
    middle = places - places.mean(axis=0)
    _, _, axes = np.linalg.svd(middle, full_matrices=False)
    flat = np.zeros((len(names), 2))
    for column, axis in enumerate(axes[:2]):
        sign = 1.0 if axis[int(np.argmax(np.abs(axis)))] > 0 else -1.0  # the same way round every time
        flat[:, column] = middle @ axis * sign
    flat[:, 1] *= -1.0
    return {name: (float(x), float(y)) for name, (x, y) in zip(names, flat, strict=True)}


Tree = dict[str, list[tuple[str, float]]]


def _tree(lie: Lie) -> tuple[Tree, set[int]]:
    """The shortest branches that join all nodes, and the branches left over."""
    near: Tree = {name: [] for name in lie.nodes}
    parent = list(range(len(lie.nodes)))
    closing: set[int] = set()
    for index in sorted(range(len(lie.branches)), key=lambda i: (lie.drawn_m[i], i)):
        branch, length = lie.branches[index], lie.drawn_m[index]
        if join(parent, lie.nodes[branch.start], lie.nodes[branch.end]):
            near[branch.start].append((branch.end, length))
            near[branch.end].append((branch.start, length))
        else:
            closing.add(index)
    return near, closing


def _farthest(tree: Tree, start: str) -> tuple[str, list[str], dict[str, str]]:
    """The node farthest from `start`, all nodes of its piece from it outward, and each one's parent."""
    distance, parent, order, waiting = {start: 0.0}, {start: ""}, [], [start]
    while waiting:
        here = waiting.pop()
        order.append(here)
        for other, length in tree[here]:
            if other not in distance:
                distance[other], parent[other] = distance[here] + length, here
                waiting.append(other)
    return max(order, key=lambda name: distance[name]), order, parent


def _laid(tree: Tree, start: str) -> XYs:
    """The piece of the tree that `start` belongs to."""
    root = _farthest(tree, start)[0]
    _, order, parent = _farthest(tree, root)
    reach = dict.fromkeys(order, 0.0)
    onward: dict[str, str] = {}
    for name in reversed(order):
        for other, length in tree[name]:
            if other != parent[name] and (name not in onward or reach[other] + length > reach[name]):
                reach[name], onward[name] = reach[other] + length, other
    leaves = sum(len(tree[name]) == 1 for name in order)
    laid = _chains(tree, root, parent, reach, onward) if leaves <= MOST_CHAINS else None
    return laid if laid is not None else _wedges(tree, order, parent)


def _chains(
    tree: Tree, root: str, parent: Mapping[str, str], reach: Mapping[str, float], onward: Mapping[str, str]
) -> XYs | None:
    """Chain after chain as straight lines; None where one finds no place."""
    at: XYs = {root: (0.0, 0.0)}
    heading: dict[str, float] = {}
    gap = GAP * max(reach[root], 1e-6)
    lines = np.empty((0, 4))
    number = 0
    waiting: list[tuple[float, int, str, str, float]] = []
    if root in onward:
        first = onward[root]
        length = dict(tree[root])[first]
        heapq.heappush(waiting, (-(reach[first] + length), 0, root, first, length))
    while waiting:
        _, _, base, name, length = heapq.heappop(waiting)
        whole = reach[name] + length
        tried = [0.0] if base == root else _angles(heading[base], number)
        angle = _free(at[base], whole, tried, lines, gap)
        if angle is None:
            return None
        (x, y), run = at[base], 0.0
        cos, sin = math.cos(angle), math.sin(angle)
        lines = np.vstack([lines, [x, y, x + whole * cos, y + whole * sin]])
        here = base
        while name:
            run += dict(tree[here])[name]
            at[name], heading[name] = (x + run * cos, y + run * sin), angle
            for other, more in tree[name]:
                if other not in (here, onward.get(name)) and other != parent[name]:
                    number += 1
                    heapq.heappush(waiting, (-(reach[other] + more), number, name, other, more))
            here, name = name, onward.get(name, "")
    return at


def _angles(heading: float, number: int) -> list[float]:
    first = 1 if number % 2 else -1
    return [heading + math.radians(sign * degrees) for degrees in _SQUARE for sign in (first, -first)]


def _free(
    start: tuple[float, float], length: float, tried: Sequence[float], lines: FloatArray, gap: float
) -> float | None:
    """The first angle that keeps `gap` to all lines, else the one that keeps most; None where all cross."""
    best: tuple[float, float] | None = None
    for angle in tried:
        space = _space(start, length, angle, lines, gap)
        if space >= gap:
            return angle
        if space > 1e-3 * gap and (best is None or space > best[0]):
            best = (space, angle)
    return best[1] if best is not None else None


def _space(start: tuple[float, float], length: float, angle: float, lines: FloatArray, gap: float) -> float:
    """The least distance between a new line and those that lie; its first bit, where it leaves, is free."""
    if not len(lines):
        return math.inf
    way = np.array([math.cos(angle), math.sin(angle)])
    origin = np.array(start)
    free = min(1.1 * gap, 0.5 * length)
    points = origin + np.linspace(free, length, 24)[:, None] * way
    a, b = lines[:, :2], lines[:, 2:]
    along = b - a
    square = np.maximum((along**2).sum(axis=1), 1e-18)
    share = np.clip(((points[:, None, :] - a) * along).sum(axis=2) / square, 0.0, 1.0)
    distance = np.sqrt((((a + share[..., None] * along) - points[:, None, :]) ** 2).sum(axis=2)).min()
    begin, end = points[0], points[-1]
    ends = np.concatenate([_beside(a, begin, end), _beside(b, begin, end)])
    if len(ends):
        distance = min(distance, ends.min())
    begin = origin + 1e-4 * min(gap, length) * way  # beyond the line that it leaves
    crosses = (_turn(begin, end, a) * _turn(begin, end, b) < 0) & (
        _turn2(a, b, begin) * _turn2(a, b, end) < 0
    )
    return 0.0 if crosses.any() else float(distance)


def _beside(points: FloatArray, begin: FloatArray, end: FloatArray) -> FloatArray:
    along = end - begin
    share = np.clip((points - begin) @ along / max(float(along @ along), 1e-18), 0.0, 1.0)
    return np.asarray(np.sqrt(((begin + share[:, None] * along - points) ** 2).sum(axis=1)))


def _turn(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Positive where the points c lie to one side of the line from a to b, negative on the other."""
    return np.asarray((b[0] - a[0]) * (c[:, 1] - a[1]) - (b[1] - a[1]) * (c[:, 0] - a[0]))


def _turn2(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    return np.asarray((b[:, 0] - a[:, 0]) * (c[1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[0] - a[:, 0]))


def _wedges(tree: Tree, order: Sequence[str], parent: Mapping[str, str]) -> XYs:
    """Every subtree in its own wedge, as wide as it has ends; branches go straight on where it lets them."""
    ends = dict.fromkeys(order, 0)
    for name in reversed(order):
        ends[name] = ends[name] or 1
        if parent[name]:
            ends[parent[name]] += ends[name]
    root = order[0]
    at: XYs = {root: (0.0, 0.0)}
    wedge = {root: (-math.pi / 2, math.pi / 2, 0.0)}  # low, high, heading
    for name in order:
        low, high, heading = wedge[name]
        below = [(other, length) for other, length in tree[name] if other != parent[name]]
        below.sort(key=lambda pair: ends[pair[0]])
        below = below[::2] + below[1::2][::-1]  # the one with most ends in the middle, straight on
        total = sum(ends[other] for other, _ in below)
        for other, length in below:
            width = (high - low) * ends[other] / total
            total -= ends[other]
            inset = 0.2 * width
            angle = min(max(heading, low + inset), low + width - inset)
            x, y = at[name]
            at[other] = (x + length * math.cos(angle), y + length * math.sin(angle))
            wedge[other] = (low, low + width, angle)
            low += width
    return at
