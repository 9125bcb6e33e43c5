"""From the explanation of a scene to findings: suspects, likeliest places, alternatives, what to do next."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from loomtest.diagnosis.faults.cuts import agrees
from loomtest.diagnosis.faults.explain import Solution
from loomtest.diagnosis.faults.moves import Likeliness, MoveFault
from loomtest.diagnosis.faults.scene import Placement, Scene, components, find
from loomtest.diagnosis.verdict import Alternative, Finding, Suspect
from loomtest.diagnosis.wording import capital, ohms_text, one_of, point_text, span_text, wire_text
from loomtest.harness.model import Harness, Wire, connector_of

_MOST_ALTERNATIVES = 6
_ABOUT_AS_WELL = 0.05  # share of the best one's weight under which another way is not listed


@dataclass(frozen=True)
class Told:
    """One scene with its explanations, cheapest and likeliest first."""

    harness: Harness
    points: tuple[str, ...]
    scene: Scene
    likeliness: Likeliness
    solutions: tuple[Solution, ...]

    @property
    def best(self) -> Solution:
        """The cheapest and likeliest."""
        return self.solutions[0]

    def name(self, local: int) -> str:
        """A local point's name."""
        return self.points[self.scene.codes[local]]

    def probability(self, of: Callable[[Solution], bool]) -> float:
        """Share of the weight of equally cheap explanations for which `of` holds."""
        top = self.solutions[0].log_weight
        weights = [(math.exp(s.log_weight - top), s) for s in self.solutions]
        return sum(w for w, s in weights if of(s)) / sum(w for w, _ in weights)


def findings_of(told: Told) -> list[Finding]:
    """Moves first, then opens, then shorts, each one physical fault."""
    placed = told.best.moves.placement(told.scene)
    opens = [_open(told, placed, edge) for edge in told.best.repair.opens]
    moved = [_moved(told, fault) for fault in told.best.move_faults]
    shorts = [_short(told, placed, short) for short in _by_nearness(told, placed)]
    return [*moved, *opens, *shorts]


def _moved(told: Told, fault: MoveFault) -> Finding:
    others = [f for f in told.best.move_faults if f != fault]
    ways: list[tuple[MoveFault, float]] = []
    top = told.best.log_weight
    for solution in told.solutions:
        rest = [f for f in solution.move_faults if f not in others]
        same_repair = len(solution.repair.opens) == len(told.best.repair.opens)
        if len(rest) == 1 and len(solution.move_faults) == len(others) + 1 and same_repair:
            known = next((i for i, (way, _) in enumerate(ways) if way.moves == rest[0].moves), None)
            if known is None and solution.log_weight > top + math.log(_ABOUT_AS_WELL):
                ways.append((rest[0], math.exp(solution.log_weight - top)))
    total = sum(weight for _, weight in ways)
    alternatives = [
        Alternative(
            tuple(told.name(p) for p in way.points),
            {told.name(a): told.name(b) for a, b in way.moves},
            weight / total,
        )
        for way, weight in ways[:_MOST_ALTERNATIVES]
    ]
    wires = list(dict.fromkeys(edge for edge, _ in fault.ends))
    suspects = _movers(told, fault)
    kinds = {f.fault for s in told.solutions for f in s.move_faults}
    probability = told.probability(
        lambda s: any(f.fault == fault.fault for f in s.move_faults) or kinds == {fault.fault}
    )
    rows = [told.harness.wires[told.scene.wire[edge]] for edge in wires]
    moves = {told.name(a): told.name(b) for a, b in fault.moves}
    if fault.fault == "crossed":
        told_moves = "; ".join(
            f"the wire of {point_text(told.harness, a)} sits in {point_text(told.harness, b)}"
            for a, b in moves.items()
        )
        text = f"{capital(told_moves)} ({one_of([wire_text(row) for row in rows], 'and')})."
    else:
        (home, place), *_ = moves.items()
        shared = suspects[0].probability is not None  # one of several wires, not all of them
        by_name = {row.name: row for row in told.harness.wires}
        named = [wire_text(by_name[suspect.wire]) for suspect in suspects]
        verb = "belongs" if shared or len(named) == 1 else "belong"
        text = (
            f"{capital(one_of(named, 'or' if shared else 'and'))} {verb} in {point_text(told.harness, home)} "
            f"and {'sits' if verb == 'belongs' else 'sit'} in {point_text(told.harness, place)}."
        )
    if len(alternatives) > 1 and alternatives[1].probability > 0.2:
        second = alternatives[1]
        ends = one_of([point_text(told.harness, p) for p in second.points], "and")
        text += f" The readings fit as well with the mistake at {ends}: look at both."
    first = one_of([point_text(told.harness, p) for p in moves], "and")
    return Finding(
        "crossed" if fault.fault == "crossed" else "misplaced",
        tuple(told.name(p) for p in fault.points),
        suspects,
        moves,
        tuple(alternatives),
        min(probability, 0.999),
        text,
        next=f"Look into {first}, put the wires right, and measure these circuits again.",
    )


def _movers(told: Told, fault: MoveFault) -> tuple[Suspect, ...]:
    """The wires whose ends sit wrong; where two wires would explain it alike, each with its share."""
    harness, scene = told.harness, told.scene

    def named(end: tuple[int, int], probability: float | None) -> Suspect:
        edge, side = end
        name = harness.wires[scene.wire[edge]].name
        return Suspect(name, told.name(scene.home[edge][side]), probability=probability)

    weights: dict[tuple[int, int], float] = {}
    for solution in told.solutions:
        for other in solution.move_faults:
            if other.moves == fault.moves and len(other.ends) == 1:
                gain = math.exp(solution.log_weight - told.best.log_weight)
                weights[other.ends[0]] = max(weights.get(other.ends[0], 0.0), gain)
    if len(fault.ends) == 1 and len(weights) > 1:
        total = sum(weights.values())
        ranked = sorted(weights, key=lambda end: (-weights[end], end))
        return tuple(named(end, weights[end] / total) for end in ranked)
    return tuple(named(end, None) for end in {edge: (edge, side) for edge, side in fault.ends}.values())


def suspects_of_open(told: Told, placed: Placement, edge: int) -> list[int]:
    """Edges that explain this open as well as `edge` does, the rest of the solution unchanged."""
    repair = told.best.repair
    others = frozenset(repair.opens) - {edge}
    own = [path for path in repair.paths if edge in path and not path & others]
    shared = frozenset.intersection(*own) if own else frozenset({edge})
    candidates = [e for e in sorted(shared) if e == edge or e not in repair.cleared]
    shorts = len(repair.shorts)
    return [e for e in candidates if e == edge or agrees(told.scene, placed, others | {e}, shorts)]


def _open(told: Told, placed: Placement, edge: int) -> Finding:
    scene, harness = told.scene, told.harness
    edges = suspects_of_open(told, placed, edge)
    rows = [harness.wires[scene.wire[e]] for e in edges]
    points, ohm = _parted(told, placed, edge)
    names = tuple(told.name(p) for p in points)
    shown = "over-range" if math.isinf(ohm) else f"{ohms_text(ohm)}"
    between = f"{point_text(harness, names[0])} and {point_text(harness, names[1])}"
    if len(rows) == 1:
        text = f"{capital(span_text(harness, rows[0]))} is open: {between} read {shown}."
        what = "the part" if not rows[0].conducts else "its terminals and the wire between them"
        after = f"Look at {what}, mend, and measure {names[0]} to {names[1]} again."
    else:
        listed = one_of([wire_text(row) for row in rows])
        text = f"Open between {between}, which read {shown}: {listed} is broken."
        after = _parting_probe(told, placed, edges) or (
            f"No reading at the points that can be reached tells these apart: look at each of {len(rows)}."
        )
    return Finding(
        "open",
        names,
        tuple(Suspect(row.name, None, None, None, 1.0 / len(rows)) for row in rows),
        probability=min(0.999, told.probability(lambda s: bool(s.repair.opens))),
        text=text,
        next=after,
    )


def _parted(told: Told, placed: Placement, edge: int) -> tuple[tuple[int, int], float]:
    """Two points that should be joined and were read apart, the nearest to the edge; and what was read."""
    scene = told.scene
    others = frozenset(told.best.repair.opens) - {edge}
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


def _parting_probe(told: Told, placed: Placement, edges: Sequence[int]) -> str:
    """A pair of points, not yet probed, whose reading would part the suspects."""
    scene, harness = told.scene, told.harness
    probed = {frozenset(pair[:2]) for pair in (*scene.joined, *scene.apart)}
    reachable = [p for p in range(scene.size) if told.name(p) not in harness.unreachable]
    opens = frozenset(told.best.repair.opens) - set(edges)
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
    if best is None:
        return ""
    one, other = (point_text(harness, told.name(p)) for p in best[1:])
    return f"Measure {one} to {other}: it tells which of them it is."


def _by_nearness(told: Told, placed: Placement) -> list[tuple[int, int, float]]:
    """The shorts, told between the nearest of the nets that they join where the ohms are about the same."""
    scene, shorts = told.scene, told.best.repair.shorts
    if len(shorts) < 2 or any(math.isnan(ohm) for _, _, ohm in shorts):
        return list(shorts)
    opens = frozenset(told.best.repair.opens)
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in opens))
    tied = {labels[p] for a, b, _ in shorts for p in (a, b)}
    parts = scene.parts_between(labels, placed, opens)
    least: dict[tuple[int, int], tuple[int, int, float]] = {}
    for a, b, ohm in scene.joined:
        x, y = sorted((labels[a], labels[b]))
        if x != y and x in tied and y in tied and parts.between(x, y) is None:
            least.setdefault((x, y), (a, b, ohm))

    def rank(short: tuple[int, int, float]) -> tuple[float, float]:
        one, other = _likeliest_place(told, placed, short[0], short[1])
        return round(4 * math.log10(max(short[2], 0.05))), _distance(told, one, other)

    merged = list(range(scene.size))
    out = []
    for short in sorted(least.values(), key=lambda s: (*rank(s), s)):
        x, y = find(merged, labels[short[0]]), find(merged, labels[short[1]])
        if x != y:
            merged[max(x, y)] = min(x, y)
            out.append(short)
    return out if len(out) == len(shorts) else list(shorts)


def _distance(told: Told, one: int, other: int) -> float:
    """Cavities between two points of one connector; far for any other two."""
    likely = told.likeliness
    if not likely.connector[one] or likely.connector[one] != likely.connector[other]:
        return 1e6
    return abs(likely.position[one] - likely.position[other])


def _short(told: Told, placed: Placement, short: tuple[int, int, float]) -> Finding:
    a, b, ohm = short
    one, other = _likeliest_place(told, placed, a, b)
    names = (told.name(one), told.name(other))
    harness = told.harness
    read = (
        f"{told.name(a)} to {told.name(b)} read {ohms_text(ohm)}"
        if not math.isnan(ohm)
        else ("the clipped points conduct")
    )
    beside = (
        told.likeliness.connector[one] and told.likeliness.connector[one] == told.likeliness.connector[other]
    )
    where = "the likeliest place is" if beside else "look first near"
    text = (
        f"{_net_name(told, one)} and {_net_name(told, other)} are joined and should be apart: {read}; "
        f"{where} "
        f"{point_text(harness, names[0])} and {point_text(harness, names[1])}."
    )
    parts = _parts_across(told, placed, a, b)
    if parts:
        text += f" It may be {one_of([wire_text(row) for row in parts])} itself."
    after = "Look for a bridge, a stray strand or a chafed wire there, mend, and measure the pair again."
    if parts:
        listed = one_of([wire_text(row) for row in parts])
        after = f"Unplug {listed} and measure again: if the short stays, look there for a bridge."
    if math.isnan(ohm):
        after = "Take the clips off one by one until the reading goes: the last one is the other side."
    return Finding(
        "short",
        names,
        tuple(Suspect(row.name, probability=0.6 / len(parts)) for row in parts),
        probability=min(0.999, told.probability(lambda s: bool(s.repair.shorts))),
        text=capital(text),
        next=after,
    )


def _parts_across(told: Told, placed: Placement, a: int, b: int) -> list[Wire]:
    """Parts plugged in straight across a short: one of them may be it."""
    scene, opens = told.scene, frozenset(told.best.repair.opens)
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in opens))
    nets = {labels[a], labels[b]}
    return [told.harness.wires[scene.wire[e]] for e in scene.parts if {labels[p] for p in placed[e]} == nets]


def _net_name(told: Told, local: int) -> str:
    code = told.scene.codes[local]
    if code >= len(told.harness.points):
        return f"the cavity {told.points[code]}"
    net = told.harness.nets[int(told.harness.net_of[code])]
    return net.name if len(net.points) > 1 else f"{net.name} (a point of its own)"


def _likeliest_place(told: Told, placed: Placement, a: int, b: int) -> tuple[int, int]:
    """One point of each net: two cavities side by side in one connector before anything else."""
    scene, likely = told.scene, told.likeliness
    opens = frozenset(told.best.repair.opens)
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in opens))
    ones = [p for p in range(scene.size) if labels[p] == labels[a]]
    others = [p for p in range(scene.size) if labels[p] == labels[b]]

    def rank(pair: tuple[int, int]) -> tuple[float, int, bool]:
        x, y = pair
        worked = likely.worked_on[x] or likely.worked_on[y]
        return _distance(told, x, y), -worked, pair != (a, b)

    return min(((x, y) for x in ones for y in others), key=lambda pair: (*rank(pair), pair))


def crossed_or_broken(
    harness: Harness, findings: Sequence[Finding], probed: set[frozenset[str]]
) -> list[Finding]:
    """Wires that read open along their own pairs only may be crossed with each other: say what tells.

    `probed`: pairs of points that some reading joined or parted.
    """
    plain = [(i, f.points) for i, f in enumerate(findings) if f.fault == "open" and len(f.suspects) == 1]
    out = list(findings)
    for i, points in plain:
        for j, others in plain:
            if i == j:
                continue
            ways = [(a, b) for a in points for b in others if _may_cross(points, others, a, b)]
            fresh = [(a, b) for a, b in ways if frozenset((a, b)) not in probed]
            if ways and len(fresh) == len(ways):
                a, b = fresh[0]
                names = f"{findings[i].suspects[0].wire} and {findings[j].suspects[0].wire}"
                after = (
                    f"Measure {point_text(harness, a)} to {point_text(harness, b)}: if they are joined, "
                    f"{names} are crossed; if not, both are broken."
                )
                out[i] = replace(findings[i], next=after)
                break
    return out


def _may_cross(points: Sequence[str], others: Sequence[str], a: str, b: str) -> bool:
    """True where joining a to b would show the wires of two pairs crossed in a connector they share."""
    near = points[1 - list(points).index(a)]
    far = others[1 - list(others).index(b)]
    if connector_of(near) and connector_of(near) == connector_of(b):
        return True
    return bool(connector_of(a)) and connector_of(a) == connector_of(far)
