"""Which probing of a puzzle is worth most: expected information per second of arm movement.

Under every hypothesis the outcome of a probing is certain, so its expected information is the entropy of
the outcome under the posterior (D. V. Lindley, Ann. Math. Statist. 27, 1956, 986-1005).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.bench.plan.plan import Step
from loomtest.bench.plan.route import station_of
from loomtest.bench.plan.suspects import Puzzle
from loomtest.harness.model import FloatArray, Harness
from loomtest.readings.model import Readings
from loomtest.words.plan import SECONDS_PER_CLIP, SECONDS_PER_PROBING, SECONDS_PER_WALK

STANDS_OUT = 0.9  # posterior of one distinguishable explanation at which it is looked for no further
LEAST_BITS = 1e-6


@dataclass(frozen=True)
class Arms:
    """Where the clip hangs and at which station the probe is."""

    clip: str = ""
    station: str = ""

    @classmethod
    def after(cls, readings: Readings) -> Arms:
        """Where the last reading left them: the clip on its `from`, the probe on its `to`."""
        if not len(readings):
            return cls()
        last = int(np.argmax(readings.row))
        return cls(
            readings.points[int(readings.start[last])], station_of(readings.points[int(readings.end[last])])
        )

    def seconds(self, clip: str, probe: str) -> float:
        """Time to touch these two next."""
        out = SECONDS_PER_PROBING
        out += SECONDS_PER_CLIP * (clip != self.clip)
        return out + SECONDS_PER_WALK * (station_of(probe) != self.station)


def information(puzzle: Puzzle, reachable: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """Over pairs of reachable points (columns of `puzzle.reads`): (R, R) probability that they are joined,
    and (R, R) expected information of reading them in bits."""
    labels = puzzle.reads[:, list(reachable)]
    joined = np.zeros((len(reachable), len(reachable)))
    for row, weight in zip(labels, puzzle.weight, strict=True):
        joined += weight * (row[:, None] == row[None, :])
    p = np.clip(joined, 0.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        bits = -(p * np.log2(p) + (1 - p) * np.log2(1 - p))
    bits[~np.isfinite(bits) | (bits < LEAST_BITS)] = 0.0
    return p, bits


def shown_alike(puzzle: Puzzle, reachable: Sequence[int]) -> list[int]:
    """Indices of the hypotheses that no probing tells from the likeliest explanation, likeliest first."""
    kinds: dict[tuple[int, ...], list[int]] = {}
    for index, row in enumerate(puzzle.reads[:, list(reachable)].tolist()):
        first: dict[int, int] = {}
        kinds.setdefault(tuple(first.setdefault(label, len(first)) for label in row), []).append(index)
    best = max(kinds.values(), key=lambda kind: float(puzzle.weight[kind].sum()), default=[])
    return sorted(best, key=lambda index: (-puzzle.weight[index], index))


def best_of_puzzle(
    harness: Harness,
    puzzle: Puzzle,
    arms: Arms,
    number: int,
    barred: Callable[[str, str], bool] = lambda one, other: False,
) -> Step | None:
    """The probing of most information per second, None when the puzzle is as settled as it can be.

    `barred`: True for two points that are not asked for (again).
    """
    reachable = np.flatnonzero(harness.reachable[puzzle.points]).tolist()
    if float(puzzle.weight[shown_alike(puzzle, reachable)].sum()) >= STANDS_OUT:
        return None
    p, bits = information(puzzle, reachable)
    names = [harness.points[puzzle.points[i]] for i in reachable]
    best: tuple[float, int, int] | None = None
    for i, clip in enumerate(names):
        for j, probe in enumerate(names):
            if bits[i, j] > 0 and not barred(clip, probe):
                worth = float(bits[i, j]) / arms.seconds(clip, probe)
                if best is None or worth > best[0] * (1 + 1e-9):
                    best = (worth, i, j)
    if best is None:
        return None
    _, i, j = best
    expected = None if p[i, j] >= 0.5 else float("inf")
    return Step(number, "locate", names[i], names[j], expected, _decides(harness, puzzle, names[i], names[j]))


def _decides(harness: Harness, puzzle: Puzzle, one: str, other: str) -> str:
    """What the probing decides, in words."""
    wires = sorted({wire for opens in puzzle.opens for wire in opens})
    moved = any(puzzle.moves)
    names = ", ".join(harness.wires[wire].name for wire in wires[:6])
    same_net = harness.net_of[harness.code_of[one]] == harness.net_of[harness.code_of[other]]
    if moved and not same_net:
        return f"crossed or broken: {names}"
    return f"which is open: {names}"
