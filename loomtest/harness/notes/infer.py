"""Tables without a header that is understood: what each column holds is told by its cells.

A block of lines with as many cells has a column of colours, one of running numbers, and two of places: these
are the ends of the wires. Nothing is taken for a table whose two ends are not plain.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from loomtest.harness.notes import trade
from loomtest.harness.notes.columns import Column, header
from loomtest.harness.notes.mentions import mention_of
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.scan import Token

FEWEST_ROWS = 4
MOST_BETWEEN = 4  # lines from one block to the next: a blank line, a title, a rule
Cells = list[list[Token]]
Block = list[tuple[PageLine, Cells]]


def find_tables(page: Page) -> None:
    """Give the first line of each such block its columns."""
    for block in _of_one_shape(_blocks(page)):
        _open(block)


def _blocks(page: Page) -> list[Block]:
    """The lines with cells that stand one below the other, below no connector's heading and in no table."""
    found: list[Block] = []
    block: Block = []
    sort = ""
    device = table = False
    for line in [*page.lines, PageLine(0, "", [])]:
        if line.role in (Role.HEADING, Role.TABLE):
            device, table = line.device is not None, bool(line.columns)
        own, cells = _cells(line) if line.role is Role.LINE and line.text.strip() else ("", [])
        if block and own != sort:
            found.append(block)
            block = []
        if not line.text.strip():
            device = device and bool(block)
        if own and not device and not table:
            block.append((line, cells))
            sort = own
    return found


def _of_one_shape(blocks: Sequence[Block]) -> list[Block]:
    """The blocks, those put together that differ in nothing and have but a title or a blank line between."""
    found: list[Block] = []
    for block in blocks:
        near = bool(found) and block[0][0].number - found[-1][-1][0].number <= MOST_BETWEEN
        if near and _shape(found[-1]) == _shape(block):
            found[-1] = [*found[-1], *block]
        else:
            found.append(block)
    return found


def _shape(block: Block) -> list[str]:
    """What each column of a block holds, as far as its own rows tell."""
    wide = max(len(cells) for _, cells in block)
    return [_role([cells[place] for _, cells in block if len(cells) > place]) for place in range(wide)]


def _cells(line: PageLine) -> tuple[str, Cells]:
    """How the cells of a line stand apart, and the cells; ("", []) for a line that is no row."""
    text = line.text
    sort = (
        "|"
        if text.count("|") > 1
        else "\t"
        if text.count("\t") > 1
        else ";"
        if text.count(";") > 2
        else "gap"
    )
    found: Cells = [[]]
    for token in line.tokens:
        if sort == "gap":
            parts = int(token.sort == "gap")
        else:
            parts = token.text.count(sort) if token.sort in ("gap", "semi") else 0
        if parts:
            found += [[] for _ in range(parts)]
        elif token.sort != "gap":
            found[-1].append(token)
    if any(token.sort in ("arrow", "back", "feeds") for token in line.tokens):
        return "", []
    return (sort, found) if len(found) > 2 else ("", [])


def _open(block: Block) -> None:
    """Set the columns of the block's first line, where two of them are places beyond doubt."""
    first, head = block[0]
    titled = not any(token.sort in ("colour", "size", "number") for cell in head for token in cell)
    rows = [cells for _, cells in (block[1:] if titled else block)]
    wide = max((len(cells) for cells in rows), default=0)
    full = [cells for cells in rows if len(cells) == wide]
    if len(rows) < FEWEST_ROWS or len(full) * 3 < len(rows) * 2:
        return
    roles = [_role([cells[place] for cells in full]) for place in range(wide)]
    places = [place for place, role in enumerate(roles) if role == "place"]
    if roles.count("colour") > 1:
        return  # a wire at each side of a cavity, and none from the one place to the other
    if len(places) < 2 or not {"colour", "size", "wire"} & set(roles):
        return
    named = header(first.text) if titled else []
    starts = {
        place: min(begins)
        for place in range(wide)
        if (begins := [cells[place][0].start for cells in full if cells[place]])
    }
    final = {places[0]: "from", places[1]: "to"}
    columns: list[Column] = []
    for place in starts:  # a column without a cell is none
        role = roles[place]
        said = final.get(place, role if role not in ("place", "") else "note")
        columns.append((said, starts[place], starts[place]))
    if named:
        return
    opener = block[1][0] if titled else first
    opener.columns = columns
    if titled:
        first.role = Role.TABLE
        first.columns = columns


def _role(cells: Sequence[list[Token]]) -> str:
    """What a column holds: `colour`, `size`, `wire` (a running number), `place`, or "" for anything else."""
    filled = [cell for cell in cells if cell and cell[0].sort != "ditto"]
    if not filled:
        return ""

    def share(sorts: set[str]) -> float:
        return sum({token.sort for token in cell} <= sorts for cell in filled) / len(filled)

    coloured = {"colour", "letters", "slash", "dash", "quest", "size", "size?", "decimal"}  # `brown/yellow 1`
    begun = sum(cell[0].sort in ("colour", "letters") for cell in filled) / len(filled)
    if share({*coloured, "number"}) >= 0.6 and begun > 0.3:
        return "colour"
    numbers = [int(cell[0].text) for cell in filled if len(cell) == 1 and cell[0].sort == "number"]
    if len(numbers) * 5 > len(filled) * 4:
        runs = sum(b == a + 1 for a, b in pairwise(numbers))
        if runs * 5 > (len(numbers) - 1) * 4:
            return "wire"
    if share({"number", "decimal", "size", "size?", "length", "amps", "dash"}) >= 0.7:
        return "size"
    return "place" if sum(map(is_place, filled)) >= 0.7 * len(filled) else ""


def is_place(cell: Sequence[Token]) -> bool:
    """Whether a cell names a point: a device of the trade, a code, or a name with a terminal."""
    words = [token for token in cell if token.sort not in ("note", "comma")]
    named = mention_of(words)
    if named is None or not named.words or any(trade.is_odd(word) for word in named.words):
        return False
    return bool(named.sort or named.terminal)
