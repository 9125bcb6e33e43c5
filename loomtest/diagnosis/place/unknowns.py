"""What the readings of a short hang on besides its place: Gaussian unknowns, as `[expect]` spreads them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.place.legs import Legs
from loomtest.harness.copper import Expectation
from loomtest.harness.model import FloatArray, Harness

COMMON_LENGTH = 0.5  # share of a length's variance that wires of one loom have in common
_UNKNOWN_OHM = 100.0  # standard deviation of a wire without size or length, and of a short


@dataclass(frozen=True)
class Unknowns:
    """The Gaussian unknowns: mean, covariance, and where each wire's ohms, joints and length stand."""

    mean: FloatArray
    cov: FloatArray
    copper: dict[int, int]
    joint: dict[int, tuple[int, int]]
    length: dict[int, int]
    slack: int
    short: int


def unknowns_of(harness: Harness, expectation: Expectation, circuits: tuple[Legs, Legs]) -> Unknowns:
    """The unknowns of two circuits: ohms, joints and lengths of their wires, a slack, and the short."""
    expect = harness.expect
    wires = [wire for legs in circuits for wire in legs.ends]
    count = len(wires)
    size = 4 * count + 2
    mean, cov = np.zeros(size), np.zeros((size, size))
    length_sd = expect.length_spread_percent / 100
    warm = expect.temperature_spread_c / (expectation.temperature_c + 234.5)
    own = math.hypot(expect.copper_spread_percent / 100, length_sd * math.sqrt(1 - COMMON_LENGTH))
    shared = math.hypot(warm, length_sd * math.sqrt(COMMON_LENGTH))
    ohm = expectation.copper_ohm[wires]
    known = np.isfinite(ohm)
    mean[:count] = np.where(known, ohm, _UNKNOWN_OHM / 100)
    copper = np.where(known, ohm, 0.0)
    cov[:count, :count] = shared**2 * np.outer(copper, copper)
    cov[range(count), range(count)] += np.where(known, (own * copper) ** 2, _UNKNOWN_OHM**2)
    mean[count : 3 * count] = expectation.joint_mean_ohm
    at = np.arange(count, 3 * count)
    cov[at, at] = expectation.joint_spread_ohm**2
    alike = COMMON_LENGTH + (1 - COMMON_LENGTH) * np.eye(count)
    cov[3 * count : 4 * count, 3 * count : 4 * count] = length_sd**2 * alike
    cov[3 * count : 4 * count, :count] = length_sd**2 * alike * copper[None, :]
    cov[:count, 3 * count : 4 * count] = cov[3 * count : 4 * count, :count].T
    cov[-2, -2], cov[-1, -1] = 1.0, _UNKNOWN_OHM**2
    return Unknowns(
        mean,
        cov,
        {wire: i for i, wire in enumerate(wires)},
        {wire: (count + 2 * i, count + 2 * i + 1) for i, wire in enumerate(wires)},
        {wire: 3 * count + i for i, wire in enumerate(wires)},
        size - 2,
        size - 1,
    )
