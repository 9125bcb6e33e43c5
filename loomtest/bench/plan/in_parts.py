"""Which lead sets to plug in next, where a scanner has fewer pins than a loom has points.

Every two lead sets must once be in together, so that every pair of points is met, and as few lead sets as can
be are plugged in on the way. What is in stays in while it still has somebody to meet: one search, step by
step, keeps the most promising orders (every way of making room where there are few lead sets).

The bound: lead set u beside m(u) others at most meets no more than those when it is plugged in, and the j-th
lead set of all no more than the j - 1 before it. So many must be plugged in that these sums reach the number
of pairs; the same holds for pairs of sizes. It is a bound and not always reached.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

_FEW = 5  # lead sets: up to here every way of making room is looked at
_WIDTH_FEW, _WIDTH_MANY, _WIDTH_LEAST = 300, 3000, 6  # orders kept at each step; of many, by the square


@dataclass(frozen=True, kw_only=True)
class PartsPlan:
    """`parts`: the lead sets (indices) that are in together, in order. `changes`: lead sets plugged in, all
    told; `bound`: the fewest that any order can do. `never`: pairs too large to be in together."""

    parts: tuple[frozenset[int], ...]
    changes: int
    bound: int
    never: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class _Order:
    met: frozenset[tuple[int, int]]
    inside: frozenset[int]
    parts: tuple[frozenset[int], ...]  # those that were changed since


def plan_parts(sizes: Sequence[int], room: int) -> PartsPlan:
    """The order of parts for lead sets of these sizes (each at most `room`), the first plugged in first.

    Raises ValueError where one is larger than the room.
    """
    if any(size > room for size in sizes):
        raise ValueError(f"a lead set of {max(sizes)} in a room of {room}")
    pairs = list(combinations(range(len(sizes)), 2))
    never = tuple((a, b) for a, b in pairs if sizes[a] + sizes[b] > room)
    wanted = frozenset(pairs) - frozenset(never)
    orders = [_Order(frozenset(), frozenset(), ())]
    changes = 0
    while True:
        done = [one for one in orders if wanted <= one.met and _ever(one) == len(sizes)]
        if done:
            best = min(done, key=lambda one: (len(one.parts), sorted(map(sorted, one.parts))))
            parts = (*best.parts, best.inside) if best.inside else best.parts
            break
        changes += 1
        orders = _kept([new for one in orders for new in _next(one, sizes, room, wanted)], sizes)
    return PartsPlan(parts=parts, changes=changes, bound=least_changes(sizes, room), never=never)


def _ever(one: _Order) -> int:
    return len(one.inside.union(*one.parts))


def _next(
    one: _Order, sizes: Sequence[int], room: int, wanted: frozenset[tuple[int, int]]
) -> Iterator[_Order]:
    """Every lead set that still has somebody to meet plugged in, with room made for it."""
    missing = dict.fromkeys(range(len(sizes)), 0)
    for pair in wanted - one.met:
        for u in pair:
            missing[u] += 1
    ever = one.inside.union(*one.parts)
    for u in range(len(sizes)):
        if u in one.inside or (not missing[u] and u in ever):
            continue
        over = sum(sizes[v] for v in one.inside) + sizes[u] - room
        for out in _ways_out(one.inside, over, sizes, u, missing, wanted - one.met):
            inside = (one.inside - out) | {u}
            met = one.met | {(min(u, v), max(u, v)) for v in inside if v != u}
            parts = (*one.parts, one.inside) if out else one.parts
            yield _Order(frozenset(met), frozenset(inside), parts)


def _ways_out(
    inside: frozenset[int],
    over: int,
    sizes: Sequence[int],
    new: int,
    missing: dict[int, int],
    unmet: frozenset[tuple[int, int]],
) -> list[frozenset[int]]:
    """Lead sets to take off, so that `over` groups become free: all least ways, or two by rule."""
    if over <= 0:
        return [frozenset()]
    if len(sizes) <= _FEW:
        found: list[frozenset[int]] = []
        for count in range(1, len(inside) + 1):
            for some in combinations(sorted(inside), count):
                out = frozenset(some)
                if sum(sizes[v] for v in out) >= over and not any(less < out for less in found):
                    found.append(out)
        return found
    ways = []
    for spare_new in (True, False):
        meets = {v: spare_new and (min(v, new), max(v, new)) in unmet for v in inside}
        left, out_now = over, set()
        for v in sorted(inside, key=lambda v: (meets[v], missing[v], -sizes[v], v)):
            if left > 0:
                out_now.add(v)
                left -= sizes[v]
        ways.append(frozenset(out_now))
    return list(dict.fromkeys(ways))


def _kept(orders: list[_Order], sizes: Sequence[int]) -> list[_Order]:
    """The most promising orders: those that met most, each state once."""
    width = _WIDTH_FEW if len(sizes) <= _FEW else max(_WIDTH_LEAST, _WIDTH_MANY // len(sizes) ** 2)
    best: dict[tuple[frozenset[tuple[int, int]], frozenset[int]], _Order] = {}
    for one in orders:
        key = (one.met, one.inside)
        if key not in best or len(one.parts) < len(best[key].parts):
            best[key] = one

    def worth(one: _Order) -> tuple[int, int, int]:
        return -len(one.met), sum(sizes[u] for u in one.inside), len(one.parts)

    return sorted(best.values(), key=worth)[:width]


def least_changes(sizes: Sequence[int], room: int) -> int:
    """The fewest lead sets that must be plugged in, whatever the order."""
    count = len(sizes)
    beside = [_most_beside(u, sizes, room) for u in range(count)]
    pairs = [(a, b) for a, b in combinations(range(count), 2) if sizes[a] + sizes[b] <= room]
    by_size = sum(sizes[a] * sizes[b] for a, b in pairs)
    gains = [sizes[u] * (room - sizes[u]) for u in range(count)]
    most, most_gain = max(beside, default=0), max(gains, default=0)
    changes = count
    while True:
        more = changes - count
        by_each = sum(beside) + more * most
        by_order = sum(min(most, j) for j in range(changes))
        enough = min(by_each, by_order) >= len(pairs) and sum(gains) + more * most_gain >= by_size
        if enough or not most:
            return changes
        changes += 1


def _most_beside(u: int, sizes: Sequence[int], room: int) -> int:
    """How many others at most are in beside lead set u."""
    left, beside = room - sizes[u], 0
    for size in sorted(size for v, size in enumerate(sizes) if v != u):
        if size > left:
            break
        left -= size
        beside += 1
    return beside
