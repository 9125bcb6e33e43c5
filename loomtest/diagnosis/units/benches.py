"""Which joint reads otherwise at which bench, and which wanders there with time.

Each circuit is compared between one bench and all others (B. L. Welch, Biometrika 34, 1947: unequal spreads),
and within a bench against the order of making (the slope of least squares, Student's t). So many questions
are asked at once that some would be answered by chance: the probabilities are corrected for all of them
together (S. Holm, Scand. J. Stat. 6, 1979). What all circuits of a unit have in common, their median, is
the bench's leads or its temperature and no joint: it is taken off, and asked about by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from loomtest.diagnosis.numbers.statistics import student_quantile
from loomtest.harness.model import BoolArray, FloatArray, IntArray

FEWEST_AT_A_BENCH = 5
FEWEST_IN_ORDER = 8
MOST = 20
FEWEST_FOR_COMMON = 5  # circuits: of fewer the median is no better than one of them


@dataclass(frozen=True, slots=True)
class BenchShift:
    """`circuit` (column; None: all of them) reads otherwise at `bench` than elsewhere (`apart`), or wanders
    there (`wanders`), by `ohm`; `between`: its interval at the confidence asked for, not corrected for other
    questions. `probability`: of so much by chance, corrected for all of them. For what wanders, `ohm` is from
    the first unit to the last."""

    kind: Literal["apart", "wanders"]
    bench: int
    circuit: int | None
    probability: float
    ohm: float
    between: tuple[float, float]
    units: int


@dataclass(frozen=True, eq=False)
class _Questions:
    """Questions of one kind, (benches, columns): how much, its standard error, degrees of freedom, units;
    NaN where there is too little to ask. `scale`: what an effect is multiplied by to be told."""

    kind: Literal["apart", "wanders"]
    effect: FloatArray
    error: FloatArray
    freedom: FloatArray
    units: IntArray
    scale: FloatArray

    @property
    def chance(self) -> FloatArray:
        """Probability of so much by chance, two-sided; NaN where nothing was asked."""
        from scipy.special import stdtr

        with np.errstate(invalid="ignore", divide="ignore"):
            t = np.abs(self.effect) / self.error
        return np.asarray(2 * stdtr(self.freedom, -t), dtype=np.float64)

    def told(self, at: tuple[int, int], circuit: int | None, chance: float, confidence: float) -> BenchShift:
        """The answer at (bench, column), its probability corrected."""
        reach = student_quantile((1 + confidence) / 2, float(self.freedom[at])) * float(self.error[at])
        effect, scale = float(self.effect[at]), float(self.scale[at])
        ends = ((effect - reach) * scale, (effect + reach) * scale)
        return BenchShift(self.kind, at[0], circuit, chance, effect * scale, ends, int(self.units[at]))


def bench_shifts(ohm: FloatArray, bench: IntArray, confidence: float = 0.95) -> list[BenchShift]:
    """What the benches do, at most twenty things, the surest first; what wanders comes behind what is apart.

    `ohm`: (n, C) of n units in the order of making, NaN where not known; `bench`: (n,) codes from 0 up.
    """
    if not ohm.size:
        return []
    off = ohm - _medians(ohm, 0)
    found: list[BenchShift] = []
    gone = np.zeros((len(ohm), ohm.shape[1] + 1), dtype=np.bool_)
    while True:  # what stands out is taken away before all others are compared again without it
        known = np.where(gone[:, :-1], np.nan, off)
        enough = ohm.shape[1] >= FEWEST_FOR_COMMON
        common = _medians(known.T, 0) if enough else np.full(len(ohm), np.nan)
        own = np.column_stack([off - (common[:, None] if enough else 0.0), common])
        sure = _sure(own, gone, bench, confidence)
        apart = next((one for one in sure if one.kind == "apart"), None)
        if apart is None or len(found) >= MOST:
            return [*found, *sure][:MOST]
        found.append(apart)
        gone[bench == apart.bench, apart.circuit if apart.circuit is not None else -1] = True


def _sure(own: FloatArray, gone: BoolArray, bench: IntArray, confidence: float) -> list[BenchShift]:
    """What is not by chance, the surest first; the last column is what all circuits have in common. `gone`:
    values of a bench that is known to be apart, and may be so because it wanders."""
    benches = int(bench.max(initial=-1)) + 1
    asked = (_apart(np.where(gone, np.nan, own), bench, benches), _wandering(own, bench, benches))
    chances = [one.chance for one in asked]
    places = [
        (kind, *at) for kind, one in enumerate(chances) for at in zip(*np.nonzero(one == one), strict=True)
    ]
    raw = [float(chances[kind][b, c]) for kind, b, c in places]
    told = []
    for (kind, b, c), chance, one in zip(places, holm(raw), raw, strict=True):
        if chance < 1 - confidence:
            circuit = None if c == own.shape[1] - 1 else int(c)
            told.append((one, asked[kind].told((int(b), int(c)), circuit, chance, confidence)))
    return [shift for _, shift in sorted(told, key=lambda pair: pair[0])]


def _apart(own: FloatArray, bench: IntArray, benches: int) -> _Questions:
    """Each bench against all others with enough units, Welch's t. Of two benches one question is asked, and
    the bench that reads more is named."""
    known = np.isfinite(own)
    here = np.stack([known & (bench == number)[:, None] for number in range(benches)])
    filled = np.where(known, own, 0.0)
    count, total = here.sum(axis=1), np.einsum("bnc,nc->bc", here, filled)
    square = np.einsum("bnc,nc->bc", here, filled**2)
    enough = count >= FEWEST_AT_A_BENCH
    count, total, square = (np.where(enough, sums, 0.0) for sums in (count, total, square))
    rest = [sums.sum(axis=0) - sums for sums in (count, total, square)]
    mean, variance = _moments(count, total, square)
    other_mean, other_variance = _moments(*rest)
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = variance / count, other_variance / rest[0]
        both = parts[0] + parts[1]
        freedom = both**2 / (parts[0] ** 2 / (count - 1) + parts[1] ** 2 / (rest[0] - 1))
    ask = enough & (rest[0] >= FEWEST_AT_A_BENCH) & (both > 0)
    ask &= (enough.sum(axis=0) > 2) | (mean >= other_mean)
    effect = np.where(ask, mean - other_mean, np.nan)
    units = count.astype(np.int64)
    return _Questions(
        "apart", effect, np.sqrt(np.where(ask, both, 1.0)), freedom, units, np.ones_like(effect)
    )


def _moments(count: FloatArray, total: FloatArray, square: FloatArray) -> tuple[FloatArray, FloatArray]:
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total / count
        return mean, np.maximum(square - count * mean**2, 0.0) / (count - 1)


def _wandering(own: FloatArray, bench: IntArray, benches: int) -> _Questions:
    """The slope of least squares against the order of making, at each bench by itself; told from the first
    unit to the last."""
    shape = (benches, own.shape[1])
    effect, error = np.full(shape, np.nan), np.ones(shape)
    units = np.zeros(shape, dtype=np.int64)
    for number in range(benches):
        value = own[bench == number]
        known = np.isfinite(value)
        count = known.sum(axis=0)
        order = np.where(known, np.cumsum(known, axis=0) - 1 - (count - 1) / 2, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            apart = np.where(known, value - np.nansum(value, axis=0) / count, 0.0)
            across = np.sum(order**2, axis=0)
            slope = np.sum(apart * order, axis=0) / across
            left = np.sum((apart - slope * order) ** 2, axis=0)
            each = np.sqrt(left / (count - 2) / across)
        ask = (count >= FEWEST_IN_ORDER) & (left > 1e-24)
        effect[number], units[number] = np.where(ask, slope, np.nan), count
        error[number] = np.where(ask, each, 1.0)
    return _Questions(
        "wanders", effect, error, np.maximum(units - 2.0, 1.0), units, np.maximum(units - 1.0, 1.0)
    )


def holm(chances: Sequence[float]) -> list[float]:
    """The probabilities corrected for being asked together, in the order given."""
    order = sorted(range(len(chances)), key=lambda at: chances[at])
    out, least = [0.0] * len(chances), 0.0
    for rank, at in enumerate(order):
        least = max(least, min(1.0, (len(chances) - rank) * chances[at]))
        out[at] = least
    return out


def _medians(values: FloatArray, axis: int) -> FloatArray:
    """Medians along the axis of what is known; 0 where nothing is."""
    known: BoolArray = np.isfinite(values)
    empty = ~known.any(axis=axis)
    filled = np.where(np.expand_dims(empty, axis), 0.0, values)
    return np.asarray(np.nanmedian(filled, axis=axis), dtype=np.float64)
