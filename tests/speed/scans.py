"""Invented looms of many pins and a full scan of each, written fast: what the large benchmarks read.

A loom of P pins: three quarters of them straight wires between two rows of connectors of 64 cavities, the
rest in combs of four pins (three wires that meet at cavities, no splice). The scan reads every pair of pins
once: ohms with noise where copper joins them, over-range elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

PINS_PER_CONNECTOR = 64
LIMITS = "[limits]\nbad_joint_milliohms = 500.0\n"


@dataclass(frozen=True)
class Scanned:
    """Files of one loom and one scan."""

    harness: Path
    readings: Path
    rows: int


@dataclass(frozen=True)
class Faults:
    """How many of each kind the scanned loom has."""

    opens: int = 0
    shorts: int = 0
    crossed: int = 0
    leaks: int = 0
    bad_joints: int = 0


HEALTHY = Faults()
FAULTY = Faults(opens=4, shorts=3, crossed=3, leaks=2, bad_joints=2)


def pin_names(pins: int) -> list[str]:
    """`X1:1` and on."""
    return [f"X{i // PINS_PER_CONNECTOR + 1}:{i % PINS_PER_CONNECTOR + 1}" for i in range(pins)]


def wires_of(pins: int) -> np.ndarray:
    """(W, 2) pins that each wire joins."""
    half = pins * 3 // 8
    straight = np.stack([np.arange(half), np.arange(half) + half], axis=1)
    combs = np.arange(2 * half, pins).reshape(-1, 4)
    chains = [combs[:, [k, k + 1]] for k in range(3)]
    return np.concatenate([straight, *chains])


def write_loom(folder: Path, pins: int) -> Path:
    """A harness folder; every wire has a size and a length."""
    folder.mkdir(parents=True, exist_ok=True)
    names = pin_names(pins)
    rows = [f"{names[a]},{names[b]},1,{1 + (a % 20) / 10:g}" for a, b in wires_of(pins).tolist()]
    (folder / "wires.csv").write_text("from,to,size,length\n" + "\n".join(rows) + "\n", encoding="utf-8")
    (folder / "harness.toml").write_text('wires = "wires.csv"\n' + LIMITS, encoding="utf-8")
    return folder


def write_scan(folder: Path, pins: int, faults: Faults = HEALTHY, kind: str = "analog") -> Scanned:
    """A loom and its scan. `kind`: analog (ohms, OL), beeps (continuity, yes and no), or megohms (every
    pair that is apart shows a number of its own, as an insulation tester does)."""
    rng = np.random.default_rng(pins)
    harness = write_loom(folder / "loom", pins)
    ohm = _matrix(pins, faults)
    a, b = np.triu_indices(pins, 1)
    value = ohm[a, b]
    joined = np.isfinite(value)
    if kind == "beeps":
        words = np.where(joined & (value < 1000), "yes", "no").astype(object)
    else:
        words = np.full(len(a), "OL", dtype=object)
        noisy = np.maximum(value[joined] + rng.normal(0, 0.002, int(joined.sum())), 0.0)
        words[joined] = [f"{v:.3f}" for v in noisy.tolist()]
        if kind == "megohms":
            words[~joined] = [f"{v:.4g}" for v in rng.uniform(2e7, 9e9, int((~joined).sum())).tolist()]
    names = pin_names(pins)
    quantity = {"beeps": ",continuity", "analog": "", "megohms": ""}[kind]
    path = folder / f"{kind}.csv"
    with path.open("w", encoding="utf-8") as stream:
        stream.write("from,to,value,quantity\n" if quantity else "from,to,value\n")
        for pin in range(pins):
            begin = pin * pins - pin * (pin + 1) // 2
            row = words[begin : begin + pins - pin - 1].tolist()
            stream.write(
                "".join(
                    f"{names[pin]},{name},{word}{quantity}\n"
                    for name, word in zip(names[pin + 1 :], row, strict=True)
                )
            )
    return Scanned(harness, path, len(a))


def placed(pins: int, faults: Faults) -> dict[str, list[list[int]]]:
    """The straight wires (rows of the wire list, from 0) that each fault has to do with, each in one only."""
    left = np.random.default_rng(pins).permutation(pins * 3 // 8).tolist()
    wanted = {
        "crossed": (faults.crossed, 2),
        "open": (faults.opens, 1),
        "high-resistance": (faults.bad_joints, 1),
        "short": (faults.shorts, 2),
        "leakage": (faults.leaks, 2),
    }
    return {
        kind: [[left.pop() for _ in range(of)] for _ in range(count)] for kind, (count, of) in wanted.items()
    }


def _matrix(pins: int, faults: Faults) -> np.ndarray:
    """(P, P) ohms between all pins of the loom as it really is; inf where nothing joins them."""
    ends = wires_of(pins)
    own = 0.0172 * 1.05 * (1 + (ends[:, 0] % 20) / 10) + 0.004
    far = ends[:, 1].copy()
    joined = np.ones(len(ends), dtype=np.bool_)
    made = placed(pins, faults)
    for one, other in made["crossed"]:
        far[one], far[other] = far[other], far[one]
    joined[[wire for (wire,) in made["open"]]] = False
    own[[wire for (wire,) in made["high-resistance"]]] += 5.0
    links = [(*pair, ohm) for kind, ohm in (("short", 0.05), ("leakage", 2e4)) for pair in made[kind]]
    edges = [*zip(ends[joined, 0].tolist(), far[joined].tolist(), own[joined].tolist(), strict=True), *links]
    neighbours: dict[int, list[tuple[int, float]]] = {}
    for p, q, r in edges:
        neighbours.setdefault(p, []).append((q, r))
        neighbours.setdefault(q, []).append((p, r))
    out = np.full((pins, pins), np.inf)
    for pin in range(pins):  # trees throughout: the way through is the resistance
        reached, todo = {pin: 0.0}, [pin]
        while todo:
            here = todo.pop()
            for there, r in neighbours.get(here, ()):
                if there not in reached:
                    reached[there] = reached[here] + r
                    todo.append(there)
        out[pin, list(reached)] = list(reached.values())
    return out
