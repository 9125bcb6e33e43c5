"""Wire lists as people lay them out: which row holds the column names, and which column holds which end."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from loomtest.errors import Problem
from loomtest.harness.notes.names import Names, mention_of
from loomtest.harness.notes.tokens import tokens_of
from loomtest.harness.outward import visible
from loomtest.harness.table import Table, quoted

DEEPEST_HEADER = 30  # rows of titles and remarks above the column names
# Column names as people write them (common practice): what each holds.
NAMES: Mapping[str, str] = {
    **dict.fromkeys(("from", "start", "from point", "begin", "origin", "source", "end a", "end 1"), "from"),
    **dict.fromkeys(("to", "goes to", "to point", "destination", "dest", "end", "end b", "end 2",
                     "connects to", "where to", "leads to", "target", "other end"), "to"),
    **dict.fromkeys(("connector", "plug", "conn", "connector name", "connector id", "device", "component",
                     "unit", "conn."), "connector"),
    **dict.fromkeys(("pin", "cavity", "way", "terminal", "pos", "position", "pin no", "pin no.", "pin number",
                     "cav", "cavity no", "pin #", "pin nr", "contact"), "pin"),
    **dict.fromkeys(("colour", "color", "wire colour", "wire color", "col", "cable colour", "colour code",
                     "color code", "col."), "colour"),
    **dict.fromkeys(("size", "gauge", "csa", "mm2", "mm²", "awg", "wire size", "cross section",
                     "cross-section", "wire gauge"), "size"),
    **dict.fromkeys(("length", "length m", "length (m)", "len", "wire length"), "length"),
    **dict.fromkeys(("wire", "wire no", "wire number", "wire name", "wire id", "cable", "no", "nr"), "wire"),
    **dict.fromkeys(("kind", "type", "part"), "kind"),
    **dict.fromkeys(("amps", "current", "a", "amperes"), "amps"),
    **dict.fromkeys(("circuit", "function", "signal", "net", "use", "purpose", "description"), "circuit"),
    **dict.fromkeys(("note", "notes", "remark", "remarks", "comment", "comments"), "note"),
}  # fmt: skip
_GENERIC = re.compile(r"(?:sheet|tabelle|feuil|blad|hoja|foglio)\s*\d*", re.IGNORECASE)
_OTHER_END = re.compile(r"^(?:to|end b|end 2|b|2|destination)\b[\s:._-]*|[\s_.-]*(?:2|b|to)$", re.IGNORECASE)
_THIS_END = re.compile(r"^(?:from|end a|end 1|a|1|start)\b[\s:._-]*|[\s_.-]*(?:1|a|from)$", re.IGNORECASE)


@dataclass
class SheetLayout:
    """Where the ends and the other columns stand. An end is one column, or connector and pin."""

    row: int
    start: list[int]
    end: list[int]
    others: dict[str, int] = field(default_factory=dict)


def header_row(rows: Sequence[Sequence[str]], needed: Sequence[str]) -> int | None:
    """The row that names all needed columns; None where none of the first does."""
    for index, row in enumerate(rows[:DEEPEST_HEADER]):
        names = [cell.strip().casefold() for cell in row]
        if all(names.count(name) == 1 for name in needed):  # a merged cell over two columns names neither
            return index
    return None


def as_wire_list(
    file: str, sheets: Sequence[tuple[str, list[list[str]]]], problems: list[Problem]
) -> Table | None:
    """The sheets as one table with `from` and `to`; None where no row of column names says both ends."""
    header = ["from", "to"]
    found: list[tuple[int, list[str]]] = []
    said: list[str] = []
    pairs: set[frozenset[str]] = set()
    twice = 0
    for name, rows in sheets:
        layout = layout_of(rows)
        if layout is None:
            continue
        header += [other for other in layout.others if other not in header]
        device = "" if len(layout.start) == 2 or _GENERIC.fullmatch(name.strip()) else name.strip()
        for line, cells in _wires(rows, layout, device, header):
            pair = frozenset(cells[:2])
            if len(sheets) > 1 and pair in pairs:  # one sheet a connector: each wire stands on two of them
                twice += 1
                continue
            pairs.add(pair)
            found.append((line, cells))
        said.append(f"{name}: {_told(rows[layout.row], layout)}")
    if not found:
        return None
    expected = "columns named from and to, if another meaning is right"
    if twice:
        expected += f"; {twice} rows say a wire of another sheet again"
    problems.append(Problem(file, None, "", visible("; ".join(said[:4])), visible(expected), "warning"))
    width = len(header)
    return Table(file, tuple(header), 1, tuple((n, [*c, *[""] * (width - len(c))]) for n, c in found), ",")


def _told(header: Sequence[str], layout: SheetLayout) -> str:
    ends = [
        " and ".join(quoted(header[place].strip()) for place in end) for end in (layout.start, layout.end)
    ]
    return f"the ends of each wire in {ends[0]} and in {ends[1]}"


def layout_of(rows: Sequence[Sequence[str]]) -> SheetLayout | None:
    """The row of column names and what its columns hold."""
    best: SheetLayout | None = None
    for index, row in enumerate(rows[:DEEPEST_HEADER]):
        layout = _layout(index, row, rows[index - 1] if index else [])
        if layout is not None and (best is None or len(layout.others) > len(best.others)):
            best = layout
    return best


def _layout(index: int, row: Sequence[str], above: Sequence[str]) -> SheetLayout | None:
    ends: dict[str, list[int]] = {"from": [], "to": []}
    plain: dict[str, list[int]] = {}
    for place, cell in enumerate(row):
        text = " ".join(cell.split()).casefold().rstrip(":")
        over = " ".join(above[place].split()).casefold() if place < len(above) else ""
        what = NAMES.get(text, "")
        side = NAMES.get(over, "") if over in ("from", "to") else ""
        if not what:
            for pattern, end in ((_OTHER_END, "to"), (_THIS_END, "from")):
                rest = NAMES.get(pattern.sub("", text).strip(), "")
                if rest in ("connector", "pin") and pattern.search(text):
                    what, side = rest, end
                    break
        if what in ("connector", "pin") and side:
            ends[side].append(place)
        elif what:
            plain.setdefault(what, []).append(place)
    return _ends_of(index, row, ends, plain)


def _ends_of(
    index: int, row: Sequence[str], ends: dict[str, list[int]], plain: dict[str, list[int]]
) -> SheetLayout | None:
    """Which columns hold the two ends; None where the row does not say both."""
    connectors, pins = plain.get("connector", []), plain.get("pin", [])
    start, end = ends["from"], ends["to"]
    if not start and not end and len(connectors) == 2 and len(pins) == 2:
        start, end = [connectors[0], pins[0]], [connectors[1], pins[1]]
    if not start and "from" in plain:
        start = [plain["from"][0], *(pins[:1] if len(pins) == 2 and "to" in plain else [])]
    if not start and pins:
        start = [*connectors[:1], pins[0]]
    if not end and "to" in plain:
        end = [plain["to"][0], *(pins[1:2] if len(pins) == 2 else [])]
    if not start or not end:
        return None
    used = {*start, *end}
    others = {
        name: places[0]
        for name, places in plain.items()
        if name not in ("from", "to", "connector", "pin") and places[0] not in used
    }
    return SheetLayout(index, start, end, others)


def _wires(
    rows: Sequence[Sequence[str]], layout: SheetLayout, device: str, header: Sequence[str]
) -> list[tuple[int, list[str]]]:
    found = []
    last = ["", ""]
    for number, row in enumerate(rows[layout.row + 1 :], layout.row + 2):
        if not any(cell.strip() for cell in row):
            continue
        cells = [
            row[place].strip() if place < len(row) else ""
            for place in range(max([*layout.start, *layout.end]) + 1)
        ]
        points = []
        for side, places in enumerate((layout.start, layout.end)):
            if len(places) == 2:
                last[side] = cells[places[0]] or last[side]
                points.append(_joined(last[side], cells[places[1]]))
            elif side == 0 and device:
                points.append(_joined(device, cells[places[0]]))
            else:
                points.append(point_of(cells[places[0]]))
        if not points[1] and (not points[0] or len(layout.end) == 1):
            continue  # a cavity without a wire, or a remark between the rows
        told = {name: row[place].strip() if place < len(row) else "" for name, place in layout.others.items()}
        gauge = rows[layout.row][layout.others["size"]].casefold() if "size" in layout.others else ""
        if re.search(r"awg|gauge", gauge) and re.fullmatch(r"\d{1,2}|\d/0", told["size"]):
            told["size"] = f"AWG {told['size']}"
        found.append((number, [*points, *[told.get(name, "") for name in header[2:]]]))
    return found


def _joined(connector: str, pin: str) -> str:
    name = re.sub(r"\s+", "_", connector.strip())
    return f"{name}:{pin.strip()}" if name and pin.strip() else name if not pin.strip() else pin.strip()


def point_of(text: str) -> str:
    """A cell that names a point as people write it: `X4 3`, `light switch 2`, `X4/3`."""
    if not re.search(r"\s|[/.-]\d", text) or ":" in text:
        return text
    mention = mention_of(tokens_of(text))
    return Names().point(mention) if mention is not None and mention.words else re.sub(r"\s+", "_", text)
