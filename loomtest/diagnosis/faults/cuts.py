"""Fewest opens and shorts that make one placement of the terminals agree with what was seen.

Opens: every pair seen apart must lose every path between its points. The smallest set of wires that hits all
those paths is found by an implicit hitting set: solve for the paths known so far, look for a path that is
still whole, add it, repeat (the idea of constraint generation; exact on any graph, loops included).
Shorts: pairs seen joined are then merged in the order of their ohms (Kruskal), because a direct bridge reads
less than the same bridge seen through a part.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from loomtest.diagnosis.faults.scene import PartPaths, Placement, Scene
from loomtest.harness.forest import components, join, root

UNEXPLAINED = 100  # cost of a reading that stays unexplained, far above any fault
_BRANCHES = 4000


@dataclass(frozen=True)
class Repair:
    """`opens`: edges; `shorts`: (a, b, ohm) local points; `unexplained`: readings left over.

    `paths`: the paths that the opens hit; `cleared`: edges that a conducting reading needs whole.
    """

    opens: tuple[int, ...]
    shorts: tuple[tuple[int, int, float], ...]
    unexplained: int
    paths: tuple[frozenset[int], ...]
    cleared: frozenset[int]

    @property
    def cost(self) -> int:
        """Number of faults, each unexplained reading counting as many."""
        return len(self.opens) + len(self.shorts) + UNEXPLAINED * self.unexplained


def repair(scene: Scene, placed: Placement) -> Repair:
    """The cheapest opens and shorts for this placement."""
    whole = components(scene.size, (placed[e] for e in scene.conductors))
    parts = scene.parts_between(whole, placed, frozenset())
    cleared = cleared_edges(scene, placed, whole, parts)
    paths: list[frozenset[int]] = []
    opens: frozenset[int] = frozenset()
    while True:
        fresh = [p for p in _whole_paths(scene, placed, opens, cleared) if p not in paths]
        if not fresh:
            break
        paths.extend(fresh)
        opens = smallest_hitting_set(paths, cleared)
    shorts, left = shorts_needed(scene, placed, opens)
    return Repair(tuple(sorted(opens)), shorts, left, tuple(paths), cleared)


def agrees(scene: Scene, placed: Placement, opens: frozenset[int], short_count: int) -> bool:
    """True where these opens, with no more shorts than `short_count`, leave nothing unexplained."""
    if _whole_paths(scene, placed, opens, frozenset(), first_only=True):
        return False
    shorts, left = shorts_needed(scene, placed, opens)
    return not left and len(shorts) <= short_count


def _whole_paths(
    scene: Scene, placed: Placement, opens: frozenset[int], cleared: frozenset[int], first_only: bool = False
) -> list[frozenset[int]]:
    """A path, as the edges of it that may be to blame, for pairs seen apart that are still joined."""
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in opens))
    parts = scene.parts_between(labels, placed, opens)
    out: dict[frozenset[int], None] = {}
    neighbours: list[list[tuple[int, int]]] | None = None
    for a, b, proved, over in scene.told_apart:
        same = labels[a] == labels[b]
        if not same:
            bounds = parts.between(labels[a], labels[b]) if over else None
            if bounds is None or proved <= bounds[1]:
                continue
        if neighbours is None:
            neighbours = _neighbours(scene, placed, opens)
        path = _path(scene, neighbours, a, b, through_parts=not same)
        blamed = frozenset(path) - cleared
        out.setdefault(blamed if blamed else frozenset(path))
        if first_only:
            break
    out.pop(frozenset(), None)
    return list(out)


def _neighbours(scene: Scene, placed: Placement, opens: frozenset[int]) -> list[list[tuple[int, int]]]:
    out: list[list[tuple[int, int]]] = [[] for _ in scene.codes]
    for edge, (a, b) in enumerate(placed):
        if edge not in opens and scene.high_ohm[edge] != float("inf"):
            out[a].append((b, edge))
            out[b].append((a, edge))
    return out


def _path(
    scene: Scene, neighbours: Sequence[Sequence[tuple[int, int]]], a: int, b: int, through_parts: bool
) -> list[int]:
    """Edges of a path with the fewest edges, or [] where there is none."""
    came: dict[int, tuple[int, int]] = {a: (a, -1)}
    queue = deque([a])
    while queue and b not in came:
        node = queue.popleft()
        for other, edge in neighbours[node]:
            if other not in came and (through_parts or not scene.part[edge]):
                came[other] = (node, edge)
                queue.append(other)
    out = []
    node = b if b in came else a
    while node != a:
        node, edge = came[node]
        out.append(edge)
    return out


def smallest_hitting_set(paths: Sequence[frozenset[int]], dear: frozenset[int]) -> frozenset[int]:
    """A cheapest set that meets every path; an edge in `dear` costs two (it needs a bridge as well).

    Branch and bound on the commonest edge, exact up to a bound on branches and greedy past it.
    """
    best: list[frozenset[int]] = [_greedy(paths, dear)]
    budget = [_BRANCHES]

    def price(chosen: frozenset[int]) -> int:
        return len(chosen) + len(chosen & dear)

    def branch(left: list[frozenset[int]], chosen: frozenset[int]) -> None:
        while True:
            single = next((p for p in left if len(p) == 1), None)
            if single is None:
                break
            chosen |= single
            left = [p for p in left if not p & single]
        budget[0] -= 1
        if price(chosen) + _disjoint(left) >= price(best[0]) or budget[0] < 0:
            return
        if not left:
            best[0] = chosen
            return
        edge = _commonest(left, dear)
        branch([p for p in left if edge not in p], chosen | {edge})
        without = [p - {edge} for p in left]
        if all(without):
            branch(without, chosen)

    branch(sorted(set(paths), key=lambda p: (len(p), sorted(p))), frozenset())
    return best[0]


def _commonest(paths: Sequence[frozenset[int]], dear: frozenset[int]) -> int:
    count: dict[int, int] = {}
    for path in paths:
        for edge in path:
            count[edge] = count.get(edge, 0) + 1
    return max(count, key=lambda e: (count[e] / (2 if e in dear else 1), -e))


def _greedy(paths: Sequence[frozenset[int]], dear: frozenset[int]) -> frozenset[int]:
    left, chosen = list(paths), set()
    while left:
        edge = _commonest(left, dear)
        chosen.add(edge)
        left = [p for p in left if edge not in p]
    return frozenset(chosen)


def _disjoint(paths: Sequence[frozenset[int]]) -> int:
    """Lower bound: paths without a common edge need an open each."""
    used: set[int] = set()
    count = 0
    for path in paths:
        if not path & used:
            used |= path
            count += 1
    return count


def shorts_needed(
    scene: Scene, placed: Placement, opens: frozenset[int]
) -> tuple[tuple[tuple[int, int, float], ...], int]:
    """Bridges for what was seen joined and is not, and how many apart readings they then contradict."""
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in opens))
    merged = list(range(scene.size))
    parts = scene.parts_between(labels, placed, opens)
    shorts: list[tuple[int, int, float]] = []

    def bridge(a: int, b: int, ohm: float) -> None:
        nonlocal parts
        join(merged, labels[a], labels[b])
        shorts.append((a, b, ohm))
        parts = scene.parts_between([root(merged, label) for label in labels], placed, opens)

    for a, b, ohm in scene.joined:
        x, y = root(merged, labels[a]), root(merged, labels[b])
        if x == y:
            continue
        bounds = parts.between(x, y)
        if bounds is None or ohm < bounds[0]:
            bridge(a, b, ohm)
    apart = {(min(a, b), max(a, b)) for a, b, *_ in scene.apart}
    for one, other in scene.clipped:
        roots = [(root(merged, labels[a]), root(merged, labels[b])) for a in one for b in other]
        if not any(x == y or parts.between(x, y) for x, y in roots):
            open_pairs = [(a, b) for a in one for b in other if (min(a, b), max(a, b)) not in apart]
            a, b = (open_pairs or [(one[0], other[0])])[0]
            bridge(a, b, float("nan"))
    final = [root(merged, label) for label in labels]
    left = sum(1 for a, b, *_ in scene.told_apart if final[a] == final[b])
    return tuple(shorts), left


def cleared_edges(scene: Scene, placed: Placement, labels: Sequence[int], parts: PartPaths) -> frozenset[int]:
    """Edges that every path of some conducting reading needs: bridges of the graph between its two points."""
    conducting = [(a, b) for a, b, _ in scene.joined]
    for a, b, ohm, over in scene.apart:
        bounds = None if over else parts.between(labels[a], labels[b])
        if bounds is not None and ohm <= bounds[1]:
            conducting.append((a, b))
    everything = [e for e in range(len(placed)) if scene.high_ohm[e] != float("inf")]
    joined_up = components(scene.size, (placed[e] for e in everything))
    groups = components(scene.size, ((a, b) for a, b in conducting if joined_up[a] == joined_up[b]))
    sizes: dict[int, int] = {}
    for group in groups:
        sizes[group] = sizes.get(group, 0) + 1
    return _bridges_within(scene.size, placed, everything, groups, sizes)


def _bridges_within(
    size: int, placed: Placement, edges: Sequence[int], groups: Sequence[int], sizes: dict[int, int]
) -> frozenset[int]:
    """Bridges (Tarjan's low-link) with some but not all points of one group beyond them."""
    neighbours: list[list[tuple[int, int]]] = [[] for _ in range(size)]
    for edge in edges:
        a, b = placed[edge]
        neighbours[a].append((b, edge))
        neighbours[b].append((a, edge))
    order, low, parent_edge = [-1] * size, [0] * size, [-1] * size
    below: list[dict[int, int]] = [{} for _ in range(size)]
    out: set[int] = set()
    clock = 0
    for first in range(size):
        if order[first] >= 0:
            continue
        order[first] = low[first] = clock
        clock += 1
        stack = [(first, iter(neighbours[first]))]
        while stack:
            node, rest = stack[-1]
            for other, edge in rest:
                if edge == parent_edge[node]:
                    continue
                if order[other] >= 0:
                    low[node] = min(low[node], order[other])
                    continue
                order[other] = low[other] = clock
                clock += 1
                parent_edge[other] = edge
                stack.append((other, iter(neighbours[other])))
                break
            else:
                stack.pop()
                count = below[node]
                count[groups[node]] = count.get(groups[node], 0) + 1
                if stack:
                    above = stack[-1][0]
                    if low[node] > order[above] and any(0 < n < sizes[g] for g, n in count.items()):
                        out.add(parent_edge[node])
                    low[above] = min(low[above], low[node])
                    for group, n in count.items():
                        below[above][group] = below[above].get(group, 0) + n
    return frozenset(out)
