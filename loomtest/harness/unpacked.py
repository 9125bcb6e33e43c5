"""A look into a workbook before its cells are read: whether it is one, and how much it would become.

A few packed bytes can be gigabytes of cells: one cell in the last corner of a sheet, a cell repeated a
million times, a part that unpacks without end. What is counted here is what is read afterwards: the parts
are unpacked once, under a limit, and only those are handed on.
"""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

LARGEST_PACKED = 100_000_000
LARGEST_UNPACKED = 200_000_000
MOST_CELLS = 10_000_000
MOST_PARTS = 2_000
_READ = re.compile(r".*\.(?:xml|rels)|mimetype", re.IGNORECASE)
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_PLACELESS = re.compile(rb"<(?:row|c)(?![^<>]*\sr=)[\s/>]")
_EMPTY_CELL = re.compile(rb"<c [^<>]*(?:/>|></c>)")
_EMPTY_ROW = re.compile(rb"<row [^<>]*(?:/>|>\s*</row>)")
_VALUELESS = re.compile(rb"(?:</f>|<f/>)(?:<v\s*/>|<v></v>|</c>)")
_LETTERS = re.compile(r"([A-Z]{1,3})(\d{1,7})")


class NotAWorkbook(Exception):
    """What the file is instead (`found`), and what to do (`expected`)."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(found)
        self.found, self.expected = found, expected


@dataclass
class Unpacked:
    """The parts that hold cells, packed again without compression; and what the cells do not say.

    `hidden_rows`: rows that a spreadsheet does not show. `formulas`: those that were saved without a value.
    `fills`: how many different fill colours cells
    have that hold something.
    """

    parts: io.BytesIO
    hidden_rows: int = 0
    formulas: int = 0
    fills: int = 0


def unpack(path: Path) -> Unpacked:
    """The workbook's parts. Raises NotAWorkbook, and OSError where the file cannot be read."""
    size = path.stat().st_size
    if size > LARGEST_PACKED:
        raise NotAWorkbook(f"{size:,} bytes", f"at most {LARGEST_PACKED:,} bytes")
    data = path.read_bytes()
    if not data:
        raise NotAWorkbook("an empty file", "a workbook (.xlsx or .ods)")
    if data.startswith(_OLE):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise NotAWorkbook("a workbook with a password", "one without: take the password off and save")
        raise NotAWorkbook(
            "a file in an older format of spreadsheets (.xls)", "a workbook saved as .xlsx or .ods, or a CSV"
        )
    try:
        parts = _parts(data)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, EOFError) as error:
        raise NotAWorkbook(
            "a file that is no workbook", "a workbook (.xlsx or .ods); text is named .csv"
        ) from error
    except RuntimeError as error:  # how zipfile says that a part has a password
        raise NotAWorkbook(
            "a workbook with a password", "one without: take the password off and save"
        ) from error
    if b"encryption-data" in parts.get("META-INF/manifest.xml", b""):
        raise NotAWorkbook("a workbook with a password", "one without: take the password off and save")
    return _counted(parts)


def _parts(data: bytes) -> dict[str, bytes]:
    found: dict[str, bytes] = {}
    left = LARGEST_UNPACKED
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        if len(packed.infolist()) > MOST_PARTS:
            raise NotAWorkbook(f"{len(packed.infolist()):,} parts", f"a workbook of at most {MOST_PARTS:,}")
        for item in packed.infolist():
            if not _READ.fullmatch(item.filename) or item.filename in found:
                continue  # pictures, fonts, macros: nothing of ours
            with packed.open(item) as part:
                content = part.read(left + 1)
            found[item.filename] = _without_empty_cells(content)
            left -= len(content)
            if left < 0:
                raise NotAWorkbook(
                    f"more than {LARGEST_UNPACKED:,} bytes unpacked",
                    "a smaller workbook: the wire list alone",
                )
    return found


def _without_empty_cells(data: bytes) -> bytes:
    """A sheet without the cells and rows that have a format and nothing in them: there may be a million.

    Only where each says its own place: else the place of the next one hangs on them.
    """
    if b"<sheetData" not in data or _PLACELESS.search(data):
        return data
    return _EMPTY_ROW.sub(b"", _EMPTY_CELL.sub(b"", data))


def _counted(parts: dict[str, bytes]) -> Unpacked:
    looks = [look for name, data in parts.items() if (look := _look(name, data)) is not None]
    again = io.BytesIO()
    with zipfile.ZipFile(again, "w", zipfile.ZIP_STORED) as packed:
        for name, data in parts.items():
            packed.writestr(zipfile.ZipInfo(name), data)
    again.seek(0)
    fills = {style for look in looks for style in look.styles}
    filled = {style: fill for look in looks for style, fill in look.fills.items()}
    return Unpacked(
        again,
        sum(look.hidden for look in looks),
        sum(len(_VALUELESS.findall(data)) for data in parts.values() if b"<sheetData" in data),
        len({filled[style] for style in fills if filled.get(style)}),
    )


def _look(name: str, data: bytes) -> _PartCounts | None:
    """What a part says of cells; None for a part that says nothing. Raises NotAWorkbook for too many."""
    look = _PartCounts()
    try:
        look.parse(data)
    except expat.ExpatError as error:
        if look.root in _ROOTS:
            raise NotAWorkbook(f"a damaged part, {name}", "a workbook that a spreadsheet opens") from error
    except _NothingHere:
        return None
    return look


class _NothingHere(Exception):
    pass


_ROOTS = ("worksheet", "document-content", "styleSheet")


@dataclass
class _PartCounts:
    """Counts the cells of one part while its XML passes by."""

    root: str = ""
    rows: int = 0
    columns: int = 0
    hidden: int = 0
    styles: set[str] = field(default_factory=set)
    fills: dict[str, str] = field(default_factory=dict)
    _parser: expat.XMLParserType = field(default_factory=expat.ParserCreate)
    _at: tuple[int, int] = (0, 0)
    _style: str = ""
    _colours: list[str] = field(default_factory=list)
    _inside: str = ""
    # In an OpenDocument sheet rows and cells count themselves, and each may stand for many.
    _above: int = 0
    _repeat: int = 1
    _left: int = 0
    _wide: int = 0

    def parse(self, data: bytes) -> None:
        parser = expat.ParserCreate()
        self._parser = parser
        parser.StartElementHandler = self.start
        parser.Parse(data, True)

    def start(self, tag: str, given: dict[str, str]) -> None:
        self.root = tag.rpartition(":")[2]
        if self.root not in _ROOTS:
            raise _NothingHere
        if self.root == "worksheet":
            self._parser.StartElementHandler = self._worksheet
            return
        each = self._style_sheet if self.root == "styleSheet" else self._opendocument
        self._parser.StartElementHandler = lambda tag, given: each(tag.rpartition(":")[2], given)
        self._parser.EndElementHandler = self.end

    def end(self, tag: str) -> None:
        name = tag.rpartition(":")[2]
        if name == self._inside:
            self._inside = ""
        if name == "table-row":
            if self._wide:
                self._reach(self._above + self._repeat, self._wide)
            self._above += self._repeat
        elif name == "table":
            self.rows = self.columns = 0

    def _reach(self, row: int, column: int) -> None:
        self.rows, self.columns = max(self.rows, row), max(self.columns, column)
        if self.rows * self.columns > MOST_CELLS:
            found = f"a sheet that reaches to row {self.rows:,} and column {self.columns:,}"
            raise NotAWorkbook(found, "the table alone: delete what stands far below it or to its right")

    def _worksheet(self, name: str, given: dict[str, str]) -> None:
        if ":" in name:
            name = name.rpartition(":")[2]
        if name == "row":
            row, _ = self._at
            number = given.get("r", "")
            self._at = (int(number) if number.isdecimal() and len(number) < 9 else row + 1, 0)
            self.hidden += given.get("hidden") in ("1", "true")
        elif name == "c":
            match = _LETTERS.fullmatch(given.get("r", ""))
            row, column = self._at
            self._at = (int(match[2]), _number(match[1])) if match else (row, column + 1)
            self._style = given.get("s", "")
        elif name in ("v", "is", "t"):
            self._reach(*self._at)
            self.styles.add(self._style)

    def _style_sheet(self, name: str, given: dict[str, str]) -> None:
        if name in ("fills", "cellXfs"):
            self._inside = name
        elif name == "fill" and self._inside == "fills":
            self._colours.append("")
        elif name == "fgColor" and self._inside == "fills" and self._colours:
            self._colours[-1] = str(sorted(given.items()))
        elif name == "xf" and self._inside == "cellXfs":
            place = given.get("fillId", "")
            known = place.isdecimal() and len(place) < 6 and int(place) < len(self._colours)
            self.fills[str(len(self.fills))] = self._colours[int(place)] if known else ""

    def _opendocument(self, name: str, given: dict[str, str]) -> None:
        told = {key.rpartition(":")[2]: value for key, value in given.items()}
        if name == "table":
            self._above = 0
        elif name == "table-row":
            self._repeat, self._left, self._wide = _count(told.get("number-rows-repeated")), 0, 0
            self.hidden += told.get("visibility") in ("collapse", "filter")
        elif name in ("table-cell", "covered-table-cell"):
            self._left += _count(told.get("number-columns-repeated"))
            self._style = told.get("style-name", "")
            if "value-type" in told:
                self._fill_row()
        elif name == "p":
            self._fill_row()
        elif name == "style":
            self._inside, self._colours = "style", [told.get("name", "")]
        elif name == "table-cell-properties" and self._inside == "style":
            self.fills[self._colours[0]] = told.get("background-color", "").replace("transparent", "")

    def _fill_row(self) -> None:
        self._wide = self._left
        self.styles.add(self._style)
        self._reach(self._above + self._repeat, self._wide)


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def _count(text: str | None) -> int:
    return max(1, int(text)) if text and text.isdecimal() and len(text) < 9 else 1
