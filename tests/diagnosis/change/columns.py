"""Pairs given one by one, as the columns that the package works with."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loomtest.diagnosis.change.pairs import DIRECTIONS, PairChange, PairChanges


def in_columns(pairs: Sequence[PairChange]) -> PairChanges:
    """The same pairs as columns."""
    points = tuple(dict.fromkeys(point for pair in pairs for point in (pair.start, pair.end)))
    code = {point: index for index, point in enumerate(points)}
    unknown = float("nan")
    return PairChanges(
        points,
        np.array([code[pair.start] for pair in pairs], dtype=np.int64),
        np.array([code[pair.end] for pair in pairs], dtype=np.int64),
        np.array([pair.before_ohms for pair in pairs], dtype=np.float64),
        np.array([pair.after_ohms for pair in pairs], dtype=np.float64),
        np.array([unknown if p.uncertainty_ohms is None else p.uncertainty_ohms for p in pairs]),
        np.array([DIRECTIONS.index(pair.change) for pair in pairs], dtype=np.int8),
        np.array([pair.joined for pair in pairs], dtype=np.bool_),
    )
