"""How many units are right, at their first try and at their last, and which faults are the commonest.

A unit is one loom with a serial number. Its retests are no further units: they are its later tries.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Share:
    """`count` of `total`, and the interval that holds the true share with the confidence asked for."""

    count: int
    total: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """The share itself; 0 of 0 is 0."""
        return self.count / self.total if self.total else 0.0


def share_of(count: int, total: int, confidence: float = CONFIDENCE) -> Share:
    """A share with its exact two-sided interval; 0 to 1 where there is nothing to count.

    C. J. Clopper, E. S. Pearson, Biometrika 26, 1934: the shares under which so many or more, and so few or
    fewer, come about with half of 1 - confidence each.
    """
    from scipy.special import betaincinv

    half = (1 - confidence) / 2
    low = float(betaincinv(count, total - count + 1, half)) if count else 0.0
    high = float(betaincinv(count + 1, total - count, 1 - half)) if count < total else 1.0
    return Share(count, total, low, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tries:
    """Where in a list of runs each unit's first and last try stand, in the order in which units came.

    `nameless`: how many runs name no unit; they belong to none and are left out.
    """

    unit: tuple[str, ...]
    first: tuple[int, ...]
    last: tuple[int, ...]
    nameless: int


def tries_of(units: Iterable[str]) -> Tries:
    """First and last try of every unit; the runs are in the order in which they were made."""
    first: dict[str, int] = {}
    last: dict[str, int] = {}
    nameless = 0
    for at, unit in enumerate(units):
        if unit:
            first.setdefault(unit, at)
            last[unit] = at
        else:
            nameless += 1
    order = tuple(first)
    return Tries(
        unit=order, first=tuple(first.values()), last=tuple(last[unit] for unit in order), nameless=nameless
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Right:
    """Units right at their first and at their last try; `open_first`, `open_last`: those of which that try
    settled nothing (not proven), counted among the units and not among the right ones."""

    first: Share
    last: Share
    open_first: int
    open_last: int


def right_of(tries: Tries, verdicts: Sequence[str], confidence: float = CONFIDENCE) -> Right:
    """How many units pass; `verdicts`: of the same runs that `tries` was made from."""
    at_first = Counter(verdicts[at] for at in tries.first)
    at_last = Counter(verdicts[at] for at in tries.last)
    total = len(tries.unit)
    return Right(
        first=share_of(at_first["pass"], total, confidence),
        last=share_of(at_last["pass"], total, confidence),
        open_first=total - at_first["pass"] - at_first["fail"],
        open_last=total - at_last["pass"] - at_last["fail"],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultShare:
    """A kind of fault at one place: the units that had it, in whichever of their tries, and what all faults
    down to this one in the list come to, as a share of all."""

    fault: str
    points: tuple[str, ...]
    units: Share
    so_far: float


def commonest(
    found: Iterable[tuple[str, tuple[str, ...], int]], units: int, confidence: float = CONFIDENCE
) -> list[FaultShare]:
    """Faults by place, the commonest first (Pareto): `found` holds (fault, points, units that had it); a unit
    whose retest shows the same fault again had it once. `units`: how many there are in all."""
    ordered = sorted(found, key=lambda one: (-one[2], one[0], one[1]))
    total, so_far, rows = sum(count for _, _, count in ordered), 0, []
    for fault, points, count in ordered:
        so_far += count
        share = share_of(count, units, confidence)
        rows.append(FaultShare(fault=fault, points=points, units=share, so_far=so_far / total))
    return rows
