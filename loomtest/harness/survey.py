"""What a harness holds, told before anything is measured: nets, parts, splices, what is not known."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from loomtest.harness.model import Harness, connector_of

# Common practice: how people name a splice, and a ring or stud on the body.
_SPLICE = re.compile(r"sp(l|lice)?[\W_]?\w{0,3}|s\d+|joint.*|splice[\W_].*", re.IGNORECASE)
_GROUND_WORDS = ("gnd", "ground", "earth", "mass", "chassis", "neg")


@dataclass(frozen=True)
class Survey:
    """Counts and lists for `loomtest check`; names are in the order of the wire list."""

    wires: tuple[str, ...]
    parts: tuple[str, ...]
    connectors: tuple[str, ...]
    splices: tuple[str, ...]
    grounds: tuple[str, ...]
    empty_cavities: tuple[str, ...]
    unreachable: tuple[str, ...]
    without_size_or_length: tuple[str, ...]
    nets: tuple[int, ...]  # indices into `Harness.nets` of those with a wire or fuse
    loops: int  # wires beyond those that join each net: a second way round


def survey(harness: Harness) -> Survey:
    """Look over a harness; linear in wires and points."""
    ends = np.bincount(
        np.concatenate([harness.start[harness.conducts], harness.end[harness.conducts]]),
        minlength=len(harness.points),
    )
    touched = np.zeros(len(harness.points), dtype=np.bool_)
    touched[harness.start] = touched[harness.end] = True
    single = [code for code, point in enumerate(harness.points) if not connector_of(point)]
    grounds = [code for code in single if is_ground(harness.points[code])]
    splices = [code for code in single if ends[code] > 1 and _SPLICE.fullmatch(harness.points[code])]
    nets = tuple(index for index, net in enumerate(harness.nets) if net.conductors)
    bare = [code for code in range(len(harness.points)) if not ends[code]]
    return Survey(
        wires=tuple(wire.name for wire in harness.wires if wire.kind == "wire"),
        parts=tuple(wire.name for wire in harness.wires if wire.kind != "wire"),
        connectors=tuple(dict.fromkeys(name for point in harness.points if (name := connector_of(point)))),
        splices=tuple(harness.points[code] for code in splices),
        grounds=tuple(harness.points[code] for code in grounds),
        empty_cavities=tuple(harness.points[code] for code in bare if not touched[code]),
        unreachable=tuple(point for point in harness.points if point in harness.unreachable),
        without_size_or_length=tuple(
            wire.name
            for wire in harness.wires
            if wire.kind == "wire" and (wire.size_mm2 is None or wire.length_m is None)
        ),
        nets=nets,
        loops=sum(len(net.conductors) - len(net.points) + 1 for net in harness.nets),
    )


def is_ground(point: str) -> bool:
    """True for `GND2`, `Earth_left`, `NEG` and the like (common practice)."""
    return not connector_of(point) and point.casefold().startswith(_GROUND_WORDS)
