"""How near a place is told, and how often its interval holds: `python -m tests.scores.place [--faults N]`.

Shorts between two wires that run together, read from both ends by millivolts (0.1 mV, 1.5 A): lengths known
to 3 % with half of the variance common to both wires, copper to 4 %, conductors to 5 K, joints of 2 ± 1.5 mΩ
cut off at zero at each end, wires of 1 to 4 m. `best` is the Cramér-Rao bound of an unbiased estimate with
all of it Gaussian, as the median error of a normal distribution; near a wire's end an estimate that knows
the wire to end there can be nearer.

Breaks in wires of 1 to 4 m by a meter of 1 % + 5 pF (half-widths, JCGM 100:2008 4.3.7), 35 to 90 pF a metre,
which swings by a quarter over 0.25 m along the wire; a whole wire beside it. `best` is the bound again, of
the place, the farads a metre and the length, with the swing's covariance among the readings' own.

The branched loom is that of `place_branched`: which leg, and where on it.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from loomtest.diagnosis.place.breaks import STRETCH_M, SWING, Piece, place_break
from loomtest.diagnosis.place.legs import Legs
from loomtest.diagnosis.place.shorts import Drawn, place_short
from loomtest.harness.copper import expectation_of
from loomtest.harness.load import load_harness
from loomtest.harness.model import FloatArray, Harness
from tests.scores.place_branched import LEGS, Branched, branched_break, swung

LIMITS_CM = {0.5: (3, 12), 1.0: (4, 14), 1.5: (5, 16), 2.5: (7, 22)}
BREAK_LIMITS_CM = (8, 30)
NOISE_OHM = 1e-4 / 1.5


@dataclass
class Told:
    """Errors in metres, whether the interval held, and the best spread there could be."""

    error: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    best: list[float] = field(default_factory=list)
    asked: int = 0
    wrong_wire: int | None = None

    def add(self, told: float, interval: tuple[float, float], true: float) -> None:
        self.error.append(abs(told - true))
        self.held.append(interval[0] <= true <= interval[1])

    def line(self, name: str, limits: tuple[float, float]) -> str:
        error = np.array(self.error) * 100
        text = f"{name:9s} median {np.median(error):5.1f} cm (≤ {limits[0]})"
        text += f"   95 % {np.quantile(error, 0.95):5.1f} cm (≤ {limits[1]})"
        text += f"   interval holds {np.mean(self.held):6.1%}   told {len(error)} of {self.asked}"
        if self.wrong_wire is not None:
            text += f"   wrong leg {self.wrong_wire}"
        if self.best:
            text += f"   best median {0.6745 * 100 * float(np.median(self.best)):4.1f} cm"
        return text


def joints(rng: np.random.Generator, count: int) -> FloatArray:
    """Healthy joints in ohms: normal, cut off at zero."""
    out = rng.normal(2e-3, 1.5e-3, count)
    while (out < 0).any():
        out = np.where(out < 0, rng.normal(2e-3, 1.5e-3, count), out)
    return np.asarray(out, dtype=np.float64)


def pair_of_wires(size: float, length: float) -> Harness:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "wires.csv"
        rows = [f"X1:{k},X2:{k},{size},{length!r}" for k in (1, 2)]
        path.write_text("\n".join(["from,to,size,length", *rows]) + "\n")
        return load_harness(path)


def one_short(rng: np.random.Generator, size: float, told: Told, noise_ohm: float = NOISE_OHM) -> None:
    """One simulated short, judged."""
    length = float(rng.uniform(1, 4))
    harness = pair_of_wires(size, length)
    common, own = rng.normal(0, 0.03 * math.sqrt(0.5)), rng.normal(0, 0.03 * math.sqrt(0.5), 2)
    true_m = length * (1 + common + own)
    warm = 1 + rng.normal(0, 5.0) / 254.5
    copper = 1.05 * 0.017241 / size * true_m * (1 + rng.normal(0, 0.04, 2)) * warm
    at, ends = float(rng.uniform()), joints(rng, 4).reshape(2, 2)
    codes = [[harness.code_of[f"X{end}:{wire}"] for end in (1, 2)] for wire in (1, 2)]
    legs = [Legs({wire: (codes[wire][0], codes[wire][1])}, frozenset(codes[wire])) for wire in (0, 1)]
    ohm = np.array([[at * copper[w] + ends[w, 0], (1 - at) * copper[w] + ends[w, 1]] for w in (0, 1)]).ravel()
    drawn = Drawn(
        kind=("drop",) * 4,
        start=(codes[0][0], codes[0][1], codes[1][0], codes[1][1]),
        end=(codes[0][1], codes[0][0], codes[1][1], codes[1][0]),
        ohm=ohm + rng.normal(0, noise_ohm, 4),
        cov=np.eye(4) * noise_ohm**2,
    )
    told.asked += 1
    found = place_short(harness, expectation_of(harness), (legs[0], legs[1]), drawn)
    if not found.fits or not found.both:
        return
    place = found.places[0]
    assert place.metres is not None
    assert place.interval_metres is not None
    told.add(place.metres, place.interval_metres, float(at * true_m[0]))
    told.best.append(best_spread(size, length, at, noise_ohm))


def best_spread(size: float, length: float, at: float, noise_ohm: float) -> float:
    """Standard deviation in metres of the best unbiased estimate, by the information in readings and
    beforehand; unknowns: the share, length errors (common, own two), copper (two), warmth, joints (four)."""
    r = 1.05 * 0.017241 / size * length
    joint_sd = float(np.std(joints(np.random.default_rng(0), 20_000)))
    prior = np.array([0.03 * math.sqrt(0.5)] * 3 + [0.04, 0.04, 5 / 254.5] + [joint_sd] * 4)
    slope = np.zeros((4, 11))
    for wire in (0, 1):
        for end, part in ((0, at), (1, 1 - at)):
            row = slope[2 * wire + end]
            row[0] = r if end == 0 else -r
            row[[1, 2 + wire, 4 + wire, 6]] = part * r
            row[7 + 2 * wire + end] = 1.0
    information = slope.T @ slope / noise_ohm**2
    information[range(1, 11), range(1, 11)] += 1 / prior**2
    cov = np.linalg.inv(information)
    to_metres = np.zeros(11)
    to_metres[[0, 1, 2]] = length, at * length, at * length
    return math.sqrt(float(to_metres @ cov @ to_metres))


def one_break(rng: np.random.Generator, told: Told) -> None:
    """One simulated break, judged."""
    length = float(rng.uniform(1, 4))
    true_m = length * (1 + float(rng.normal(0, 0.03)))
    at, per_metre = float(rng.uniform()) * true_m, float(rng.uniform(35e-12, 90e-12))
    local = per_metre * swung(rng, true_m)
    cut = round(at / true_m * len(local))
    pieces = []
    for farads in (local[:cut].sum(), local[cut:].sum()):
        limit = math.hypot(0.01 * farads, 5e-12) / math.sqrt(3)
        shown = farads * (1 + rng.uniform(-0.01, 0.01)) + rng.uniform(-5e-12, 5e-12)
        pieces.append(Piece(farads=float(shown), uncertainty=limit, step=1e-12))
    told.asked += 1
    beside = per_metre * float(rng.uniform(0.85, 1.15))
    found = place_break(pair_of_wires(0.5, length), length, (pieces[0], pieces[1]), beside)
    if found.metres is None or found.interval_metres is None:
        return
    told.add(found.metres, found.interval_metres, at)
    told.best.append(best_of_break(length, at / true_m, per_metre))


def best_of_break(length: float, share: float, per_metre: float) -> float:
    """Standard deviation in metres of the best unbiased estimate of a break; unknowns: the place, the farads
    a metre (15 % from the wire beside), the length (3 %). The swing's integrals are Ornstein-Uhlenbeck's."""

    def integral(m: float) -> float:
        return 2 * SWING**2 * STRETCH_M * (m - STRETCH_M * (1 - math.exp(-m / STRETCH_M)))

    x, rest = share * length, (1 - share) * length
    across = SWING**2 * STRETCH_M**2 * (1 - math.exp(-x / STRETCH_M)) * (1 - math.exp(-rest / STRETCH_M))
    cov = per_metre**2 * np.array([[integral(x), across], [across, integral(rest)]])
    farads = per_metre * np.array([x, rest])
    cov += np.diag((0.01 * farads) ** 2 + 5e-12**2) / 3
    slope = np.array([[per_metre, farads[0], 0.0], [-per_metre, farads[1], per_metre * length]])
    information = slope.T @ np.linalg.inv(cov) @ slope + np.diag([0.0, 1 / 0.15**2, 1 / 0.03**2])
    return math.sqrt(float(np.linalg.inv(information)[0, 0]))


def main() -> None:
    parser = argparse.ArgumentParser(description="How near places are told.")
    parser.add_argument("--faults", type=int, default=2000, help="simulated faults of either kind")
    faults = parser.parse_args().faults
    rng = np.random.default_rng(24)
    print(f"{faults} shorts and {faults} breaks, simulated; a fourth as many on a branched loom")
    held: list[bool] = []
    for size, limits in LIMITS_CM.items():
        told = Told()
        for _ in range(faults // len(LIMITS_CM)):
            one_short(rng, size, told)
        held += told.held
        print(told.line(f"{size} mm²", limits), flush=True)
    print(f"all shorts: the interval holds in {np.mean(held):.1%} of {len(held)} (93 to 97)")
    told = Told()
    for _ in range(faults):
        one_break(rng, told)
    print(told.line("break", BREAK_LIMITS_CM), flush=True)
    print("0.5 mm² by the meter's step, at 1.5 A:")
    for step_volt in (1e-3, 1e-4, 1e-5):
        told = Told()
        for _ in range(faults // 8):
            one_short(rng, 0.5, told, step_volt / 1.5)
        print(told.line(f"{step_volt * 1e3:g} mV", LIMITS_CM[0.5]), flush=True)
    with tempfile.TemporaryDirectory() as folder:
        _branched(rng, Path(folder), faults // 4)


def _branched(rng: np.random.Generator, folder: Path, faults: int) -> None:
    """Shorts and breaks on a leg of a splice."""
    told = Told(wrong_wire=0)
    for _ in range(faults):
        loom = Branched(rng, folder, joints(rng, 8))
        place = loom.finding().place
        told.asked += 1
        if place is None or place.metres is None or place.interval_metres is None:
            continue
        leg = next((each for each in (place, place.beside) if each and each.wire in LEGS), None)
        if leg is None or leg.metres is None or leg.interval_metres is None:
            continue
        if leg.wire != LEGS[loom.leg]:
            told.wrong_wire = (told.wrong_wire or 0) + 1
        else:
            told.add(leg.metres, leg.interval_metres, loom.place_m)
    print(told.line("a leg", LIMITS_CM[0.5]), flush=True)
    told = Told()
    for _ in range(faults):
        found = branched_break(rng, folder)
        told.asked += 1
        if found is not None:
            told.add(*found)
    print(told.line("leg broken", BREAK_LIMITS_CM))


if __name__ == "__main__":
    main()
