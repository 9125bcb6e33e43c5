"""The decoding against brute force over all partitions, and against readings of a known network."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations, product

import networkx as nx
import numpy as np
import pytest

from loomtest.diagnosis.markers.decode import (
    JOINED,
    LEAKS,
    MOVED,
    decode,
    log_fit,
)
from loomtest.diagnosis.markers.kit import choose_kit, touch_sd_ohm
from loomtest.diagnosis.markers.touches import Block, MarkerTouch
from loomtest.readings.instrument import load_instrument

METER = load_instrument("handheld-3half")
KIT = choose_kit(METER, 24)
assert KIT is not None
HELD = KIT.range
OHMS = KIT.ohms


def sd(ohm: float) -> float:
    return float(touch_sd_ohm(np.array(ohm), HELD))


def partitions(items: list[int]) -> Iterator[list[Block]]:
    """Every partition of the items (Bell's number of them)."""
    if not items:
        yield []
        return
    first, rest = items[0], items[1:]
    for smaller in partitions(rest):
        for index, block in enumerate(smaller):
            yield [*smaller[:index], (first, *block), *smaller[index + 1 :]]
        yield [(first,), *smaller]


def brute_force(ohms: list[float], touches: list[MarkerTouch], leaks: int) -> float:
    """The greatest weight over all partitions, every choice of leaking clips and of what they read, and all
    assignments of touches to blocks."""
    best = -math.inf
    values = sorted({t.ohm for t in touches if math.isfinite(t.ohm)})
    for blocks in partitions(list(range(len(ohms)))):
        alone = [b for b in blocks if len(b) <= 2]
        for count in range(leaks + 1):
            for leaking in combinations(alone, count):
                for chosen in product(values, repeat=count):
                    best = max(best, assigned(ohms, touches, blocks, dict(zip(leaking, chosen, strict=True))))
    return best


def assigned(
    ohms: list[float], touches: list[MarkerTouch], blocks: list[Block], leaking: dict[Block, float]
) -> float:
    if any(not v * sum(1 / ohms[c] for c in b) < 0.996 for b, v in leaking.items()):
        return -math.inf
    given = {block: leaking.get(block, 1 / sum(1 / ohms[c] for c in block)) for block in blocks}
    ways = [()] if not touches else product(*(choices(touch, given) for touch in touches))
    best = -math.inf
    for way in ways:
        best = max(best, weight_of(touches, way, given, leaking))
    return best


def choices(touch: MarkerTouch, given: dict[Block, float]) -> list[Block]:
    """The block that a touch most likely comes from, and the next one where that can be at all."""
    if math.isinf(touch.ohm):
        return [()]
    fits = sorted(given, key=lambda block: -log_fit(touch.ohm, given[block], sd(given[block])))
    return fits[:1] + [b for b in fits[1:2] if log_fit(touch.ohm, given[b], sd(given[b])) > -30]


def weight_of(
    touches: list[MarkerTouch], way: tuple[Block, ...], given: dict[Block, float], leaking: dict[Block, float]
) -> float:
    total, moved = 0.0, set()
    for touch, block in zip(touches, way, strict=True):
        if not block:
            total -= MOVED if touch.clip >= 0 else 0.0
            continue
        total += log_fit(touch.ohm, given[block], sd(given[block]))
        if touch.clip not in block:
            moved.add((touch.clip, block))
    used = set(way) - {()}
    return (
        total
        - MOVED * len(moved)
        - sum(JOINED * (len(b) - 1) for b in used)
        - LEAKS * len(used & set(leaking))
    )


def network(
    ohms: list[float], count: int, ties: list[tuple[int, int, float]], seats: list[int]
) -> list[float]:
    """What each of `count` pieces of copper reads to the common, by networkx; +inf where nothing leads."""
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    graph.add_nodes_from([f"n{i}" for i in range(count)] + ["common"])
    for clip, seat in enumerate(seats):
        graph.add_edge(f"n{seat}", "common", weight=ohms[clip])
    for a, b, ohm in ties:
        graph.add_edge(f"n{a}", f"n{b}", weight=ohm)
    out = []
    for i in range(count):
        if not nx.has_path(graph, f"n{i}", "common"):
            out.append(math.inf)
            continue
        near = graph.subgraph(nx.node_connected_component(graph, "common"))
        out.append(nx.resistance_distance(near, f"n{i}", "common", weight="weight", invert_weight=True))
    return out


def shown(value: float, rng: np.random.Generator) -> float:
    if math.isinf(value):
        return value
    return round(value * (1 + 0.001 * rng.normal()) / 10) * 10


@pytest.mark.parametrize(
    ("seed", "count", "leaks"),
    [(s, 4, 2) for s in range(5)] + [(s, 5, 1) for s in range(5)] + [(s, 7, 0) for s in range(5)],
)
def test_the_search_finds_what_brute_force_over_all_partitions_finds(
    seed: int, count: int, leaks: int
) -> None:
    rng = np.random.default_rng([seed, count])
    ohms = [float(v) for v in rng.choice(OHMS, count, replace=False)]
    ties = []
    for number in range(int(rng.integers(0, 3))):
        a, b = (int(x) for x in rng.choice(count, 2, replace=False))
        ties.append(
            (a, b, float(rng.choice([2e3, 5e4])) if number < leaks - 1 else float(rng.choice([0.1, 5.0])))
        )
    read = network(ohms, count, ties, list(range(count)))
    place = list(range(count))
    if rng.random() < 0.6:
        a, b = (int(x) for x in rng.choice(count, 2, replace=False))
        place[a], place[b] = place[b], place[a]
    touches = [MarkerTouch(ohm=shown(read[place[i]], rng), clip=i) for i in range(count)]
    touches += [MarkerTouch(ohm=shown(read[i], rng), clip=i) for i in range(count) if place[i] != i or ties]
    if rng.random() < 0.3:
        touches[0] = MarkerTouch(ohm=math.inf, clip=0)
    found, best = decode(ohms, touches, HELD, pair_leaks=False).weight, brute_force(ohms, touches, leaks)
    assert best - 3 < found < best + 1e-6 if leaks else found == pytest.approx(best)


@pytest.mark.parametrize("seed", range(40))
def test_a_loom_of_24_circuits_is_decoded_as_it_is(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    ohms = [v * (1 + 0.001 * rng.normal()) for v in OHMS]
    group = list(range(24))
    ties: list[tuple[int, int, float]] = []
    for _ in range(int(rng.integers(0, 4))):
        a, b = (int(x) for x in rng.choice(24, 2, replace=False))
        ties.append((a, b, float(rng.uniform(0.05, 20))))
        group = [group[a] if g == group[b] else g for g in group]
    read = network(ohms, 24, ties, list(range(24)))
    touches = [MarkerTouch(ohm=shown(read[i] + 0.4, rng), clip=i) for i in range(24)]
    found = decode([round(v / 10) * 10.0 for v in ohms], touches, HELD)
    assert not found.leaking
    for i, block in enumerate(found.blocks):
        assert set(block) == {j for j in range(24) if group[j] == group[i]}


def test_touches_of_one_point_read_one_block_and_two_leaks_stay_two() -> None:
    """Four circuits, 41.6 kΩ between the first two and 216 kΩ between the others, touched twice each with
    the errors of an ordinary meter; the lows of two of them stand within 100 Ω of each other."""
    ohms = (8450.0, 9550.0, 11330.0, 12130.0)
    read = {
        1: (8100.0, 8110.0),
        0: (8130.0, 8150.0, 8160.0, 8140.0),
        2: (10780.0, 10810.0, 10830.0, 10790.0, 10800.0, 10760.0),
        3: (9810.0, 9810.0, 9800.0),
    }
    touches = [
        MarkerTouch(ohm=ohm, clip=clip, point=10 * clip + at % 2)
        for clip, own in read.items()
        for at, ohm in enumerate(own)
    ]
    told = decode(ohms, touches, HELD)
    assert list(told.blocks) == [(touch.clip,) for touch in touches]
    assert told.leaking == {(0,), (1,), (2,), (3,)}
    assert not told.doubtful


def test_a_touch_a_little_off_its_own_clip_is_not_another_with_ohms_in_the_wire() -> None:
    """9,010 Ω: four standard uncertainties under the circuit's own clip, 80 Ω over the next one's."""
    read = ((8930.0, 0), (9050.0, 1), (9010.0, 1))
    touches = [MarkerTouch(ohm=ohm, clip=clip) for ohm, clip in read]
    assert decode((8930.0, 9050.0), touches, HELD).blocks == ((0,), (1,), (1,))


def test_another_clip_with_ohms_in_the_wire_is_doubtful() -> None:
    far = [MarkerTouch(ohm=8930.0, clip=0), MarkerTouch(ohm=8985.0, clip=1)]
    assert decode((8930.0, 9800.0), far, HELD).doubtful == {1}
    near = [MarkerTouch(ohm=8930.0, clip=0), MarkerTouch(ohm=8930.0, clip=1)]
    assert decode((8930.0, 9800.0), near, HELD).doubtful == set()


def test_clips_too_near_each_other_tell_no_crossing() -> None:
    touches = [MarkerTouch(ohm=9010.0, clip=0), MarkerTouch(ohm=9270.0, clip=2)]
    assert decode((8960.0, 9010.0, 9270.0), touches, HELD).doubtful == {0}
