"""Cells of the tables that we write for spreadsheets: text stays text there."""

from __future__ import annotations

import re

from loomtest.harness.points import FORMULA_SIGNS


def guarded(cell: str) -> str:
    """The cell, with an apostrophe before what a spreadsheet would take for a formula; numbers are left."""
    if re.fullmatch(r"[+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?", cell):
        return cell
    # Also behind spaces, and the full-width forms: some programs strip the one and fold the other.
    first = cell.lstrip(" \t\r\n\u00a0\u3000")[:1]
    return "'" + cell if first in tuple(FORMULA_SIGNS) or cell[:1] in ("\t", "\r", "\n") else cell
