"""The control chart of individuals and moving range: one value a unit, in the order of making.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals) and 6.3.2.1 (the constants).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.harness.model import BoolArray, FloatArray

D2_OF_TWO = 1.128  # mean range of two values, in standard deviations
D4_OF_TWO = 3.267  # upper limit of their range, in mean ranges; the lower one is 0
FEWEST = 5  # a mean of fewer than four ranges sets no limit


@dataclass(frozen=True, eq=False)
class Chart:
    """`value`: (n,) in the order of making; `moves`: (n - 1,) differences of neighbours, without sign.
    `sound`: (n,) the values that the limits were made of; a range counts between two sound neighbours in
    the row of sound ones. `outside`: (n,) beyond the limits; `jumps`: (n - 1,) beyond the range's limit."""

    value: FloatArray
    moves: FloatArray
    sound: BoolArray
    mean: float
    mean_move: float
    lower: float
    upper: float
    most_move: float

    @property
    def outside(self) -> BoolArray:
        """(n,) True for a value beyond the limits."""
        return (self.value < self.lower) | (self.value > self.upper)

    @property
    def jumps(self) -> BoolArray:
        """(n - 1,) True for a move beyond its limit."""
        return self.moves > self.most_move


def chart_of(value: FloatArray, sound: BoolArray) -> Chart | None:
    """The chart of (n,) values; only sound units make the limits. None where fewer than five are sound."""
    good = value[sound]
    if len(good) < FEWEST:
        return None
    mean, move = float(np.mean(good)), float(np.mean(np.abs(np.diff(good))))
    reach = 3 * move / D2_OF_TWO
    return Chart(
        value, np.abs(np.diff(value)), sound, mean, move, mean - reach, mean + reach, D4_OF_TWO * move
    )
