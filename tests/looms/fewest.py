"""The least number of faults that joins what was seen joined, by trying every set: for tiny looms only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, permutations

from loomtest.harness.model import Harness, connector_of
from loomtest.readings.model import Quantity, Readings
from tests.looms.faults import wires_at
from tests.looms.solve import components


@dataclass(frozen=True)
class Guess:
    """One fault as a change of the drawing: what is cut, what is bridged, which ends sit elsewhere."""

    cut: tuple[int, ...] = ()
    bridge: tuple[int, int] | None = None
    moved: tuple[tuple[tuple[int, int], int], ...] = ()
    left: tuple[str, ...] = ()
    taken: tuple[str, ...] = ()


def fewest_faults(harness: Harness, readings: Readings, most: int) -> int:
    """The least number of opens, shorts, crossed cycles and misplaced terminals; `most` + 1 when more.

    Only yes and no count: wires without parts, every resistance reading told joined below 100 Ω.
    """
    size = len(readings.points)
    joined = [bool(v) for v in _joined(readings)]
    ends = list(zip(readings.start.tolist(), readings.end.tolist(), joined, strict=True))
    singles = list(_guesses(harness, readings.points, size))
    for count in range(most + 1):
        for chosen in combinations(singles, count):
            if _possible(harness, chosen) and _agrees(harness, size, ends, chosen):
                return count
    return most + 1


def _joined(readings: Readings) -> list[bool]:
    beeps = readings.quantity == Quantity.CONTINUITY
    return [bool(v > 0.5) if b else bool(v < 100.0) for v, b in zip(readings.value, beeps, strict=True)]


def _guesses(harness: Harness, points: tuple[str, ...], size: int) -> Iterator[Guess]:
    code = {p: n for n, p in enumerate(points)}
    for w in range(len(harness.wires)):
        yield Guess(cut=(w,))
    for a, b in combinations(range(size), 2):
        yield Guess(bridge=(a, b))
    held = [p for p in points if connector_of(p) and wires_at(harness, p)]
    single_wire = [p for p in points if not connector_of(p) and len(wires_at(harness, p)) == 1]
    for length in (2, 3, 4):
        for chosen in combinations(held + single_wire, length):
            for rest in permutations(chosen[1:]):
                cycle = (chosen[0], *rest)
                moves = dict(zip(cycle, [*cycle[1:], cycle[0]], strict=True))
                ends = tuple(
                    (end, code[to]) for point, to in moves.items() for end in wires_at(harness, point)
                )
                yield Guess(moved=ends, left=cycle, taken=cycle)
    single = [p for p in points if not connector_of(p)]
    room = [p for p in points if connector_of(p)] + single
    for here in (*held, *single):
        for there in room:
            if there == here:
                continue
            own = wires_at(harness, here)
            bundles = [own] if connector_of(here) else [[end] for end in own]
            for bundle in bundles:
                moved = tuple((end, code[there]) for end in bundle)
                yield Guess(moved=moved, left=(here,), taken=(there,))


def _possible(harness: Harness, chosen: tuple[Guess, ...]) -> bool:
    """No end moves twice, and no cavity takes a terminal while it holds another."""
    ends = [end for guess in chosen for end, _ in guess.moved]
    if len(ends) != len(set(ends)):
        return False
    left = {p for guess in chosen for p in guess.left if connector_of(p)}
    taken = [p for guess in chosen for p in guess.taken if connector_of(p)]
    held = {p for p in taken if wires_at(harness, p)}
    return len(taken) == len(set(taken)) and held <= left


def _agrees(
    harness: Harness, size: int, seen: list[tuple[int, int, bool]], chosen: tuple[Guess, ...]
) -> bool:
    places = [[int(a), int(b)] for a, b in zip(harness.start, harness.end, strict=True)]
    cut = {w for guess in chosen for w in guess.cut}
    for guess in chosen:
        for (wire, side), point in guess.moved:
            places[wire][side] = point
    edges = [(a, b) for w, (a, b) in enumerate(places) if w not in cut]
    edges += [guess.bridge for guess in chosen if guess.bridge]
    label = components(size, edges).tolist()
    return all((label[a] == label[b]) == joined for a, b, joined in seen)
