"""Sheets in parts: a part a connector, side by side or below each other; and connectors as columns."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from loomtest.errors import Problem
from loomtest.harness.colours import colour_parts
from loomtest.harness.headings import DEEPEST_HEADER, SheetLayout, layout_of, meaning, plain
from loomtest.harness.measures import read_amps, read_length, read_size
from loomtest.harness.notes.mentions import CODE
from loomtest.harness.outward import visible
from loomtest.harness.table import Table
from loomtest.harness.wirelist import read_kind

Sheets = Sequence[tuple[str, list[list[str]]]]
_CONNECTOR = re.compile(
    r"(?:connector|conn|plug|socket|stecker|connecteur|conector|connettore|device)[\s.:#]+", re.IGNORECASE
)
_PIN = re.compile(r"\w{1,4}[+-]?")
BARE_PIN = re.compile(r"\d{1,3}|[A-Za-z]\d{0,2}|\d{1,2}[A-Za-z]")
_AMPS_OR_SIZE = re.compile(r"[\d.,]+\s*\S{0,4}")  # to be refused with its own message
_SHORT = re.compile(r"[A-Z][A-Z0-9_/-]{1,9}")
_NO_CONNECTOR = (
    "QTY",
    "PRICE",
    "COST",
    "REV",
    "DATE",
    "PAGE",
    "VOLTS",
    "FUSE",
    "TOTAL",
    "STOCK",
    "ID",
    "WATTS",
)
_NO_PIN = ("", "-", "–", "x", "X")
_DECIMAL = re.compile(r"(\d{1,3})[.,]0")


@dataclass(frozen=True)
class Part:
    """A sheet, or some of its columns; `device` is the connector whose pins they are, where that is known."""

    sheet: str
    device: str
    rows: list[list[str]]
    layout: SheetLayout
    exact: bool = False  # its columns of the ends are named from and to


def counted_rows(count: int) -> str:
    """`1 row`, `3 rows`."""
    return f"{count:,} row" + ("s" if count != 1 else "")


def pin_of(cell: str) -> str:
    """`1.0`, as a number became a text, is pin 1."""
    match = _DECIMAL.fullmatch(cell.strip())
    return match[1] if match else cell.strip()


def device_in(text: str) -> str:
    """The connector that a title names: `X1`, `Plug X1 (bulkhead)`, `Connector rear lamp`; "" for none."""
    text = " ".join(text.split())
    match = _CONNECTOR.match(text)
    rest = text[match.end() :] if match else text
    rest = re.split(r"\s[-–—]\s|[,(;]|\s:", rest)[0].strip().rstrip(":")
    first = rest.split()[0] if rest else ""
    if CODE.fullmatch(first) and (match or first == rest):
        return first
    if match and 0 < len(rest) <= 40 and len(rest.split()) <= 4 and re.fullmatch(r"[\w ./+-]+", rest):
        return re.sub(r"\s+", "_", rest)
    return ""


def _device_of_sheet(name: str, several: bool) -> str:
    """A sheet's own name where it is that of a connector; any name, where each of several sheets is one."""
    generic = (
        r"(?:sheet|tabelle|feuil|blad|hoja|foglio|wires?|wire ?list|wiring|loom|harness|list|pins?|pinout"
    )
    generic += r"|data|table|main|cables?)[\s_]*\d*"
    name = name.strip()
    device = device_in(name)
    if device or re.fullmatch(generic, name, re.IGNORECASE):
        return "" if re.fullmatch(generic, name, re.IGNORECASE) else device
    return re.sub(r"\s+", "_", name) if several or (" " not in name and len(name) <= 12) else ""


_READERS: Mapping[str, Callable[[str], object]] = {
    "colour": colour_parts,
    "size": read_size,
    "length": read_length,
    "amps": read_amps,
    "kind": read_kind,
}


def as_meant(rows: Sequence[Sequence[str]], layout: SheetLayout) -> SheetLayout:
    """The layout without what a name only seems to say: a `Type` of insulation is no kind of part."""
    others = dict(layout.others)
    for what, reader in _READERS.items():
        place = others.get(what)
        names = rows[layout.row] if layout.row >= 0 else []
        name = names[place].strip() if place is not None and place < len(names) else ""
        if place is None or not name or name.casefold() in (what, "color"):
            continue
        cells = [
            row[place].strip() for row in rows[layout.row + 1 :] if place < len(row) and row[place].strip()
        ]
        if 2 * sum(_reads(reader, cell) for cell in cells) < len(cells) and name not in others:
            others = {(name if other == what else other): at for other, at in others.items()}
    units = {what: unit for what, unit in layout.units.items() if what in others}
    return replace(layout, others=others, units=units)


def _reads(reader: Callable[[str], object], cell: str) -> bool:
    try:
        reader(cell)
    except ValueError:
        return bool(_AMPS_OR_SIZE.fullmatch(cell))
    return True


def parts_of(sheets: Sheets) -> list[Part]:
    """Each sheet with a row of column names that says both ends, or its groups of columns."""
    laid = [(name, rows, layout) for name, rows in sheets if (layout := layout_of(rows)) is not None]
    found: list[Part] = []
    for name, rows, layout in laid:
        groups = _side_by_side(name, rows)
        if groups:
            found += groups
            continue
        layout, device = as_meant(rows, _by_data(rows, layout)), ""
        if len(layout.start) == 1 and meaning(rows[layout.row][layout.start[0]])[0] in ("pin", "wire"):
            device = _title_above(rows, layout.row) or _device_of_sheet(name, len(laid) > 1)
        found.append(Part(name, device, rows, layout))
    return found


def _by_data(rows: Sequence[Sequence[str]], layout: SheetLayout) -> SheetLayout:
    """`Goes to` with bare pins beside a column of connectors: the connector is that of the other end."""
    if not (layout.pinout and len(layout.start) == 2 and layout.start[0] > layout.end[0]):
        return layout
    cells = [row[layout.end[0]].strip() for row in rows[layout.row + 1 :] if len(row) > layout.end[0]]
    bare = sum(bool(BARE_PIN.fullmatch(pin_of(cell))) for cell in cells)
    if 2 * bare <= sum(bool(cell) for cell in cells):
        return layout
    return replace(layout, start=layout.start[1:], end=(layout.start[0], layout.end[0]))


def _title_above(rows: Sequence[Sequence[str]], index: int) -> str:
    """The connector named alone in the row above the column names."""
    for row in reversed(rows[max(0, index - 2) : index]):
        texts = {cell.strip() for cell in row if cell.strip()}
        if texts:
            return device_in(next(iter(texts))) if len(texts) == 1 else ""
    return ""


def _side_by_side(sheet: str, rows: Sequence[Sequence[str]]) -> list[Part]:
    """Groups of the same columns beside each other, each below its connector's name."""
    for index, row in enumerate(rows[1:DEEPEST_HEADER], 1):
        names = [plain(cell) for cell in row]
        first = next((name for name in names if name), "")
        starts = [place for place, name in enumerate(names) if name == first]
        if len(starts) < 2 or not first:
            continue
        stops = [*starts[1:], len(row)]
        groups = [[name for name in names[a:b] if name] for a, b in zip(starts, stops, strict=True)]
        holds = {meaning(name)[0] for name in groups[0]}
        if any(group != groups[0] for group in groups) or not {"pin", "to"} <= holds or "connector" in holds:
            continue
        above = rows[index - 1]
        found = []
        for a, b in zip(starts, stops, strict=True):
            title = next((cell.strip() for cell in above[a:b] if cell.strip()), "")
            device = device_in(title) or re.sub(r"\s+", "_", title)
            part = [list(each[a:b]) for each in rows[index:]]
            layout = layout_of(part[:1])
            if layout is None or not device:
                return []
            numbered = [[""] * len(part[0])] * index + part  # each row keeps its number
            found.append(Part(sheet, device, numbered, SheetLayout(
                index, layout.start, layout.end, True, layout.others, layout.units)))  # fmt: skip
        return found
    return []


def chains_of(file: str, sheets: Sheets, problems: list[Problem]) -> Table | None:
    """A column for each connector, a row for each circuit, the pins in the cells: joined along the row."""
    for _, rows in sheets:
        for index, row in enumerate(rows[:DEEPEST_HEADER]):
            places = _connectors(row)
            if len(places) < 2:
                continue
            below = [[cell.strip() for cell in each] for each in rows[index + 1 :]]
            cells = [each[p] for each in below for p in places if p < len(each) and each[p]]
            if not cells or sum(bool(_PIN.fullmatch(cell)) for cell in cells) < 0.8 * len(cells):
                continue
            return _chained(file, index, row, places, below, problems)
    return None


def _connectors(row: Sequence[str]) -> list[int]:
    """The columns named after connectors: `X1`; also `ECU`, where another column is of circuits."""
    circuits = any(meaning(cell)[0] == "circuit" for cell in row)
    return [
        place
        for place, cell in enumerate(row)
        if not meaning(cell)[0]
        and (CODE.fullmatch(cell.strip()) or (circuits and _SHORT.fullmatch(cell.strip())))
        and cell.strip() not in _NO_CONNECTOR
    ]


def _chained(
    file: str,
    index: int,
    row: Sequence[str],
    places: Sequence[int],
    below: Sequence[Sequence[str]],
    problems: list[Problem],
) -> Table:
    others = {
        meaning(cell)[0] or cell.strip(): place
        for place, cell in enumerate(row)
        if place not in places and cell.strip()
    }
    if "wire" in others and "circuit" not in others:  # a circuit of several wires has one name
        others["circuit"] = others.pop("wire")
    found: list[tuple[int, list[str]]] = []
    longer = 0
    for number, cells in enumerate(below, index + 2):
        points = [
            f"{row[place].strip()}:{pin_of(cells[place])}"
            for place in places
            if place < len(cells) and cells[place] not in _NO_PIN
        ]
        longer += len(points) > 2
        told = [cells[place] if place < len(cells) else "" for place in others.values()]
        found += [(number, [a, b, *told]) for a, b in pairwise(points)]
    said = f"a column for each connector ({', '.join(row[place].strip() for place in places[:6])})"
    if longer:
        said += f"; {counted_rows(longer)} with more than two pins"
    expected = "pins joined along each row, in the order of the columns; they were read so"
    problems.append(Problem(file, index + 1, "", visible(said), expected, "warning"))
    return Table(file, ("from", "to", *others), index + 1, tuple(found), ",", laid_out=True)
