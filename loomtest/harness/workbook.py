"""Workbooks (`.xlsx`, `.ods`) as people keep them: title rows, merged headers, connector and pin apart.

A workbook is taken wherever a CSV is: its first sheet with the needed columns, or `FILE.xlsx#Sheet`. The
cells are read by python-calamine: both formats, merged ranges, a formula's value, in one small wheel.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from loomtest.errors import Problem
from loomtest.harness.outward import visible
from loomtest.harness.table import LONGEST_CELL, MOST_COLUMNS, Table, quoted

ENDINGS = (".xlsx", ".ods")
LARGEST_UNPACKED = 300_000_000
MOST_ROWS = 1_000_000


def split_sheet(path: Path) -> tuple[Path, str]:
    """`FILE.xlsx#Sheet` as the file and the sheet's name; "" where none is named."""
    match = re.fullmatch(r"(.*\.(?:xlsx|ods))#(.+)", path.name, re.IGNORECASE)
    return (path.with_name(match[1]), match[2]) if match else (path, "")


def is_workbook(path: Path) -> bool:
    """Whether the name is that of a workbook, with or without a sheet."""
    return split_sheet(path)[0].suffix.casefold() in ENDINGS


def read_workbook(path: Path, file: str, needed: tuple[str, ...], problems: list[Problem]) -> Table | None:
    """The table of the first sheet with the needed columns, or of the named one; None with the reason among
    the problems. `line` of a row is its row in the sheet."""
    real, named = split_sheet(path)
    sheets = _sheets(real, file, problems)
    if sheets is None:
        return None
    names = [name for name, _ in sheets]
    if named:
        sheets = [(name, rows) for name, rows in sheets if name.casefold() == named.casefold()]
        if not sheets:
            expected = "one of its sheets: " + ", ".join(names[:12])
            problems.append(Problem(file, None, "", f"no sheet {quoted(named)}", visible(expected)))
            return None
    for name, rows in sheets:
        from loomtest.harness.sheets import header_row

        at = header_row(rows, needed)
        if at is not None:
            header = tuple(cell.strip() for cell in rows[at])
            if len(sheets) > 1:
                others = [other for other in names if other != name]
                found = f"{len(names)} sheets; {quoted(name)} was read"
                expected = f"FILE#SHEET for another: {', '.join(others[:6])}"
                problems.append(Problem(file, None, "", found, visible(expected), "warning"))
            return Table(file, header, at + 1, _below(rows, at, len(header)), ",")
    if needed == ("from", "to"):
        from loomtest.harness.sheets import as_wire_list

        table = as_wire_list(file, sheets, problems)
        if table is not None:
            return table
    expected = "a row of column names with " + ", ".join(needed)
    problems.append(Problem(file, None, "", f"no such row in {', '.join(map(quoted, names[:6]))}", expected))
    return None


def _below(rows: Sequence[list[str]], at: int, width: int) -> tuple[tuple[int, list[str]], ...]:
    return tuple(
        (number, [*cells[:width], *[""] * (width - len(cells))])
        for number, cells in enumerate(rows[at + 1 :], at + 2)
        if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#")
    )


def _sheets(path: Path, file: str, problems: list[Problem]) -> list[tuple[str, list[list[str]]]] | None:
    """Each sheet's name and cells as texts, merged cells filled."""

    def refuse(found: str, expected: str) -> None:
        problems.append(Problem(file, None, "", found, expected))

    if not path.is_file():
        refuse("a folder" if path.is_dir() else "no such file", "a workbook (.xlsx or .ods)")
        return None
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(item.file_size for item in packed.infolist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        refuse(
            "a file that is no workbook, or one with a password", "a workbook (.xlsx or .ods), or a CSV file"
        )
        return None
    if size > LARGEST_UNPACKED:
        refuse(f"{size:,} bytes unpacked", f"at most {LARGEST_UNPACKED:,}")
        return None
    from python_calamine import CalamineError, CalamineWorkbook

    found = []
    try:
        with CalamineWorkbook.from_path(path) as book:
            for name in book.sheet_names:
                sheet = book.get_sheet_by_name(name)
                if sheet.total_height > MOST_ROWS or sheet.total_width > MOST_COLUMNS:
                    refuse(f"a sheet of {sheet.total_height:,} rows", f"at most {MOST_ROWS:,}")
                    return None
                cells = [[_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
                for (top, left), (bottom, right) in sheet.merged_cell_ranges or []:
                    _fill(cells, top, left, bottom, right)
                found.append((name, cells))
    except (CalamineError, OSError, ValueError, zipfile.BadZipFile) as error:
        refuse(f"a workbook that cannot be read ({visible(str(error))[:120]})", "a workbook, or a CSV file")
        return None
    return found


def _fill(cells: list[list[str]], top: int, left: int, bottom: int, right: int) -> None:
    """A merged cell says the same in all of its range."""
    if top >= len(cells) or left >= len(cells[top]):
        return
    text = cells[top][left]
    for row in range(top, min(bottom + 1, len(cells))):
        for column in range(left, min(right + 1, len(cells[row]))):
            cells[row][column] = cells[row][column] or text


def _text(cell: Any) -> str:
    """A cell as a person sees it: whole numbers without a point, and what a date was made of as a date."""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ") if cell.time() != time(0) else cell.date().isoformat()
    if isinstance(cell, (date, time)):
        return cell.isoformat()
    return str(cell)[:LONGEST_CELL]
