"""Random harnesses, built as a person would draw them: circuits, splices, grounds, fuses, parts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from loomtest.harness.model import Expect, Face, Harness, Limits, Wire

Rng = np.random.Generator
COLOURS = ("RD", "BK", "BU", "GN", "YE", "WH", "BN", "VT", "OG", "GY", "BKWH", "RDBU", "GNYE")
SIZES_MM2 = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0)
PARTS = ("lamp", "coil", "resistor", "diode")


@dataclass(frozen=True)
class Recipe:
    """What a random harness may hold. `listed`: share of wires whose size and length are written down."""

    wires: int = 24
    listed: float = 1.0
    loops: bool = True  # redundant grounds and doubled wires
    parts: bool = True
    fuses: bool = True
    unreachable: float = 0.5  # share of splices that are taped in
    shared_cavities: bool = True  # two wires in one cavity
    declared: float = 0.8  # share of connectors with their cavities declared
    amps: float = 0.0  # share of wires whose current is written down
    limits: Limits = field(default_factory=Limits)
    expect: Expect = field(default_factory=Expect)


@dataclass
class _Drawing:
    rng: Rng
    recipe: Recipe
    free: dict[str, list[str]] = field(default_factory=dict)
    rows: list[tuple[str, str, str, str]] = field(default_factory=list)  # start, end, kind, circuit
    splices: int = 0
    fuses: int = 0

    def cavity(self, other_than: str = "") -> str:
        """A free cavity in a random connector; a new connector when all are full."""
        names = [name for name, left in self.free.items() if left and name != other_than]
        if not names or (len(names) < 3 and self.rng.random() < 0.5):
            names = [self.connector()]
        name = names[int(self.rng.integers(len(names)))]
        left = self.free[name]
        place = 0 if self.rng.random() < 0.6 else int(self.rng.integers(len(left)))
        return f"{name}:{left.pop(place)}"

    def connector(self) -> str:
        name = f"X{len(self.free) + 1}"
        count = int(self.rng.choice([2, 3, 4, 6, 8, 12, 16, 24]))
        style = self.rng.random()
        if style < 0.8:
            self.free[name] = [str(i + 1) for i in range(count)]
        else:
            self.free[name] = [f"{'AB'[i % 2]}{i // 2 + 1}" for i in range(count)]
        return name

    def wire(self, start: str, end: str, circuit: str, kind: str = "wire") -> None:
        self.rows.append(
            (start, end, kind, circuit) if self.rng.random() < 0.5 else (end, start, kind, circuit)
        )

    def splice(self) -> str:
        self.splices += 1
        return f"SP{self.splices}"


def random_harness(rng: Rng, recipe: Recipe | None = None) -> Harness:
    """A harness with about `recipe.wires` conductors; the same generator state gives the same harness."""
    recipe = recipe or Recipe()
    drawing = _Drawing(rng, recipe)
    for _ in range(max(2, recipe.wires // 10)):
        drawing.connector()
    grounds = _ground_points(drawing)
    circuit = 0
    while len(drawing.rows) < recipe.wires:
        circuit += 1
        _circuit(drawing, f"circuit {circuit}", grounds, recipe.wires - len(drawing.rows))
    if recipe.loops and rng.random() < 0.6:
        _loops(drawing, grounds)
    if recipe.parts:
        _parts(drawing, grounds)
    return _finished(drawing)


def _ground_points(drawing: _Drawing) -> list[str]:
    count = 1 + int(drawing.rng.random() < 0.5)
    return [f"GND{i + 1}" for i in range(count)]


def _circuit(drawing: _Drawing, name: str, grounds: list[str], left: int) -> None:
    rng, shape = drawing.rng, drawing.rng.random()
    if shape < 0.42 or left < 3:
        start = drawing.cavity()
        drawing.wire(start, drawing.cavity(start.partition(":")[0]), name)
    elif shape < 0.58:  # a splice with legs
        splice = drawing.splice()
        for _ in range(min(left, int(rng.integers(3, 7)))):
            drawing.wire(splice, drawing.cavity(), name)
    elif shape < 0.66 and left >= 5:  # two splices in one net
        one, two = drawing.splice(), drawing.splice()
        drawing.wire(one, two, name)
        for splice in (one, one, two, two):
            drawing.wire(splice, drawing.cavity(), name)
    elif shape < 0.76:  # to ground
        ground = grounds[int(rng.integers(len(grounds)))]
        for _ in range(min(left, int(rng.integers(1, 5)))):
            drawing.wire(drawing.cavity(), ground, "ground" if rng.random() < 0.8 else "")
    elif shape < 0.88 and drawing.recipe.shared_cavities:  # a chain through cavities that hold two wires
        point = drawing.cavity()
        for _ in range(min(left, int(rng.integers(2, 5)))):
            following = drawing.cavity(point.partition(":")[0])
            drawing.wire(point, following, name)
            point = following
    elif drawing.recipe.fuses and left >= 2:
        drawing.fuses += 1
        holder = f"F{drawing.fuses}"
        feed = "BATT+" if rng.random() < 0.5 else drawing.cavity()
        drawing.wire(feed, f"{holder}:1", name)
        drawing.wire(f"{holder}:1", f"{holder}:2", name, "fuse")
        drawing.wire(f"{holder}:2", drawing.cavity(), name)
    else:
        drawing.wire(drawing.cavity(), drawing.cavity(), name)


def _loops(drawing: _Drawing, grounds: list[str]) -> None:
    """A second ground path, a ground link, a doubled wire: copper that is there twice."""
    rng = drawing.rng
    plain = [row for row in drawing.rows if row[2] == "wire"]
    if len(grounds) > 1 and any(g in row[:2] for row in plain for g in grounds):
        for _ in range(1 + int(rng.random() < 0.4)):
            drawing.wire(grounds[0], grounds[1], "ground")
    if rng.random() < 0.5:
        start, end, _, name = plain[int(rng.integers(len(plain)))]
        drawing.wire(start, end, name)
    to_ground = [row for row in plain if row[1] in grounds or row[0] in grounds]
    if to_ground and rng.random() < 0.5:
        start, end, _, name = to_ground[int(rng.integers(len(to_ground)))]
        near = end if start in grounds else start
        drawing.wire(near, grounds[int(rng.integers(len(grounds)))], name)


def _parts(drawing: _Drawing, grounds: list[str]) -> None:
    """Lamps, coils, resistors and diodes across what is there, most of them to a ground."""
    rng = drawing.rng
    net = {point: point for row in drawing.rows for point in row[:2]}

    def find(point: str) -> str:
        while net[point] != point:
            point = net[point]
        return point

    for start, end, _, _ in drawing.rows:
        net[find(start)] = find(end)
    points = sorted(point for point in net if ":" in point and not point.startswith("F"))
    used = sorted({g for g in grounds if g in net})
    for _ in range(int(rng.integers(0, 1 + max(1, drawing.recipe.wires // 8)))):
        start = points[int(rng.integers(len(points)))]
        far = used if used and rng.random() < 0.7 else points
        end = far[int(rng.integers(len(far)))]
        if find(start) == find(end):
            continue
        kind = PARTS[int(rng.choice(4, p=[0.4, 0.25, 0.2, 0.15]))]
        drawing.wire(start, end, "", kind)
        if kind == "coil" and rng.random() < 0.3:  # with its flyback diode
            drawing.wire(start, end, "", "diode")


def _finished(drawing: _Drawing) -> Harness:
    rng, recipe = drawing.rng, drawing.recipe
    rows = drawing.rows
    order = rng.permutation(len(rows)) if rng.random() < 0.5 else np.arange(len(rows))
    with_circuits, with_colours = rng.random() < 0.6, rng.random() < 0.7
    wires = []
    for row, index in enumerate(order):
        start, end, kind, circuit = rows[index]
        wires.append(
            _row(rng, recipe, row, (start, end, kind), circuit if with_circuits else "", with_colours)
        )
    mentioned = dict.fromkeys(point for wire in wires for point in (wire.start, wire.end))
    used = dict.fromkeys(point.partition(":")[0] for point in mentioned if ":" in point)
    cavities: dict[str, tuple[str, ...]] = {}
    for name in used:
        own = [point.partition(":")[2] for point in mentioned if point.startswith(name + ":")]
        if name in drawing.free and rng.random() < recipe.declared:
            own = sorted(
                own + drawing.free[name], key=lambda c: (c[:1] if c[:1].isalpha() else "", len(c), c)
            )
            cavities[name] = tuple(own)
    declared = [f"{name}:{c}" for name, own in cavities.items() for c in own]
    points = tuple(dict.fromkeys([*mentioned, *declared]))
    taped = frozenset(p for p in points if p.startswith("SP") and rng.random() < recipe.unreachable)
    return Harness(
        name=f"invented loom with {len(wires)} rows",
        wires=tuple(wires),
        points=points,
        unreachable=taped,
        worked_on=frozenset(name for name in used if rng.random() < 0.2),
        expect=recipe.expect,
        limits=recipe.limits,
        cavities=cavities,
        faces={name: Face() for name in cavities if rng.random() < 0.3},
    )


def _row(
    rng: Rng, recipe: Recipe, row: int, ends: tuple[str, str, str], circuit: str, with_colours: bool
) -> Wire:
    start, end, kind = ends
    known = kind == "wire" and rng.random() < recipe.listed
    size, length = float(rng.choice(SIZES_MM2)), round(float(rng.uniform(0.15, 3.0)), 2)
    low = high = None
    if kind not in ("wire", "fuse", "diode") and rng.random() < 0.7:
        middle = {"lamp": 3.0, "coil": 90.0, "resistor": 1000.0}[kind] * float(np.exp(rng.normal(0, 0.5)))
        low, high = float(f"{middle * 0.7:.3g}"), float(f"{middle * 1.4:.3g}")
    return Wire(
        name=f"W{row + 1}",
        start=start,
        end=end,
        kind=kind,
        colour=str(rng.choice(COLOURS)) if with_colours and kind == "wire" else "",
        size_mm2=size if known else None,
        length_m=length if known else None,
        ohms_min=low,
        ohms_max=high,
        amps=float(rng.choice([1.0, 3.0, 5.0, 10.0]))
        if kind == "wire" and rng.random() < recipe.amps
        else None,
        circuit=circuit,
        row=row + 2,
    )
