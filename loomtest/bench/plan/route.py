"""In which order to probe: few clips, and the moving probe changes connector as seldom as it can.

A *station* is a connector or a single-terminal point. A *turn* is what is done from one clip position, the
hub: the probe visits the other points of the turn's cells, station by station; a station where only the
hub lies needs no visit. Turns whose visits begin where the last turn's ended cost no walk. What remains to
be chosen, the hubs and the order, is a covering problem (every two-point cell is served from one of its
two stations) tied to a trail through the larger ones; both are hard in general, so the cheapest of several
greedy routes is taken, the same on every run.
"""

from __future__ import annotations

import random
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loomtest.bench.plan.continuity import Cell
from loomtest.bench.plan.walk import REACH_M, BenchWalk
from loomtest.harness.model import Harness, cavity_of, connector_of
from loomtest.harness.points import natural


@dataclass(frozen=True, slots=True)
class Turn:
    """Cells read from one clip position: `hub`, or, where None, any one of their points."""

    cells: tuple[Cell, ...]
    hub: int | None = None

    @property
    def points(self) -> tuple[int, ...]:
        """Codes of the reachable points of the cells, each once."""
        return tuple(dict.fromkeys(point for cell in self.cells for point in cell.points))


@dataclass(frozen=True, slots=True)
class Visit:
    """A turn with its choices made: the clip on `hub`, the probe on each of `probes` in order (codes)."""

    turn: Turn
    hub: int
    probes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Choice:
    """A way to do a turn: the stations that the probe has to visit."""

    stations: frozenset[str]


def turns_of(cells: Sequence[Cell], rng: random.Random | None = None) -> list[Turn]:
    """The cells of one net, two or more points each, in as few turns as their shared points allow.

    A cell that touches the others in one point only is done from that point with all others there: on a
    net without loops that is the fewest clip positions that reach every cell. `rng` breaks ties: other turns,
    as few; without it they are broken by the order of the cells.
    """
    at: dict[int, dict[int, None]] = defaultdict(dict)  # point to the cells there that are still to be done
    for number, cell in enumerate(cells):
        for point in cell.points:
            at[point][number] = None
    left = dict.fromkeys(range(len(cells)))
    to_look_at = list(reversed(left))
    if rng:
        rng.shuffle(to_look_at)
    out: list[Turn] = []
    while left:
        number = to_look_at.pop() if to_look_at else -1
        if number < 0:  # every cell touches others in two points or more: a loop
            hub: int | None = max(at, key=lambda point: (len(at[point]), rng.random() if rng else -point))
        elif number in left:
            shared = [point for point in cells[number].points if len(at[point]) > 1]
            if len(shared) > 1:
                continue
            hub = shared[0] if shared else None
        else:
            continue
        own = [number] if hub is None else list(at[hub])
        out.append(Turn(tuple(cells[n] for n in own), hub))
        for done in own:
            del left[done]
            for point in cells[done].points:
                del at[point][done]
                if len(at[point]) == 1:
                    to_look_at.extend(at[point])
    return out


def station_of(point: str) -> str:
    """Where one has to walk to touch the point: its connector, or the single terminal itself."""
    return connector_of(point) or point


def bench_order(harness: Harness) -> list[int]:
    """(P,) rank of every point when connectors, and cavities in them, are taken in counting order."""
    codes = sorted(
        range(len(harness.points)),
        key=lambda code: (
            natural(station_of(harness.points[code])),
            natural(cavity_of(harness.points[code])),
        ),
    )
    rank = [0] * len(codes)
    for position, code in enumerate(codes):
        rank[code] = position
    return rank


def route(harness: Harness, nets: Sequence[Sequence[Cell]]) -> list[Visit]:
    """An order for the cells of all nets, two or more points each, and the clips to read them from."""
    rank = bench_order(harness)
    station = [station_of(point) for point in harness.points]
    size = sum(len(cells) for cells in nets)
    tries = 96 if size <= 80 else 8 if size <= 700 else 1
    bench = BenchWalk(harness)
    best: tuple[float, list[Turn], list[tuple[int, list[str]]]] | None = None
    for seed in range(tries):
        rng = random.Random(seed)
        turns = [turn for cells in nets for turn in turns_of(cells, rng if seed else None)]
        walk = _walk({number: _choices(turn, station) for number, turn in enumerate(turns)}, rng, bench)
        through = [stations for _, stations in walk]
        cost: float = len(turns) + walked(through)
        if bench.known:
            cost = REACH_M * cost + bench.through([place for stations in through for place in stations])
        if best is None or cost < best[0]:
            best = (cost, turns, walk)
    assert best is not None
    _, turns, walk = best
    first = {number: min(rank[code] for code in turn.points) for number, turn in enumerate(turns)}
    return [_visit(turns[number], stations, station, rank) for number, stations in _tidied(walk, first)]


def walked(turns: Sequence[Sequence[str]]) -> int:
    """How often the probe arrives at a station that it was not at, its first arrival included."""
    here, count = "", 0
    for stations in turns:
        for station in stations:
            count += station != here
            here = station
    return count


def _choices(turn: Turn, station: Sequence[str]) -> list[_Choice]:
    if turn.hub is not None:
        return [_Choice(frozenset(station[code] for code in turn.points if code != turn.hub))]
    counts = Counter(station[code] for code in turn.points)
    whole = frozenset(counts)
    if len(whole) == 1:
        return [_Choice(whole)]
    lone = [name for name, count in counts.items() if count == 1]
    return [_Choice(whole - {name}) for name in lone] or [_Choice(whole)]


class _Pool:
    """The nets still to be done, by the stations from which they can be begun."""

    def __init__(self, choices: dict[int, list[_Choice]]) -> None:
        self.choices = dict(choices)
        self.at: dict[str, dict[int, None]] = defaultdict(dict)
        for net, ways in choices.items():
            for station in sorted({s for way in ways for s in way.stations}):
                self.at[station][net] = None

    def take(self, net: int) -> None:
        for station in {s for way in self.choices.pop(net) for s in way.stations}:
            self.at[station].pop(net)
            if not self.at[station]:
                del self.at[station]

    def short(self, net: int) -> bool:
        return all(len(way.stations) == 1 for way in self.choices[net])


def _walk(
    choices: dict[int, list[_Choice]], rng: random.Random, bench: BenchWalk
) -> list[tuple[int, list[str]]]:
    """One greedy route: (net, its stations in the order walked)."""
    pool, out, here = _Pool(choices), [], ""
    while pool.choices:
        for net in [net for net in pool.at.get(here, ()) if pool.short(net)]:
            pool.take(net)
            out.append((net, [here]))
        if not pool.choices:
            break
        following = list(pool.at.get(here, ()))
        if not following:
            here = _next_station(pool, rng, here, bench)
            continue
        net, stations = _best_long(pool, following, here, rng)
        pool.take(net)
        out.append((net, stations))
        here = stations[-1]
    return out


def _best_long(pool: _Pool, nets: list[int], here: str, rng: random.Random) -> tuple[int, list[str]]:
    """The net to walk on from here, and through which stations: out where most can be done next."""
    best: tuple[tuple[int, int, float], int, list[str]] | None = None
    for net in nets[:40]:
        for way in pool.choices[net]:
            if here not in way.stations:
                continue
            for last in sorted(way.stations - {here}):
                others = [n for n in pool.at[last] if n != net]
                longs = sum(not pool.short(n) for n in others[:40])
                score = (min(longs, 1), len(others) - longs, rng.random())
                if best is None or score > best[0]:
                    middle = sorted(way.stations - {here, last}, key=natural)
                    best = (score, net, [here, *middle, last])
    assert best is not None
    return best[1], best[2]


def _next_station(pool: _Pool, rng: random.Random, here: str, bench: BenchWalk) -> str:
    """Where to walk when nothing more can be done here.

    First where a turn leaves no choice; then the neighbour of a station that has one neighbour only (it
    serves at least as many nets); then where most distinct partners meet. Of several, mostly the nearest.
    """
    near_first = bench.known and bool(here) and rng.random() < 0.8

    def one_of(stations: list[str]) -> str:
        return min(stations, key=lambda s: bench.between(here, s)) if near_first else rng.choice(stations)

    partners: dict[str, set[str]] = {station: set() for station in pool.at}
    forced: dict[str, None] = {}
    for net, ways in pool.choices.items():
        begins = sorted({s for way in ways for s in way.stations})
        needed = frozenset.intersection(*(way.stations for way in ways))
        forced.update(dict.fromkeys(sorted(needed)))
        if pool.short(net):
            for station in begins:
                partners[station].update(begins)
    if forced:
        return one_of(list(forced))
    for station, near in partners.items():
        partners[station] = near - {station}
    ends = [station for station, near in partners.items() if len(near) == 1]
    if ends and rng.random() < 0.9:
        return next(iter(partners[one_of(ends)]))
    return max(partners, key=lambda station: (len(partners[station]), rng.random()))


def _tidied(walk: list[tuple[int, list[str]]], first: Mapping[int, int]) -> list[tuple[int, list[str]]]:
    """The same walk with the turns done at one stop in bench order."""
    out: list[tuple[int, list[str]]] = []
    stop: list[tuple[int, list[str]]] = []
    for number, stations in walk:
        if stop and (len(stations) > 1 or stations != stop[-1][1]):
            out.extend(sorted(stop, key=lambda turn: first[turn[0]]))
            stop = []
        (out if len(stations) > 1 else stop).append((number, stations))
    return out + sorted(stop, key=lambda turn: first[turn[0]])


def _visit(turn: Turn, stations: list[str], station: Sequence[str], rank: list[int]) -> Visit:
    """The hub, where free, is a point outside the stations walked, else the first point of the first."""
    codes = sorted(turn.points, key=rank.__getitem__)
    hub = turn.hub
    if hub is None:
        outside = [code for code in codes if station[code] not in stations]
        hub = outside[0] if outside else next(code for code in codes if station[code] == stations[0])
    probes = [code for place in stations for code in codes if station[code] == place and code != hub]
    return Visit(turn, hub, tuple(probes))
