"""The same loom judged from exact readings and through firmware, port and driver: do the verdicts agree?

    python -m tests.firmware.verdicts [--count 100] [--pins 64] [--seed 1] [--python]

draws random harnesses with one to three random faults, loads each into the simulated board, scans it with
the real driver, records a run folder, and compares the faults of the two verdicts. `--python` uses the
rehearsal board in place of the firmware.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import serial

from loomtest.bench.rehearsal.board import Board, RehearsalPort
from loomtest.bench.rehearsal.faults import TrueLoom
from loomtest.bench.rehearsal.network import Network, Parts
from loomtest.bench.rehearsal.scanner import calibrate, network_of
from loomtest.bench.scanner.driver import BAUD, Scanner
from loomtest.bench.scanner.run import instrument_of, now, ready, record_scan
from loomtest.bench.scanner.sockets import Sockets, proposed
from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.model import Instrument, Quantity, Readings
from loomtest.readings.run import About, create_run
from loomtest.words.verdict import judge
from tests.firmware.simulated import SILENCE_S, board
from tests.looms.faults import Loom
from tests.looms.generate import Recipe
from tests.looms.scenario import Order, draw

FAULTS = ("open", "short", "crossed", "misplaced", "high-resistance")
KINDS = ("open", "short", "crossed", "misplaced", "joint")
# What the board states: a bad joint is one of 20 mΩ excess and more, a short lies below 100 Ω.
PARTS = Parts(ref_1k=1004.0, ref_10k=9968.0, ref_100k=100.4e3, gain=39.91, current=0.0992, amp_offset=2e-5)


@dataclass(frozen=True)
class Compared:
    """One harness: what each way said."""

    agree: bool
    exact: frozenset[tuple[str, ...]]
    scanned: frozenset[tuple[str, ...]]
    scan_seconds: float = 0.0


def drawn(rng: np.random.Generator, pins: int, faults: int) -> Loom:
    """A random faulty loom that fills the board well, diodes left to their own test."""
    order = Order(faults, KINDS, wires=(pins // 3, pins // 2), recipe=Recipe(unreachable=0.4))
    while True:
        loom = draw(rng, order)
        reachable = [p for p in loom.harness.points if p not in loom.harness.unreachable]
        known = len(loom.points) == len(loom.harness.points)
        if pins // 2 <= len(reachable) <= pins and known:
            return loom


def true_loom_of(loom: Loom) -> TrueLoom:
    """The drawn copper in the form of the rehearsal."""
    names = loom.points
    edges = tuple((names[a], names[b], max(ohms, 1e-6)) for a, b, ohms in loom.edges() if a != b)
    turned = {w for fault in loom.faults for w in fault.reversed}
    diodes = [
        (ends[1], ends[0]) if w in turned else (ends[0], ends[1])
        for w, ends in enumerate(loom.ends())
        if math.isnan(loom.ohms[w])
    ]
    return TrueLoom(names, edges, edges, tuple(diodes))


def exact_readings(loom: Loom, sockets: Sockets) -> Readings:
    """Every pair of plugged points both ways, to a tenth of a millohm, over-range above 4 MΩ."""
    code = {p: i for i, p in enumerate(loom.points)}
    plugged = [code[s.point] for s in sockets.rows]
    pairs = [(a, b) for a in plugged for b in plugged if a != b]
    start, end = np.array(pairs).T
    value = loom.matrix()[start, end]
    over = value > 4e6
    nan = np.full(len(pairs), math.nan)
    return Readings(
        points=loom.points,
        start=start,
        end=end,
        quantity=np.full(len(pairs), int(Quantity.RESISTANCE_4W)),
        value=np.where(over, math.inf, value),
        above_ohm=np.where(over, 4e6, math.nan),
        current_a=nan,
        uncertainty=np.where(over, math.nan, 1e-4 + 1e-4 * np.where(over, 0.0, value)),
        temperature_c=nan,
        row=np.arange(len(pairs)) + 2,
    )


@contextmanager
def scanner_on(network: Network, python: bool, times: Path | None = None) -> Iterator[Scanner]:
    """A calibrated board on the network: the real firmware on a simulated chip, or the rehearsal's."""
    if python:
        rehearsed = Board(network)
        calibrate(rehearsed, network.parts)
        yield Scanner(RehearsalPort(rehearsed))
        return
    with board(network, times=times) as name, serial.Serial(name, BAUD, timeout=0.05) as port:
        yield Scanner(port, silence_s=SILENCE_S)


def scanned_verdict(loom: Loom, sockets: Sockets, pins: int, python: bool) -> tuple[Verdict, float]:
    """The verdict from a run folder that the driver recorded, and the simulated seconds of the scan."""
    network = network_of(true_loom_of(loom), sockets, pins, PARTS)
    with tempfile.TemporaryDirectory() as folder:
        times = Path(folder) / "times"
        with scanner_on(network, python, times) as scanner:
            budget = ready(scanner, sockets)
            about = About(instrument=instrument_of(scanner, budget))
            with create_run(Path(folder) / "run", loom.harness, about, clock=now) as writer:
                for _ in record_scan(scanner, sockets, budget, writer, done=frozenset()):
                    pass
        readings = load_readings(Path(folder) / "run", loom.harness)
        seconds = _scan_seconds(times, pins) if not python else 0.0
    return judge(loom.harness, readings), seconds


def _scan_seconds(times: Path, pins: int) -> float:
    """Simulated seconds from the request of the longest answer, the scan, to its last line."""
    longest, asked, answered, lines = 0.0, 0.0, 0.0, 0
    for line in [*times.read_text().splitlines(), "< 0 0"]:
        who, at, _ = line.split()
        if who == "<":
            longest = answered - asked if lines > pins else longest
            asked, lines = float(at), 0
        else:
            answered, lines = float(at), lines + 1
    return longest


def faults_of(verdict: Verdict, harness: Harness) -> frozenset[tuple[str, ...]]:
    """Opens, shorts, crossings and bad joints: the kind, and what identifies the fault.

    That is the suspects of an open or a bad joint, the cavities of a crossing, and the two nets of a short
    (its `points` are only the likeliest place between them).
    """
    return frozenset(_key(f, harness) for f in verdict.findings if f.fault in FAULTS)


def _key(finding: Finding, harness: Harness) -> tuple[str, ...]:
    if finding.fault in ("open", "high-resistance"):
        return (finding.fault, *sorted(s.wire for s in finding.suspects))
    if finding.fault == "short":
        nets = {harness.nets[harness.net_of[harness.code_of[point]]].points[0] for point in finding.points}
        return (finding.fault, *sorted(harness.points[code] for code in nets))
    return (finding.fault, *sorted(finding.points))


def compare(loom: Loom, pins: int, python: bool = False) -> Compared:
    """Both verdicts on one loom."""
    sockets = proposed(loom.harness, pins)
    exact = faults_of(judge(loom.harness, exact_readings(loom, sockets), _exact_meter()), loom.harness)
    verdict, seconds = scanned_verdict(loom, sockets, pins, python)
    found = faults_of(verdict, loom.harness)
    return Compared(exact == found, exact, found, seconds)


def _exact_meter() -> Instrument:
    return Instrument("exact", method="four-wire", autorange=True, lead_ohms=0.0, open_above_ohms=4e6)


def main() -> None:
    """The whole count, printed."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--count", type=int, default=100)
    options.add_argument("--first", type=int, default=0, help="number of the first harness")
    options.add_argument("--pins", type=int, default=64)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--python", action="store_true")
    chosen = options.parse_args()
    agreed, slowest = 0, 0.0
    for number in range(chosen.first, chosen.first + chosen.count):
        rng = np.random.default_rng([chosen.seed, number])
        loom = drawn(rng, chosen.pins, 1 + number % 3)
        found = compare(loom, chosen.pins, chosen.python)
        agreed += found.agree
        slowest = max(slowest, found.scan_seconds)
        print(f"{number}: {'equal' if found.agree else 'different'}, {found.scan_seconds:.2f} s", flush=True)
        if not found.agree:
            made = [f"{f.fault} {f.detail}" for f in loom.faults]
            print(f"{number}: made {made}\n  exact only {sorted(found.exact - found.scanned)}")
            print(f"  scanned only {sorted(found.scanned - found.exact)}", flush=True)
    print(f"{agreed} of {chosen.count} verdicts equal; slowest scan {slowest:.2f} s of simulated time")


if __name__ == "__main__":
    main()
