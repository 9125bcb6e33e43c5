"""Small looms written by hand, and faults put into them by name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

import numpy as np

from loomtest.harness.model import Harness, Kind, Wire, connector_of
from loomtest.readings.model import Readings
from tests.looms.faults import Fault, Loom, healthy_loom, wires_at
from tests.looms.measure import FourWire, Meter, measure, reachable_pairs

_KINDS: tuple[Kind, ...] = get_args(Kind)


def harness_of(text: str, cavities: Mapping[str, int] | None = None, **more: Any) -> Harness:
    """`from to [kind] [name=value ...]` a line or semicolon; wires are W1, W2 … of 1 mm² and 1 m.

    `cavities`: connector → how many are declared. `more`: other fields of Harness.
    """
    wires = []
    for row, line in enumerate(part for part in text.replace("\n", ";").split(";") if part.strip()):
        start, end, *rest = line.split()
        kind: Kind = next((word for word in _KINDS if word in rest), "wire")
        facts: dict[str, Any] = {"size_mm2": 1.0, "length_m": 1.0} if kind == "wire" else {}
        facts |= {name: _value(value) for name, _, value in (word.partition("=") for word in rest) if value}
        wires.append(Wire(facts.pop("wire", f"W{row + 1}"), start, end, kind=kind, row=row + 2, **facts))
    named = {name: tuple(str(n + 1) for n in range(count)) for name, count in (cavities or {}).items()}
    mentioned = [p for w in wires for p in (w.start, w.end)]
    declared = [f"{name}:{c}" for name, own in named.items() for c in own]
    points = tuple(dict.fromkeys([*mentioned, *declared]))
    return Harness("tiny", tuple(wires), points, cavities=named, **more)


def _value(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text


def loom_of(harness: Harness, *faults: Fault, seed: int = 0) -> Loom:
    """The loom with the faults; its copper is exactly as expected."""
    return healthy_loom(harness, np.random.default_rng(seed), spread=0.0).with_faults(faults)


def scan(loom: Loom, pairs: str = "", meter: Meter | None = None, seed: int = 0) -> Readings:
    """Readings of `A-B C-D …` (all reachable pairs where empty), four-wire by default."""
    code = {p: n for n, p in enumerate(loom.points)}
    asked = [pair.split("-") for pair in pairs.split()]
    codes = [(code[a], code[b]) for a, b in asked] if pairs else reachable_pairs(loom)
    return measure(loom, codes, np.random.default_rng(seed), meter or FourWire())


def _index(harness: Harness, wire: str) -> int:
    return next(n for n, w in enumerate(harness.wires) if w.name == wire)


def cut(harness: Harness, wire: str) -> Fault:
    """A broken wire or part."""
    w = _index(harness, wire)
    row = harness.wires[w]
    return Fault("open", f"cut {wire}", (row.start, row.end), (w,), cut=(w,))


def short(a: str, b: str, ohm: float = 0.1) -> Fault:
    """Copper where none should be."""
    return Fault("short", f"{ohm} ohm", (a, b), bridge=(a, b, ohm))


def leak(a: str, b: str, ohm: float = 2e4) -> Fault:
    """A wet connector."""
    return Fault("leakage", f"{ohm} ohm", (a, b), bridge=(a, b, ohm))


def joint(harness: Harness, wire: str, excess_ohm: float) -> Fault:
    """A bad joint in a wire of 1 mm² and 1 m."""
    w = _index(harness, wire)
    row = harness.wires[w]
    healthy = float(loom_of(harness).ohms[w])
    return Fault(
        "high-resistance", f"{excess_ohm}", (row.start, row.end), (w,), ohms={w: healthy + excess_ohm}
    )


def part_of(harness: Harness, part: str, ohm: float) -> Fault:
    """A part of another value."""
    w = _index(harness, part)
    row = harness.wires[w]
    return Fault("wrong-part", f"{ohm}", (row.start, row.end), (w,), ohms={w: ohm})


def moved(harness: Harness, moves: Mapping[str, str], wire: str = "") -> Fault:
    """Terminals where they do not belong; at a splice or ground only the end of `wire` moves."""
    ends = {}
    for point, target in moves.items():
        own = wires_at(harness, point)
        if not connector_of(point):
            own = [end for end in own if harness.wires[end[0]].name == wire]
        ends.update(dict.fromkeys(own, target))
    kind = "crossed" if set(moves) == set(moves.values()) else "misplaced"
    points = tuple(moves) if kind == "crossed" else (*moves, *moves.values())
    wires = tuple(sorted({w for w, _ in ends}))
    return Fault(kind, "moved", points, wires, moves=dict(moves), moved=ends)
