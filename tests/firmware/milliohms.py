"""Does a milliohm reading's stated uncertainty cover the truth? Boards of random parts, calibrated and read.

    python -m tests.firmware.milliohms [--boards 200]

Every board has references, amplifier, current and noise of its own, is calibrated by the protocol's own
commands with a resistor that is off by what its stated tolerance allows, and reads 1 mΩ to 1.1 Ω.
The numbers come from the firmware's host build, which prints what the chip prints (test_conversation).
"""

from __future__ import annotations

import argparse
import math

import numpy as np

from loomtest.bench.rehearsal.network import Network, Parts
from loomtest.bench.scanner.answers import RangeCalibration
from loomtest.bench.scanner.protocol import parse_value
from loomtest.bench.scanner.values import BoardBudget
from tests.firmware.simulated import native

TOLERANCE_PPM = 1000.0  # half-width of the known resistor; its standard uncertainty is this over √3
FIRST_PIN = 5


def one_board(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(errors, stated standard uncertainties) of the readings of one board, in ohms."""
    parts = Parts(
        ref_1k=1000.0 * (1 + rng.normal(0, 0.01)),
        shunt=20.0 * (1 + rng.normal(0, 0.01)),
        gain=40.0 * (1 + rng.normal(0, 0.01)),
        current=0.1 * (1 + rng.normal(0, 0.02)),
        amp_offset=rng.normal(0, 5e-5),
        noise=rng.uniform(0.5, 1.0),
        seed=float(rng.integers(1, 10**6)),
    )
    truth = 10 ** rng.uniform(-3, math.log10(1.1), 28)
    known = 1.0 * (1 + rng.uniform(-TOLERANCE_PPM, TOLERANCE_PPM) * 1e-6)
    resistors = [(0, 1, 1e-6), (2, 3, known)]
    resistors += [(FIRST_PIN + 2 * n, FIRST_PIN + 2 * n + 1, ohms) for n, ohms in enumerate(truth.tolist())]
    ppm = round(TOLERANCE_PPM / math.sqrt(3))
    asked = ["test", "cal zero 1 2", f"cal set 0 100000 {ppm} 3 4"]
    asked += [f"pair {FIRST_PIN + 2 * n + 1} {FIRST_PIN + 2 * n + 2}" for n in range(len(truth))]
    lines = [
        line.split("*")[0].split(" ")[1:]
        for line in native(Network(64, 64, 64, tuple(resistors), parts=parts), asked, checked=False)
    ]
    noise = next(int(words[3]) / 100.0 for words in lines if words[0] == "test")
    kept = [
        RangeCalibration(int(w[1]), int(w[2]) / 256.0, int(w[3]), int(w[4])) for w in lines if w[0] == "cal"
    ]
    budget = BoardBudget(noise, tuple(kept[-5:]))
    errors, stated = [], []
    for words, ohms in zip([w for w in lines if w[0] == "pair"], truth, strict=True):
        for token in words[3:5]:
            value = parse_value(token)
            assert value is not None and value.range == 0, words
            errors.append(value.ohms - float(ohms))
            stated.append(budget.uncertainty_ohm(value))
    return np.array(errors), np.array(stated)


def coverage(boards: int, seed: int = 1) -> tuple[float, float, float]:
    """(share of readings within 1.96 u, root mean square error in ohms, largest u) over so many boards."""
    found = [one_board(np.random.default_rng([seed, n])) for n in range(boards)]
    errors, stated = (np.concatenate(column) for column in zip(*found, strict=True))
    return (
        float(np.mean(np.abs(errors) <= 1.96 * stated)),
        float(np.sqrt(np.mean(errors**2))),
        float(stated.max()),
    )


def main() -> None:
    """The whole count, printed."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--boards", type=int, default=200)
    share, rms, largest = coverage(options.parse_args().boards)
    print(f"covered {100 * share:.1f} % at 95 %; error {1e3 * rms:.2f} mΩ r.m.s.,", end=" ")
    print(f"largest standard uncertainty {1e3 * largest:.2f} mΩ")


if __name__ == "__main__":
    main()
