"""The parts of a scan: every two lead sets meet, and as few are plugged in as an exhaustive search needs."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import combinations

import pytest

from loomtest.bench.plan.in_parts import least_changes, plan_parts


def optimum(sizes: Sequence[int], room: int) -> int:
    """The fewest lead sets plugged in, over every order and every way of taking off (breadth first)."""
    count = len(sizes)
    pairs = [(a, b) for a, b in combinations(range(count), 2) if sizes[a] + sizes[b] <= room]
    goal = (frozenset(pairs), frozenset(range(count)))
    states = {(frozenset[tuple[int, int]](), frozenset[int](), frozenset[int]())}
    seen, changes = set(states), 0
    while not any((met, ever) == goal for met, _, ever in states):
        changes += 1
        new = set()
        for met, inside, ever in states:
            for u in set(range(count)) - inside:
                for many in range(len(inside) + 1):
                    for stay in combinations(sorted(inside), many):
                        if sum(sizes[v] for v in stay) + sizes[u] <= room:
                            more = {(min(u, v), max(u, v)) for v in stay}
                            state = (met | more, frozenset({*stay, u}), ever | {u})
                            if state not in seen:
                                seen.add(state)
                                new.add(state)
        states = new
    return changes


def check(sizes: Sequence[int], room: int) -> None:
    """Every pair met once at least, or said to be too large; the room kept; the changes counted right."""
    made = plan_parts(sizes, room)
    met = {pair for part in made.parts for pair in combinations(sorted(part), 2)}
    pairs = set(combinations(range(len(sizes)), 2))
    assert set(made.never) == {(a, b) for a, b in pairs if sizes[a] + sizes[b] > room}
    assert met | set(made.never) == pairs
    assert set().union(*made.parts) == set(range(len(sizes)))
    assert all(sum(sizes[u] for u in part) <= room for part in made.parts)
    before: frozenset[int] = frozenset()
    changes = 0
    for part in made.parts:
        changes += len(part - before)
        before = part
    assert changes == made.changes >= made.bound


@pytest.mark.parametrize("seed", range(25))
def test_small_ones_are_as_few_as_can_be_and_never_below_the_bound(seed: int) -> None:
    rng = random.Random(seed)
    count, room = 2 + seed % 3 + (seed % 12 == 0), rng.randint(4, 10)
    sizes = [rng.randint(1, room // 2 + 1) for _ in range(count)]
    check(sizes, room)
    best = optimum(sizes, room)
    assert least_changes(sizes, room) <= best == plan_parts(sizes, room).changes


@pytest.mark.parametrize(
    ("sizes", "room"),
    [
        ([3], 4),
        ([4, 4, 3, 2, 2, 1], 32),
        ([6, 6, 5, 4, 4, 3, 3, 2, 2, 1, 1, 1], 32),
        ([2] * 9, 6),
        ([9, 9, 8], 16),
    ],
)
def test_larger_ones_meet_every_pair_too(sizes: list[int], room: int) -> None:
    check(sizes, room)


def test_all_in_at_once_is_one_part_and_two_at_a_time_every_pair() -> None:
    assert len(plan_parts([4, 4, 3], 16).parts) == 1
    two = plan_parts([1] * 5, 2)  # a walk over all pairs, each step one change: 10 pairs and the first one
    assert (two.changes, two.bound) == (11, 11)


def test_a_lead_set_larger_than_the_room_is_refused() -> None:
    with pytest.raises(ValueError, match="5 in a room of 4"):
        plan_parts([5], 4)
