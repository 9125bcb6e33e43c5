"""Workbooks (`.xlsx`, `.ods`) as people keep them: title rows, merged headers, connector and pin apart.

A workbook is taken wherever a CSV is: its first sheet with the needed columns, or `FILE.xlsx#Sheet`. The
cells are read by python-calamine: both formats, merged ranges, a formula's value, in one small wheel.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from loomtest.errors import Problem
from loomtest.harness.outward import visible
from loomtest.harness.settings import COLUMNS_KEY, ColumnNames
from loomtest.harness.table import LONGEST_CELL, MOST_COLUMNS, Table, quoted
from loomtest.harness.unpacked import NotAWorkbook, Unpacked, unpack

ENDINGS = (".xlsx", ".ods")
WIRE_LIST = ("from", "to")
_COMMA = re.compile(r"\d+,\d+(?:\s*[^\d\s,.][^\d]*)?")
_POINT = re.compile(r"\d+\.\d+(?:\s*[^\d\s,.][^\d]*)?")


def split_sheet(path: Path) -> tuple[Path, str]:
    """`FILE.xlsx#Sheet` as the file and the sheet's name; "" where none is named."""
    match = re.fullmatch(r"(.*\.(?:xlsx|ods))#(.+)", path.name, re.IGNORECASE)
    return (path.with_name(match[1]), match[2]) if match else (path, "")


def is_workbook(path: Path) -> bool:
    """Whether the name is that of a workbook, with or without a sheet."""
    return split_sheet(path)[0].suffix.casefold() in ENDINGS


def read_workbook(
    path: Path,
    file: str,
    needed: tuple[str, ...],
    problems: list[Problem],
    columns: ColumnNames | None = None,
) -> Table | None:
    """The table of the first sheet with the needed columns, or of the named one; None with the reason among
    the problems. `line` of a row is its row in the sheet. A wire list is read however it is laid out.
    """
    from loomtest.harness.headings import header_row
    from loomtest.harness.sheets import plain_table, wire_table

    read = sheets_of(path, file, problems)
    if read is None:
        return None
    sheets, unpacked = read
    told = len(problems)
    if needed == WIRE_LIST:
        table = wire_table(file, sheets, columns, problems)
    else:
        named = [(name, rows, at) for name, rows in sheets if (at := header_row(rows, needed)) is not None]
        name, rows, at = named[0] if named else ("", [], 0)
        table = plain_table(file, name, sheets, rows, at, problems) if named else None
    if table is not None:
        _say_what_cells_do_not(file, table, unpacked, problems)
    elif not any(problem.severity == "error" for problem in problems[told:]):
        problems.append(no_columns(file, sheets, needed))
    return table


def no_columns(file: str, sheets: Sequence[tuple[str, list[list[str]]]], needed: tuple[str, ...]) -> Problem:
    """That no row of column names was found, with what to write about it."""
    from loomtest.harness.headings import likeliest_names

    if not any(row for _, rows in sheets for row in rows):
        return Problem(file, None, "", "an empty workbook", "a row of column names with " + ", ".join(needed))
    at = next(((rows, at) for _, rows in sheets if (at := likeliest_names(rows)) is not None), None)
    names = [" ".join(cell.split()) for cell in at[0][at[1]] if cell.strip()] if at else []
    only = f", only {quoted(', '.join(names), 200)}" if names else ""
    expected = "a row of column names with " + ", ".join(needed)
    if needed != WIRE_LIST:
        return Problem(file, None, "", f"no column names {', '.join(needed)}{only}", expected)
    found = f"no column names that say where a wire begins and where it ends{only}"
    example = 'from = ["Plug", "Way"] and to = "Leads to"'
    expected += f"; or your own columns in harness.toml, below [{COLUMNS_KEY}]: such as {example}"
    return Problem(file, None, COLUMNS_KEY, found, expected)


def _say_what_cells_do_not(file: str, table: Table, unpacked: Unpacked, problems: list[Problem]) -> None:
    """Hidden rows are read, fills are not: a person who sees only the screen would not know."""
    from loomtest.harness.groups import counted_rows

    if unpacked.hidden_rows:
        found = f"{counted_rows(unpacked.hidden_rows)} hidden by the spreadsheet"
        expected = "all rows on the screen; hidden ones were read like the others"
        problems.append(Problem(file, None, "", found, expected, "warning"))
    if unpacked.formulas:
        found = f"{unpacked.formulas:,} formula{'s' if unpacked.formulas > 1 else ''} without a value"
        expected = "the workbook opened in a spreadsheet and saved once; their cells were read as empty"
        problems.append(Problem(file, None, "", found, expected, "warning"))
    names = [name.casefold() for name in table.header]
    place = next((names.index(name) for name in ("colour", "color") if name in names), None)
    coloured = place is not None and any(cells[place].strip() for _, cells in table.rows)
    if unpacked.fills > 1 and not coloured:
        found = "cells filled with colours, and no colour written"
        expected = "the wire's colour as a word in a column of its own; a fill is not read"
        problems.append(Problem(file, None, "", found, expected, "warning"))


def sheets_of(
    path: Path, file: str, problems: list[Problem]
) -> tuple[list[tuple[str, list[list[str]]]], Unpacked] | None:
    """The sheets that are shown, or the named one, as texts; None with the reason among the problems."""
    real, named = split_sheet(path)

    def refuse(found: str, expected: str) -> None:
        problems.append(Problem(file, None, "", found, visible(expected)))

    if not real.is_file():
        refuse("a folder" if real.is_dir() else "no such file", "a workbook (.xlsx or .ods)")
        return None
    try:
        unpacked = unpack(real)
        sheets = _sheets(unpacked)
    except NotAWorkbook as error:
        refuse(visible(error.found), error.expected)
        return None
    except OSError as error:
        refuse(f"a file that cannot be read ({error.strerror})", "a workbook that you may read")
        return None
    names = [name for name, _, _ in sheets]
    shown = [(name, rows) for name, rows, hidden in sheets if not hidden]
    if named:
        shown = [(name, rows) for name, rows, _ in sheets if name.casefold() == named.casefold()]
        if not shown:
            refuse(f"no sheet {quoted(named)}", "one of its sheets: " + ", ".join(names[:12]))
            return None
    elif len(shown) < len(sheets):
        hidden = ", ".join(name for name, _, is_hidden in sheets if is_hidden)
        found = f"hidden sheets: {quoted(hidden)}"
        expected = "FILE#SHEET for one of them; they were left out"
        problems.append(Problem(file, None, "", found, expected, "warning"))
    return shown, unpacked


def _sheets(unpacked: Unpacked) -> list[tuple[str, list[list[str]], bool]]:
    """Each sheet's name, its cells as texts with merged cells filled, and whether it is hidden."""
    from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    found = []
    try:
        with CalamineWorkbook.from_filelike(unpacked.parts) as book:
            for about in book.sheets_metadata:
                if about.typ != SheetTypeEnum.WorkSheet:
                    continue
                sheet = book.get_sheet_by_name(about.name)
                if sheet.total_width >= MOST_COLUMNS:
                    raise NotAWorkbook(
                        f"{sheet.total_width + 1:,} columns", f"at most {MOST_COLUMNS:,} columns"
                    )
                cells = _texts(sheet.to_python(skip_empty_area=False))
                for (top, left), (bottom, right) in sheet.merged_cell_ranges or []:
                    _fill(cells, top, left, bottom, right)
                found.append((about.name, cells, about.visible != SheetVisibleEnum.Visible))
    except (CalamineError, OSError, ValueError, OverflowError) as error:
        why = visible(str(error))[:120]
        raise NotAWorkbook(
            f"a workbook that cannot be read ({why})", "a workbook that a spreadsheet opens, or a CSV file"
        ) from error
    except BaseException as error:  # the reader's own failure is no Exception of Python's
        if type(error).__name__ != "PanicException":
            raise
        raise NotAWorkbook("a workbook that cannot be read", "one saved again by a spreadsheet") from error
    return found


def _fill(cells: list[list[str]], top: int, left: int, bottom: int, right: int) -> None:
    """A merged cell says the same in all of its range."""
    if top >= len(cells) or left >= len(cells[top]) or not cells[top][left]:
        return
    text = cells[top][left]
    for row in range(top, min(bottom + 1, len(cells))):
        for column in range(left, min(right + 1, len(cells[row]))):
            cells[row][column] = cells[row][column] or text


def _texts(rows: list[list[Any]]) -> list[list[str]]:
    """Cells as a person sees them. Where texts have decimal commas, so have numbers: one sign in a sheet."""
    texts = {cell for row in rows for cell in row if isinstance(cell, str) and 2 < len(cell) < 20}
    comma = any(map(_COMMA.fullmatch, texts)) and not any(map(_POINT.fullmatch, texts))
    found = [[cell if isinstance(cell, str) else _text(cell, comma) for cell in row] for row in rows]
    for row in found:
        if any(len(cell) > LONGEST_CELL for cell in row):
            row[:] = [cell[:LONGEST_CELL] for cell in row]
    return found


def _text(cell: Any, comma: bool) -> str:
    """A cell as a person sees it: whole numbers without a point, and what a date was made of as a date."""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, float):
        text = str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else f"{cell:.15g}"
        return text.replace(".", ",") if comma else text
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ") if cell.time() != time(0) else cell.date().isoformat()
    if isinstance(cell, (date, time)):
        return cell.isoformat()
    return str(cell)
