"""The table of a large, plain CSV file read with numpy alone: what a scanner or a logger writes.

ASCII without quotes, spaces and other surprises, and no cell of more than sixteen letters: a cell is then one
or two machine words, and equal cells are equal words. pandas takes longer to be imported than this takes to
read half a million rows. Anything else is left to the reader in `bulk`, and by that to the careful one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loomtest.harness.model import BoolArray, FloatArray, IntArray
from loomtest.readings.table import Cells, Header

_WIDEST = 16
_MOST_TEXTS = 20_000  # in one piece of the file: a column of so many has no few texts
OVER_RANGE = ("OL", "O.L", "0L", "0.L", "ol", "OPEN", "open")
_LETTERS_OF_NUMBERS = b"0123456789.+-eE"
_MASK = np.array([(1 << 8 * n) - 1 for n in range(9)], dtype="<u8")

Words = NDArray[np.uint64]


@dataclass
class _NarrowColumn:
    """One column while it is read: the codes of each piece, and what they stand for."""

    code_of: dict[str, int] = field(default_factory=dict)
    pieces: list[IntArray] = field(default_factory=list)

    def cells(self) -> Cells:
        count = len(self.code_of)
        kind = np.int8 if count < 128 else np.int16 if count < 32768 else np.int32
        codes = np.concatenate([piece.astype(kind) for piece in self.pieces])
        return Cells(codes, list(self.code_of))  # in as few bytes as they need


def narrow_columns(pieces: Iterable[bytes], header: Header) -> tuple[dict[str, Cells], FloatArray] | None:
    """(columns, bare numbers of `value` with over-range as +inf and NaN at its texts); None where some piece
    is not as plain as that. `pieces`: whole lines below the header, each ending in a line feed."""
    columns = {name: _NarrowColumn() for name in header.index_of}
    numbers: list[FloatArray] = []
    for data in pieces:
        data = data.replace(b"\r\n", b"\n")
        bounds = _bounds(data, header)
        if bounds is None:
            return None
        padded = np.frombuffer(data + bytes(_WIDEST), dtype=np.uint8)
        for name, index in header.index_of.items():
            start, end = bounds[0][:, index], bounds[1][:, index]
            texts = np.ones(len(start), dtype=np.bool_)
            if name == "value":
                found = _numbers(padded, start, end)
                if found is None:
                    return None
                numbers.append(found)
                texts = np.isnan(found)
            codes = np.full(len(start), -1, dtype=np.int64)
            known = _codes(data, padded, (start[texts], end[texts]), columns[name].code_of)
            if known is None:
                return None
            codes[texts] = known
            if name == "value":
                codes = _without_over_range(codes, numbers[-1], columns[name].code_of)
            columns[name].pieces.append(codes)
    if not numbers:
        return None
    value = columns["value"]
    if any("," in text for text in value.code_of):  # the spelling of what was read as a number matters then
        return None
    kept = [text for text in value.code_of if text not in OVER_RANGE]
    place = np.full(len(value.code_of) + 1, -1, dtype=np.int64)  # the last for a code of −1
    place[[value.code_of[text] for text in kept]] = np.arange(len(kept))
    value.pieces = [place[piece] for piece in value.pieces]
    value.code_of = {text: code for code, text in enumerate(kept)}
    return {name: column.cells() for name, column in columns.items()}, np.concatenate(numbers)


def _bounds(data: bytes, header: Header) -> tuple[IntArray, IntArray] | None:
    """(rows, width) first letter of each cell and the one after its last; None for a piece not so plain."""
    letters = np.frombuffer(data, dtype=np.uint8)
    separator = ord(header.separator)
    marks = np.flatnonzero((letters == ord("\n")) | (letters == separator))
    if b'"' in data or b" " in data or letters.max(initial=0) > 126 or len(marks) % header.width:
        return None
    end = marks.reshape(-1, header.width)
    odd = np.count_nonzero(letters < 32) - np.count_nonzero(letters[marks] < 32)
    if odd or (letters[end[:, -1]] != ord("\n")).any() or (letters[end[:, :-1]] != separator).any():
        return None
    start = np.concatenate(([0], marks[:-1] + 1)).reshape(end.shape)
    used = list(header.index_of.values())
    return None if np.max(end[:, used] - start[:, used], initial=0) > _WIDEST else (start, end)


def _words(padded: NDArray[np.uint8], start: IntArray, end: IntArray) -> Words:
    """(n, 2) the letters of each cell as two words, zero behind its end."""
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WIDEST)[start]
    words = windows.view("<u8")
    length = end - start
    words[:, 0] &= _MASK[np.minimum(length, 8)]
    words[:, 1] &= _MASK[np.maximum(length - 8, 0)]
    return words


def _numbers(padded: NDArray[np.uint8], start: IntArray, end: IntArray) -> FloatArray | None:
    """(n,) the cells that are bare numbers, NaN for the others; None where one only looks like a number."""
    allowed = np.zeros(256, dtype=np.bool_)
    allowed[list(_LETTERS_OF_NUMBERS)] = True
    wrong = np.concatenate(([0], np.cumsum(~allowed[padded], dtype=np.int32)))
    numeric = (wrong[end] == wrong[start]) & (end > start)
    out = np.full(len(start), np.nan)
    texts = _words(padded, start[numeric], end[numeric]).view(f"S{_WIDEST}").ravel()
    try:
        out[numeric] = texts.astype(np.float64)
    except ValueError:
        return None
    return out if np.isfinite(out[numeric]).all() else None


def _codes(
    data: bytes, padded: NDArray[np.uint8], cells: tuple[IntArray, IntArray], code_of: dict[str, int]
) -> IntArray | None:
    """(n,) codes of the cells, new texts added to `code_of`; None where there are too many."""
    start, end = cells
    words = _words(padded, start, end)
    # Rows that follow each other often agree: only where one begins anew is it looked up.
    fresh = np.ones(len(words), dtype=np.bool_)
    fresh[1:] = (words[1:] != words[:-1]).any(axis=1)
    heads = words[fresh]
    first, rank = np.unique(heads[:, 0], return_inverse=True)
    if heads[:, 1].any():
        second, other = np.unique(heads[:, 1], return_inverse=True)
        first, rank = np.unique(rank * len(second) + other, return_inverse=True)
    if len(first) > _MOST_TEXTS:
        return None
    example = np.zeros(len(first), dtype=np.int64)
    example[rank] = np.flatnonzero(fresh)
    ends = zip(start[example].tolist(), end[example].tolist(), strict=True)
    found = [code_of.setdefault(data[a:b].decode("ascii"), len(code_of)) for a, b in ends]
    run = np.diff(np.append(np.flatnonzero(fresh), len(words)))
    return np.repeat(np.array(found, dtype=np.int64)[rank], run)


def _without_over_range(codes: IntArray, numbers: FloatArray, code_of: dict[str, int]) -> IntArray:
    """Over-range becomes +inf among the numbers, and −1 among the codes."""
    over: BoolArray = np.isin(codes, [code_of[text] for text in OVER_RANGE if text in code_of])
    numbers[over] = np.inf
    return np.where(over, -1, codes)
