"""Which circuits are marked in which round, and where; first the rounds of marker plugs, then loose clips.

A marker plug covers its connector: while it is on, nothing in there can be touched. So two plugs go on
together only where no circuit of the one ends in the connector of the other, and a circuit belongs to the
round in which all its other points lie bare.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

import numpy as np

from loomtest.bench.plan.route import station_of
from loomtest.diagnosis.markers.kit import MOST_CLIPS, told_apart
from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.harness.model import Harness, IsolationLevel, connector_of
from loomtest.harness.points import natural
from loomtest.readings.marked import Clip, Seat
from loomtest.readings.model import Range


@dataclass(frozen=True, kw_only=True)
class PlannedRound:
    """`clips`: the marker on each circuit (net) of the round; `home`: the circuits that are tested in it;
    `covered`: the connectors with a plug on."""

    clips: dict[int, Clip]
    home: tuple[int, ...]
    covered: frozenset[str] = frozenset()


class Draft:
    """The rounds, `mark` (the marked point of each circuit in its own round), `unmarked` (circuits that no
    marker is left for) and `hidden` (wanted pairs of circuits that no touch shows apart)."""

    def __init__(
        self, harness: Harness, clips: Sequence[Clip], level: IsolationLevel, held: Range | None = None
    ) -> None:
        self.harness = harness
        self._pairs = [
            (int(a), int(b)) for block in required_pairs(harness, level).iterate() for a, b in block.tolist()
        ]
        self._reach = _reachable(harness)
        self._pairs = [(a, b) for a, b in self._pairs if a in self._reach and b in self._reach]
        several = [net for net, points in self._reach.items() if len(points) > 1]
        single = self._marked_singles(set(several))
        self.mark: dict[int, int] = {}
        self.rounds: list[PlannedRound] = []
        self.hidden = 0
        loose = [clip for clip in clips if not clip.built_in]
        left = {net: self._reach[net] for net in (*several, *single)}
        for fixed in plug_rounds(harness, clips, held):
            self._plug_round(fixed, loose, left, held)
        marks = _marked_points(harness, left)
        order = {net: position for position, net in enumerate(marks)}
        ordered = sorted((net for net in several if net in left), key=order.__getitem__)
        ordered += sorted((net for net in single if net in left), key=order.__getitem__)
        size = len(loose)
        self.unmarked = () if size else tuple(ordered)
        if size:
            self.mark |= marks
            for first in range(0, len(ordered), size):
                nets = ordered[first : first + size]
                own = dict(zip(nets, loose, strict=False))
                self.rounds.append(PlannedRound(clips=own, home=tuple(nets)))
        self.loops = tuple(
            harness.wires[wire].name
            for net in self.harness.nets
            if len(net.conductors) >= len(net.points)
            for wire in net.conductors
        )

    def _plug_round(
        self, fixed: dict[int, Clip], loose: Sequence[Clip], left: dict[int, list[int]], held: Range | None
    ) -> None:
        """A round of plugs, with the loose clips beside them that can be told from theirs; takes its circuits
        out of `left`."""
        points = self.harness.points
        covered = frozenset(clip.plug for clip in fixed.values())
        bare = {
            net: codes
            for net, codes in left.items()
            if net not in fixed and not any(connector_of(points[code]) in covered for code in codes)
        }
        home = [net for net, clip in fixed.items() if net in left and self._bare(left[net], clip, covered)]
        if not home:
            return
        own = dict(fixed)
        marks = _marked_points(self.harness, bare)
        beside = list(loose)
        for net in marks:
            fits = (c for c in beside if told_apart([*(o.ohms for o in own.values()), c.ohms], held))
            clip = next(fits, None) if len(own) < MOST_CLIPS else None
            if clip is None:
                break
            own[net] = clip
            beside.remove(clip)
            self.mark[net] = marks[net]
        for net in home:
            self.mark[net] = self.harness.code_of[fixed[net].built_in]
        home += [net for net in own if net not in fixed]
        for net in home:
            del left[net]
        self.rounds.append(PlannedRound(clips=own, home=tuple(home), covered=covered))

    def _bare(self, codes: Sequence[int], clip: Clip, covered: frozenset[str]) -> bool:
        """Whether all points but the marker's own can be touched."""
        own = self.harness.code_of[clip.built_in]
        return not any(self._under(code, covered) for code in codes if code != own)

    def _under(self, code: int, covered: frozenset[str]) -> bool:
        return connector_of(self.harness.points[code]) in covered

    def others(self, net: int) -> list[int]:
        """The reachable points of a circuit that its clip does not sit on."""
        return [code for code in self._reach[net] if code != self.mark.get(net)]

    def bare_point(self, net: int, number: int) -> int | None:
        """A point of a circuit that can be touched in a round, its marked one first; None where plugs are on
        all of them."""
        covered = self.rounds[number - 1].covered
        codes = [*([self.mark[net]] if net in self.mark else []), *self._reach[net]]
        return next((code for code in codes if not self._under(code, covered)), None)

    def _marked_singles(self, several: set[int]) -> list[int]:
        """Circuits of one reachable point that need a clip: of every wanted pair of two such, one."""
        left = [pair for pair in self._pairs if not set(pair) & several]
        out: list[int] = []
        while left:
            nets = [net for pair in left for net in pair]
            most = max(sorted(set(nets)), key=nets.count)
            out.append(most)
            left = [pair for pair in left if most not in pair]
        return out

    def ties(self) -> tuple[list[tuple[int, int]], int]:
        """(round, point) of the touches that show circuits apart which no circuit's own touch does, and the
        fewest that can do. Counts in `hidden` the pairs that none does."""
        at = {net: number for number, one in enumerate(self.rounds, 1) for net in one.home}
        between: dict[tuple[int, int], list[tuple[int, int]]] = {}
        touches: set[tuple[int, int]] = set()  # round, net
        for a, b in self._pairs:
            if self._beside(a, b):
                continue
            ways = [(at[one], other) for one, other in ((a, b), (b, a)) if one in at]
            if a in at and b in at and at[a] == at[b]:
                ways = ways[1:]  # two single points, marked together: the one is touched itself
            ways = [(number, net) for number, net in ways if self.bare_point(net, number) is not None]
            if not ways:
                self.hidden += 1
            elif len(ways) == 1:
                touches.add(ways[0])
            else:
                pair = (a, b) if at[a] < at[b] else (b, a)
                between.setdefault((at[pair[0]], at[pair[1]]), []).append(pair)
        bound = len(touches)
        for (first, second), pairs in sorted(between.items()):
            open_ = [(a, b) for a, b in pairs if (second, a) not in touches and (first, b) not in touches]
            for net in least_cover(open_) if open_ else ():
                touches.add((second if at[net] == first else first, net))
                bound += 1
        found = ((number, self.bare_point(net, number)) for number, net in sorted(touches))
        return [(number, code) for number, code in found if code is not None], bound

    def _beside(self, a: int, b: int) -> bool:
        """Whether two circuits are marked in one round in which the touches of one of them are made."""
        return any(
            a in one.clips and b in one.clips and any(net in one.home and self.others(net) for net in (a, b))
            for one in self.rounds
        )


def _reachable(harness: Harness) -> dict[int, list[int]]:
    """The reachable points of each circuit, those of restraint systems left out."""
    barred = {
        int(harness.net_of[harness.code_of[point]])
        for wire in harness.wires
        if wire.kind == "restraint"
        for point in (wire.start, wire.end)
    }
    return {
        number: own
        for number, net in enumerate(harness.nets)
        if number not in barred and (own := [code for code in net.points if harness.reachable[code]])
    }


def plug_rounds(harness: Harness, clips: Sequence[Clip], held: Range | None) -> list[dict[int, Clip]]:
    """Marker plugs that go on together, each round as the marker on each circuit; every plug once, in the
    first round where it fits: no circuit of one ends in the connector of another, and all markers can be told
    apart on the range `held` (None: every plug by itself)."""
    plugs: dict[str, dict[int, Clip]] = {}
    for clip in clips:
        if clip.built_in:
            net = int(harness.net_of[harness.code_of[clip.built_in]])
            plugs.setdefault(clip.plug, {})[net] = clip
    rounds: list[dict[int, Clip]] = []
    for own in plugs.values():
        for other in rounds:
            if held is not None and _go_together(harness, own, other, held):
                other |= own
                break
        else:
            rounds.append(dict(own))
    return rounds


def _go_together(harness: Harness, own: Mapping[int, Clip], other: Mapping[int, Clip], held: Range) -> bool:
    if len(own) + len(other) > MOST_CLIPS:
        return False
    for nets, beside in ((own, other), (other, own)):
        covered = {clip.plug for clip in beside.values()}
        ends = {connector_of(harness.points[code]) for net in nets for code in harness.nets[net].points}
        if ends & covered:
            return False
    return told_apart([clip.ohms for clip in (*own.values(), *other.values())], held)


def covered_points(harness: Harness, seats: Sequence[Seat]) -> frozenset[str]:
    """The points that the plugs of a round cover: nobody can touch them."""
    covered = {seat.clip.plug for seat in seats} - {""}
    return frozenset(point for point in harness.points if connector_of(point) in covered)


def half_of(left: Set[tuple[str, int]], seats: Sequence[Seat]) -> set[tuple[str, int]]:
    """Half of these clips (each with its point), a marker plug staying whole; none where only one thing could
    be pulled."""
    plug = {(seat.clip.marker, seat.point): seat.clip.plug for seat in seats}
    things = sorted({(plug.get(key, ""), "" if plug.get(key) else key[0]) for key in left})
    kept = things[: len(things) // 2]
    return {key for key in left if (plug.get(key, ""), "" if plug.get(key) else key[0]) in kept}


def _marked_points(harness: Harness, nets: dict[int, list[int]]) -> dict[int, int]:
    """The point of each circuit that its clip goes on, by circuit, one connector after the other: the one in
    which most circuits that have none yet lie, then the next."""
    left = dict(nets)
    out: dict[int, int] = {}
    while left:
        at: dict[str, dict[int, int]] = {}
        for net, codes in left.items():
            for code in codes:
                at.setdefault(station_of(harness.points[code]), {}).setdefault(net, code)
        station = max(at, key=lambda name: (len(at[name]), bool(at[name]), [-ord(c) for c in name]))
        for net, code in sorted(at[station].items(), key=lambda pair: natural(harness.points[pair[1]])):
            out[net] = code
            del left[net]
    return out


def least_cover(pairs: Sequence[tuple[int, int]]) -> list[int]:
    """The fewest items that touch every pair, each pair one of a first and one of a second kind (König)."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import maximum_bipartite_matching

    left, right = sorted({a for a, _ in pairs}), sorted({b for _, b in pairs})
    row, column = {a: i for i, a in enumerate(left)}, {b: i for i, b in enumerate(right)}
    cells = [row[a] for a, _ in pairs], [column[b] for _, b in pairs]
    graph = csr_array((np.ones(len(pairs)), cells), shape=(len(left), len(right)))
    to_right = maximum_bipartite_matching(graph, perm_type="column").tolist()
    to_left = {b: a for a, b in enumerate(to_right) if b >= 0}
    near: dict[int, list[int]] = {}
    for a, b in zip(*cells, strict=True):
        near.setdefault(a, []).append(b)
    seen = {a for a, b in enumerate(to_right) if b < 0}
    crossed: set[int] = set()
    stack = sorted(seen)
    while stack:  # along alternating paths from what no matching edge holds
        for b in near.get(stack.pop(), ()):
            if b not in crossed:
                crossed.add(b)
                if b in to_left and to_left[b] not in seen:
                    seen.add(to_left[b])
                    stack.append(to_left[b])
    return [left[a] for a in range(len(left)) if a not in seen] + [right[b] for b in sorted(crossed)]
