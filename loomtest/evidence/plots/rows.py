"""Which pairs stand in the plot of before and after: enough to cover every circuit, the worst first."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.change.change import Change
from loomtest.diagnosis.change.pairs import PairChange
from loomtest.harness.copper import expectation_of
from loomtest.harness.forest import join
from loomtest.harness.model import FloatArray, Harness, IntArray

MOST_ROWS = 48


@dataclass(frozen=True)
class PlotRow:
    """One row: a pair of points of one circuit, and the most that the way between them may show."""

    circuit: str
    pair: PairChange
    limit_ohms: float

    @property
    def severity(self) -> float:
        """How far the worse of the two values lies above the limit, as a ratio."""
        return max(self.pair.before_ohms, self.pair.after_ohms) / self.limit_ohms


def plot_rows(harness: Harness, change: Change) -> tuple[list[PlotRow], int]:
    """The rows, circuits in the order of the wire list; and how many more were left out.

    Of a circuit with many points only as many pairs stand as are needed to touch each of its points once:
    those that were worst. Where there are more than `MOST_ROWS`, the least interesting are left out.
    """
    joined = change.pairs.of_circuits()
    limits = path_limits(harness, joined)
    rows = [
        PlotRow(harness.nets[int(harness.net_of[harness.code_of[pair.start]])].name, pair, limit)
        for pair, limit in zip(joined, limits.tolist(), strict=True)
    ]
    chosen = _spanning(rows)
    left_out = max(0, len(chosen) - MOST_ROWS)
    if left_out:
        chosen = sorted(chosen, key=lambda row: -row.severity)[:MOST_ROWS]

    def place(row: PlotRow) -> tuple[int, int, int]:
        start, end = harness.code_of[row.pair.start], harness.code_of[row.pair.end]
        return int(harness.net_of[start]), start, end

    return sorted(chosen, key=place), left_out


def path_limits(harness: Harness, pairs: list[PairChange]) -> FloatArray:
    """(n,) limits of the wires on the way between the points of each pair, together, in ohms.

    A way with a wire of unknown size or length is held to `continuity_ohms` as a whole.
    """
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import shortest_path

    limit = expectation_of(harness).limit_ohm
    usable = np.flatnonzero(harness.conducts)
    count = len(harness.points)
    cost = np.where(np.isnan(limit), harness.limits.continuity_ohms, limit)
    best: dict[tuple[int, int], tuple[float, int]] = {}
    for wire in usable.tolist():
        key = (int(harness.start[wire]), int(harness.end[wire]))
        for a, b in (key, key[::-1]):
            if (a, b) not in best or cost[wire] < best[a, b][0]:
                best[a, b] = (float(cost[wire]), wire)
    ends = np.array(list(best), dtype=np.int64).reshape(-1, 2)
    weights = np.array([value for value, _ in best.values()])
    graph = csr_array((weights, (ends[:, 0], ends[:, 1])), shape=(count, count))
    starts = sorted({harness.code_of[pair.start] for pair in pairs})
    if not starts:
        return np.empty(0)
    row_of = {start: i for i, start in enumerate(starts)}
    _, before = shortest_path(graph, indices=starts, return_predecessors=True)
    out = []
    for pair in pairs:
        first, last = harness.code_of[pair.start], harness.code_of[pair.end]
        out.append(_along(first, last, before[row_of[first]], best, limit, harness.limits.continuity_ohms))
    return np.array(out)


def _along(
    first: int,
    last: int,
    before: IntArray,
    best: dict[tuple[int, int], tuple[float, int]],
    limit: FloatArray,
    unknown: float,
) -> float:
    total, at = 0.0, last
    while at != first:
        previous = int(before[at])
        total += float(limit[best[previous, at][1]])
        at = previous
    return unknown if math.isnan(total) else total


def _spanning(rows: list[PlotRow]) -> list[PlotRow]:
    """Of every circuit a spanning tree of its measured points, worst pairs first."""
    reached = {point: point for row in rows for point in (row.pair.start, row.pair.end)}
    worst_first = sorted(rows, key=lambda row: -row.severity)
    return [row for row in worst_first if join(reached, row.pair.start, row.pair.end)]
