"""Nets: the points that wires and fuses join."""

from __future__ import annotations

from loomtest.harness.model import Harness, Net


def nets_of(harness: Harness) -> tuple[Net, ...]:
    """Nets by union of wires and fuses, in order of their first point.

    A net is named after the first circuit named among its conductors, else after its first point.
    """
    parent = list(range(len(harness.points)))

    def find(node: int) -> int:
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    ends = list(zip(harness.start.tolist(), harness.end.tolist(), harness.conducts.tolist(), strict=True))
    for start, end, conducts in ends:
        if conducts:
            a, b = find(start), find(end)
            parent[max(a, b)] = min(a, b)
    points: dict[int, list[int]] = {}
    for code in range(len(harness.points)):
        points.setdefault(find(code), []).append(code)
    conductors: dict[int, list[int]] = {root: [] for root in points}
    for index, (start, _, conducts) in enumerate(ends):
        if conducts:
            conductors[find(start)].append(index)
    nets = []
    for root, members in points.items():
        circuit = next((harness.wires[w].circuit for w in conductors[root] if harness.wires[w].circuit), "")
        nets.append(Net(circuit or harness.points[members[0]], tuple(members), tuple(conductors[root])))
    return tuple(nets)
