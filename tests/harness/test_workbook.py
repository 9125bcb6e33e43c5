"""Workbooks as people keep them, written by other libraries (openpyxl, odfpy) and read as a wire list."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings

PLAIN = [["from", "to", "colour", "size"], ["X1:1", "X2:1", "red", 1.5], ["X1:2", "X2:2", "blue", 1]]


def xlsx(path: Path, *sheets: tuple[str, list[list[Any]]], merged: tuple[str, ...] = ()) -> Path:
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
        for cells in merged:
            sheet.merge_cells(cells)
    book.save(path)
    return path


def ods(path: Path, rows: list[list[Any]]) -> Path:
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book = OpenDocumentSpreadsheet()
    table = Table(name="Loom")
    for row in rows:
        line = TableRow()
        for cell in row:
            number = isinstance(cell, (int, float))
            told = TableCell(valuetype="float", value=cell) if number else TableCell(valuetype="string")
            told.addElement(P(text=str(cell)))
            line.addElement(told)
        table.addElement(line)
    book.spreadsheet.addElement(table)
    book.save(str(path))
    return path


def ends(path: Path | str) -> list[tuple[str, str]]:
    return [(wire.start, wire.end) for wire in load_harness(path).wires]


def test_both_formats_give_what_the_csv_gives(tmp_path: Path) -> None:
    for path in (xlsx(tmp_path / "a.xlsx", ("Loom", PLAIN)), ods(tmp_path / "a.ods", PLAIN)):
        wires = load_harness(path).wires
        assert [(w.start, w.end, w.colour, w.size_mm2) for w in wires] == [
            ("X1:1", "X2:1", "red", 1.5), ("X1:2", "X2:2", "blue", 1.0),
        ]  # fmt: skip
        assert wires[1].row == 3  # as the spreadsheet counts


def test_title_rows_empty_rows_and_other_sheets(tmp_path: Path) -> None:
    rows = [["Launch, bow loom"], [], ["drawn by hand", None, "2024"], *PLAIN[:2], [], PLAIN[2]]
    path = xlsx(tmp_path / "a.xlsx", ("Cover", [["nothing here"]]), ("Wires", rows))
    assert ends(path) == [("X1:1", "X2:1"), ("X1:2", "X2:2")]
    assert "“Wires”" in str(load_harness(path).warnings[0]) or '"Wires"' in str(
        load_harness(path).warnings[0]
    )


def test_a_sheet_may_be_named(tmp_path: Path) -> None:
    path = xlsx(tmp_path / "a.xlsx", ("Old", PLAIN[:2]), ("New", [PLAIN[0], ["X7:1", "X8:1", "", ""]]))
    assert ends(f"{path}#New") == [("X7:1", "X8:1")]
    with pytest.raises(InputError, match="Old, New"):
        load_harness(f"{path}#Newer")


def test_connector_and_pin_in_columns_of_their_own(tmp_path: Path) -> None:
    rows = [
        ["From", None, "To", None, None],
        ["Connector", "Pin", "Connector", "Pin", "Wire colour"],
        ["X1", 1, "X2", 4, "red"],
        [None, 2, "X3", "A1", "blue"],
    ]
    path = xlsx(tmp_path / "a.xlsx", ("Sheet1", rows), merged=("A1:B1", "C1:D1", "A3:A4"))
    assert ends(path) == [("X1:1", "X2:4"), ("X1:2", "X3:A1")]
    assert [wire.colour for wire in load_harness(path).wires] == ["red", "blue"]
    flat = [["Conn 1", "Pin 1", "Conn 2", "Pin 2"], ["X1", 1, "X2", 4]]
    assert ends(xlsx(tmp_path / "b.xlsx", ("Sheet1", flat))) == [("X1:1", "X2:4")]


def test_one_sheet_a_connector_says_each_wire_twice(tmp_path: Path) -> None:
    header = ["Pin", "Wire colour", "Goes to"]
    path = xlsx(
        tmp_path / "a.xlsx",
        ("X1", [header, [1, "red", "X2 4"], [2, "", ""], [3, "black", "GND1"]]),
        ("X2", [header, [4, "red", "X1 1"], [5, "green", "light switch 2"]]),
    )
    assert ends(path) == [("X1:1", "X2:4"), ("X1:3", "GND1"), ("X2:5", "light_switch:2")]
    assert any("again" in str(warning) for warning in load_harness(path).warnings)


def test_pin_colour_goes_to_connector(tmp_path: Path) -> None:
    rows = [["Pin", "Wire colour", "Goes to", "Connector"], ["1", "red", "X4:3", "X1"]]
    assert ends(xlsx(tmp_path / "a.xlsx", ("Sheet1", rows))) == [("X1:1", "X4:3")]


def test_a_formula_counts_as_its_value_and_numbers_may_be_text(tmp_path: Path) -> None:
    rows = [PLAIN[0], ["X1:1", "X2:1", "red", "1.5"]]
    assert load_harness(xlsx(tmp_path / "a.xlsx", ("L", rows))).wires[0].size_mm2 == 1.5


def test_readings_in_a_workbook(tmp_path: Path) -> None:
    harness = load_harness(xlsx(tmp_path / "a.xlsx", ("L", PLAIN)))
    rows = [["Measured on Sunday"], ["from", "to", "value"], ["X1:1", "X2:1", 0.3], ["X1:2", "X2:2", "OL"]]
    readings = load_readings(xlsx(tmp_path / "r.xlsx", ("Sheet1", rows)), harness)
    assert readings.value.tolist() == [0.3, float("inf")]


def test_what_is_no_workbook_is_one_message(tmp_path: Path) -> None:
    (tmp_path / "a.xlsx").write_bytes(b"PK\x03\x04 and nothing more")
    with pytest.raises(InputError, match="no workbook"):
        load_harness(tmp_path / "a.xlsx")
    with zipfile.ZipFile(tmp_path / "b.xlsx", "w") as packed:
        packed.writestr("hello.txt", "x")
    with pytest.raises(InputError, match="cannot be read"):
        load_harness(tmp_path / "b.xlsx")
    with pytest.raises(InputError, match="from, to"):
        load_harness(xlsx(tmp_path / "c.xlsx", ("Sheet1", [["a", "b"], [1, 2]])))
    hostile = [
        PLAIN[0],
        ["=cmd|' /C calc'!A0", "X2:1", "", ""],
        ["X1:\x1b"[:3] + "9", "X2:2", "red", "AWG 99"],
    ]
    with pytest.raises(InputError, match="AWG 99"):
        load_harness(xlsx(tmp_path / "d.xlsx", ("Sheet1", hostile)))


def test_many_double_crimps_are_one_sentence(tmp_path: Path) -> None:
    rows = "".join(f"X1:{n},X2:{n}\nX1:{n},X3:{n}\n" for n in range(1, 200))
    (tmp_path / "wires.csv").write_text("from,to\n" + rows)
    (said,) = load_harness(tmp_path / "wires.csv").warnings
    assert "199 wires that share" in said.found


@pytest.mark.parametrize("size", ["1.234,5", "1,234.5"])
def test_two_signs_in_one_number_are_explained(tmp_path: Path, size: str) -> None:
    (tmp_path / "wires.csv").write_text(f'from,to,length\nX1:1,X2:1,"{size}"\n')
    with pytest.raises(InputError) as caught:
        load_harness(tmp_path / "wires.csv")
    (problem,) = caught.value.problems
    assert "1234" in problem.expected and "thousands" in problem.expected


def test_plain_words_for_kinds(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("from,to,kind\nX1:1,X2:1,bulb\nX1:2,X2:2,breaker\n")
    assert [wire.kind for wire in load_harness(tmp_path / "wires.csv").wires] == ["lamp", "fuse"]
