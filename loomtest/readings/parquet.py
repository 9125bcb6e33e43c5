"""A readings table kept as Parquet: the same columns as the CSV, and the same rows counted the same way.

What stands as numbers there (a column `value` of floats, an
infinity being over-range) is taken as such; everything else goes through the cells that a CSV would have.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from loomtest.errors import InputError, Problem
from loomtest.harness.model import FloatArray
from loomtest.harness.outward import visible
from loomtest.readings.bulk import filled_of, in_memory
from loomtest.readings.table import LARGEST_BYTES, Cells, ReadingsTable, parse_header

if TYPE_CHECKING:
    import pyarrow as pa
    import pyarrow.parquet as pq

MOST_ROWS = 20_000_000  # a full scan of 4,096 pins has 8.4 million


def parquet_table(path: Path, file: str) -> ReadingsTable:
    """The table of a Parquet file; row n is called line n + 1, as if it had been saved as CSV.

    Raises InputError for a file that cannot be read or columns that cannot be used.
    """
    stored = _opened(path, file)
    names = list(stored.schema_arrow.names)
    written = io.StringIO()
    csv.writer(written).writerow([str(name) for name in names])
    header = parse_header(written.getvalue(), file)
    _refuse_what_is_no_table(stored, list(header.index_of.items()), file)
    table = _table(stored, [names[index] for index in header.index_of.values()], file)
    columns: dict[str, Cells] = {}
    plain: FloatArray | None = None
    for place, name in enumerate(header.index_of):
        column = table.column(place)
        numbers = _numbers(column) if name == "value" else None
        if numbers is not None:
            plain = numbers
            columns[name] = Cells(np.broadcast_to(np.int64(-1), len(plain)), [])
        else:
            columns[name] = _cells(column)
    lines = np.arange(2, table.num_rows + 2, dtype=np.int64)
    return ReadingsTable(file, columns, lines, plain, comma_is_decimal=False, warnings=header.warnings)


def in_words(table: ReadingsTable) -> ReadingsTable:
    """The same table with its bare numbers as texts, for a reader that reports each in its own spelling."""
    if table.plain is None:
        return table
    numbers, codes = np.unique(table.plain, return_inverse=True)
    cells = Cells(codes, [_text(number) for number in numbers.tolist()])
    return ReadingsTable(
        table.file,
        {**table.columns, "value": cells},
        table.lines,
        None,
        table.comma_is_decimal,
        table.problems,
        table.warnings,
    )


def _opened(path: Path, file: str) -> pq.ParquetFile:
    """The file's own description of itself; nothing else is read yet."""
    wanted = "a readings table"
    try:
        import pyarrow.parquet as pq
        import pyarrow.types as types
    except ImportError:
        found, expected = "no pyarrow, which reads Parquet", f"{wanted} as CSV, or: pip install pyarrow"
        raise InputError([Problem(file, None, "", found, expected)]) from None
    try:
        texts = [
            field.name
            for field in pq.read_schema(path)
            if types.is_string(field.type) or types.is_large_string(field.type)
        ]
        return pq.ParquetFile(path, read_dictionary=texts)
    except FileNotFoundError:
        found, expected = "no such file", f"{wanted} or a run folder"
    except Exception as error:  # on a spoilt file the library raises errors of every kind
        raise _unreadable(file, error) from None
    raise InputError([Problem(file, None, "", found, expected)])


def _refuse_what_is_no_table(stored: pq.ParquetFile, columns: Sequence[tuple[str, int]], file: str) -> None:
    """Raises InputError for columns of lists or records, and for more than a scan can be: a few packed bytes
    may be millions of rows."""
    import pyarrow.types as types

    problems = []
    about = stored.metadata
    unpacked = sum(about.row_group(group).total_byte_size for group in range(about.num_row_groups))
    if about.num_rows > MOST_ROWS or unpacked > LARGEST_BYTES:
        found = f"{about.num_rows:,} rows of {unpacked:,} bytes in all"
        expected = f"at most {MOST_ROWS:,} rows and {LARGEST_BYTES:,} bytes"
        problems.append(Problem(file, None, "", found, expected))
    for name, index in columns:
        kind = stored.schema_arrow.field(index).type
        if types.is_nested(kind) or types.is_binary(kind) or types.is_large_binary(kind):
            found = "a column of lists, records or bytes"
            problems.append(Problem(file, 1, name, found, "a column of texts or numbers"))
    if problems:
        raise InputError(problems)


def _table(stored: pq.ParquetFile, names: list[str], file: str) -> pa.Table:
    """The columns, each with its distinct cells once but for a `value` of numbers."""
    import pyarrow as pa
    import pyarrow.types as types

    try:
        table = stored.read(columns=names, use_threads=False).select(names)
        table.validate(full=True)  # else a text that is none is met later
        columns = [
            column if types.is_dictionary(column.type) or _is_number(column) else column.dictionary_encode()
            for column in table.columns
        ]
    except Exception as error:  # on a spoilt file the library raises errors of every kind
        raise _unreadable(file, error) from None
    return pa.Table.from_arrays(columns, names=names)


def _unreadable(file: str, error: Exception) -> InputError:
    why = visible(next(iter(str(error).splitlines()), type(error).__name__)[:200])
    found = f"a file that cannot be read as Parquet ({why})"
    return InputError([Problem(file, None, "", found, "a readings table in Parquet")])


def _is_number(column: pa.ChunkedArray) -> bool:
    import pyarrow.types as types

    return bool(types.is_integer(column.type) or types.is_floating(column.type))


def _numbers(column: pa.ChunkedArray) -> FloatArray | None:
    """A column of numbers as floats; None where it is another, or lacks one."""
    if not _is_number(column) or column.null_count:
        return None
    chunks = [np.from_dlpack(chunk).astype(np.float64) for chunk in column.chunks]
    numbers = np.concatenate([np.empty(0), *chunks])
    return None if np.isnan(numbers).any() else numbers


def _cells(column: pa.ChunkedArray) -> Cells:
    """Codes and stripped texts; a missing cell is an empty one."""
    if _is_number(column):
        column = column.dictionary_encode()
    chunks = column.unify_dictionaries().chunks
    texts = [_text(value) for value in chunks[0].dictionary.to_pylist()] if chunks else []
    code_of: dict[str, int] = {}
    place = np.array([code_of.setdefault(text, len(code_of)) for text in (*texts, "")], dtype=np.int64)
    codes = np.full(len(column), len(texts), dtype=np.int64)  # the last place: of a missing one
    at = 0
    for chunk in chunks:
        filled = filled_of(chunk.indices)
        codes[at : at + len(chunk)][filled] = in_memory(chunk.indices)[filled]
        at += len(chunk)
    return Cells(place[codes], list(code_of))


def _text(value: object) -> str:
    """A cell as a person would have typed it; nothing for one that is missing or no number."""
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    moment = getattr(value, "isoformat", None)
    return str(moment()) if moment is not None else str(value).strip()
