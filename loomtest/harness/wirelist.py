"""The wire list: rows of a table to wires, with every mistake found on the way."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from loomtest.errors import Problem, nearest
from loomtest.harness.colours import colour_parts
from loomtest.harness.copper import PART_OHMS
from loomtest.harness.measures import read_amps, read_length, read_ohms, read_size
from loomtest.harness.model import Kind, Wire, connector_of
from loomtest.harness.points import folded, read_point
from loomtest.harness.table import Table, quoted

NEEDED = ("from", "to")
KINDS: dict[str, Kind] = {
    "wire": "wire",
    "fuse": "fuse",
    "resistor": "resistor",
    "lamp": "lamp",
    "coil": "coil",
    "diode": "diode",
}
COLUMNS = (
    "from",
    "to",
    "wire",
    "colour",
    "size",
    "length",
    "kind",
    "ohms_min",
    "ohms_max",
    "amps",
    "circuit",
    "note",
)
_ALSO = {"color": "colour"}
_LONG_FOR_A_VEHICLE_M = 100.0
# Gauges that nobody means as mm²: typed without "AWG" they would be thick cable.
_GAUGES_TYPED_BARE = {"12", "14", "18", "20", "22", "24", "26"}

Value = TypeVar("Value")


def columns_of(table: Table, problems: list[Problem]) -> dict[str, int]:
    """Column name to its place; unknown columns keep their own name, in the table's order."""
    places: dict[str, int] = {}
    line = table.header_line
    for place, written in enumerate(table.header):
        name = written.casefold()
        name = _ALSO.get(name, name)
        if name not in COLUMNS:
            name = written or f"column {place + 1}"
        if name in places:
            expected = f"one column named {name}"
            problems.append(Problem(table.file, line, name, f"column {quoted(written)} twice", expected))
            continue
        places[name] = place
    unknown = [name for name in places if name not in COLUMNS]
    for needed in NEEDED:
        if needed not in places:
            near = nearest(needed, [name for name in table.header if name.casefold() not in COLUMNS], 1)
            hint = f"; the nearest that is there is {quoted(near[0])}" if near else ""
            found = "no such column, only " + quoted(", ".join(table.header), 200)
            expected = f"a column named {needed}{hint}"
            problems.append(Problem(table.file, line, needed, found, expected))
    for name in unknown:
        near = [like for like in nearest(name, COLUMNS, 1) if like not in places]
        if near and name:
            expected = f"{near[0]}, if that is what is meant; the column is kept but not used"
            problems.append(Problem(table.file, line, name, f"column {quoted(name)}", expected, "warning"))
    return places


class _Reader:
    """Reads cells by column; equal cells are read once, so that long lists are quick."""

    def __init__(self, table: Table, places: dict[str, int], problems: list[Problem]) -> None:
        self.table, self.places, self.problems = table, places, problems
        self.known: dict[tuple[str, str], object] = {}
        self.commas: list[tuple[int, str, str]] = []  # numbers with a decimal comma: line, column, cell
        self.dots: list[tuple[int, str, str]] = []
        self.good = True

    def text(self, cells: list[str], column: str) -> str:
        place = self.places.get(column)
        return "" if place is None else cells[place].replace("\u00a0", " ").strip()

    def read(self, line: int, cells: list[str], column: str, reader: Callable[[str], Value]) -> Value | None:
        """The cell's value, None when it is empty or wrong (then it stands among the problems)."""
        text = self.text(cells, column)
        if not text:
            return None
        key = (column, text)
        if key not in self.known:
            try:
                self.known[key] = reader(text)
            except ValueError as error:
                self.known[key] = error
        value = self.known[key]
        if isinstance(value, ValueError):
            self.wrong(line, column, quoted(text), str(value))
            return None
        return value  # type: ignore[return-value]  # this reader put it there

    def number(
        self, line: int, cells: list[str], column: str, reader: Callable[[str], float]
    ) -> float | None:
        """Like `read`, and notes which decimal sign was used."""
        value = self.read(line, cells, column, reader)
        if value is not None:
            text = self.text(cells, column)
            if "," in text:
                self.commas.append((line, column, text))
            elif "." in text:
                self.dots.append((line, column, text))
        return value

    def wrong(self, line: int, column: str, found: str, expected: str) -> None:
        self.problems.append(Problem(self.table.file, line, column, found, expected))
        self.good = False


def read_wires(table: Table, problems: list[Problem]) -> tuple[Wire, ...]:
    """All rows that could be read; mistakes and oddities are added to `problems`."""
    places = columns_of(table, problems)
    if not all(needed in places for needed in NEEDED):
        return ()
    if not table.rows:
        if not any(problem.severity == "error" for problem in problems):
            problems.append(Problem(table.file, None, "", "a wire list with no rows", "a row for each wire"))
        return ()
    reader = _Reader(table, places, problems)
    extras = [(name, place) for name, place in places.items() if name not in COLUMNS]
    wires = []
    for number, (line, cells) in enumerate(table.rows, start=1):
        wire = _wire(reader, line, cells, number, tuple((name, cells[at].strip()) for name, at in extras))
        if wire is not None:
            wires.append(wire)
    _check_decimals(reader)
    named = _names(
        table.file, wires, {number: line for number, (line, _) in enumerate(table.rows, 1)}, problems
    )
    _check_bare_gauges(reader)
    _check_long(reader, named)
    _check_shared_cavities(table.file, named, problems)
    _check_alike(table.file, named, problems)
    return tuple(named)


def _wire(
    reader: _Reader, line: int, cells: list[str], number: int, extra: tuple[tuple[str, str], ...]
) -> Wire | None:
    reader.good = True
    ends: list[str | None] = []
    for column in NEEDED:
        if not reader.text(cells, column):
            reader.wrong(line, column, "nothing", "a point such as X3:2 or GND1")
        ends.append(reader.read(line, cells, column, read_point))
    start, end = ends
    if start is not None and start == end:
        reader.wrong(line, "to", f"{quoted(start)} at both ends", "two different points")
    reader.read(line, cells, "colour", colour_parts)
    kind = reader.read(line, cells, "kind", _read_kind) or "wire"
    lowest = reader.number(line, cells, "ohms_min", read_ohms)
    highest = reader.number(line, cells, "ohms_max", read_ohms)
    if lowest is not None and highest is not None and lowest > highest:
        reader.wrong(line, "ohms_min", f"{lowest:g} above ohms_max {highest:g}", "the smaller of the two")
    if lowest is not None and highest is None and lowest >= PART_OHMS[1] and kind != "wire":
        reader.wrong(line, "ohms_max", "nothing", f"the highest value too, where ohms_min is {lowest:g}")
    size = reader.number(line, cells, "size", read_size)
    length = reader.number(line, cells, "length", read_length)
    amps = reader.number(line, cells, "amps", read_amps)
    if not reader.good or start is None or end is None:
        return None
    return Wire(
        name=reader.text(cells, "wire") or f"\x00{number}",  # named in `_names`, when all names are known
        start=start,
        end=end,
        kind=kind,
        colour=reader.text(cells, "colour"),
        size_mm2=size,
        length_m=length,
        ohms_min=lowest,
        ohms_max=highest,
        amps=amps,
        circuit=reader.text(cells, "circuit"),
        note=reader.text(cells, "note"),
        row=line,
        extra=extra,
    )


def _read_kind(text: str) -> Kind:
    kind = KINDS.get(text.casefold())
    if kind is None:
        near = nearest(text, list(KINDS), 1)
        raise ValueError("one of " + ", ".join(KINDS) + (f"; the nearest is {near[0]}" if near else ""))
    return kind


def _names(file: str, wires: list[Wire], line_of: dict[int, int], problems: list[Problem]) -> list[Wire]:
    """Every wire with its name: W1, W2 … by row where the list gives none; two of a name are a mistake."""
    from dataclasses import replace

    taken: dict[str, int] = {}
    for wire in wires:
        if wire.name[0] != "\x00":
            if wire.name in taken:
                found = f"{quoted(wire.name)}, the name of the wire in line {taken[wire.name]} too"
                problems.append(Problem(file, wire.row, "wire", found, "a name of its own for each wire"))
            taken.setdefault(wire.name, wire.row)
    out = []
    for wire in wires:
        if wire.name[0] == "\x00":
            own = name = "W" + wire.name[1:]
            while name in taken:
                name += "'"
            if name != own:
                found = f"no name, and {own} is the wire in line {taken[own]}"
                expected = f"a name; it is called {name} until then"
                problems.append(Problem(file, wire.row, "wire", found, expected, "warning"))
            taken[name] = wire.row
            wire = replace(wire, name=name)
        out.append(wire)
    return out


def _check_decimals(reader: _Reader) -> None:
    """A decimal comma is taken and said; comma and point in one file are refused: one of them is a slip."""
    if not reader.commas:
        return
    line, column, text = reader.commas[0]
    file = reader.table.file
    if reader.dots:
        other, other_column, other_text = reader.dots[0]
        found = f"{quoted(text)} with a decimal comma"
        found += f", and {quoted(other_text)} with a decimal point in line {other}"
        found += f", {other_column}" if other_column != column else ""
        reader.problems.append(Problem(file, line, column, found, "one decimal sign in the whole file"))
        return
    count = len(reader.commas)
    found = f"{quoted(text)}, a decimal comma" + (f" ({count} such cells)" if count > 1 else "")
    expected = f"nothing else: it was read as {text.replace(',', '.')}"
    reader.problems.append(Problem(file, line, column, found, expected, "warning"))


def _check_bare_gauges(reader: _Reader) -> None:
    if "size" not in reader.places:
        return
    lines = [line for line, cells in reader.table.rows if reader.text(cells, "size") in _GAUGES_TYPED_BARE]
    if lines:
        cells = next(cells for line, cells in reader.table.rows if line == lines[0])
        text = reader.text(cells, "size")
        found = f"{quoted(text)}, read as {text} mm²" + (
            f" (and {len(lines) - 1} more like it)" if lines[1:] else ""
        )
        expected = f"AWG {text}, if a gauge is meant"
        reader.problems.append(Problem(reader.table.file, lines[0], "size", found, expected, "warning"))


def _check_long(reader: _Reader, wires: list[Wire]) -> None:
    long = [wire for wire in wires if (wire.length_m or 0.0) > _LONG_FOR_A_VEHICLE_M]
    if long:
        found = f"{long[0].length_m:g} m" + (f" (and {len(long) - 1} more like it)" if long[1:] else "")
        expected = "a unit, if these are not metres: 850 mm, 33 in"
        reader.problems.append(Problem(reader.table.file, long[0].row, "length", found, expected, "warning"))


def _check_shared_cavities(file: str, wires: list[Wire], problems: list[Problem]) -> None:
    """Two wires in one cavity are allowed (a double crimp) and said; parts stand beside their wires."""
    first: dict[str, Wire] = {}
    for wire in wires:
        if wire.kind != "wire":
            continue
        for column, point in (("from", wire.start), ("to", wire.end)):
            if not connector_of(point):
                continue
            other = first.setdefault(point, wire)
            if other is not wire:
                found = f"{quoted(point)}, where {quoted(other.name)} (line {other.row}) ends too"
                expected = "a cavity of its own, a splice, or two wires in one terminal on purpose"
                problems.append(Problem(file, wire.row, column, found, expected, "warning"))


def _check_alike(file: str, wires: list[Wire], problems: list[Problem]) -> None:
    """Names that differ only by case, or by leading zeros of a cavity: probably one thing written twice."""
    for column, names in (
        ("wire", [(wire.name, wire.row, "wire") for wire in wires]),
        ("point", [(p, w.row, c) for w in wires for c, p in (("from", w.start), ("to", w.end))]),
        (
            "connector",
            [(connector_of(p), w.row, c) for w in wires for c, p in (("from", w.start), ("to", w.end))],
        ),
    ):
        seen: dict[str, tuple[str, int]] = {}
        said: set[str] = set()
        for name, row, where in names:
            if not name or name in said:
                continue
            key = folded(name) if column == "point" else name.casefold()
            if key not in seen:
                seen[key] = (name, row)
            elif seen[key][0] != name:
                said.add(name)
                if column == "point" and connector_of(name) != connector_of(seen[key][0]):
                    continue  # said once for the connector
                found = f"{quoted(name)}, and {quoted(seen[key][0])} in line {seen[key][1]}"
                expected = "one spelling, if they are the same"
                problems.append(Problem(file, row, where, found, expected, "warning"))
