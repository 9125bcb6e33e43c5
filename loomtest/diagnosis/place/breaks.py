"""Where a wire is broken: the capacitance of either piece against all that runs beside it.

A wire in a loom and the wires around it are a capacitor that grows with their common length, 30 to 100 pF a
metre. Measured from both ends against the same rest, the two pieces share the wire as their capacitances do:

    end o======= x =======   ======== L − x ========o end      x/L = C1/(C1 + C2)

What is around a wire changes along the loom, and with it the capacitance of a metre: local swings of SWING of
itself over stretches of STRETCH_M (assumed, no source: their integral spreads the place more the longer the
pieces are). A whole wire beside it tells what a whole one has: pieces that have clearly more together still
hang together through damp or a last strand; pieces that have clearly less are not all of the wire.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from loomtest.harness.model import Harness

LEAST_PF_PER_M, MOST_PF_PER_M = 30.0, 100.0  # of a wire in a wrapped loom (common practice)
SWING, STRETCH_M = 0.25, 0.25
_END_FARADS = 2e-12  # standard deviation of what a connector adds at an end (assumed)
_COARSE_FARADS = 10e-12  # steps from here on tell only an end or the middle
_BESIDE = 0.3  # by which one whole wire may differ from its neighbour
_ROOM = 1.5  # by which the pieces may have more or less than a whole wire before that is said
_TYPICAL_M = 2.0  # a wire of unknown length
_FAINT = 0.17  # share of the wire: a place known no better is none

Zone = Literal["start", "middle", "end"]
Doubt = Literal["", "damp", "less", "faint"]


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One piece of the broken wire: farads, their standard uncertainty, the meter's step, and the metres of
    other wires that hang on it."""

    farads: float
    uncertainty: float
    step: float
    others_m: float = 0.0


@dataclass(frozen=True)
class PlacedBreak:
    """The share of the wire up to the break with its 95 % interval, the same in metres where the length is
    known, only a `zone` where the meter's steps are coarse, and what stands in the way, if anything."""

    share: float = math.nan
    interval_share: tuple[float, float] = (0.0, 1.0)
    metres: float | None = None
    interval_metres: tuple[float, float] | None = None
    zone: Zone | None = None
    doubt: Doubt = ""


def place_break(
    harness: Harness, length_m: float | None, pieces: tuple[Piece, Piece], per_metre: float | None
) -> PlacedBreak:
    """The place between two pieces. `per_metre`: farads a metre of a whole wire beside, None where none was
    read. With other wires on a piece the length must be known."""
    first, second = pieces
    length = _TYPICAL_M if length_m is None else length_m
    total_m = length + first.others_m + second.others_m
    c1, c2 = max(first.farads, 0.0), max(second.farads, 0.0)
    both = c1 + c2
    doubt = _doubt(both, total_m, per_metre, length_m is not None)
    if doubt or both <= 0.0:
        return PlacedBreak(doubt=doubt or "faint")
    part = c1 / both
    u1, u2 = (math.hypot(piece.uncertainty, _END_FARADS) for piece in pieces)
    of_meter = total_m * math.hypot(c2 * u1, c1 * u2) / both**2
    x = min(max(part * total_m - first.others_m, 0.0), length)
    of_loom = _spread_m(part, x + first.others_m, length - x + second.others_m)
    spread = math.hypot(of_meter, of_loom) / length
    share = x / length
    interval = max(share - 1.96 * spread, 0.0), min(share + 1.96 * spread, 1.0)
    if spread > _FAINT:
        return PlacedBreak(doubt="faint")
    if max(piece.step for piece in pieces) >= _COARSE_FARADS:
        zone: Zone = "start" if share < 1 / 3 else "end" if share > 2 / 3 else "middle"
        return PlacedBreak(share, interval, zone=zone)
    if length_m is None:
        return PlacedBreak(share, interval)
    longer = harness.expect.length_spread_percent / 100
    reach = 1.96 * math.hypot(spread * length, longer * x)
    most = length * (1 + 3 * longer)
    return PlacedBreak(share, interval, x, (max(x - reach, 0.0), min(x + reach, most)))


def _doubt(both: float, total_m: float, per_metre: float | None, known: bool) -> Doubt:
    """Whether the pieces have more, or less, than the whole wire can have."""
    if per_metre is not None:
        most, least = per_metre * total_m * (1 + _BESIDE), per_metre * total_m * (1 - _BESIDE)
    elif known:
        most, least = MOST_PF_PER_M * 1e-12 * total_m * _ROOM, LEAST_PF_PER_M * 1e-12 * total_m / _ROOM
    else:
        return ""
    return "damp" if both > most * 1.1 else "less" if both < least / 1.1 else ""


def _spread_m(part: float, first_m: float, second_m: float) -> float:
    """Standard deviation in metres by what changes along the loom: the variance of the integral of a swing
    with an exponential correlation (Ornstein-Uhlenbeck; G. E. Uhlenbeck, L. S. Ornstein, Phys. Rev. 36, 823,
    1930) over each piece, and their covariance across the break."""

    def integral(length: float) -> float:
        return 2 * SWING**2 * STRETCH_M * (length - STRETCH_M * (1 - math.exp(-length / STRETCH_M)))

    ends = [1 - math.exp(-length / STRETCH_M) for length in (first_m, second_m)]
    covariance = SWING**2 * STRETCH_M**2 * ends[0] * ends[1]
    variance = (1 - part) ** 2 * integral(first_m) + part**2 * integral(second_m)
    return math.sqrt(max(variance - 2 * part * (1 - part) * covariance, 0.0))
