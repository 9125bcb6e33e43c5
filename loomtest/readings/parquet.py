"""A readings table kept as Parquet: the same columns as the CSV, and the same rows counted the same way.

pandas reads it where pyarrow is installed. What stands as numbers there (a column `value` of floats, an
infinity being over-range) is taken as such; everything else goes through the cells that a CSV would have.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from loomtest.errors import InputError, Problem
from loomtest.harness.model import FloatArray
from loomtest.readings.table import Cells, ReadingsTable, parse_header

if TYPE_CHECKING:
    import pandas as pd


def parquet_table(path: Path, file: str) -> ReadingsTable:
    """The table of a Parquet file; row n is called line n + 1, as if it had been saved as CSV.

    Raises InputError for a file that cannot be read or columns that cannot be used.
    """
    frame = _frame(path, file)
    written = io.StringIO()
    csv.writer(written).writerow([str(name) for name in frame.columns])
    header = parse_header(written.getvalue(), file)
    columns: dict[str, Cells] = {}
    plain: FloatArray | None = None
    for name, index in header.index_of.items():
        column = frame.iloc[:, index]
        if name == "value" and column.dtype.kind in "fiu" and not column.isna().any():
            plain = column.to_numpy(np.float64)
            columns[name] = Cells(np.broadcast_to(np.int64(-1), len(frame)), [])
        else:
            columns[name] = _cells(column)
    lines = np.arange(2, len(frame) + 2, dtype=np.int64)
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


def _frame(path: Path, file: str) -> pd.DataFrame:
    import pandas as pd

    wanted = "a readings table"
    try:
        return pd.read_parquet(path)
    except ImportError:
        found = "a Parquet file, and pyarrow is not installed"
        expected = "the same table as CSV (.csv, .csv.gz), or pyarrow: pip install pyarrow"
    except FileNotFoundError:
        found, expected = "no such file", f"{wanted} or a run folder"
    except (OSError, ValueError) as error:  # pyarrow's errors are among these
        found = f"a file that cannot be read as Parquet ({str(error).splitlines()[0]})"
        expected = f"{wanted} in Parquet"
    raise InputError([Problem(file, None, "", found, expected)])


def _cells(column: pd.Series[Any]) -> Cells:
    """Codes and stripped texts; a missing cell is an empty one."""
    filled = column.astype("category").cat
    texts = [_text(value) for value in filled.categories.tolist()]
    code_of: dict[str, int] = {}
    place = np.array([code_of.setdefault(text, len(code_of)) for text in (*texts, "")], dtype=np.int64)
    return Cells(place[filled.codes.to_numpy()], list(code_of))  # a missing one has −1: the last place


def _text(value: object) -> str:
    """A cell as a person would have typed it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    moment = getattr(value, "isoformat", None)
    return str(moment()) if moment is not None else str(value).strip()
