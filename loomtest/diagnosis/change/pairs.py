"""What became of every pair measured in two runs, as columns: a scan has millions, and few are looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, overload

import numpy as np
from numpy.typing import NDArray

from loomtest.harness.model import BoolArray, FloatArray, IntArray

Direction = Literal["better", "worse", "same", "cannot tell"]
DIRECTIONS: tuple[Direction, ...] = ("same", "better", "worse", "cannot tell")


@dataclass(frozen=True, slots=True)
class PairChange:
    """One pair measured in both runs, in ohms; over-range is +inf. `joined`: it should be one circuit."""

    start: str
    end: str
    before_ohms: float
    after_ohms: float
    change_ohms: float | None
    uncertainty_ohms: float | None
    change: Direction
    joined: bool


@dataclass(frozen=True, eq=False)
class PairChanges(Sequence[PairChange]):
    """n pairs; one is made when it is asked for. Arrays are (n,).

    `start`, `end`: codes into `points`. `change`: indices into `DIRECTIONS`. The others as in `PairChange`.
    """

    points: tuple[str, ...]
    start: IntArray
    end: IntArray
    before_ohms: FloatArray
    after_ohms: FloatArray
    uncertainty_ohms: FloatArray
    change: NDArray[np.int8]
    joined: BoolArray

    def __len__(self) -> int:
        return len(self.start)

    @overload
    def __getitem__(self, index: int) -> PairChange: ...
    @overload
    def __getitem__(self, index: slice) -> list[PairChange]: ...
    def __getitem__(self, index: int | slice) -> PairChange | list[PairChange]:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        before, after = float(self.before_ohms[index]), float(self.after_ohms[index])
        finite = np.isfinite(before) and np.isfinite(after)
        return PairChange(
            self.points[self.start[index]],
            self.points[self.end[index]],
            before,
            after,
            after - before if finite else None,
            float(self.uncertainty_ohms[index]) if finite else None,
            DIRECTIONS[self.change[index]],
            bool(self.joined[index]),
        )

    def count(self, value: object) -> int:
        """How many pairs changed in this direction."""
        return int(np.sum(self.change == DIRECTIONS.index(value))) if value in DIRECTIONS else 0

    def of(self, *directions: Direction) -> list[PairChange]:
        """Those that changed in one of these directions."""
        codes = [DIRECTIONS.index(direction) for direction in directions]
        return [self[index] for index in np.flatnonzero(np.isin(self.change, codes)).tolist()]

    def of_circuits(self) -> list[PairChange]:
        """Those whose two points should be joined."""
        return [self[index] for index in np.flatnonzero(self.joined).tolist()]
