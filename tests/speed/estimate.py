"""How the network estimate grows, and what peers take for the same numbers: `python -m tests.speed estimate`.

Nets of five wires on a splice, from 100 to 100,000 wires, every pair of legs read four-wire once. The peers:
scipy and networkx for what is joined, networkx and ngspice for the resistance between two points of one net.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import networkx as nx
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from loomtest.diagnosis.joints.report import estimate
from loomtest.diagnosis.numbers.network import component_labels, effective_resistance
from loomtest.diagnosis.wiring import as_drawn
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Harness
from loomtest.readings.instrument import load_instrument
from loomtest.readings.model import Quantity, Readings
from tests.speed.joints import NOISE_OHM, meshed, seconds, stars

LEGS = 5


def readings_of(harness: Harness, nets: int, rng: np.random.Generator) -> Readings:
    """Each two legs of each star, one wire in a hundred with a bad joint."""
    expected = expectation_of(harness)
    ohm = np.abs(expected.expected_ohm + rng.normal(0, expected.spread_ohm))
    ohm += np.where(rng.random(len(ohm)) < 0.01, np.exp(rng.uniform(np.log(0.02), 0, len(ohm))), 0)
    legs, ohm = harness.start.reshape(nets, LEGS), ohm.reshape(nets, LEGS)
    a, b = np.triu_indices(LEGS, 1)
    true = (ohm[:, a] + ohm[:, b]).ravel()
    n, nan = len(true), np.full(len(true), np.nan)
    kind = np.full(n, Quantity.RESISTANCE_4W, dtype=np.int64)
    value, noise = true + rng.normal(0, NOISE_OHM, n), np.full(n, NOISE_OHM)
    ends = legs[:, a].ravel(), legs[:, b].ravel()
    return Readings(harness.points, *ends, kind, value, nan, nan, noise, nan, np.arange(n) + 2)


def main() -> None:
    """Print the growth, then the peers."""
    rng = np.random.default_rng(1)
    meter = load_instrument("bench-four-wire")
    print("estimate of every joint, growth with the wires")
    print(f"{'  wires':<12}{'readings':>10}{'seconds':>10}{'us a wire':>12}")
    for nets in (20, 200, 2_000, 20_000):
        harness = stars(nets, LEGS)
        readings, expectation = readings_of(harness, nets, rng), expectation_of(harness)
        harness.net_of  # noqa: B018  (of the harness, and found once)
        took = seconds(lambda h=harness, r=readings, e=expectation: estimate(h, as_drawn(h), r, meter, e))
        wires = len(harness.wires)
        print(f"  {wires:<10,}{len(readings):>10,}{took:>10.3f}{took / wires * 1e6:>12.1f}", flush=True)
    _joined(rng)
    _one_net(rng)


def _joined(rng: np.random.Generator) -> None:
    points, wires = 100_000, 90_000
    a, b = rng.integers(0, points, (2, wires))
    graph = nx.Graph()
    graph.add_nodes_from(range(points))
    graph.add_edges_from(zip(a.tolist(), b.tolist(), strict=True))
    edges = coo_array((np.ones(wires), (a, b)), shape=(points, points))
    ours = seconds(lambda: component_labels(points, a, b))
    print(f"what {wires:,} wires join among {points:,} points (processor time)")
    for name, took in (
        ("loomtest", ours),
        ("scipy", seconds(lambda: connected_components(edges, directed=False))),
        ("networkx", seconds(lambda: list(nx.connected_components(graph)))),
    ):
        print(f"  {name:<12}{took * 1e3:>10.1f} ms {took / ours:>8.2f} x")


def _one_net(rng: np.random.Generator) -> None:
    for wires in (50, 400):
        harness = meshed(wires, wires // 4, rng)
        ohm = rng.uniform(0.01, 0.1, wires)
        last = len(harness.points) - 1
        graph = nx.Graph()
        for a, b, r in zip(harness.start.tolist(), harness.end.tolist(), ohm.tolist(), strict=True):
            siemens = graph.edges[a, b]["weight"] if graph.has_edge(a, b) else 0.0
            graph.add_edge(a, b, weight=siemens + 1 / r)
        size = last + 1
        ends = harness.start, harness.end
        tasks: dict[str, Callable[[], float]] = {
            "loomtest": lambda s=size, e=ends, r=ohm, z=last: float(
                effective_resistance(s, *e, r, [0], [z]).resistance_ohm[0]
            ),
            "networkx": lambda g=graph, z=last: float(nx.resistance_distance(g, 0, z, "weight", False)),
        }
        print(f"resistance between two points of one net of {wires} wires (loomtest: its sensitivity too)")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = {name: (task(), seconds(task)) for name, task in tasks.items()}
        if shutil.which("ngspice"):
            found["ngspice"] = _ngspice(harness, ohm, last)
        for name, (value, took) in found.items():
            ratio = took / found["loomtest"][1]
            print(f"  {name:<12}{took * 1e3:>10.2f} ms {ratio:>8.2f} x   {value * 1e3:.4f} mohm")


def _ngspice(harness: Harness, ohm: np.ndarray, last: int) -> tuple[float, float]:
    """(volts for one ampere, wall seconds): a process of its own, start included."""
    lines = [
        f"R{n} n{a} {'0' if b == last else f'n{b}'} {r!r}" if a != last else f"R{n} 0 n{b} {r!r}"
        for n, (a, b, r) in enumerate(
            zip(harness.start.tolist(), harness.end.tolist(), ohm.tolist(), strict=True)
        )
    ]
    deck = "\n".join(["net", *lines, "I1 0 n0 1", ".control", "op", "print v(n0)", "quit", ".endc", ".end"])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "net.cir"
        path.write_text(deck + "\n", encoding="ascii")
        best, said = float("inf"), ""
        for _ in range(3):
            began = time.perf_counter()
            done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, check=False)
            best, said = min(best, time.perf_counter() - began), done.stdout
    value = next(line for line in said.splitlines() if line.startswith("v(n0)"))
    return float(value.split("=")[1]), best


if __name__ == "__main__":
    main()
