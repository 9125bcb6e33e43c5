"""Targets for files that hold a table inside something else: workbooks, Parquet, open harness files.

Their inputs are recipes: `%%%NAME` and a line end begin a member of the workbook, whose content follows, and
members that are not named are those of a good one. So a change reaches what stands inside the zip.
"""

from __future__ import annotations

import csv
import io
import tempfile
import zipfile
from pathlib import Path

import numpy as np

from loomtest.errors import LoomtestError
from loomtest.harness.exchange.folder import answers_from
from loomtest.harness.load import load_harness
from loomtest.harness.newfolder import Answers, files_of
from tests.fuzz import oracle
from tests.harness.exchange.made import Loom, Made, written
from tests.harness.test_workbook import ods, xlsx

_ROWS = [
    ["from", "to", "wire", "colour", "size", "amps"],
    ["X1:1", "X2:1", "W1", "red", 1.5, 5],
    ["X1:2", "SP1", "W2", "BK/WH", "0,5 mm2", ""],
    ["SP1", "GND1", "W3", "BK", 0.75, "500 mA"],
]


def _members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as book:
        return {name: book.read(name) for name in book.namelist()}


def _good() -> dict[str, dict[str, bytes]]:
    with tempfile.TemporaryDirectory() as place:
        return {
            "xlsx": _members(xlsx(Path(place) / "a.xlsx", ("Loom", _ROWS), ("Other", [["a"]]))),
            "ods": _members(ods(Path(place) / "a.ods", _ROWS)),
        }


GOOD = _good()


def packed(kind: str, recipe: bytes) -> bytes:
    """The workbook of a recipe; what begins as a zip does is one already."""
    if recipe.startswith(b"PK"):
        return recipe
    members = dict(GOOD[kind])
    for part in recipe.split(b"%%%")[1:]:
        name, _, content = part.partition(b"\n")
        members[name.decode("utf-8", "replace").replace("\0", "?")[:200] or "?"] = content
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as book:
        for name, content in members.items():
            book.writestr(name, content)
    return out.getvalue()


def _recipes(kind: str, *names: str) -> tuple[bytes, ...]:
    return tuple(b"%%%" + name.encode() + b"\n" + GOOD[kind][name] for name in names)


_SHARED = (
    b"%%%xl/sharedStrings.xml\n<sst xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'>"
    b"<si><t>from</t></si><si><t>to</t></si><si><r><t>X1:</t></r><r><t>1</t></r></si><si><t>X2:1</t></si></sst>"
    b"%%%xl/worksheets/sheet1.xml\n<worksheet xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'>"
    b"<sheetData><row r='1'><c r='A1' t='s'><v>0</v></c><c r='B1' t='s'><v>1</v></c></row>"
    b"<row r='2'><c r='A2' t='s'><v>2</v></c><c r='B2' t='s'><v>3</v></c></row></sheetData></worksheet>"
)
XLSX_SEEDS = (
    *_recipes("xlsx",
              "xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels",
              "[Content_Types].xml", "xl/styles.xml"),
    _SHARED,
    packed("xlsx", b"")[:3000],
)  # fmt: skip
ODS_SEEDS = (*_recipes("ods", "content.xml", "META-INF/manifest.xml", "mimetype"), packed("ods", b"")[:3000])
SHEET_WORDS = (
    b'<c r="A1" t="n"><v>', b'<c r="XFD1048576">', b'<mergeCell ref="A1:XFD1048576"/>',
    b'<c r="B2" t="s"><v>',
    b't="inlineStr"', b't="b"', b't="e"', b't="d"', b"<f>", b'r="0"', b"99999999999", b"1e400", b"-1", b"NaN",
    b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b"&#0;", b"\xff\xfe", b'table:number-columns-repeated="1000000000"',
    b'table:number-rows-repeated="99999"', b'office:value-type="date"', b'office:date-value="2026-02-01"',
    b"%%%xl/worksheets/sheet1.xml\n", b"%%%content.xml\n", b"%%%../../x\n", b"</row>", b"<table:table-row>",
)  # fmt: skip


def _workbook(kind: str, data: bytes) -> None:
    from tests.fuzz.targets import told, wires_print_back, workplace

    with workplace().empty("book") as folder:
        place = folder / f"loom.{kind}"
        place.write_bytes(packed(kind, data))
        try:
            harness = load_harness(place)
        except LoomtestError as error:
            told(error)
        else:
            wires_print_back(harness)
        assert {file.name for file in folder.iterdir()} <= {place.name}  # nothing is unpacked beside it


def excel(data: bytes) -> None:
    _workbook("xlsx", data)


def open_document(data: bytes) -> None:
    _workbook("ods", data)


_KINDS = "tfibdx"
PARQUET_SEEDS = (
    b"ttf%%%from,to,value\nX1:1,X2:1,0.3\nX1:2,SP1,1e3\n",
    b"tttttt%%%from,to,value,quantity,note,time\nX1:1,X2:1,OL,,a,2026-05-01T14:03:00+02:00\n"
    b"X1:2,SP1,>40M,resistance,,\n",
    b"xxix%%%from,to,value,unit\nX1:1,X2:1,4,ohm\nX1:1,X2:1,4,ohm\n",
    b"ttf%%%from,to,value\nX1:1,X2:1,0.3\n%%%\x10\x00\x07\x30\x01\x05",
)
PARQUET_WORDS = (b"%%%", b"nan", b"inf", b"X1:1", b"SP1", b"uncertainty", b"current", b"bonded", b"withdraws",
                 b"OL", b"yes", b"1e308", b"-0", b"quantity", b"voltage_drop", b"mV")  # fmt: skip


def _column(kind: str, cells: list[str]):
    """Cells as a column of a kind: what does not fit is missing."""
    import pyarrow as pa

    def number(cell: str, most: int) -> int | None:
        return int(cell) if cell.isascii() and cell.isdigit() and int(cell[:20]) < most else None

    if kind == "f":
        found = [oracle.number_and_unit(cell) for cell in cells]
        return pa.array([float(f[0]) if f else float("nan") if "n" in c else None
                         for f, c in zip(found, cells, strict=True)], pa.float64())  # fmt: skip
    if kind == "i":
        return pa.array([number(cell, 2**62) for cell in cells], pa.int64())
    if kind == "b":
        return pa.array([cell == "yes" if cell else None for cell in cells], pa.bool_())
    if kind == "d":
        return pa.array([number(cell, 2**40) for cell in cells], pa.timestamp("s"))
    if kind == "x":
        return pa.array(cells, pa.string()).dictionary_encode()
    return pa.array(cells, pa.string())


def parquet(data: bytes) -> None:
    """`KINDS%%%CSV%%%EDITS`: a table with columns of those kinds, then bytes of its file written over.

    Of texts alone and unspoilt it is read as the same CSV is.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    from loomtest.readings.load import load_readings
    from tests.fuzz.targets import readings_print_back, told, workplace

    kinds, _, rest = data.partition(b"%%%")
    text, _, edits = rest.partition(b"%%%")
    try:
        rows = [row for row in csv.reader(io.StringIO(text.decode("utf-8"), newline="")) if row]
    except (UnicodeDecodeError, csv.Error):
        return
    if not rows or "\0" in text.decode("utf-8"):
        return
    head = rows[0]
    body = [[*row, *[""] * len(head)][: len(head)] for row in rows[1:]]
    letters = [chr(b) if chr(b) in _KINDS else "t" for b in kinds.ljust(len(head), b"t")]
    columns = [
        _column(kind, [row[n] for row in body]) for n, kind in zip(range(len(head)), letters, strict=False)
    ]
    place = workplace().folder / "readings.parquet"
    pq.write_table(pa.Table.from_arrays(columns, names=head), place)
    if edits:
        spoilt = bytearray(place.read_bytes())
        for at in range(0, len(edits) - 2, 3):
            spoilt[int.from_bytes(edits[at : at + 2], "little") % len(spoilt)] = edits[at + 2]
        place.write_bytes(spoilt)
    found, same = None, None
    try:
        found = load_readings(place, workplace().harness)
    except LoomtestError as error:
        told(error)
    if found is not None:
        readings_print_back(found, workplace().harness)
    if edits or set(letters[: len(head)]) - {"t", "x"}:
        return
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([head, *body])
    plain = workplace().folder / "same.csv"
    plain.write_text(out.getvalue(), "utf-8", newline="")
    try:
        same = load_readings(plain, workplace().harness)
    except LoomtestError:
        return  # blank lines and comments stand in a CSV alone
    if found is not None and len(found) == len(same):
        for field in ("value", "quantity", "above_ohm", "current_a"):
            np.testing.assert_array_equal(getattr(found, field), getattr(same, field), field)


_LOOM = (
    Made("W1", "X1:1", "X2:1", 1.5, 0.85, ("RD",), "horn"),
    Made("W2", "X1:2", "GND1", 0.5, 1.2, ("BK", "WH")),
)
EXCHANGE_SEEDS = (
    written(Loom(_LOOM)).encode(),
    written(Loom(_LOOM, modules={"M": ["W1"], "N": ["W2"]}, configurations={"C": ["M"]}, german=True,
                 segments=(("N1", "N2", 0.4),), sits={"N1": ["X1"], "N2": ["X2", "GND1"]})).encode(),
)  # fmt: skip
EXCHANGE_WORDS = (
    b"<Connection id='c9'>", b"<Extremities>", b"<Value_component>", b"1e400", b"-1", b"NaN", b"/NULL",
    b"<Numerical_value id='n'>", b"<Module>", b"id='", b"xsi:type='kbl:Fixing'", b"<!DOCTYPE a>", b"&#1;",
    b"<Wire_length>", b"<a>", b"\xff\xfe", b"<Core_colour>", b"encoding='utf-16'", b"<Center_curve>",
)  # fmt: skip


def exchange(data: bytes) -> None:
    """An open harness file: read, and the folder that `new` makes of it reads to the same wires."""
    from tests.fuzz.targets import told, workplace

    with workplace().empty("exchange") as folder:
        place = folder / "loom.kbl"
        place.write_bytes(data)
        try:
            harness = load_harness(place)
            answers, _ = answers_from(str(place), Answers("", {}, [], ()), named=False)
        except LoomtestError as error:
            return told(error)
        (folder / "made").mkdir()
        for name, text in files_of(answers).items():
            (folder / "made" / name).write_text(text, "utf-8", newline="")
        again = load_harness(folder / "made")
        for one, two in zip(harness.wires, again.wires, strict=True):
            for field in ("start", "end", "name", "kind", "colour", "size_mm2", "circuit"):
                assert getattr(one, field) == getattr(two, field), (field, one, two)
    return None
