"""The distinct values of an array of codes, by sorting.

For whole numbers `numpy.unique` hashes, which took fifty times as long as a sort on half a million codes
(numpy 2.4), and imports masked arrays on the way.
"""

from __future__ import annotations

import numpy as np

from loomtest.harness.model import BoolArray, IntArray


def distinct(codes: IntArray) -> IntArray:
    """The values that occur, ascending, each once."""
    ordered = np.sort(codes, axis=None)
    return ordered[first_of_each(ordered)]


def first_of_each(ordered: IntArray) -> BoolArray:
    """(n,) True where a value of an ascending array is not that before it."""
    first = np.ones(len(ordered), dtype=np.bool_)
    np.not_equal(ordered[1:], ordered[:-1], out=first[1:])
    return first
