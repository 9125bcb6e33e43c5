"""Nets: the points that wires and fuses join."""

from __future__ import annotations

from loomtest.harness.forest import components
from loomtest.harness.model import Harness, Net


def nets_of(harness: Harness) -> tuple[Net, ...]:
    """Nets by union of wires and fuses, in order of their first point.

    A net is named after the first circuit named among its conductors, else after its first point.
    """
    ends = list(zip(harness.start.tolist(), harness.end.tolist(), harness.conducts.tolist(), strict=True))
    label = components(len(harness.points), ((start, end) for start, end, conducts in ends if conducts))
    points: dict[int, list[int]] = {}
    for code, first in enumerate(label):
        points.setdefault(first, []).append(code)
    conductors: dict[int, list[int]] = {first: [] for first in points}
    for index, (start, _, conducts) in enumerate(ends):
        if conducts:
            conductors[label[start]].append(index)
    nets = []
    for first, members in points.items():
        circuit = next((harness.wires[w].circuit for w in conductors[first] if harness.wires[w].circuit), "")
        nets.append(Net(circuit or harness.points[members[0]], tuple(members), tuple(conductors[first])))
    return tuple(nets)
