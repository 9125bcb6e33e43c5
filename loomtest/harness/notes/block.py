"""The rows below a heading: which of their columns is the other end, and which says what a wire is for."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_row, pins_of
from loomtest.harness.notes.items import Item, items_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.roles import Page, PageLine, Role


class Ends(StrEnum):
    """Which columns of names are ends."""

    FIRST = "first"
    SECOND = "second"
    BOTH = "both"


def end_columns(page: Page, heading: PageLine) -> Ends:
    """What the rows below a heading have in their columns of names: an end has a terminal, or is a ground."""
    rows = [row for line in _below(page, heading) if (row := _named(line, page))]
    wide = [row for row in rows if len(row) > 1]
    if not wide:
        return Ends.FIRST
    first = sum(row[0] for row in rows) / len(rows)
    second = sum(row[1] for row in wide) / len(wide)
    if second >= 0.5 and (len(wide) > 1 or len(rows) < 3):
        return Ends.SECOND if len(wide) * 2 > len(rows) and first < 0.4 else Ends.BOTH
    return Ends.FIRST


def _below(page: Page, heading: PageLine) -> list[PageLine]:
    found: list[PageLine] = []
    for line in page.lines[heading.number :]:  # numbered from 1, without a gap
        if line.role is not Role.LINE:
            if found:
                break
            continue
        if is_row(line.tokens):
            found.append(line)
    return found


def _named(line: PageLine, page: Page) -> list[bool]:
    """Whether the names of each column can be ends; columns without names are left out."""
    _, rest = pins_of(line.tokens)
    columns: list[list[Item]] = [[]]
    for item in items_of(rest, page.names, page.letters):
        if item.sort == "list" and item.value == "gap":
            columns.append([])
        elif item.sort == "end":
            columns[-1].append(item)
    return [any(_is_point(item) for item in column) for column in columns if column]


def _is_point(item: Item) -> bool:
    mention = item.mention
    return mention is not None and bool(
        mention.terminal or (mention.sort == "ground" and trade.is_ground(mention.key))
    )


def labels_first(items: Sequence[Item], names: Names) -> list[Item]:
    """The items of a row whose first column of names says what the circuit is for."""
    gap = next(
        (
            i
            for i, item in enumerate(items)
            if item.sort == "list" and item.value == "gap" and any(x.sort == "end" for x in items[:i])
        ),
        0,
    )
    later = any(item.sort == "end" for item in items[gap:])
    before = [item.mention for item in items[:gap] if item.mention is not None]
    sure = any(
        mention.terminal or (mention.sort == "ground" and names.stands(mention.key) > 1) for mention in before
    )
    if not gap or not later or sure:
        return list(items)
    words = " ".join(item.value for item in items[:gap] if item.sort == "end")
    kept = [item for item in items[:gap] if item.sort in ("about", "note", "join")]
    return [Item("label", words, items[0].start), *kept, *items[gap:]]
