"""Workbooks that are none, or that would become enormous: one message, soon, and little memory."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from openpyxl import load_workbook

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.harness.unpacked import LARGEST_UNPACKED
from tests.harness.test_workbook import PLAIN, ods, xlsx

OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
SHEET = "xl/worksheets/sheet1.xml"


def message(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        load_harness(path)
    (problem,) = (each for each in caught.value.problems if each.severity == "error")
    assert all(line.isprintable() for line in str(problem).splitlines())
    return str(problem)


def load_or_message(path: Path) -> str:
    try:
        return str(load_harness(path).wires)
    except InputError as error:
        return str(error)


def altered(path: Path, part: str, old: bytes, new: bytes) -> Path:
    """The workbook with something in a part replaced."""
    out = path.with_name("altered" + path.suffix)
    assert part in zipfile.ZipFile(path).namelist()
    with zipfile.ZipFile(path) as before, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as after:
        for item in before.infolist():
            data = before.read(item)
            if item.filename == part:
                assert old in data
                data = data.replace(old, new, 1)
            after.writestr(item, data)
    return out


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "an empty file"),
        (bytes(range(256)) * 40, "no workbook"),
        (b"from,to\nX1:1,X2:1\n", "text is named .csv"),
        (OLE + bytes(600), "older format"),
        (OLE + bytes(600) + "EncryptedPackage".encode("utf-16-le"), "password"),
        (b"PK\x03\x04" + bytes(100), "no workbook"),
    ],
)
def test_what_is_no_workbook(tmp_path: Path, content: bytes, said: str) -> None:
    for name in ("a.xlsx", "a.ods"):
        (tmp_path / name).write_bytes(content)
        assert said in message(tmp_path / name)


def test_a_workbook_under_another_name(tmp_path: Path) -> None:
    path = xlsx(tmp_path / "a.xlsx", ("Loom", PLAIN))
    for name in ("a.csv", "a.xls", "a.txt"):
        (tmp_path / name).write_bytes(path.read_bytes())
        assert ".xlsx" in message(tmp_path / name)
    (tmp_path / "b.xls").write_bytes(OLE + bytes(600))
    assert "saved as .xlsx" in message(tmp_path / "b.xls")


def test_an_empty_workbook(tmp_path: Path) -> None:
    assert "an empty workbook" in message(xlsx(tmp_path / "a.xlsx", ("Sheet1", [])))
    assert "no rows" in message(xlsx(tmp_path / "b.xlsx", ("Sheet1", [["from", "to"]])))


def test_encrypted_opendocument(tmp_path: Path) -> None:
    path = ods(tmp_path / "a.ods", PLAIN)
    told = altered(path, "META-INF/manifest.xml", b"</manifest:manifest>",
                   b'<manifest:encryption-data xmlns:manifest="m"/></manifest:manifest>')  # fmt: skip
    assert "password" in message(told)


def test_cells_that_a_spreadsheet_or_a_terminal_would_obey(tmp_path: Path) -> None:
    hostile = "=cmd|' /C calc'!A0"
    for header in (["from", "to", "note"], ["Start", "Goes to", "Remarks"]):
        path = xlsx(
            tmp_path / "a.xlsx", ("Loom", [header, [hostile, "X2:1", "=1+1"], ["X1:2", "X2:2", "=A1"]])
        )
        assert hostile[:6] not in load_or_message(path)  # a formula, and one that was never worked out
        book = load_workbook(path)
        book.active["A2"].data_type = "s"  # the same as a text
        book.save(path)
        assert hostile in message(path)
    texts = [["from", "to", "note"], ["X1:1", "X2:1", "ESCAPE"]]
    path = altered(xlsx(tmp_path / "b.xlsx", ("Loom", texts)), SHEET, b"ESCAPE", b"_x001B_[2J")
    assert all(str(warning).isprintable() for warning in load_harness(path).warnings)
    path = altered(xlsx(tmp_path / "c.xlsx", ("Loom", texts)), SHEET, b"X1:1", "X1:\u202e1".encode())
    assert "visible" in message(path)


def test_an_enormous_part_is_not_unpacked(tmp_path: Path) -> None:
    path = xlsx(tmp_path / "a.xlsx", ("Loom", PLAIN))
    bomb = altered(path, SHEET, b"</sheetData>", b"</sheetData>" + b" " * (LARGEST_UNPACKED + 1))
    assert bomb.stat().st_size < 1_000_000 and "unpacked" in message(bomb)
    huge = altered(path, SHEET, b"<sheetData>", b"<sheetData>" + b"<!-- -->" * 10)
    assert load_harness(huge).wires


FAR = b'<row r="1048576"><c r="XFD1048576" t="inlineStr"><is><t>x</t></is></c></row></sheetData>'


def test_a_cell_in_the_last_corner(tmp_path: Path) -> None:
    path = altered(xlsx(tmp_path / "a.xlsx", ("Loom", PLAIN)), SHEET, b"</sheetData>", FAR)
    assert "row 1,048,576 and column 16,384" in message(path)
    lied = FAR.replace(b'r="XFD1048576"', b"r='&#88;FD1048576'")
    path = altered(xlsx(tmp_path / "b.xlsx", ("Loom", PLAIN)), SHEET, b"</sheetData>", lied)
    assert "column 16,384" in message(path)
    far = (
        b'<table:table-row table:number-rows-repeated="1000000"><table:table-cell office:value-type="string"'
    )
    far += b' table:number-columns-repeated="16000"><text:p>x</text:p></table:table-cell></table:table-row>'
    path = altered(ods(tmp_path / "a.ods", PLAIN), "content.xml", b"</table:table>", far + b"</table:table>")
    assert "column 16,000" in message(path)


def test_rows_that_are_only_formatted_cost_little_memory(tmp_path: Path) -> None:
    rows = "".join(f'<row r="{n}" s="1"><c r="A{n}" s="1"/></row>' for n in range(4, 200_000))
    path = altered(
        xlsx(tmp_path / "a.xlsx", ("Loom", PLAIN)), SHEET, b"</sheetData>", rows.encode() + b"</sheetData>"
    )
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))\n"
        "from loomtest.harness.load import load_harness\nprint(len(load_harness(sys.argv[1]).wires))"
    )
    ran = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, timeout=60)
    assert (ran.stdout, ran.stderr) == ("2\n", "")


def test_a_part_that_says_less_than_it_holds(tmp_path: Path) -> None:
    """What is counted is what is read: a size in the directory that is a lie hides nothing."""
    path = altered(xlsx(tmp_path / "a.xlsx", ("Loom", PLAIN)), SHEET, b"</sheetData>", FAR)
    data = bytearray(path.read_bytes())
    at = (
        data.rfind(SHEET.encode()) - 46
    )  # its entry in the directory: the size stands at byte 24 (APPNOTE 4.3.12)
    assert data[at : at + 4] == b"PK\x01\x02"
    data[at + 24 : at + 28] = (300).to_bytes(4, "little")
    path.write_bytes(data)
    assert message(path)


def test_entities_do_not_multiply(tmp_path: Path) -> None:
    path = xlsx(tmp_path / "a.xlsx", ("Loom", PLAIN))
    levels = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 12))
    head = f'<!DOCTYPE worksheet [<!ENTITY e0 "aaaaaaaaaa">{levels}]><worksheet '.encode()
    path = altered(path, SHEET, b"<worksheet ", head)
    cell = b'<row r="9"><c r="A9" t="inlineStr"><is><t>&e11;</t></is></c></row></sheetData>'
    assert message(altered(path.rename(tmp_path / "b.xlsx"), SHEET, b"</sheetData>", cell))
