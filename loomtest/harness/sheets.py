"""Wire lists as people lay them out: each sheet's rows as wires, and what was left out, said."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from loomtest.errors import Problem
from loomtest.harness.colours import colour_code
from loomtest.harness.endcells import NOWHERE, joined, point_of, targets
from loomtest.harness.groups import (
    BARE_PIN,
    Part,
    as_meant,
    chains_of,
    counted_rows,
    device_in,
    parts_of,
    pin_of,
)
from loomtest.harness.headings import SheetLayout, header_row, layout_as_told, layout_of, plain
from loomtest.harness.outward import visible
from loomtest.harness.settings import ColumnNames
from loomtest.harness.table import Table, quoted

Sheets = Sequence[tuple[str, list[list[str]]]]
NEEDED = ("from", "to")
APART = 10_000_000  # between the row numbers of two sheets in one table
_DITTO = {'"', "''", "〃", "”", "“", ",,", "ditto", "do", "do.", "dto", "dto.", "idem", "as above"}
_UNSURE = {"?", "??", "???", "tbc", "tba", "tbd", "unknown", "see note", "see notes", "not known", "n/k"}
_DITTO |= {'-"-', "same", "same as above"}


def wire_table(
    file: str, sheets: Sheets, columns: ColumnNames | None, problems: list[Problem]
) -> Table | None:
    """The sheets as one table with `from` and `to`; None where no row of column names says both ends.

    `columns` is what harness.toml says of them. A plain list is its first sheet with both names.
    """
    if columns is not None:
        return _as_told(file, sheets, columns, problems)
    for name, rows in sheets:
        at, layout = header_row(rows, NEEDED), layout_of(rows)
        if at is not None and (layout is None or len(layout.start) + len(layout.end) == 2):
            exact = layout_of(rows[at : at + 1])
            say_which(file, name, sheets, problems)
            if exact is None:
                return None
            part = Part(name, "", rows, as_meant(rows, replace(exact, row=at)), exact=True)
            return _table_of(file, [part], problems, told=True)
    parts = parts_of(sheets)
    if parts:
        return _table_of(file, parts, problems)
    return chains_of(file, sheets, problems)


def _as_told(file: str, sheets: Sheets, columns: ColumnNames, problems: list[Problem]) -> Table | None:
    parts = []
    for name, rows in sheets:
        layout = layout_as_told(rows, columns.names, columns.heading_row)
        if layout is not None:
            parts.append(Part(name, "" if len(layout.start) == 2 else device_in(name), rows, layout))
    if parts:
        return _table_of(file, parts, problems, told=True)
    named = ", ".join(quoted(one) for key in NEEDED for one in columns.names[key])
    found = f"no row of column names with {named}, which [columns] of harness.toml names"
    problems.append(Problem(file, None, "", found, "these columns, or [columns] put right"))
    return None


def say_which(file: str, name: str, sheets: Sheets, problems: list[Problem]) -> None:
    """Of several sheets, which one was read."""
    others = [other for other, _ in sheets if other != name]
    if others:
        found = f"{len(sheets)} sheets; {quoted(name)} was read"
        expected = visible(f"FILE#SHEET for another: {', '.join(others[:6])}")
        problems.append(Problem(file, None, "", found, expected, "warning"))


def plain_table(
    file: str, name: str, sheets: Sheets, rows: Sequence[list[str]], at: int, problems: list[Problem]
) -> Table:
    """A sheet whose row `at` holds our own column names."""
    say_which(file, name, sheets, problems)
    header = tuple(cell.strip() for cell in rows[at])
    return Table(file, header, at + 1, _below(file, rows, at, problems), ",", laid_out=True)


def _below(
    file: str, rows: Sequence[list[str]], at: int, problems: list[Problem]
) -> tuple[tuple[int, list[str]], ...]:
    """The rows of a plain list, as wide as its names; remarks between and below them are left out."""
    width = len(rows[at])
    remarks, found = _Remarks(), []
    for number, cells in enumerate(rows[at + 1 :], at + 2):
        texts = {cell.strip() for cell in cells if cell.strip()}
        if not texts:
            continue
        if cells[0].lstrip().startswith("#") or (len(texts) == 1 and re.search(r"\s", next(iter(texts)))):
            remarks.add(number, next(cell for cell in cells if cell.strip()))
        else:
            found.append((number, [*cells[:width], *[""] * (width - len(cells))]))
    remarks.tell(file, problems)
    return tuple(found)


@dataclass
class _Remarks:
    """Rows that are no wires, said in one sentence."""

    rows: list[tuple[int, str]] = field(default_factory=list)

    def add(self, number: int, text: str) -> None:
        self.rows.append((number, text))

    def tell(self, file: str, problems: list[Problem]) -> None:
        if not self.rows:
            return
        number, text = self.rows[0]
        found = quoted(text) + (
            f" (and {counted_rows(len(self.rows) - 1)} more like it)" if self.rows[1:] else ""
        )
        expected = "a wire; the row was left out as a remark"
        problems.append(Problem(file, number, "", found, expected, "warning"))


def _table_of(
    file: str, parts: Sequence[Part], problems: list[Problem], *, told: bool = False
) -> Table | None:
    header = ["from", "to"]
    for part in parts:
        known = {name.casefold() for name in header}
        header += [name for name in part.layout.others if name.casefold() not in known]
    names = list(dict.fromkeys(part.sheet for part in parts))
    offsets = {name: APART * order for order, name in enumerate(names)}
    remarks, stated = _Remarks(), _Stated()
    found: list[tuple[int, list[str]]] = []
    repeated = 0
    for part in parts:
        reader = _PartRows(file, part, header, offsets[part.sheet], remarks, problems)
        for number, cells in reader.wires():
            if part.layout.pinout and stated.again(number, cells, header):
                continue
            found.append((number, cells))
        repeated += reader.repeated
    if not told:
        _say_how(file, parts, problems)
    if stated.twice:
        found_twice = f"{counted_rows(stated.twice)} saying a wire again from its other end"
        problems.append(Problem(file, None, "", found_twice, "each wire once; it was read once", "warning"))
    for number, said in stated.differ:
        problems.append(Problem(file, number, "colour", said, "one colour for one wire", "warning"))
    if repeated:
        found_blank = f"{counted_rows(repeated)} with an end left blank"
        expected = "the same as in the row above; they were read so"
        problems.append(Problem(file, None, "", found_blank, expected, "warning"))
    remarks.tell(file, problems)
    first = parts[0]
    return Table(
        file=file,
        header=tuple(header),
        header_line=first.layout.row + 1,
        rows=tuple(found),
        separator=",",
        sheets=tuple((offsets[name], name) for name in names) if len(names) > 1 else (),
        called=_called(first),
        laid_out=True,
    )


def _say_how(file: str, parts: Sequence[Part], problems: list[Problem]) -> None:
    said = []
    for part in parts[:4]:
        ends = [
            " and ".join(quoted(part.rows[part.layout.row][place].strip()) for place in end)
            for end in (part.layout.start, part.layout.end)
        ]
        here = f"{part.sheet}: " if len(parts) > 1 else ""
        of = f" of {quoted(part.device)}" if part.device and len(part.layout.start) == 1 else ""
        said.append(f"{here}the ends of each wire in {ends[0]}{of} and in {ends[1]}")
    more = f"; and {len(parts) - 4} more" if parts[4:] else ""
    expected = "[columns] in harness.toml, or columns named from and to, if another meaning is right"
    found = visible("; ".join(dict.fromkeys(said)) + more)
    problems.append(Problem(file, None, "", found, expected, "warning"))


def _called(part: Part) -> dict[str, str]:
    """How the person calls our columns, for messages."""
    names = part.rows[part.layout.row] if part.layout.row >= 0 else []
    places = {"from": part.layout.start, "to": part.layout.end}
    places |= {name: (place,) for name, place in part.layout.others.items()}
    called = {}
    for name, each in places.items():
        words = [" ".join(names[place].split()) for place in each if place < len(names)]
        if any(words) and words != [name]:
            called[name] = visible(" and ".join(words))
    return called


class _Stated:
    """Which wires were stated: one sheet a connector says each of them twice, once from each end."""

    def __init__(self) -> None:
        self.open: dict[tuple[str, str], list[list[str]]] = {}  # said from one end so far
        self.twice = 0
        self.differ: list[tuple[int, str]] = []

    def again(self, number: int, cells: list[str], header: Sequence[str]) -> bool:
        """Whether the row says a wire that was said from its other end; what it says besides is kept."""
        waiting = self.open.get((cells[1], cells[0]))
        if not waiting:
            self.open.setdefault((cells[0], cells[1]), []).append(cells)
            return False
        self.twice += 1
        first = waiting.pop(0)
        for place, name in enumerate(header[2:], 2):
            mine = cells[place] if place < len(cells) else ""
            if place >= len(first):
                first += [""] * (place + 1 - len(first))
            first[place] = first[place] or mine
            if name == "colour" and mine and colour_code(mine) != colour_code(first[place]):
                self.differ.append((number, f"{quoted(mine)}, and {quoted(first[place])} at the other end"))
        return True


class _PartRows:
    """The rows of one part as wires: (row number, cells)."""

    def __init__(
        self,
        file: str,
        part: Part,
        header: Sequence[str],
        offset: int,
        remarks: _Remarks,
        problems: list[Problem],
    ) -> None:
        self.file, self.part, self.header, self.offset = file, part, header, offset
        self.remarks, self.problems = remarks, problems
        self.layout = part.layout
        self.repeated = 0
        self.homeless: set[str] = set()
        self._above: list[str] = []
        self._last: dict[str, list[str]] = {"from": ["", ""], "to": ["", ""]}
        prefixes = {re.sub(r"\d.*", "", row[self.layout.start[-1]].strip()) for row in self._pin_rows()}
        self._prefixes = prefixes - {""}

    def _pin_rows(self) -> Iterator[list[str]]:
        for row in self.part.rows[self.layout.row + 1 :]:
            if len(row) > self.layout.start[-1] and sum(bool(cell.strip()) for cell in row) > 1:
                yield row

    def wires(self) -> Iterator[tuple[int, list[str]]]:
        device = self.part.device
        names = [plain(cell) for cell in self.part.rows[self.layout.row]] if self.layout.row >= 0 else []
        for number, raw in enumerate(self.part.rows[self.layout.row + 1 :], self.layout.row + 2):
            row = self._without_dittos([" ".join(cell.split(" ")).strip() for cell in raw])
            texts = {cell for cell in row if cell}
            if not texts or [plain(cell) for cell in row] == names:
                continue
            text = next(iter(texts))
            if len(texts) == 1 and not (self.part.exact and re.fullmatch(r"\S*[\d:]\S*", text)):
                section = self._section(row, text)
                if section:
                    device = section
                elif not self._is_a_cavity(row, text):
                    self.remarks.add(self.offset + number, text)
                continue
            if row[0].startswith("#") and not row[0][1:2].isdigit():
                self.remarks.add(self.offset + number, row[0])
                continue
            for cells in self._ends(row, device, self.offset + number):
                yield self.offset + number, [*cells, *self._told(row)]

    def _without_dittos(self, row: list[str]) -> list[str]:
        above = self._above
        same = [
            above[place] if cell.casefold() in _DITTO and place < len(above) else cell
            for place, cell in enumerate(row)
        ]
        if sum(bool(cell) for cell in same) > 1:
            self._above = same
        return same

    def _section(self, row: Sequence[str], text: str) -> str:
        """The connector whose pins follow, where a row is its title."""
        if len(self.layout.start) == 2:
            return ""
        device = device_in(text)
        alone = sum(bool(cell) for cell in row) == 1 and bool(row[self.layout.start[0]])
        if alone and device == text and re.sub(r"\d.*", "", text) in self._prefixes:
            return ""  # `B3` in a column of pins that are called so: an empty cavity
        return device

    def _is_a_cavity(self, row: Sequence[str], text: str) -> bool:
        place = self.layout.start[-1]
        return place < len(row) and row[place] == text and bool(BARE_PIN.fullmatch(pin_of(text)))

    def _told(self, row: Sequence[str]) -> list[str]:
        layout = self.layout
        told = {name: row[place] if place < len(row) else "" for name, place in layout.others.items()}
        for name, unit in layout.units.items():
            if re.fullmatch(r"\d[\d.,]*|\d/0", told[name]) and told[name]:
                told[name] = f"AWG {told[name]}" if unit == "AWG" else f"{told[name]} {unit}"
        return [told.get(name, "") for name in self.header[2:]]

    def _ends(self, row: Sequence[str], device: str, number: int) -> list[list[str]]:
        start, end = self._start(row, device, number), self._end(row, number)
        if not end and len(self.layout.start) == 2 and ":" not in start and not self.layout.pinout:
            self.remarks.add(number, next(cell for cell in row if cell))  # a total, a heading
            return []
        if not end and self.layout.pinout:
            doubted = any(place < len(row) and row[place].casefold() in _UNSURE for place in self.layout.end)
            if doubted or (sum(bool(cell) for cell in row) > 2 and self._colour(row)):
                found = f"{quoted(start)} with a wire, and nothing where it goes"
                expected = "where it goes; the row was left out"
                self.problems.append(Problem(self.file, number, "to", found, expected, "warning"))
            return []
        if not start and not self._last["from"][-1] and not self.part.exact:
            self.remarks.add(number, next(cell for cell in row if cell))
            return []
        return [[start, one] for one in (end or [""])]

    def _colour(self, row: Sequence[str]) -> str:
        place = self.layout.others.get("colour")
        return row[place] if place is not None and place < len(row) else ""

    def _start(self, row: Sequence[str], device: str, number: int) -> str:
        layout = self.layout
        if len(layout.start) == 2:
            return self._pair("from", row, layout.start, self._end_is_there(row))
        cell = row[layout.start[0]] if layout.start[0] < len(row) else ""
        if self.part.exact:
            return point_of(cell)
        if not cell and self._last["from"][1] and self._end_is_there(row):
            self.repeated += 1
            return self._last["from"][1]
        point = joined(device, cell) if device and cell else point_of(cell)
        if not device:
            self._refuse_alone("from", cell, number, _is_pin(self.part, layout))
        self._last["from"][1] = point
        return point

    def _refuse_alone(self, side: str, cell: str, number: int, pins: bool) -> None:
        """A pin without its connector is no end of a wire: said once of each column."""
        pin = pin_of(cell)
        if side not in self.homeless and (pin.isdecimal() or (pins and BARE_PIN.fullmatch(pin))):
            expected = "its connector too: a column Connector, a row above with its name, or a sheet named so"
            self.problems.append(Problem(self.file, number, side, f"pin {quoted(cell)} alone", expected))
            self.homeless.add(side)

    def _end_is_there(self, row: Sequence[str]) -> bool:
        return any(place < len(row) and row[place] for place in self.layout.end)

    def _end(self, row: Sequence[str], number: int) -> list[str]:
        layout = self.layout
        if len(layout.end) == 2:
            begins = any(place < len(row) and row[place] for place in layout.start)
            point = self._pair("to", row, layout.end, begins and ":" not in self._last["to"][1])
            return [point] if point else []
        cell = row[layout.end[0]] if layout.end[0] < len(row) else ""
        if self.part.exact:
            return [point_of(cell)]
        if not cell or cell.casefold() in NOWHERE or (layout.pinout and cell.casefold() in _UNSURE):
            return []
        if cell.casefold() in _UNSURE:
            self.problems.append(Problem(self.file, number, "to", quoted(cell), "the point where it ends"))
        self._refuse_alone("to", cell, number, False)
        return targets(cell)

    def _pair(self, side: str, row: Sequence[str], places: Sequence[int], fills: bool) -> str:
        """Connector and pin; a blank connector is that of the row above, and so is an end left blank."""
        name, pin = (row[place] if place < len(row) else "" for place in places)
        last = self._last[side]
        if pin.casefold() in NOWHERE - {"-", "–"}:
            return ""
        if not name and not pin:
            self.repeated += bool(fills and last[1])
            return last[1] if fills else ""
        if name:
            last[0] = name
        last[1] = joined(last[0], pin)
        return last[1]


def _is_pin(part: Part, layout: SheetLayout) -> bool:
    from loomtest.harness.headings import meaning

    return layout.row < 0 or meaning(part.rows[layout.row][layout.start[0]])[0] in ("pin", "wire")
