"""A loom as the simulated pin-scanner sees it: resistances between nodes, reduced to the pins.

Plain numbers only; which faults stand in a loom is `scanner_faults`' business, what the board makes of it
`scanner_analog`'s. firmware_notes/simulator/board.c is the same model for the real firmware.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from loomtest.harness.forest import components
from loomtest.harness.model import FloatArray


@dataclass(frozen=True)
class Parts:
    """Component values of one board, in volts, ohms, amperes, farads and converter codes.

    `noise`: standard deviation of one slow conversion, in codes; `inl`: amplitude of the converter's bend, in
    codes; `leak`, `mux_off`: from a pin to the middle of the supply; `capacitance`: of a pin with its wire.
    """

    ref_1k: float = 1000.0
    ref_10k: float = 10e3
    ref_100k: float = 100e3
    shunt: float = 20.0
    gain: float = 40.0
    current: float = 0.1
    amp_offset: float = 0.0
    noise: float = 0.7
    inl: float = 0.25
    leak: float = 1e9
    mux_off: float = 1e9
    mux_on: float = 70.0
    mux_spread: float = 20.0
    capacitance: float = 1e-9
    seed: float = 1.0


@dataclass(frozen=True)
class Network:
    """Nodes below `pins` are the scanner's pins; all count from 0.

    `resistors`: (node, node, ohms > 0); `sources`: (positive node, node, volts, ohms); `diodes`: (anode,
    cathode). Sources and diodes end at nodes below `kept`: pins, and inner nodes that come right after them.
    """

    pins: int
    kept: int
    nodes: int
    resistors: tuple[tuple[int, int, float], ...] = ()
    sources: tuple[tuple[int, int, float, float], ...] = ()
    diodes: tuple[tuple[int, int], ...] = ()
    parts: Parts = field(default_factory=Parts)

    def write(self, path: Path) -> None:
        """The text file that the simulated board of `firmware_notes/simulator` reads."""
        lines = [f"nodes {self.nodes} {self.kept}"]
        lines += [f"part {name} {value!r}" for name, value in vars(self.parts).items()]
        lines += [f"r {a} {b} {ohms!r}" for a, b, ohms in self.resistors]
        lines += [f"v {a} {b} {volts!r} {ohms!r}" for a, b, volts, ohms in self.sources]
        lines += [f"d {a} {b}" for a, b in self.diodes]
        path.write_text("\n".join(lines) + "\n", "utf-8")


def pin_impedance(network: Network) -> FloatArray:
    """(kept, kept) volts at one node per ampere into another, loom and leakage alone.

    Nodes are eliminated with conductances and leaks kept apart, so that nothing is ever subtracted and one
    milliohm beside one gigohm keeps its digits (the principle of Grassmann, Taksar and Heyman, Operations
    Research 33, 1985, for Markov chains).
    """
    n, kept = network.nodes, network.kept
    between = np.zeros((n, n))
    for a, b, ohms in network.resistors:
        between[a, b] += 1.0 / ohms
        between[b, a] += 1.0 / ohms
    leak = np.zeros(n)
    leak[:kept] = 1.0 / network.parts.leak
    total = np.zeros(n)
    for k in range(n - 1, -1, -1):
        row = between[k, :k].copy()
        total[k] = leak[k] + row.sum()
        near = np.flatnonzero(row)
        if len(near):
            share = row[near] / total[k]
            between[np.ix_(near, near)] += np.outer(share, row[near])
            leak[near] += share * leak[k]
            between[near, near] = 0.0
    z = np.zeros((kept, kept))
    for k in range(kept):
        weight = between[k, :k] / total[k]
        z[k, :k] = z[:k, k] = weight @ z[:k, :k]
        z[k, k] = 1.0 / total[k] + weight @ z[:k, k]
    return z


def pieces_of(network: Network) -> list[int]:
    """For every kept node, the number of the connected piece of the loom it belongs to."""
    edges = [(a, b) for a, b, _ in network.resistors]
    edges += [(a, b) for a, b, *_ in network.sources] + list(network.diodes)
    return components(network.nodes, edges)[: network.kept]
