"""The smallest set of physical faults that explains what was seen joined and apart.

The loom is parted into scenes: nets that some unexpected reading ties together. In each scene a beam search
walks over placements of terminals (moves), each step spoken for by an unexpected joined reading; what a
placement leaves unexplained is repaired with the fewest opens and shorts (`cuts`). The cheapest total wins;
equal totals are kept, weighed by how likely such a mistake is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomtest.diagnosis.faults.cuts import Repair, repair
from loomtest.diagnosis.faults.moves import Likeliness, MoveFault, Moves, next_moves, quick_cost
from loomtest.diagnosis.faults.scene import Placement, Scene
from loomtest.harness.forest import components

_WIDTH = 10  # placements kept a level
_LEVELS = 8
_BAD_JOINT_WEIGHT = 8.0
_MOST_EXPLANATIONS = 12
_MOST_RESPELLED = 6  # rotations of the same joins offered to the resistances
_ROUGH_OHM = 1.0  # more than wires and sound joints show
_PATIENCE = 2  # levels without a cheaper total before the search ends


@dataclass(frozen=True)
class Explanation:
    """One explanation of a scene: moves, and the opens and shorts that remain under them."""

    moves: Moves
    repair: Repair
    move_faults: tuple[MoveFault, ...]
    log_weight: float

    @property
    def cost(self) -> int:
        """Number of physical faults."""
        return len(self.move_faults) + self.repair.cost


def explain(scene: Scene, likeliness: Likeliness) -> tuple[list[Explanation], list[Explanation]]:
    """(the cheapest explanations, never none; those of one fault more), each the likeliest first."""
    known: dict[Moves, Explanation] = {}
    ranked: dict[Moves, int] = {Moves(): quick_cost(scene, scene.home)}

    def solve(moves: Moves) -> Explanation:
        if moves not in known:
            faults, placed = moves.faults(scene), moves.placement(scene)
            mended = repair(scene, placed)
            weight = likeliness.of(scene, faults) - _roughness(scene, placed, mended)
            known[moves] = Explanation(moves, mended, tuple(faults), weight)
        return known[moves]

    beam, best, waited = [Moves()], solve(Moves()).cost, 0
    for _ in range(_LEVELS):
        if best == 0 or waited > _PATIENCE:
            break
        fresh: list[Moves] = []
        for moves in beam:
            for further in next_moves(scene, moves):
                if further not in ranked and further.possible(scene):
                    placed = further.placement(scene)
                    ranked[further] = len(further.faults(scene)) + quick_cost(scene, placed)
                    fresh.append(further)
        for moves in beam:
            for merged in _merged_cycles(scene, moves):
                if merged not in ranked and merged.possible(scene):
                    ranked[merged] = ranked[moves] - 1
                    fresh.append(merged)
        fresh.sort(key=lambda m: (ranked[m], -likeliness.of(scene, m.faults(scene)), m.cavity, m.ends))
        bar = min(ranked[m] for m in beam) + 1  # a step may leave the count as it is, not raise it by much
        beam = [m for m in fresh[: 3 * _WIDTH] if ranked[m] <= bar]
        beam = sorted(beam, key=lambda m: (solve(m).cost, -solve(m).log_weight))[:_WIDTH]
        cheapest = min((solve(m).cost for m in beam), default=best)
        waited = 0 if cheapest < best else waited + 1
        best = min(best, cheapest)
        if not beam:
            break
    best_ones = [s for s in known.values() if s.cost == best]
    for explanation in _ranked(best_ones)[:3]:
        for other in [*_mirrored(scene, explanation.moves), *_respelled(scene, explanation.moves)]:
            if other not in known and other.possible(scene) and solve(other).cost == best:
                best_ones.append(solve(other))
    return _ranked(best_ones), _ranked([s for s in known.values() if s.cost == best + 1])


def _ranked(explanations: list[Explanation]) -> list[Explanation]:
    """The likeliest few, so ordered that the same readings give the same bytes."""
    ranked = sorted(explanations, key=lambda s: (-s.log_weight, s.moves.cavity, s.moves.ends))
    return ranked[:_MOST_EXPLANATIONS]


def _roughness(scene: Scene, placed: Placement, mended: Repair) -> float:
    """Log weight against a placement that makes a wire of a short: it would want a bad joint as well."""
    labels = components(scene.size, (placed[e] for e in scene.conductors if e not in mended.opens))
    rough = sum(ohm for a, b, ohm in scene.joined if ohm > _ROUGH_OHM and labels[a] == labels[b])
    return _BAD_JOINT_WEIGHT + math.log1p(rough) if rough else 0.0


def _merged_cycles(scene: Scene, moves: Moves) -> list[Moves]:
    """One rotation instead of two, where terminals of one net make both join the same points."""
    cycles = moves.cycles()
    if len(cycles) < 2:
        return []
    placed = moves.placement(scene)
    labels = components(scene.size, (placed[e] for e in scene.conductors))
    return [
        moves.swapped(a, b)
        for i, one in enumerate(cycles)
        for other in cycles[i + 1 :]
        for a in one
        for b in other
        if labels[a] == labels[b]
    ]


def _respelled(scene: Scene, moves: Moves) -> list[Moves]:
    """Rotations with one cavity less or more of a net they touch: they join the same points, and only the
    sizes and lengths of the wires can tell."""
    cycles = moves.cycles()
    if not cycles:
        return []
    placed = moves.placement(scene)
    labels = components(scene.size, (placed[e] for e in scene.conductors))
    moved = sorted({point for cycle in cycles for point in cycle})
    still = [
        p for p in range(scene.size) if scene.cavity[p] and p not in moved and len(scene.ends_at[p]) == 1
    ]
    alike = [(a, p) for a in moved for p in (*moved, *still) if a != p and labels[a] == labels[p]]
    out = {moves.swapped(a, p) for a, p in alike}
    return sorted(out, key=lambda m: (len(m.cavity), m.cavity))[:_MOST_RESPELLED]


def _mirrored(scene: Scene, moves: Moves) -> list[Moves]:
    """The same joins by a cycle at the other ends, where every crossed wire is a plain one."""
    out = []
    for cycle in moves.cycles():
        far = []
        for point in cycle:
            ends = scene.ends_at[point]
            if len(ends) != 1:
                break
            edge, side = ends[0]
            other = scene.home[edge][1 - side]
            if not scene.exchanged[other] or len(scene.ends_at[other]) != 1 or other in cycle:
                break
            far.append(other)
        if len(far) != len(cycle):
            continue
        kept = dict(moves.cavity)
        for point in cycle:
            del kept[point]
        if any(point in kept for point in far):
            continue
        # the wire of cycle[i] sits in cycle[i + 1]: seen from the far ends, the other way round
        kept.update({far[i]: far[i - 1] for i in range(len(far))})
        out.append(Moves(tuple(sorted(kept.items())), moves.ends))
    return out
