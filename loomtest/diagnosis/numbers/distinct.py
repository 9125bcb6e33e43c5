"""The distinct values of an array of codes.

For whole numbers `numpy.unique` hashes, which took fifty times as long as a sort on half a million codes
(numpy 2.4), and imports masked arrays on the way. Where nearly every code there can be occurs, as the pairs
of a full scan do, marking them off takes a tenth of a sort.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loomtest.harness.model import BoolArray, IntArray

_ROOM = 1 << 16  # a table of so many marks costs nothing


def distinct(codes: IntArray, top: int | None = None) -> IntArray:
    """The values that occur, ascending, each once. `top`: where all are known to lie in 0 … top − 1."""
    if top is not None and top <= 4 * codes.size + _ROOM:
        return np.flatnonzero(_marked(codes, top))
    ordered = np.sort(codes, axis=None)
    return ordered[first_of_each(ordered)]


def first_of_each(ordered: IntArray) -> BoolArray:
    """(n,) True where a value of an ascending array is not that before it."""
    first = np.ones(len(ordered), dtype=np.bool_)
    np.not_equal(ordered[1:], ordered[:-1], out=first[1:])
    return first


def ranked(codes: IntArray, top: int) -> tuple[IntArray, NDArray[np.intp] | NDArray[np.int32]]:
    """(the values that occur, ascending; the place there of every code); codes lie in 0 … top − 1."""
    if top > 4 * codes.size + _ROOM or top >= 2**31:
        return np.unique(codes, return_inverse=True)
    present = _marked(codes, top)
    rank = np.cumsum(present, dtype=np.int32)
    rank -= 1
    return np.flatnonzero(present), rank[codes]


def _marked(codes: IntArray, top: int) -> BoolArray:
    present = np.zeros(top, dtype=np.bool_)
    present[codes] = True
    return present
