"""Invented looms with branches, for the picture: of a tractor, of a launch, of 133 connectors."""

from __future__ import annotations

import random

from loomtest.harness.lie import Branch, Lie
from loomtest.harness.model import Face, Harness, Wire


def harness_of(name: str, wires: list[Wire], lie: Lie, **settings: object) -> Harness:
    points = tuple(dict.fromkeys(point for wire in wires for point in (wire.start, wire.end)))
    return Harness(name, tuple(wires), points, lie=lie, **settings)  # type: ignore[arg-type]


def tractor() -> Harness:
    """Ten connectors, rings and a splice on one trunk."""
    rows = [
        ("X1:1", "X2:1", "RD"), ("X1:2", "X3:1", "BU"), ("X1:3", "X3:2", "WH"), ("X1:4", "X4:1", "YE"),
        ("X1:5", "SP1", "BK"), ("SP1", "GND1", "BK"), ("SP1", "X5:2", "BK"), ("X5:1", "X1:6", "GN"),
        ("BATT+", "X2:2", "RD"), ("X4:2", "X6:1", "VT"), ("X6:2", "GND2", "BN"), ("X1:7", "X6:3", "OG"),
    ]  # fmt: skip
    wires = [Wire(f"W{i}", a, b, colour=c, size_mm2=1.0) for i, (a, b, c) in enumerate(rows, 1)]
    lie = Lie(
        tuple(
            Branch(a, b, m)
            for a, b, m in [
                ("X1", "J1", 0.35), ("J1", "J2", 0.6), ("J2", "SP1", 0.25), ("SP1", "J3", 0.4),
                ("J3", "X6", 0.3), ("J1", "X2", 0.3), ("J1", "BATT+", 0.45), ("J2", "X3", 0.5),
                ("J3", "X4", 0.35), ("SP1", "GND1", 0.2), ("J3", "J4", 0.3), ("J4", "X5", 0.25),
                ("J4", "GND2", 0.2),
            ]
        )
    )  # fmt: skip
    faces = {"X1": Face(2)}
    return harness_of("Orchard tractor, engine loom (invented)", wires, lie, faces=faces)


def ringed() -> Harness:
    """A launch's helm, with a ring and from coordinates."""
    wires = [Wire(f"W{i}", f"X{i}:1", f"X{(i * 3) % 8 + 1}:2") for i in range(1, 9)]
    branches = [Branch(f"J{i}", f"J{i % 6 + 1}", 0.8) for i in range(1, 7)]
    branches += [Branch(f"J{(i - 1) % 6 + 1}", f"X{i}", 0.3) for i in range(1, 9)]
    return harness_of("Fishing launch, ring main (invented)", wires, Lie(tuple(branches)))


def large(count: int = 133, seed: int = 3) -> Harness:
    """So many connectors, as a whole vehicle has."""
    rng = random.Random(seed)
    joints = [f"J{i}" for i in range(1, count // 3)]
    branches = [
        Branch(joints[max(0, i - rng.choice([1, 1, 1, 2, 5]))], joints[i], round(rng.uniform(0.15, 0.6), 2))
        for i in range(1, len(joints))
    ]
    names = [f"X{i}" if i % 7 else f"GND{i}" for i in range(1, count + 1)]
    branches += [Branch(rng.choice(joints), name, round(rng.uniform(0.08, 0.6), 2)) for name in names]
    wires = []
    for i in range(count * 3):
        a, b = rng.sample(names, 2)
        ends = [n if n.startswith("GND") else f"{n}:{rng.randint(1, 12)}" for n in (a, b)]
        wires.append(Wire(f"W{i}", *ends, size_mm2=0.75))
    return harness_of("Motorcycle of no make, whole loom (invented)", wires, Lie(tuple(branches)))
