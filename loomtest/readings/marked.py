"""Touches against the common of a kit of marker clips, and where the clips sat: columns, all frozen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.harness.model import BoolArray, FloatArray, IntArray, connector_of

COMMON = "COMMON"  # what a touch's other lead stays on; no point of the loom


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """One marker of a kit: its name, its measured ohms, and their standard uncertainty where stated.

    `built_in`: the point whose cavity of a marker plug it is built into for good; "" for a loose clip.
    """

    marker: str
    ohms: float
    uncertainty_ohm: float | None = None
    built_in: str = ""

    @property
    def plug(self) -> str:
        """The connector that its marker plug goes on; "" for a loose clip."""
        return connector_of(self.built_in)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """A clip on a point (a code into `Readings.points`) in one round."""

    round: int
    clip: Clip
    point: int


@dataclass(frozen=True, kw_only=True)
class Marked:
    """`seats`: every clip of every round. The touches are columns of (t,): `point` codes into
    `Readings.points`; `round`; `ohm`, +inf where the meter showed over-range; `above_ohm` what that states by
    itself, NaN where nothing; `uncertainty` as stated, NaN where not; `row` the line in the file."""

    seats: tuple[Seat, ...]
    point: IntArray
    round: IntArray
    ohm: FloatArray
    above_ohm: FloatArray
    uncertainty: FloatArray
    row: IntArray

    def __len__(self) -> int:
        return len(self.ohm)

    @property
    def rounds(self) -> tuple[int, ...]:
        """The rounds in which something was touched, ascending."""
        return tuple(sorted(set(self.round.tolist())))

    def of_round(self, number: int) -> tuple[list[Seat], BoolArray]:
        """The seats of a round, and (t,) True for its touches."""
        own = [seat for seat in self.seats if seat.round == number]
        return own, np.asarray(self.round == number, dtype=np.bool_)
