"""Terminals that sit where they do not belong: hypotheses about them, what they cost, how likely they are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from loomtest.diagnosis.faults.cuts import cleared_edges
from loomtest.diagnosis.faults.scene import PartPaths, Placement, Scene
from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.harness.forest import components

_MOST_CLIPPED = 24  # pairs across one reading with clips that are looked at
_EACH_MORE = 4.0  # log weight of one more terminal in the wrong place


@dataclass(frozen=True)
class Moves:
    """`cavity`: (home, place) of every terminal with all its wire ends that is not at home, sorted;
    a bijection on its points. `ends`: ((edge, side), place) of single wire ends put elsewhere, sorted."""

    cavity: tuple[tuple[int, int], ...] = ()
    ends: tuple[tuple[tuple[int, int], int], ...] = ()

    def placement(self, scene: Scene) -> Placement:
        """Where every edge ends under these moves."""
        at, ends = dict(self.cavity), dict(self.ends)
        out = []
        for edge, home in enumerate(scene.home):
            if not scene.terminal[edge]:
                out.append(home)
                continue
            a, b = (ends.get((edge, side), at.get(point, point)) for side, point in enumerate(home))
            out.append((a, b))
        return tuple(out)

    def cycles(self) -> list[tuple[int, ...]]:
        """Cycles of cavities, each starting at its smallest: the wire of each sits in the next."""
        at, out = dict(self.cavity), []
        while at:
            first = min(at)
            cycle, place = [first], at.pop(first)
            while place != first:
                cycle.append(place)
                place = at.pop(place)
            out.append(tuple(cycle))
        return out

    def swapped(self, a: int, b: int) -> Moves:
        """What sits at a and what sits at b change places."""
        at = dict(self.cavity)
        home = {place: point for point, place in at.items()}
        at[home.get(a, a)], at[home.get(b, b)] = b, a
        return Moves(tuple(sorted((p, q) for p, q in at.items() if p != q)), self.ends)

    def with_ends(self, ends: tuple[tuple[int, int], ...], place: int) -> Moves:
        """These wire ends now sit at `place`."""
        kept = tuple((end, q) for end, q in self.ends if end not in ends)
        return Moves(self.cavity, tuple(sorted((*kept, *((end, place) for end in ends)))))

    def possible(self, scene: Scene) -> bool:
        """False where a terminal would sit in two places."""
        moved = {point for point, _ in self.cavity}
        return not any(scene.home[edge][side] in moved for (edge, side), _ in self.ends)

    def faults(self, scene: Scene) -> list[MoveFault]:
        """One entry a physical fault: a cycle of filled cavities, or one terminal or end gone astray."""
        out = []
        for cycle in self.cycles():
            nexts = dict(zip(cycle, cycle[1:] + cycle[:1], strict=True))
            filled = [point for point in cycle if scene.ends_at[point]]
            if len(filled) == len(cycle):
                out.append(MoveFault("crossed", cycle, tuple(sorted(nexts.items())), _ends(scene, cycle)))
            else:
                out += [
                    MoveFault("misplaced", (p, nexts[p]), ((p, nexts[p]),), scene.ends_at[p]) for p in filled
                ]
        astray: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for (edge, side), place in self.ends:
            astray.setdefault((scene.home[edge][side], place), []).append((edge, side))
        for (home, place), ends in astray.items():
            whole = len(ends) == len(scene.ends_at[home]) and scene.cavity[home]
            for some in [tuple(ends)] if whole else [(end,) for end in ends]:
                out.append(MoveFault("misplaced", (home, place), ((home, place),), some))
        return out


def _ends(scene: Scene, points: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
    return tuple(end for point in points for end in scene.ends_at[point])


@dataclass(frozen=True)
class MoveFault:
    """`points` as the contract orders them; `moves`: (home, place); `ends`: (edge, side) that sit wrong."""

    fault: str
    points: tuple[int, ...]
    moves: tuple[tuple[int, int], ...]
    ends: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Likeliness:
    """Log weights of a misplaced terminal, common practice: mistakes stay within a connector, mostly between
    neighbours, mostly in connectors taken apart. `connector` and `position` per local point (a cavity's
    place in its connector's order), `worked_on` per point."""

    connector: tuple[str, ...]
    position: tuple[int, ...]
    worked_on: tuple[bool, ...]
    any_worked_on: bool = field(default=False)

    def of(self, scene: Scene, faults: list[MoveFault]) -> float:
        """Sum over the faults, 0 at best."""
        return sum(self._one(scene, fault) for fault in faults)

    def _one(self, scene: Scene, fault: MoveFault) -> float:
        total = 0.0
        for home, place in fault.moves:
            if not scene.cavity[home] or not scene.cavity[place]:
                total -= 1.0 if scene.cavity[home] == scene.cavity[place] else 5.0
            elif self.connector[home] != self.connector[place]:
                total -= 4.0
            else:
                total -= min(2.0, 0.25 * (abs(self.position[home] - self.position[place]) - 1))
            if self.any_worked_on and not (self.worked_on[home] or self.worked_on[place]):
                total -= 3.0
        return total / len(fault.moves) - _EACH_MORE * (len(fault.moves) - 1)


def quick_cost(scene: Scene, placed: Placement) -> int:
    """A fast count of the opens and shorts a placement needs: groups to part in each component, components
    to bridge in each group. Exact for a full scan of nets whose groups can be parted one cut at a time."""
    labels = components(scene.size, (placed[e] for e in scene.conductors))
    columns, of = scene.columns, np.array(labels)
    groups = columns.groups
    if scene.parts:  # what a part may show under this placement joins nothing
        parts = scene.parts_between(labels, placed, frozenset())
        lead = parts.group_of(scene.size)[of]
        through = (lead[columns.soft_start] == lead[columns.soft_end]) & (
            of[columns.soft_start] != of[columns.soft_end]
        )
        more = zip(columns.soft_start[~through].tolist(), columns.soft_end[~through].tolist(), strict=True)
        joins = np.array(components(scene.size, [*columns.hard_joins, *more]))
        groups = np.where(groups >= 0, joins, -1)
    same = of[columns.apart_start] == of[columns.apart_end]
    a, b = columns.apart_start[same], columns.apart_end[same]
    told = distinct(np.concatenate([of[a] * scene.size + groups[a], of[b] * scene.size + groups[b]]))
    opens = len(told) - len(distinct(told // scene.size))
    touched = groups >= 0
    spread = distinct(groups[touched] * scene.size + of[touched])
    return opens + len(spread) - len(distinct(spread // scene.size))


def _through(parts: PartPaths, labels: list[int], a: int, b: int, ohm: float) -> bool:
    """True where a joined reading is what parts between two components may show."""
    bounds = parts.between(labels[a], labels[b])
    return bounds is not None and ohm >= bounds[0]


def next_moves(scene: Scene, moves: Moves) -> Iterator[Moves]:
    """Hypotheses one step further that an unexpected joined reading speaks for, without repeats."""
    placed = moves.placement(scene)
    labels = components(scene.size, (placed[e] for e in scene.conductors))
    parts = scene.parts_between(labels, placed, frozenset())
    members: dict[int, list[int]] = {}
    for point, label in enumerate(labels):
        members.setdefault(label, []).append(point)
    odd = {p for a, b, *_ in scene.told_apart if labels[a] == labels[b] for p in (a, b)}
    unexpected = [
        (a, b)
        for a, b, ohm in scene.joined
        if labels[a] != labels[b] and not _through(parts, labels, a, b, ohm)
    ]
    unexpected += _clipped(scene, parts, labels)
    odd.update(p for pair in unexpected for p in pair)
    settled = {p for a, b, _ in scene.joined if labels[a] == labels[b] for p in (a, b)} - odd
    seen: set[tuple[int, int]] = set()
    for pair in unexpected:
        for here, there in (pair, pair[::-1]):
            if not scene.exchanged[here]:
                continue
            for other in members[labels[there]]:
                key = (min(here, other), max(here, other))
                if not scene.exchanged[other] or other == there or other in settled or key in seen:
                    continue
                seen.add(key)
                yield moves.swapped(here, other)
    yield from _stray_ends(scene, moves, placed, unexpected, members, labels)


def _clipped(scene: Scene, parts: PartPaths, labels: list[int]) -> list[tuple[int, int]]:
    """Pairs across readings with clips that conduct although nothing joins one side to the other."""
    apart = {(min(a, b), max(a, b)) for a, b, *_ in scene.apart}
    out: list[tuple[int, int]] = []
    for one, other in scene.clipped:
        pairs = [(a, b) for a in one for b in other]
        if any(labels[a] == labels[b] or parts.lead(labels[a], labels[b]) for a, b in pairs):
            continue
        out += [pair for pair in pairs if (min(pair), max(pair)) not in apart][:_MOST_CLIPPED]
    return out


def _stray_ends(
    scene: Scene,
    moves: Moves,
    placed: Placement,
    unexpected: list[tuple[int, int]],
    members: dict[int, list[int]],
    labels: list[int],
) -> Iterator[Moves]:
    """One wire's end, or a whole terminal, put at a splice, ground or stud of the net it is seen joined to.

    An occupied cavity has no room for it.
    """
    cleared = cleared_edges(scene, placed, labels, scene.parts_between(labels, placed, frozenset()))
    loose: dict[int, list[int]] = {}
    for edge in scene.conductors:
        if scene.terminal[edge] and edge not in cleared:
            loose.setdefault(labels[placed[edge][0]], []).append(edge)
    seen: set[tuple[int, int]] = set()
    for pair in unexpected:
        for here, there in (pair, pair[::-1]):
            key = (labels[here], labels[there])
            if key in seen:
                continue
            seen.add(key)
            places = [p for p in members[key[1]] if not scene.cavity[p]]
            spare = [p for p in members[key[1]] if scene.cavity[p] and not scene.ends_at[p]]
            for edge in loose.get(key[0], ()):
                for side in (0, 1):
                    home = scene.home[edge][side]
                    alone = scene.cavity[home] and len(scene.ends_at[home]) == 1
                    if scene.cavity[home] and not alone:
                        continue  # wires in one terminal move together
                    for place in places if alone else places + spare:
                        yield moves.with_ends(((edge, side),), place)
            for home in members[key[0]]:
                if scene.cavity[home] and len(scene.ends_at[home]) > 1:
                    for place in places:
                        yield moves.with_ends(scene.ends_at[home], place)
    for home in sorted({p for a, b, *_ in scene.told_apart if labels[a] == labels[b] for p in (a, b)}):
        ends = scene.ends_at[home]
        if scene.cavity[home] and len(ends) > 1:  # out of its cavity, and still in the middle of its net
            for place in members[labels[home]]:
                if not scene.cavity[place]:
                    yield moves.with_ends(ends, place)
