"""A large readings file in one vectorised pass: the same table as the careful reader, or none at all.

pyarrow splits it, keeps each distinct cell of a column once, and makes numbers of `value`. Whatever is out of
the ordinary (a quote, a blank line, a row of another length) is left to the careful reader in `table`, which
reports it with its place. The two agree, and a test holds them together.
"""

from __future__ import annotations

import io
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from loomtest.errors import InputError
from loomtest.harness.model import FloatArray, IntArray
from loomtest.readings.scale import COMMA, POINT
from loomtest.readings.table import Cells, Header, ReadingsTable, parse_header, read_bytes

if TYPE_CHECKING:
    import pyarrow as pa

# Below this many bytes (some 20,000 rows) the careful reader is done before pyarrow is imported.
WORTH_IT_BYTES = 400_000
_CHUNK_BYTES = 1 << 22
# Any other word sends the column to `_mixed`. (No word for infinity among them: 1e400 is one to a parser.)
_OVER_RANGE = ["OL", "O.L", "0L", "0.L", "ol", "OPEN", "open"]
# What both readers call a bare number, of so few digits that it is finite.
_BARE = re.compile(r"[+-]?([0-9]{1,17}(\.[0-9]{0,17})?|\.[0-9]{1,17})([eE][+-]?[0-9]{1,2})?")


def bulk_table(source: Path | bytes, file: str) -> ReadingsTable | None:
    """The table of a CSV file (`.csv.gz` too) or of its bytes; None where the careful reader must see it.

    Raises InputError for a file that cannot be read or a header that cannot be used.
    """
    if isinstance(source, Path) and source.suffix == ".gz":
        source = read_bytes(source, file)
    try:
        with _opened(source) as stream:
            head = stream.readline().removeprefix(b"\xef\xbb\xbf").decode("utf-8")
            header = parse_header(head.rstrip("\r\n"), file)
            if not _is_plain(stream):
                return None
    except (OSError, UnicodeDecodeError, InputError):
        return None
    try:
        stored = _split(source, header)
    except ImportError:  # no pyarrow, as on Windows on ARM: the careful reader takes every file
        return None
    if stored is None or not stored.num_rows:
        return None
    columns = {name: _cells(stored[name]) for name in header.index_of if name != "value"}
    value = _values(stored["value"])
    if value is None or any("" in columns[name].texts for name in ("from", "to")):
        return None
    columns["value"], plain = value
    return ReadingsTable(
        file=file,
        columns={name: columns[name] for name in header.index_of},
        lines=np.arange(2, stored.num_rows + 2, dtype=np.int64),
        plain=plain,
        comma_is_decimal=header.separator != ",",
        warnings=header.warnings,
    )


def _opened(source: Path | bytes) -> io.BufferedIOBase:
    return io.BytesIO(source) if isinstance(source, bytes) else source.open("rb")


def _is_plain(stream: io.BufferedIOBase) -> bool:
    """Whether the lines from here on need nothing but to be split: no quotes, no comments, no odd ends."""
    while data := stream.read(_CHUNK_BYTES):
        data += stream.readline()
        if b'"' in data or b"\0" in data or data.startswith(b"#") or b"\n#" in data:
            return False
        if b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
            return False
    return True


def _split(source: Path | bytes, header: Header) -> pa.Table | None:
    """The known columns: `value` as numbers (null for over-range) if they all are, else as texts, as the
    others are; None where a row has another length, or bytes that are no UTF-8."""
    import pyarrow as pa
    from pyarrow import csv

    names = [""] * header.width
    for name, index in header.index_of.items():
        names[index] = name
    texts = pa.dictionary(pa.int32(), pa.string())
    for kind in (pa.float64(), texts):
        try:
            with _opened(source) as stream:
                table = csv.read_csv(
                    stream,
                    csv.ReadOptions(
                        use_threads=False, block_size=_CHUNK_BYTES, skip_rows=1, column_names=names
                    ),
                    csv.ParseOptions(delimiter=header.separator, quote_char=False, ignore_empty_lines=False),
                    csv.ConvertOptions(
                        column_types={**dict.fromkeys(header.index_of, texts), "value": kind},
                        null_values=_OVER_RANGE,
                        include_columns=list(header.index_of),
                    ),
                )
        except pa.ArrowInvalid:
            continue
        if kind == texts or _all_finite(table["value"]):
            return table
    return None


def _all_finite(numbers: pa.ChunkedArray) -> bool:
    """Whether none is the word for infinity or for no number, or such as 1e400: its spelling tells which."""
    return all(np.isfinite(in_memory(chunk)[filled_of(chunk)]).all() for chunk in numbers.chunks)


def in_memory(array: pa.Array) -> NDArray[Any]:
    """The numbers of an array as they lie in memory; anything where one is null."""
    kind = np.dtype(str(array.type))
    return np.frombuffer(array.buffers()[1], kind, len(array), array.offset * kind.itemsize)


def filled_of(array: pa.Array) -> IntArray | slice:
    """Where an array is not null."""
    if not array.null_count:
        return slice(None)
    bits = np.frombuffer(array.buffers()[0], np.uint8)
    return np.flatnonzero(np.unpackbits(bits, bitorder="little")[array.offset : array.offset + len(array)])


def _codes(column: pa.ChunkedArray) -> tuple[IntArray, list[str]]:
    """Codes in as few bytes as they need, and the texts they stand for."""
    chunks = column.unify_dictionaries().chunks
    texts: list[str] = chunks[0].dictionary.to_pylist()
    kind = np.int8 if len(texts) < 128 else np.int16 if len(texts) < 32768 else np.int32
    codes: IntArray = np.empty(len(column), dtype=kind)
    at = 0
    for chunk in chunks:
        codes[at : at + len(chunk)] = np.from_dlpack(chunk.indices)
        at += len(chunk)
    return codes, texts


def _cells(column: pa.ChunkedArray) -> Cells:
    """Codes and stripped texts."""
    return _stripped(*_codes(column))


def _stripped(codes: IntArray, raw: list[str]) -> Cells:
    code_of: dict[str, int] = {}
    place = np.array([code_of.setdefault(text.strip(), len(code_of)) for text in raw], dtype=np.int64)
    return Cells(codes if len(code_of) == len(raw) else place[codes], list(code_of))


def _values(column: pa.ChunkedArray) -> tuple[Cells, FloatArray] | None:
    """The bare numbers of `value` as floats, over-range as +inf, every other text as one; None where they are
    written with commas and with points: a mistake, and to be told with its lines."""
    import pyarrow as pa

    if column.type != pa.float64():
        return _mixed(*_codes(column))
    plain = np.full(len(column), np.inf)
    at = 0
    for chunk in column.chunks:
        filled = filled_of(chunk)
        plain[at : at + len(chunk)][filled] = in_memory(chunk)[filled]
        at += len(chunk)
    return Cells(np.broadcast_to(np.int64(-1), len(plain)), []), plain


def _mixed(codes: IntArray, texts: list[str]) -> tuple[Cells, FloatArray] | None:
    numbers = np.array([float(text) if _BARE.fullmatch(text) else math.nan for text in texts])
    odd = np.flatnonzero(np.isnan(numbers))
    cells = _stripped(np.arange(len(odd)), [texts[index] for index in odd.tolist()])
    if any(map(COMMA.search, cells.texts)) and any(map(POINT.search, texts)):
        return None
    code = np.full(len(texts), -1, dtype=np.int64)
    code[odd] = cells.codes
    return Cells(code[codes], cells.texts), numbers[codes]
