"""Titles inside a table: `TILLER (REAR)` between its rows is a section, `Plug B` the rows' connector.

The columns hold on below a line that stands between rows of one shape. Where the rows name both their ends,
the line is no connector of theirs, whatever it names.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import takewhile

from loomtest.harness.notes.cavities import without_lead
from loomtest.harness.notes.columns import Column, cells_of
from loomtest.harness.notes.infer import is_place
from loomtest.harness.notes.items import JOINS
from loomtest.harness.notes.mentions import mention_of
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.scan import Token

FEWEST_CELLS = 3


def find_titles(page: Page) -> None:
    """Take the device of a heading away where each line below names both ends of a wire behind its colour.

    A colour is a cavity's name where nothing else is (`red - fuse 3`); never beside two places.
    """
    for index, line in enumerate(page.lines):
        if line.role is not Role.HEADING or line.device is None:
            continue
        rows = list(takewhile(lambda other: other.role is Role.LINE, page.lines[index + 1 :]))
        coloured = [row for row in rows if row.tokens and row.tokens[0].sort == "colour"]
        if coloured and 2 * len(coloured) > len(rows) and 2 * sum(map(_two_places, coloured)) > len(coloured):
            line.device = line.other = None


def _two_places(row: PageLine) -> bool:
    rest = [token for token in row.tokens[1:3] if token.sort != "gap"] + row.tokens[3:]
    if len(without_lead(rest)) < len(rest):
        return False  # `yellow  pin 1 to lamp` has its cavity
    cells: list[list[Token]] = [[]]
    for token in rest:
        if token.sort in ("gap", *JOINS):
            cells.append([])
        else:
            cells[-1].append(token)
    return sum(bool(cell) and is_place(cell) for cell in cells) > 1


def find_sections(page: Page) -> None:
    """Give every title inside a table the table's columns, and take its device away where no row needs it."""
    columns: list[Column] = []
    for index, line in enumerate(page.lines):
        if line.role is Role.TABLE or line.columns:
            columns = line.columns
            continue
        ends = {"from", "to"} <= {sort for sort, *_ in columns}
        titled = line.role is Role.HEADING or (ends and _one_cell(line, columns))
        if not columns or not titled:
            continue
        if not _goes_on(page.lines[index + 1 :], columns):
            columns = [] if line.role is Role.HEADING else columns
            continue
        line.role, line.columns = Role.HEADING, columns
        if ends:
            line.device = line.other = line.hub = None
            line.star = False


def _goes_on(below: Sequence[PageLine], columns: Sequence[Column]) -> bool:
    """Whether the next line is a row of the table."""
    row = next((line for line in below if line.role not in (Role.BLANK, Role.RULE)), None)
    if row is None or row.role is not Role.LINE:
        return False
    cells = cells_of(row.tokens, columns, row.text, exact=True)
    return cells is not None and not any(cells[len(columns) :]) and sum(map(bool, cells)) >= FEWEST_CELLS


def _one_cell(line: PageLine, columns: Sequence[Column]) -> bool:
    """A row with a name in its first cell alone: `| Bilge pump | | |`, `LIGHTS,,,`."""
    if line.role is not Role.LINE or not line.tokens:
        return False
    cells = cells_of(line.tokens, columns, line.text)
    if cells is None or any(cells[1:]) or not cells[0]:
        return False
    named = mention_of([token for token in cells[0] if token.sort not in ("note", "colon")])
    return named is not None and bool(named.words) and not named.terminal
