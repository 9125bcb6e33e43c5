"""From the explanation of a scene to findings: suspects, likeliest places, alternatives, what to do next."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from loomtest.diagnosis.faults.cuts import agrees
from loomtest.diagnosis.faults.explain import Explanation
from loomtest.diagnosis.faults.moves import Likeliness, MoveFault
from loomtest.diagnosis.faults.scene import Placement, Scene
from loomtest.diagnosis.seen.observe import NO_VALUE_OHM
from loomtest.diagnosis.verdict import Alternative, Finding, Suspect
from loomtest.diagnosis.why import (
    FindBridge,
    LookAtEach,
    MeasureAgain,
    MoveBack,
    ReadApart,
    ReadJoined,
    TellWhich,
    Todo,
    UnclipOneByOne,
    WrongPlaces,
)
from loomtest.harness.forest import components, join
from loomtest.harness.model import Harness, Wire

_MOST_ALTERNATIVES = 6
_ABOUT_AS_WELL = 0.05  # share of the best one's weight under which another way is not listed


@dataclass(frozen=True)
class Explained:
    """One scene with its explanations, cheapest and likeliest first."""

    harness: Harness
    points: tuple[str, ...]
    scene: Scene
    likeliness: Likeliness
    explanations: tuple[Explanation, ...]

    @property
    def best(self) -> Explanation:
        """The cheapest and likeliest."""
        return self.explanations[0]

    def name(self, local: int) -> str:
        """A local point's name."""
        return self.points[self.scene.codes[local]]

    def probability(self, of: Callable[[Explanation], bool]) -> float:
        """Share of the weight of equally cheap explanations for which `of` holds."""
        top = self.explanations[0].log_weight
        weights = [(math.exp(s.log_weight - top), s) for s in self.explanations]
        return sum(w for w, s in weights if of(s)) / sum(w for w, _ in weights)


def findings_of(explained: Explained) -> list[Finding]:
    """Moves first, then opens, then shorts, each one physical fault."""
    placed = explained.best.moves.placement(explained.scene)
    opens = [_open(explained, placed, edge) for edge in explained.best.repair.opens]
    moved = [_moved(explained, fault) for fault in explained.best.move_faults]
    shorts = [_short(explained, placed, short) for short in _by_nearness(explained, placed)]
    return [*moved, *opens, *shorts]


def _moved(explained: Explained, fault: MoveFault) -> Finding:
    others = [f for f in explained.best.move_faults if f != fault]
    ways: list[tuple[MoveFault, float]] = []
    top = explained.best.log_weight
    for explanation in explained.explanations:
        rest = [f for f in explanation.move_faults if f not in others]
        same_repair = len(explanation.repair.opens) == len(explained.best.repair.opens)
        if len(rest) == 1 and len(explanation.move_faults) == len(others) + 1 and same_repair:
            known = next((i for i, (way, _) in enumerate(ways) if way.moves == rest[0].moves), None)
            if known is None and explanation.log_weight > top + math.log(_ABOUT_AS_WELL):
                ways.append((rest[0], math.exp(explanation.log_weight - top)))
    total = sum(weight for _, weight in ways)
    alternatives = [
        Alternative(
            tuple(explained.name(p) for p in way.points),
            {explained.name(a): explained.name(b) for a, b in way.moves},
            weight / total,
        )
        for way, weight in ways[:_MOST_ALTERNATIVES]
    ]
    suspects = _movers(explained, fault)
    kinds = {f.fault for s in explained.explanations for f in s.move_faults}
    probability = explained.probability(
        lambda s: any(f.fault == fault.fault for f in s.move_faults) or kinds == {fault.fault}
    )
    moves = {explained.name(a): explained.name(b) for a, b in fault.moves}
    return Finding(
        "crossed" if fault.fault == "crossed" else "misplaced",
        tuple(explained.name(p) for p in fault.points),
        suspects,
        moves,
        tuple(alternatives),
        min(probability, 0.999),
        why=WrongPlaces(),
        todo=MoveBack(tuple(moves)),
    )


def _movers(explained: Explained, fault: MoveFault) -> tuple[Suspect, ...]:
    """The wires whose ends sit wrong; where two wires would explain it alike, each with its share."""
    harness, scene = explained.harness, explained.scene

    def named(end: tuple[int, int], probability: float | None) -> Suspect:
        edge, side = end
        name = harness.wires[scene.wire[edge]].name
        return Suspect(name, explained.name(scene.home[edge][side]), probability=probability)

    weights: dict[tuple[int, int], float] = {}
    for explanation in explained.explanations:
        for other in explanation.move_faults:
            if other.moves == fault.moves and len(other.ends) == 1:
                gain = math.exp(explanation.log_weight - explained.best.log_weight)
                weights[other.ends[0]] = max(weights.get(other.ends[0], 0.0), gain)
    if len(fault.ends) == 1 and len(weights) > 1:
        total = sum(weights.values())
        ranked = sorted(weights, key=lambda end: (-weights[end], end))
        return tuple(named(end, weights[end] / total) for end in ranked)
    return tuple(named(end, None) for end in {edge: (edge, side) for edge, side in fault.ends}.values())


def suspects_of_open(explained: Explained, placed: Placement, edge: int) -> list[int]:
    """Edges that explain this open as well as `edge` does, the rest of the explanation unchanged."""
    repair = explained.best.repair
    others = frozenset(repair.opens) - {edge}
    own = [path for path in repair.paths if edge in path and not path & others]
    shared = frozenset.intersection(*own) if own else frozenset({edge})
    candidates = [e for e in sorted(shared) if e == edge or e not in repair.cleared]
    shorts = len(repair.shorts)
    return [e for e in candidates if e == edge or agrees(explained.scene, placed, others | {e}, shorts)]


def _open(explained: Explained, placed: Placement, edge: int) -> Finding:
    scene, harness = explained.scene, explained.harness
    edges = suspects_of_open(explained, placed, edge)
    rows = [harness.wires[scene.wire[e]] for e in edges]
    points, ohm = _parted(explained, placed, edge)
    names = explained.name(points[0]), explained.name(points[1])
    if len(rows) == 1:
        after: Todo = MeasureAgain(*names, part=not rows[0].conducts)
    else:
        pair = _parting_probe(explained, placed, edges)
        after = TellWhich(*pair) if pair else LookAtEach(len(rows))
    return Finding(
        "open",
        names,
        tuple(Suspect(row.name, None, None, None, 1.0 / len(rows)) for row in rows),
        probability=min(0.999, explained.probability(lambda s: bool(s.repair.opens))),
        why=ReadApart(ohm),
        todo=after,
    )


def _parted(explained: Explained, placed: Placement, edge: int) -> tuple[tuple[int, int], float]:
    """Two points that should be joined and were read apart, the nearest to the edge; and what was read."""
    scene = explained.scene
    others = frozenset(explained.best.repair.opens) - {edge}
    with_edge = components(scene.size, (p for e, p in enumerate(placed) if e not in others))
    without = components(scene.size, (p for e, p in enumerate(placed) if e not in others | {edge}))
    near = dict.fromkeys(scene.home[edge], 0)
    best: tuple[int, int, int] | None = None
    ohm = math.inf
    for a, b, low, over in scene.told_apart:
        if with_edge[a] != with_edge[b] or without[a] == without[b]:
            continue
        rank = (near.get(a, 1) + near.get(b, 1), a, b)
        if best is None or rank < best:
            best, ohm = rank, math.inf if over else low
    if best is None:
        return scene.home[edge], math.inf
    a, b = best[1], best[2]
    return ((a, b) if a == scene.home[edge][0] or b == scene.home[edge][1] else (b, a)), ohm


def _parting_probe(explained: Explained, placed: Placement, edges: Sequence[int]) -> tuple[str, str] | None:
    """A pair of points, not yet probed, whose reading would part the suspects."""
    scene, harness = explained.scene, explained.harness
    probed = {frozenset(pair[:2]) for pair in (*scene.joined, *scene.apart)}
    reachable = [p for p in range(scene.size) if explained.name(p) not in harness.unreachable]
    opens = frozenset(explained.best.repair.opens) - set(edges)
    labelled = [
        components(
            scene.size, (p for e, p in enumerate(placed) if e not in opens | {edge} and not scene.part[e])
        )
        for edge in edges
    ]
    whole = components(scene.size, (p for e, p in enumerate(placed) if e not in opens and not scene.part[e]))
    best: tuple[int, int, int] | None = None
    for i, a in enumerate(reachable):
        for b in reachable[i + 1 :]:
            if whole[a] != whole[b] or frozenset((a, b)) in probed:
                continue
            apart = sum(labels[a] != labels[b] for labels in labelled)
            rank = (abs(2 * apart - len(edges)), a, b)
            if 0 < apart < len(edges) and (best is None or rank < best):
                best = rank
    return (explained.name(best[1]), explained.name(best[2])) if best else None


def _by_nearness(explained: Explained, placed: Placement) -> list[tuple[int, int, float]]:
    """The shorts, each between the nearest of the nets that it joins where the ohms are about the same."""
    scene, shorts = explained.scene, explained.best.repair.shorts
    if len(shorts) < 2 or any(math.isnan(ohm) for _, _, ohm in shorts):
        return list(shorts)
    opens = frozenset(explained.best.repair.opens)
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in opens))
    tied = {labels[p] for a, b, _ in shorts for p in (a, b)}
    parts = scene.parts_between(labels, placed, opens)
    least: dict[tuple[int, int], tuple[int, int, float]] = {}
    for a, b, ohm in scene.joined:
        x, y = sorted((labels[a], labels[b]))
        if x != y and x in tied and y in tied and parts.between(x, y) is None:
            least.setdefault((x, y), (a, b, ohm))

    def rank(short: tuple[int, int, float]) -> tuple[float, float]:
        one, other = _likeliest_place(explained, placed, short[0], short[1])
        return round(4 * math.log10(max(short[2], 0.05))), _distance(explained, one, other)

    merged = list(range(scene.size))
    out = []
    for short in sorted(least.values(), key=lambda s: (*rank(s), s)):
        if join(merged, labels[short[0]], labels[short[1]]):
            out.append(short)
    return out if len(out) == len(shorts) else list(shorts)


def _distance(explained: Explained, one: int, other: int) -> float:
    """Cavities between two points of one connector; far for any other two."""
    likely = explained.likeliness
    if not likely.connector[one] or likely.connector[one] != likely.connector[other]:
        return 1e6
    return abs(likely.position[one] - likely.position[other])


def _short(explained: Explained, placed: Placement, short: tuple[int, int, float]) -> Finding:
    a, b, ohm = short
    one, other = _likeliest_place(explained, placed, a, b)
    names = (explained.name(one), explained.name(other))
    likely = explained.likeliness
    beside = bool(likely.connector[one]) and likely.connector[one] == likely.connector[other]
    parts = _parts_across(explained, placed, a, b)
    return Finding(
        "short",
        names,
        tuple(Suspect(row.name, probability=0.6 / len(parts)) for row in parts),
        probability=min(0.999, explained.probability(lambda s: bool(s.repair.shorts))),
        why=ReadJoined(explained.name(a), explained.name(b), ohm, beside, ohm <= NO_VALUE_OHM),
        todo=UnclipOneByOne() if math.isnan(ohm) else FindBridge(),
    )


def _parts_across(explained: Explained, placed: Placement, a: int, b: int) -> list[Wire]:
    """Parts plugged in straight across a short: one of them may be it."""
    scene, opens = explained.scene, frozenset(explained.best.repair.opens)
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in opens))
    nets = {labels[a], labels[b]}
    return [
        explained.harness.wires[scene.wire[e]] for e in scene.parts if {labels[p] for p in placed[e]} == nets
    ]


def _likeliest_place(explained: Explained, placed: Placement, a: int, b: int) -> tuple[int, int]:
    """One point of each net: two cavities side by side in one connector before anything else."""
    scene, likely = explained.scene, explained.likeliness
    opens = frozenset(explained.best.repair.opens)
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in opens))
    ones = [p for p in range(scene.size) if labels[p] == labels[a]]
    others = [p for p in range(scene.size) if labels[p] == labels[b]]

    def rank(pair: tuple[int, int]) -> tuple[float, int, bool]:
        x, y = pair
        worked = likely.worked_on[x] or likely.worked_on[y]
        return _distance(explained, x, y), -worked, pair != (a, b)

    return min(((x, y) for x in ones for y in others), key=lambda pair: (*rank(pair), pair))
