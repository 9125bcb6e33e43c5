"""What was mended between two runs: which earlier readings it makes void.

[mended]                       # in run.toml of the run that follows
after = "before"               # the run whose findings were mended
wires = ["W7"]                 # readings through these wires
places = ["X4:1", "X4:2"]      # readings at these points
pairs = ["X1:3 X2:1"]          # readings between the circuits of these two points
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from loomtest.harness.forest import components
from loomtest.harness.model import BoolArray, Harness
from loomtest.readings.model import Readings


@dataclass(frozen=True, slots=True)
class Mended:
    """`wires` by name, `places` and `pairs` as points; `after`: the run that told of them."""

    after: str = ""
    wires: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    pairs: tuple[tuple[str, str], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.wires or self.places or self.pairs)

    def facts(self) -> dict[str, str | list[str]]:
        """The table as it stands in run.toml."""
        pairs = [" ".join(pair) for pair in self.pairs]
        return {"after": self.after, "wires": list(self.wires), "places": list(self.places), "pairs": pairs}


def mended_of(raw: Mapping[str, Any]) -> Mended:
    """The table `[mended]` of a run file; empty where there is none. What is no name is passed over."""
    table = raw.get("mended")
    if not isinstance(table, dict):
        return Mended()

    def names(key: str) -> tuple[str, ...]:
        value = table.get(key)
        return tuple(item for item in value if isinstance(item, str)) if isinstance(value, list) else ()

    pairs = [pair.split() for pair in names("pairs")]
    return Mended(
        after=str(table.get("after", "")),
        wires=names("wires"),
        places=names("places"),
        pairs=tuple((pair[0], pair[1]) for pair in pairs if len(pair) == 2),
    )


def void(readings: Readings, harness: Harness, mended: Mended) -> BoolArray:
    """(n,) True for earlier readings that say nothing any more: through, at or between what was mended."""
    code = {point: index for index, point in enumerate(readings.points)}
    net = np.append(harness.net_of, -1 - np.arange(len(readings.points) - len(harness.points)))
    out = np.zeros(len(readings), dtype=np.bool_)
    touched = np.zeros(len(readings.points), dtype=np.bool_)
    touched[[code[place] for place in mended.places if place in code]] = True
    out |= touched[readings.start] | touched[readings.end]
    same = net[readings.start] == net[readings.end]
    for name in mended.wires:
        index = next((i for i, wire in enumerate(harness.wires) if wire.name == name), None)
        if index is not None:
            out |= _through(readings, harness, net, index, same)
    sides = [(int(net[code[a]]), int(net[code[b]])) for a, b in mended.pairs if a in code and b in code]
    for a, b in sides:
        x, y = net[readings.start], net[readings.end]
        out |= ((x == a) & (y == b)) | ((x == b) & (y == a))
    for row, (with_start, with_end) in readings.bonded.items():
        one = {int(readings.start[row]), *with_start}
        other = {int(readings.end[row]), *with_end}
        nets = {int(net[c]) for c in one}, {int(net[c]) for c in other}
        between = any((a in nets[0] and b in nets[1]) or (b in nets[0] and a in nets[1]) for a, b in sides)
        out[row] |= between or bool(touched[sorted(one | other)].any())
    return out


def _through(readings: Readings, harness: Harness, net: np.ndarray, wire: int, same: BoolArray) -> BoolArray:
    """Readings through one wire or part; in a ring every reading of its circuit is."""
    start, end = int(harness.start[wire]), int(harness.end[wire])
    if not harness.wires[wire].conducts:
        ends = {int(net[start]), int(net[end])}
        x, y = net[readings.start], net[readings.end]
        return ~same & np.isin(x, list(ends)) & np.isin(y, list(ends))
    others = [
        (int(harness.start[w]), int(harness.end[w]))
        for w in harness.nets[int(harness.net_of[start])].conductors
        if w != wire
    ]
    label = np.array(components(len(net), others))
    own = same & (net[readings.start] == net[start])
    if label[start] == label[end]:
        return np.asarray(own, dtype=np.bool_)
    return np.asarray(own & (label[readings.start] != label[readings.end]), dtype=np.bool_)
