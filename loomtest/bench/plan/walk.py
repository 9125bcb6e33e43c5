"""How far it is from connector to connector on the bench, along the loom as it lies."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from loomtest.harness.model import FloatArray, Harness, connector_of

UNKNOWN_M = 1.0  # to or from a connector that no branch leads to
REACH_M = 0.5  # what a change of connector is worth beside the way; assumed, not measured


class BenchWalk:
    """Metres between stations; without branches every way is as long."""

    def __init__(self, harness: Harness) -> None:
        self.known = harness.lie is not None
        self.index: dict[str, int] = {}
        self.metres: FloatArray = np.zeros((0, 0))
        if harness.lie is None:
            return
        stations = dict.fromkeys(connector_of(point) or point for point in harness.points)
        node = {name: harness.lie.node_of(name) for name in stations}
        self.index = {name: i for i, name in enumerate(name for name in stations if node[name])}
        nodes = [node[name] for name in self.index]
        rows = np.array(harness.lie.distances_m(nodes)).reshape(len(nodes), len(harness.lie.nodes))
        ways = rows[:, [harness.lie.nodes[name] for name in nodes]]
        self.metres = np.where(np.isfinite(ways), ways, UNKNOWN_M)

    def between(self, a: str, b: str) -> float:
        """Metres from one station to another; 0 from nowhere, the first arrival."""
        if a == b or not a or not b:
            return 0.0
        i, j = self.index.get(a), self.index.get(b)
        return UNKNOWN_M if i is None or j is None else float(self.metres[i, j])

    def through(self, stations: Sequence[str]) -> float:
        """Metres through stations in their order."""
        return sum(self.between(a, b) for a, b in pairwise(stations))
