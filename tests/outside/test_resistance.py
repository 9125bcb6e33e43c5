"""Effective resistances against ngspice, networkx, closed forms; sensitivities against finite differences."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import networkx as nx
import numpy as np
import pytest

from loomtest.diagnosis.numbers.network import effective_resistance
from loomtest.harness.model import FloatArray

Network = tuple[int, np.ndarray, np.ndarray, FloatArray]


def random_network(rng: np.random.Generator, points: int, loops: int) -> Network:
    """A connected network of milliohm wires: a random tree, then `loops` further wires."""
    start = [int(rng.integers(i)) for i in range(1, points)]
    end = list(range(1, points))
    while len(start) < points - 1 + loops:
        a, b = rng.choice(points, 2, replace=False)
        start.append(int(a))
        end.append(int(b))
    ohm = np.exp(rng.uniform(np.log(2e-3), np.log(2.0), len(start)))
    return points, np.array(start), np.array(end), ohm


def spice(network: Network, a: int, b: int, folder: Path) -> float:
    """Volts across the pair for one ampere: ngspice's operating point."""
    _, start, end, ohm = network
    lines = [
        "loom",
        *(f"R{k} n{s} n{e} {float(r)!r}" for k, (s, e, r) in enumerate(zip(start, end, ohm, strict=True))),
    ]
    lines = [re.sub(rf"\bn{b}\b", "0", line) for line in lines]
    lines += [
        f"I1 0 n{a} DC 1",
        ".control",
        "set numdgt=16",
        "op",
        f"print v(n{a})",
        "quit 0",
        ".endc",
        ".end",
    ]
    deck = folder / "loom.cir"
    deck.write_text("\n".join(lines) + "\n", "ascii")
    out = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, check=True, timeout=60)
    found = re.search(rf"v\(n{a}\) = ([-+0-9.e]+)", out.stdout)
    assert found, out.stdout
    return float(found.group(1))


def test_ngspice_is_installed() -> None:
    """The system package `ngspice` is needed by this file; `.ci/run` installs it."""
    assert shutil.which("ngspice")


@pytest.mark.parametrize("seed", range(12))
def test_operating_point_of_ngspice(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(seed)
    network = random_network(rng, int(rng.integers(2, 25)), int(rng.integers(0, 9)))
    if seed % 3 == 0:  # a bad joint and a lamp across the net
        network[3][0] += 3.0
        network[3][-1] = 12.0
    a, b = (int(p) for p in rng.choice(network[0], 2, replace=False))
    ours = effective_resistance(*network, [a], [b]).resistance_ohm[0]
    assert ours == pytest.approx(spice(network, a, b, tmp_path), rel=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_networkx_resistance_distance(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    points, start, end, ohm = random_network(rng, 12, 6)
    graph = nx.Graph()
    for s, e, r in zip(
        start.tolist(), end.tolist(), ohm.tolist(), strict=True
    ):  # parallel wires: conductances add
        g = 1 / r + (1 / graph[s][e]["r"] if graph.has_edge(s, e) else 0.0)
        graph.add_edge(s, e, r=1 / g)
    a, b = np.triu_indices(points, 1)
    ours = effective_resistance(points, start, end, ohm, a, b).resistance_ohm
    theirs = nx.resistance_distance(graph, weight="r", invert_weight=True)
    assert ours == pytest.approx([theirs[int(i)][int(j)] for i, j in zip(a, b, strict=True)], rel=1e-9)


def test_star() -> None:
    r = np.array([0.01, 0.02, 0.03, 0.04])
    found = effective_resistance(5, [0, 0, 0, 0], [1, 2, 3, 4], r, [1, 2, 0], [2, 4, 3])
    assert found.resistance_ohm == pytest.approx([0.03, 0.06, 0.03], rel=1e-12)
    assert found.sensitivity == pytest.approx(np.array([[1, 1, 0, 0], [0, 1, 0, 1], [0, 0, 1, 0]]), abs=1e-12)


def test_ladder_of_unit_resistors_gives_fibonacci_numbers() -> None:
    """n sections of series 1 Ω and shunt 1 Ω: R = F(2n+1)/F(2n), 2, 5/3, 13/8, … (classical)."""
    for sections, expected in ((1, 2.0), (2, 5 / 3), (3, 13 / 8), (4, 34 / 21)):
        start, end = [], []
        for k in range(sections):
            start += [k, k + 1]
            end += [k + 1, sections + 1]
        found = effective_resistance(sections + 2, start, end, np.ones(2 * sections), [0], [sections + 1])
        assert found.resistance_ohm[0] == pytest.approx(expected, rel=1e-12)


def test_wheatstone_bridge() -> None:
    """Balanced: the bridge wire carries nothing. Unbalanced: the closed form by mesh currents."""
    start, end = [0, 0, 1, 2, 1], [1, 2, 3, 3, 2]
    balanced = effective_resistance(4, start, end, [1.0, 2.0, 3.0, 6.0, 5.0], [0], [3])
    assert balanced.resistance_ohm[0] == pytest.approx(4 * 8 / 12, rel=1e-12)
    assert balanced.sensitivity[0, 4] == pytest.approx(0.0, abs=1e-12)
    r1, r2, r3, r4, r5 = 1.0, 4.0, 2.0, 3.0, 5.0
    top = r5 * (r1 + r3) * (r2 + r4) + r1 * r3 * (r2 + r4) + r2 * r4 * (r1 + r3)
    bottom = r5 * (r1 + r2 + r3 + r4) + (r1 + r2) * (r3 + r4)
    found = effective_resistance(4, start, end, [r1, r2, r3, r4, r5], [0], [3])
    assert found.resistance_ohm[0] == pytest.approx(top / bottom, rel=1e-12)


def test_ring() -> None:
    n = 7
    ring = np.arange(n)
    found = effective_resistance(n, ring, (ring + 1) % n, np.full(n, 0.01), np.zeros(n, dtype=int), ring)
    assert found.resistance_ohm == pytest.approx(
        [0.01 * k * (n - k) / n for k in range(n)], rel=1e-12, abs=1e-15
    )


@pytest.mark.parametrize("seed", range(5))
def test_sensitivities_are_the_derivatives(seed: int) -> None:
    rng = np.random.default_rng(200 + seed)
    points, start, end, ohm = random_network(rng, 10, 4)
    a, b = np.triu_indices(points, 1)
    exact = effective_resistance(points, start, end, ohm, a, b).sensitivity
    for wire in range(ohm.size):
        step = 1e-5 * ohm[wire]
        up, down = ohm.copy(), ohm.copy()
        up[wire] += step
        down[wire] -= step
        rise = effective_resistance(points, start, end, up, a, b).resistance_ohm
        fall = effective_resistance(points, start, end, down, a, b).resistance_ohm
        assert exact[:, wire] == pytest.approx((rise - fall) / (2 * step), abs=2e-6)


def test_zero_ohms_and_missing_paths_have_plain_answers() -> None:
    found = effective_resistance(
        6, [0, 1, 2, 4], [1, 2, 3, 5], [0.0, 0.5, np.inf, 0.0], [0, 0, 0, 4, 4, 2], [0, 1, 2, 5, 0, 3]
    )
    assert found.resistance_ohm.tolist() == [0.0, 0.0, 0.5, 0.0, np.inf, np.inf]
    assert found.sensitivity[2].tolist() == [0.0, 1.0, 0.0, 0.0]
    assert not found.sensitivity[4].any()


def test_a_negative_resistance_is_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        effective_resistance(2, [0], [1], [-1.0], [0], [1])
