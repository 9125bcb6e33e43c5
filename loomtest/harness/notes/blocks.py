"""Blocks of rows without a plain heading: what stands in front of their rows, and of which connector it is.

Each row's rest is read by itself. Where most rows of a block have both ends there, what stands in front is
the wire's own number; where they have one, it is a cavity, of the connector that was named just before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.cells import sentences
from loomtest.harness.notes.credible import is_credible
from loomtest.harness.notes.items import ABOUT, JOINS, items_of
from loomtest.harness.notes.leads import Lead, lead_of
from loomtest.harness.notes.meaning import RemarkError, Surroundings, UnsureError
from loomtest.harness.notes.owners import RELAY, owner_above, relay_above, two_sided_heading
from loomtest.harness.notes.roles import Page, PageLine, Role
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.statement import read_statement

FEWEST = 3
MOST_BETWEEN = 2  # lines of another shape between two rows of a block
FURTHEST = 8  # the same, where the next row counts on by one


@dataclass
class RowBlock:
    """Rows with the same style of lead that stand together."""

    heading: PageLine | None = None
    rows: list[tuple[PageLine, Lead]] = field(default_factory=list)
    told: list[int] = field(default_factory=list)  # how many ends the rest of each row has

    @property
    def first(self) -> PageLine:
        """The line of its first row."""
        return self.rows[0][0]

    @property
    def headed(self) -> bool:
        """Whether a heading above says of what connector the rows are, or what their columns hold."""
        above = self.heading
        return above is not None and (bool(above.columns) or (above.device is not None and not above.weak))

    @property
    def of_wires(self) -> bool:
        """Whether its leads are written as wires are numbered."""
        return self.rows[0][1].of_a_wire

    @property
    def lettered(self) -> bool:
        """Whether its leads are letters or signs, as only cavities are named."""
        return self.rows[0][1].style in ("letter", "sign")


def place_blocks(page: Page) -> bool:
    """Tell the leads of the page's blocks; True where a line has changed, so that names are told anew."""
    changed = False
    for block in _blocks(page.lines):
        if block.headed and block.heading is not None and two_sided_heading(block.heading.text):
            _part_sides(block)
        if block.headed and (not block.of_wires or block.rows[0][1].style == "#"):
            continue  # `#3` below a connector's heading is a cavity
        block.rows = _with_strokes(block.rows)
        block.told = [_ends(page, lead.rest) for _, lead in block.rows]
        changed = _owned(page, block) or _numbered_wires(block) or changed
    return changed


def _blocks(lines: Sequence[PageLine]) -> list[RowBlock]:
    found: list[RowBlock] = []
    last_at: dict[str, int] = {}  # of each style: the line of its last row
    own: dict[str, RowBlock] = {}
    heading: PageLine | None = None
    blank, begun = 0, 0
    for line in lines:
        if line.role in (Role.HEADING, Role.TABLE, Role.CHANGE_HEADING) or line.columns:
            own, last_at, begun, heading = {}, {}, 0, line
        lead = lead_of(line.tokens) if line.role is Role.LINE and not line.columns else None
        blank = blank if line.text.strip() else line.number
        if lead is None:
            continue
        block, above = own.get(lead.style), last_at.get(lead.style, 0)
        step = lead.order - block.rows[-1][1].order if block else 0
        near = line.number - above <= (MOST_BETWEEN if step > 1 else FURTHEST) + 1
        if block is not None and {lead.value, block.rows[-1][1].value} <= RELAY:
            step = 1  # in whatever order
        if block is None or step < 1 or not near or (blank > above and step > 1):
            block = own[lead.style] = RowBlock(heading if blank <= (begun or blank) else None)
            found.append(block)
        block.rows.append((line, lead))
        last_at[lead.style] = line.number
        begun = begun or line.number
    return [block for block in found if len(block.rows) > 1]


def _with_strokes(rows: list[tuple[PageLine, Lead]]) -> list[tuple[PageLine, Lead]]:
    """The rows with the one stroke that each of them has as the sign of joining: `1  blue  horn / frame`."""
    places = [_strokes(lead.rest) for _, lead in rows]
    if sum(len(own) == 1 for own in places) * 4 < len(rows) * 3:
        return rows
    found = []
    for (line, lead), own in zip(rows, places, strict=True):
        if len(own) == 1:
            at = own[0]
            joined = replace(lead.rest[at], sort="to", text="to", value="to")
            lead = replace(lead, rest=(*lead.rest[:at], joined, *lead.rest[at + 1 :]))
        found.append((line, lead))
    return found


def _strokes(tokens: Sequence[Token]) -> list[int]:
    """Where strokes stand with a space at both sides, so that they part no colours and no names."""
    return [
        at
        for at in range(1, len(tokens) - 1)
        if tokens[at].sort == "slash"
        and tokens[at - 1].end < tokens[at].start
        and tokens[at].end < tokens[at + 1].start
    ]


def _numbered_wires(block: RowBlock) -> bool:
    """Take the numbers off rows that are whole wires without them."""
    if len(block.rows) < (2 if block.of_wires else FEWEST) or block.lettered:
        return False
    whole, one = block.told.count(2), block.told.count(1)
    if whole < 2 or whole <= one:
        return False
    for line, lead in block.rows:
        line.tokens = list(lead.rest)
        line.listed = lead.value
        own = lead.style + lead.value if lead.style in ("W", "w") else lead.value
        line.wire = own if block.of_wires else ""
    if block.heading is not None:
        block.heading.device = None  # a title only
    return True


def _owned(page: Page, block: RowBlock) -> bool:
    """Give the rows the connector that was named above them."""
    whole, one = block.told.count(2), block.told.count(1)
    values = [lead.value for _, lead in block.rows]
    above = owner_above(page.lines, block.first, page.names)
    sided = above is not None and two_sided_heading(above[0].text)
    if block.of_wires or (not sided and one < max(2, whole + 1)):
        return False
    code = block.rows[0][1].style
    if above is not None and code.isupper() and above[1].words[-1].upper() != code:
        return False  # `J1`, `J2` are connectors, and no cavities
    if above is not None:
        line, device = above
        plug = trade.long_form(device.words[0]) in ("connector", "plug", "socket")  # of a colour of its own
        signs = JOINS if plug and line.tokens[0].text == device.words[0] else (*ABOUT, *JOINS)
        says_more = any(token.sort in signs for token in line.tokens)
        if line.listed or (not sided and says_more):
            line.opens = device
        else:
            line.role, line.device = Role.HEADING, device
            block.heading = line
        if sided:
            _part_sides(block)
    elif (relay := relay_above(page.lines, block.first, values, page.names)) is not None:
        block.first.under = relay
    else:
        for (line, lead), ends in zip(block.rows, block.told, strict=True):
            said = any(token.sort in (*ABOUT, "gap") for token in lead.rest)
            line.orphan = lead.value if ends == 1 and said else ""
        return False
    return True


def _part_sides(block: RowBlock) -> None:
    """Each cavity has a wire at each side of the row's stroke or arrow."""
    if block.heading is not None:
        block.heading.star = True
    for line, _ in block.rows:
        for at in _strokes(line.tokens)[:1]:
            joined = replace(line.tokens[at], sort="arrow", text="->", value="->")
            line.tokens = [*line.tokens[:at], joined, *line.tokens[at + 1 :]]


def _ends(page: Page, rest: Sequence[Token]) -> int:
    """How many ends the words behind a lead have: 2 for a whole wire, 1, or 0 where it cannot be told."""
    scene = Surroundings(page.names, page.letters, gauge=page.gauge)
    for statement in sentences(list(rest), False):
        try:
            if read_statement(statement, scene):
                return 2
        except (UnsureError, RemarkError):
            continue
    ends = [item.mention for item in items_of(rest, page.names, page.letters) if item.mention is not None]
    return 1 if len([end for end in ends if end.words and is_credible(end, page.names)]) == 1 else 0
