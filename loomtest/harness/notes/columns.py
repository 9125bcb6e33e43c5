"""The header of a table: which column holds what, and the cells of a row below it.

Columns stand apart by strokes, tabs or spaces. With spaces a row's cells are put to the columns by where they
stand and by what they look like, so that a colour is never taken for an end because a column was left empty.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from itertools import pairwise

from loomtest.harness.notes.leads import lead_of
from loomtest.harness.notes.mentions import CODE
from loomtest.harness.notes.scan import Token

Column = tuple[str, int, int]  # what it holds, and from where to where its heading stands
_WORDS = {
    "wire": "n° nº tag ref id cable core wire no # nr num run item",
    "note": "signal name service description purpose remarks remark rem note notes function circuit use "
    "fuse for what comment comments info why label via",
    "amps": "rating amps fuse-rating",
    "from": "from a-end end-a end-1 side-a start source where-from where-it-starts where-it-comes-from "
    "comes-from begins ex origin from-here",
    "to": "to b-end end-b end-2 side-b goes-to destination dest end feeds supplies connects-to where-to "
    "where-it-goes goes into target "
    "lands-on ends-at other-end far-end joins goes-off-to ends-up-at",
    "pin": "pin from-pin pin-1 pin-a cavity cav way terminal term position pos clamp hole tag-no pins slot "
    "post stud contact blade spade",
    "conn": "conn connector plug device part unit component what from-conn from-connector "
    "conn-1 connector-1 conn-a",
    "to conn": "to-conn to-connector to-plug to-device conn-2 connector-2 conn-b",
    "to pin": "to-pin to-cavity to-terminal to-way pin-2 pin-b",
    "colour": "colour color col colr clr wire-colour wire-color cols",
    "size": "size mm2 mm² csa sq area",
    "gauge": "gauge awg ga",
    "length": "length len lgth metres meters cm long",
}  # fmt: skip
HEADER = {
    form: sort
    for sort, words in _WORDS.items()
    for word in words.split()
    for form in (word, word.replace("-", " "))
}
_STROKES = re.compile(r"[\t|]")
_LISTED = re.compile(r"[;,]")
_SPACED_DASH = re.compile(r"\s[-–]\s")


def header(text: str) -> list[Column]:
    """The columns that a table's header row names; [] for any other line."""
    named, cells = _named(text)
    named = _in_two_columns(named)
    codes = [cell for cell in cells if CODE.fullmatch(cell) and cell[0].isupper()]
    told = all(sort or cell in codes for (sort, *_), cell in zip(named, cells, strict=True))
    if len(codes) == 2 and told:  # a column for each of two connectors
        named = [
            (f"@{cell}" if cell in codes else sort, start, end)
            for cell, (sort, start, end) in zip(cells, named, strict=True)
        ]
    named = _places_by_the_rest(named)
    sorts = {sort for sort, *_ in named}
    if named and not {"pin", "from"} & sorts and "to" in sorts and named[0][0] != "to":
        named[0] = ("pin", *named[0][1:])  # a fuse list: `no.  fuse  amps  wire  feeds`
        named[1:] = [("colour" if sort == "wire" else sort, begin, end) for sort, begin, end in named[1:]]
    known = [sort for sort, *_ in named if sort]
    ends = sum(sort in ("from", "to", "pin") or sort[0] == "@" for sort in known)
    return named if len(known) >= 2 and len(known) * 2 > len(named) and ends else []


def by_content(columns: list[Column], rows: Sequence[Sequence[Token]]) -> list[Column]:
    """The columns of a header as its cells show: colours below `wire`, cavities below a connector."""
    leads = [lead for row in rows if (lead := lead_of(row)) is not None]
    counts = all(b.order > a.order for a, b in pairwise(leads))
    plain = all(lead.style in ("number", "letter") for lead in leads)
    if (
        columns
        and columns[0][0] == "from"
        and 1 < len(leads) == len([r for r in rows if r])
        and counts
        and plain
    ):
        columns = [("pin", *columns[0][1:]), *columns[1:]]
    sorts = [sort for sort, *_ in columns]
    coloured = sum(any(token.sort == "colour" for token in row) for row in rows) * 2 > len(rows)
    if not coloured or "colour" in sorts or "wire" not in sorts[1:]:
        return columns
    place = sorts.index("wire", 1)
    return [*columns[:place], ("colour", *columns[place][1:]), *columns[place + 1 :]]


def _places_by_the_rest(named: list[Column]) -> list[Column]:
    """Two columns whose headings are not known, beside a colour: where the wire begins and ends."""
    sorts = [sort for sort, *_ in named]
    ends = {"from", "to", "pin", "conn", "to pin", "from pin"} & set(sorts)
    if ends in ({"from"}, {"to"}) and sorts.count("") == 1 and len(sorts) > 2:
        other = "to" if "from" in ends else "from"
        return [(sort or other, begin, end) for sort, begin, end in named]
    if ends or sorts.count("") != 2 or "colour" not in sorts or len(sorts) < 4:
        return named
    first, second = (place for place, sort in enumerate(sorts) if not sort)
    return [
        ("from" if place == first else "to" if place == second else sort, begin, end)
        for place, (sort, begin, end) in enumerate(named)
    ]


def _in_two_columns(named: list[Column]) -> list[Column]:
    """`Conn  Pin  To  To pin`, `part  post  colour  goes to`: connector and pin of an end in two columns."""
    sorts = [sort for sort, *_ in named]
    tag = next((i for i, sort in enumerate(sorts) if i and sort == "wire" and sorts[i - 1] == "conn"), 0)
    if tag and "pin" not in sorts:  # a device's `tag`
        sorts[tag] = "pin"
        named = [(sort, *column[1:]) for sort, column in zip(sorts, named, strict=True)]
    twice = sorts.count("pin") == 2 or "to pin" in sorts
    of_one = [sort for sort in sorts if sort in ("conn", "from", "pin", "to")]
    apart = of_one in (["conn", "pin", "to"], ["from", "pin", "to"])
    if not (twice or apart) or not {"conn", "from"} & set(sorts) or sorts[0] == "pin":
        return named
    found: list[Column] = []
    seen = False
    for sort, begin, end in named:
        if sort in ("conn", "from"):
            sort = "to" if seen else "from"
        elif sort in ("pin", "to pin"):
            sort = "to pin" if seen or sort == "to pin" else "from pin"
            seen = True
        elif sort == "to conn":
            sort = "to"
        found.append((sort, begin, end))
    return found


def _named(text: str) -> tuple[list[Column], list[str]]:
    bare = re.sub(r"\([^()]*\)", lambda m: " " * len(m[0]), text)
    listed = max(";,", key=bare.count)
    if bare.count(listed) > 2 and not _STROKES.search(bare):  # as a spreadsheet saves it
        bare = bare.replace(listed, "|")
    if _STROKES.search(bare):
        shape = r"[^\t|]+"
    elif len(_SPACED_DASH.findall(bare)) >= 2 and not re.search(r"\S\s{2,}\S", bare):
        shape = r"[^\s–-]+(?: [^\s–-]+)*"
    else:
        shape = r"\S+(?: \S+)*"
    found = [m for m in re.finditer(shape, bare) if m[0].strip()]
    named = [(_column(m[0].casefold().strip(" .:")), m.start(), m.end()) for m in found]
    return named, [m[0].strip() for m in found]


_WITH_A_UNIT = re.compile(
    r"[ ,/\[]+(?:in )?(?:mm2|mm²|sq ?mm|awg|mm|cm|m|metres|meters|ft|feet|inches|a|amps?)\]?$"
)


def _column(cell: str) -> str:
    """What a heading says its column holds: `len m`, `size, mm2`, `core colour`; "" if that is not known."""
    last = HEADER.get(cell.split()[-1], "") if cell else ""
    last = last if last in ("colour", "size", "gauge", "length") else ""
    return HEADER.get(cell) or HEADER.get(_WITH_A_UNIT.sub("", cell).strip(" .:")) or last


def cells_of(
    tokens: Sequence[Token], columns: Sequence[Column], text: str, exact: bool = False
) -> list[list[Token]] | None:
    """The cells of a row, one a column and then those that have none; None where the line is no row.

    `exact` takes a row only where every cell looks like what its column holds.
    """
    strokes = [t for t in tokens if t.sort == "gap" and _STROKES.search(t.text)]
    listed = "semi" if text.count(";") >= text.count(",") else "comma"
    apart = any(token.sort == "gap" for token in tokens)
    fewest = len(columns) - (1 if exact else 2)
    if not apart and len(_LISTED.findall(text)) >= fewest and len(columns) > 3:
        strokes = [t for t in tokens if t.sort == listed]
    cells: list[list[Token]] = [[]]
    for token in tokens:
        if token in strokes or (token.sort == "gap" and not strokes):
            cells += [[] for _ in range(max(1, len(_STROKES.findall(token.text))))]
        elif token.sort != "gap" or cells[-1]:
            cells[-1].append(token)
    begins = text.lstrip().startswith("|") and text.count("|") == len(columns) - 1
    if text.startswith("\t") or begins:  # an empty first cell: the connector of the row above
        cells = [[], *cells]
    if len(cells) < 2:
        return None
    if strokes or text.startswith("\t") or text.lstrip().startswith("|"):
        return cells + [[] for _ in range(len(columns) - len(cells))]
    pieces = [part for cell in cells if cell for part in _parted(cell, columns)]
    return _aligned(pieces, columns, 0.35 * len(pieces) if exact else len(columns))


def _parted(cell: list[Token], columns: Sequence[Column]) -> list[list[Token]]:
    """`YEL/BLK 14` in a row as the two cells that it is: one space was left between them."""
    sorts = {sort for sort, *_ in columns}
    sized = {"size", "gauge"} & sorts and "colour" in sorts
    if (
        sized
        and len(cell) == 2
        and cell[0].sort == "colour"
        and cell[1].sort in ("number", "decimal", "size")
    ):
        return [cell[:1], cell[1:]]
    return [cell]


def _aligned(
    cells: Sequence[list[Token]], columns: Sequence[Column], most: float
) -> list[list[Token]] | None:
    """The cells put to the columns in their order, at the least cost."""
    roles = [column[0] for column in columns]
    begins = [column[1] for column in columns[1:]] + [10_000]
    fewer = len(cells) < len(columns)  # some column is empty: where a cell stands tells which

    @cache
    def best(cell: int, column: int) -> tuple[float, tuple[int, ...]]:
        if cell == len(cells):
            return sum(map(_absent, roles[column:])), ()
        if column == len(roles):
            rest = best(cell + 1, column)
            return 0.6 + rest[0], (-1, *rest[1])
        taken = best(cell + 1, column + 1)
        near = abs(cells[cell][0].start - columns[column][1]) <= 2
        late = fewer and cells[cell][0].start >= begins[column] - 1
        cost = _misfit(cells[cell], roles[column]) - (0.5 if near else 0) + (1 if late else 0)
        skipped = best(cell, column + 1)
        return min(
            (cost + taken[0], (column, *taken[1])),
            (_absent(roles[column]) + skipped[0], skipped[1]),
        )

    cost, places = best(0, 0)
    if cost > most:
        return None
    found: list[list[Token]] = [[] for _ in roles]
    extra = []
    for cell, place in zip(cells, places, strict=True):
        if place < 0:
            extra.append(cell)
        else:
            found[place] = cell
    return found + extra


def _absent(role: str) -> float:
    return 1.5 if role in ("from", "to", "pin") or role.startswith("@") else 0.7


def _misfit(cell: Sequence[Token], role: str) -> float:
    """How little a cell looks like what its column holds."""
    sorts = {token.sort for token in cell} - {"quest", "note"}
    if sorts <= {"ditto", "dash"}:
        return 0.2
    if role == "colour" and sorts == {"colour", "size"}:
        return 0.0  # `red 6 ga`
    if role == "colour":
        short = len(cell) == 1 and cell[0].sort == "word" and len(cell[0].text) <= 5
        return 0.0 if sorts <= {"colour", "letters", "slash"} else 0.5 if short else 3.0
    if role in ("size", "gauge", "length", "amps"):
        return 0.0 if sorts <= {"number", "size", "size?", "decimal", "length", "amps"} else 3.0
    if role in ("pin", "wire", "from pin", "to pin") or role.startswith("@"):
        return 0.0 if len(cell) <= 2 and sorts <= {"number", "word", "stop", "hash"} else 1.5
    if role in ("from", "to"):
        return 0.0 if "word" in sorts else 2.5
    return 0.6
