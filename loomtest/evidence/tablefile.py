"""A table written for other programs: CSV for a spreadsheet, Parquet for an engine."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

from loomtest.errors import InputError, Problem
from loomtest.harness.outward import sheet_cell, visible

Table = Mapping[str, Sequence[object]]  # columns of one length


def write_tables(table: Table, csv_file: str | None, parquet_file: str | None) -> list[Path]:
    """Write the table into the files that were asked for; their paths. Raises InputError."""
    written = []
    for name, write in ((csv_file, write_csv), (parquet_file, write_parquet)):
        if name is not None:
            write(table, Path(name))
            written.append(Path(name))
    return written


def write_csv(table: Table, path: Path) -> None:
    """Write the columns; a cell that a spreadsheet would run as a formula is guarded. Raises InputError."""
    try:
        with path.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\r\n")
            writer.writerow(table)
            writer.writerows([_cell(value) for value in row] for row in zip(*table.values(), strict=True))
    except OSError as error:
        raise _unwritable(path, "--csv", error.strerror) from error


def write_parquet(table: Table, path: Path) -> None:
    """Write the columns as Parquet. Raises InputError."""
    import pandas as pd

    try:
        pd.DataFrame(dict(table)).to_parquet(path, engine="pyarrow", index=False)
    except ImportError:
        raise _unwritable(path, "--parquet", "no pyarrow: pip install pyarrow") from None
    except OSError as error:
        raise _unwritable(path, "--parquet", error.strerror or str(error)) from error


def _cell(value: object) -> object:
    if isinstance(value, float):
        return repr(float(f"{value:.6g}"))
    return sheet_cell("" if value is None else str(value))


def _unwritable(path: Path, option: str, why: str | None) -> InputError:
    found = f"a place that cannot be written ({why})"
    return InputError([Problem(visible(str(path)), None, option, found, "a file to write")])
