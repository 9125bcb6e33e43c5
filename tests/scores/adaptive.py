"""Score of the adaptive probing: how many probings beyond the continuity pass find a fault.

Run: python -m tests.scores.adaptive [looms per row]

Random looms get opens or swaps; the plan's continuity pass is read, then `Guide` is followed until it
asks for nothing more. "locating" counts the probings that look for the fault, "rest" those that then look for
a terminal in another place and show whole what lay behind. Beside the mean stands the entropy bound,
ceil(log2(number of outcomes)): outcomes are the explanations of least cost that the continuity pass leaves,
counted here by brute force and told apart by what any reading at reachable points could show. An open costs
one; a swap two and a turn of three terminals three, as the opens that look the same along the expected pairs.
"""

from __future__ import annotations

import sys
from itertools import combinations
from math import ceil, log2

import numpy as np

from loomtest.bench.plan.adaptive import Guide
from loomtest.bench.plan.plan import Plan, plan
from loomtest.harness.model import Harness, connector_of
from loomtest.readings.model import Instrument, Quantity, Range, Readings
from tests.looms.generate import Recipe, random_harness
from tests.looms.solve import components

METER = Instrument("simulated", "four-wire", True, open_above_ohms=4e7, ranges=(Range(2e7, 0.1, 1.0, 1e-3),))
Moves = dict[str, str]


def labels(harness: Harness, opens: tuple[int, ...], moves: Moves) -> np.ndarray:
    """(P,) what wires and fuses join with some open and some terminals moved."""
    code, edges = harness.code_of, []
    for index, wire in enumerate(harness.wires):
        if wire.conducts and index not in opens:
            ends = (wire.start, wire.end)
            if wire.kind == "wire":
                ends = (moves.get(ends[0], ends[0]), moves.get(ends[1], ends[1]))
            edges.append((code[ends[0]], code[ends[1]]))
    return components(len(harness.points), edges)


def readings_of(harness: Harness, pairs: list[tuple[str, str]], found: np.ndarray) -> Readings:
    """Readings of pairs: 0.05 ohm where joined, over-range where not."""
    n = len(pairs)
    start = np.array([harness.code_of[a] for a, _ in pairs], dtype=np.int64)
    end = np.array([harness.code_of[b] for _, b in pairs], dtype=np.int64)
    value = np.where(found[start] == found[end], 0.05, np.inf)
    nothing = np.full(n, np.nan)
    kind = np.full(n, int(Quantity.RESISTANCE), dtype=np.int64)
    rows = np.arange(2, n + 2)
    return Readings(
        harness.points, start, end, kind, value, nothing, nothing, nothing, nothing, rows, instrument=METER
    )


def swaps_of(harness: Harness) -> list[Moves]:
    """Every swap of two cavities of one connector that hold terminals of different nets."""
    filled: dict[str, list[str]] = {}
    for point in harness.points:
        if connector_of(point) and any(point in (w.start, w.end) and w.kind == "wire" for w in harness.wires):
            filled.setdefault(connector_of(point), []).append(point)
    net = {point: int(harness.net_of[code]) for point, code in harness.code_of.items()}
    return [{a: b, b: a} for own in filled.values() for a, b in combinations(own, 2) if net[a] != net[b]]


def outcomes(harness: Harness, pairs: list[tuple[str, str]], found: np.ndarray) -> int:
    """How many explanations of least cost agree with the readings and differ at reachable points."""
    code = [(harness.code_of[a], harness.code_of[b]) for a, b in pairs]
    same = [bool(found[a] == found[b]) for a, b in code]
    reach = np.flatnonzero(harness.reachable)

    def shown(opens: tuple[int, ...], moves: Moves) -> bytes | None:
        got = labels(harness, opens, moves)
        if [bool(got[a] == got[b]) for a, b in code] != same:
            return None
        first: dict[int, int] = {}
        return bytes(str([first.setdefault(int(label), len(first)) for label in got[reach]]), "ascii")

    apart = {int(harness.net_of[a]) for (a, _), joined in zip(code, same, strict=True) if not joined}
    near = [
        i
        for i, w in enumerate(harness.wires)
        if w.conducts and int(harness.net_of[harness.start[i]]) in apart
    ]
    swaps = [m for m in swaps_of(harness) if all(int(harness.net_of[harness.code_of[p]]) in apart for p in m)]
    for cost in range(1, 6):
        ways = {shown(opens, {}) for opens in combinations(near, cost)}
        if cost >= 2:
            ways |= {shown(opens, m) for m in swaps for opens in combinations(near, cost - 2)}
        if cost >= 3:
            ways |= {
                shown(opens, m)
                for m in turns_of_three(harness, swaps)
                for opens in combinations(near, cost - 3)
            }
        if cost >= 4:
            twos = [a | b for a, b in combinations(swaps, 2) if not set(a) & set(b)]
            ways |= {shown(opens, m) for m in twos for opens in combinations(near, cost - 4)}
        if ways - {None}:
            return len(ways - {None})
    return 1


def turns_of_three(harness: Harness, swaps: list[Moves]) -> list[Moves]:
    """Both turns of any three cavities that can be swapped by twos."""
    can = {frozenset(swap) for swap in swaps}
    points = sorted({point for swap in swaps for point in swap})
    threes = [t for t in combinations(points, 3) if all(frozenset(two) in can for two in combinations(t, 2))]
    return [dict(zip(t, (*t[1:], t[0]), strict=True)) for three in threes for t in (three, three[::-1])]


def follow(harness: Harness, made: Plan, found: np.ndarray) -> tuple[int, int, int, bool]:
    """(probings that locate, those for the rest, entropy bound, whether the fault was told)."""
    pairs = [(step.start, step.end) for step in made.steps if step.what != "part"]
    bound = ceil(log2(outcomes(harness, pairs, found)))
    spent = {"locate": 0, "continuity": 0}
    guide = Guide(harness, planned=made)
    while True:
        step = guide.next(readings_of(harness, pairs, found), places=False)
        if step is None or step.what not in (*spent, "elsewhere"):
            break
        pairs.append((step.start, step.end))
        spent["continuity" if step.what == "elsewhere" else step.what] += 1
        assert sum(spent.values()) < 300
    return spent["locate"], spent["continuity"], bound, told(harness, pairs, found)


def told(harness: Harness, pairs: list[tuple[str, str]], found: np.ndarray) -> bool:
    """True when the likeliest explanation left joins reachable points exactly as the loom does."""
    from loomtest.bench.plan.suspects import open_puzzles
    from loomtest.diagnosis.seen.observe import observe

    readings = readings_of(harness, pairs, found)
    got = labels(harness, (), {})
    for puzzle in open_puzzles(harness, observe(readings, METER, harness.limits)):
        got[puzzle.points] = puzzle.points[puzzle.labels[int(np.argmax(puzzle.weight))]]
    reach = np.flatnonzero(harness.reachable)
    return bool(np.array_equal(got[reach][:, None] == got[reach], found[reach][:, None] == found[reach]))


def draw(rng: np.random.Generator, kinds: tuple[str, ...]) -> tuple[Harness, np.ndarray] | None:
    """A loom with faults of these kinds that its continuity pass shows; None where the draw shows nothing."""
    harness = random_harness(rng, Recipe(wires=int(rng.integers(10, 36)), parts=False, loops=False))
    opens: list[int] = []
    moves: Moves = {}
    for kind in kinds:
        if kind == "open":
            opens.append(int(rng.choice([i for i, w in enumerate(harness.wires) if w.conducts])))
        else:
            ways = [way for way in swaps_of(harness) if not set(way) & set(moves)]
            if not ways:
                return None
            moves |= ways[int(rng.integers(len(ways)))]
    return harness, labels(harness, tuple(opens), moves)


def score(kinds: tuple[str, ...], count: int, seed: int) -> tuple[float, float, float, float]:
    """Means over `count` looms: probings that locate, those for the rest, bound, share told."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[int, int, int, bool]] = []
    while len(rows) < count:
        drawn = draw(rng, kinds)
        if drawn is None:
            continue
        harness, found = drawn
        made = plan(harness, "none")
        pairs = [(harness.code_of[s.start], harness.code_of[s.end]) for s in made.steps if s.what != "part"]
        if any(found[a] != found[b] for a, b in pairs):
            rows.append(follow(harness, made, found))
    locating, rest, bound, right = (float(np.mean(column)) for column in zip(*rows, strict=True))
    return locating, rest, bound, right


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"{'faults':<14}{'locating':>10}{'bound':>8}{'ratio':>8}{'rest':>8}{'told':>9}")
    for kinds in (("open",), ("swap",), ("open", "open"), ("open", "swap"), ("swap", "swap")):
        locating, rest, bound, right = score(kinds, count, 1)
        ratio = f"{locating / bound:.2f}" if bound else "-"
        print(f"{' + '.join(kinds):<14}{locating:>10.3f}{bound:>8.3f}{ratio:>8}{rest:>8.2f}{right:>9.1%}")


if __name__ == "__main__":
    main()
