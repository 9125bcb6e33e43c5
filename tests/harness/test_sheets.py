"""Wire lists as people lay them out in workbooks and in CSV files: the right wires, or one plain message."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook
from openpyxl.styles import PatternFill

from loomtest.errors import InputError, Problem
from loomtest.harness.load import list_text, load_harness
from loomtest.harness.sheets import wire_table
from loomtest.harness.table import Table
from loomtest.harness.wirelist import read_wires
from loomtest.readings.runfile import harness_copies, harness_digest
from tests.harness.test_workbook import ends, ods, xlsx

Row = list[Any]


def said(path: Path | str) -> str:
    """What is odd in the list, all of it."""
    return "\n".join(str(warning) for warning in load_harness(path).warnings)


def refused(path: Path | str) -> str:
    with pytest.raises(InputError) as caught:
        load_harness(path)
    (problem,) = (each for each in caught.value.problems if each.severity == "error")
    return str(problem)


def one(path: Path, rows: list[Row], name: str = "Sheet1") -> Path:
    return xlsx(path / "loom.xlsx", (name, rows))


# Made before the reader knew of them: two layouts of other hands.
def test_groups_of_columns_below_their_connectors(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Fishing launch, pinouts"],
        ["X1", None, None, None, "X2"],
        ["Pin", "Colour", "Goes to", None, "Pin", "Colour", "Goes to"],
        [1, "red", "X2/4", None, 1, "blue", "GND1"],
        [2, "black", "GND1", None, 2, None, None],
        [3, None, None, None, 4, "red", "X1/1"],
    ]
    path = xlsx(tmp_path / "a.xlsx", ("Sheet1", rows), merged=("A2:C2", "E2:G2"))
    assert ends(path) == [("X1:1", "X2:4"), ("X1:2", "GND1"), ("X2:1", "GND1")]
    assert [wire.colour for wire in load_harness(path).wires] == ["red", "black", "blue"]
    assert "1 row saying a wire again" in said(path)


def test_blank_cells_are_the_same_as_above(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["From device", "Pin", "Colour", "Size", "To device", "Pin", "Notes"],
        ["Fuse box", 1, "red", 2.5, "Ignition switch", "B", "behind the dash"],
        [None, 2, "blue", 1, "X4", 1, None],
        [None, 3, "black", 1, "GND1", None, None],
        [None, 4, "black", 1, None, None, "same stud"],
        [None, None, "white", 1, "X4", 2, "double crimp"],
    ]
    path = one(tmp_path, rows)
    assert ends(path) == [
        ("Fuse_box:1", "Ignition_switch:B"), ("Fuse_box:2", "X4:1"), ("Fuse_box:3", "GND1"),
        ("Fuse_box:4", "GND1"), ("Fuse_box:4", "X4:2"),
    ]  # fmt: skip
    assert [wire.size_mm2 for wire in load_harness(path).wires] == [2.5, 1, 1, 1, 1]
    assert load_harness(path).wires[0].note == "behind the dash"
    assert "2 rows with an end left blank" in said(path)


def test_a_column_for_each_connector(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Wire", "Colour", "X1", "X2", "X5"],
        ["horn", "red", 3, 1.0, None],
        ["tail lamp", "blue", 4, None, "2"],
        ["earth", "black", 5, 6, 7],
    ]
    path = one(tmp_path, rows)
    assert ends(path) == [("X1:3", "X2:1"), ("X1:4", "X5:2"), ("X1:5", "X2:6"), ("X2:6", "X5:7")]
    assert [wire.circuit for wire in load_harness(path).wires][2:] == ["earth", "earth"]
    assert "1 row with more than two pins" in said(path)


def test_a_section_for_each_connector(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Orchard tractor (invented)"],
        ["Connector X1 (bulkhead)"],
        ["Pin", "Wire colour", "Goes to"],
        [1, "red", "X7-2"],
        [2, "-", "-"],
        ["A3", "green", "rear lamp 31"],
        [],
        ["Connector X7"],
        ["Pin", "Wire colour", "Goes to"],
        [1, "blue", "GND2"],
        [2, "red", "X1-1"],
        ["All wires 1 mm² unless noted"],
    ]
    path = one(tmp_path, rows)
    assert ends(path) == [("X1:1", "X7:2"), ("X1:A3", "rear_lamp:31"), ("X7:1", "GND2")]
    assert "All wires 1 mm²" in said(path)


def test_pins_with_no_connector_anywhere_are_one_message(tmp_path: Path) -> None:
    rows: list[Row] = [["Pin", "Colour", "Goes to"], [1, "red", "X2 4"], [2, "blue", "X2 5"]]
    assert "its connector" in refused(one(tmp_path, rows)) and "pin" in refused(one(tmp_path, rows))


def test_the_connector_of_the_other_end(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Pin", "Wire colour", "Goes to", "Connector"],
        [1, "red", 3, "X4"],
        [2, "blue", 5, "X6"],
    ]
    assert ends(xlsx(tmp_path / "a.xlsx", ("X1", rows))) == [("X1:1", "X4:3"), ("X1:2", "X6:5")]
    from_to: list[Row] = [["From", "Pin", "To", "Pin", "Col."], ["X1", 1, "X2", "1.0", "red"]]
    assert ends(xlsx(tmp_path / "b.xlsx", ("Wires", from_to))) == [("X1:1", "X2:1")]


def test_titles_and_merged_headers_and_remarks_between(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Motorcycle of no make, tail loom"],
        ["drawn 2024-05-01"],
        ["From", None, "To", None, "Cable", None],
        ["Plug", "Way", "Plug", "Way", "Colour", "Length (mm)"],
        ["Engine side"],
        ["X1", 1, "X2", 4, "red", 850],
        ["X1", 2, "X2", 5, "blue", 900],
        ["Rear"],
        ["X2", 6, "lamp LH", None, "green", 1200],
        [],
        ["Note: check the colours against the loom"],
    ]
    path = xlsx(tmp_path / "a.xlsx", ("Loom", rows), merged=("A1:F1", "A3:B3", "C3:D3", "A5:F5", "A11:F11"))
    assert ends(path) == [("X1:1", "X2:4"), ("X1:2", "X2:5"), ("X2:6", "lamp_LH")]
    assert [wire.length_m for wire in load_harness(path).wires] == [0.85, 0.9, 1.2]


def test_a_remark_below_a_plain_list(tmp_path: Path) -> None:
    rows: list[Row] = [["from", "to", "kind"], ["X1:1", "splice_A", "bulb"], ["X1:2", "SPL3", None], [],
                       ["All by eye, 3 May"]]  # fmt: skip
    path = one(tmp_path, rows)
    assert ends(path) == [("X1:1", "splice_A"), ("X1:2", "SPL3")]
    assert load_harness(path).wires[0].kind == "lamp"
    assert "row 5" not in said(path) and "line 5" in said(path) and "All by eye" in said(path)


def test_a_date_that_a_spreadsheet_made_is_told(tmp_path: Path) -> None:
    rows: list[Row] = [["Connector", "Pin", "Connector", "Pin"], ["X1", datetime(2024, 2, 1), "X2", 1]]
    text = refused(one(tmp_path, rows))
    assert "2024-02-01" in text and "a date" in text and "line 2" in text and "Connector and Pin" in text


def test_hidden_rows_are_read_and_hidden_sheets_are_not(tmp_path: Path) -> None:
    path = xlsx(tmp_path / "a.xlsx", ("Old", [["from", "to"], ["X9:1", "X9:2"]]),
                ("Wires", [["from", "to"], ["X1:1", "X2:1"], ["X1:2", "X2:2"]]))  # fmt: skip
    book = load_workbook(path)
    book["Old"].sheet_state = "hidden"
    book["Wires"].row_dimensions[3].hidden = True
    book.active = 1
    book.save(path)
    assert ends(path) == [("X1:1", "X2:1"), ("X1:2", "X2:2")]
    assert "1 row hidden" in said(path) and '"Old"' in said(path)
    assert ends(f"{path}#Old") == [("X9:1", "X9:2")]


def test_colours_only_as_fills_are_told(tmp_path: Path) -> None:
    path = one(tmp_path, [["from", "to", "colour"], ["X1:1", "X2:1", "x"], ["X1:2", "X2:2", "x"]])
    book = load_workbook(path)
    for row, colour in ((2, "FFFF0000"), (3, "FF0000FF")):
        book.active.cell(row, 3).value = None
        book.active.cell(row, 1).fill = PatternFill("solid", fgColor=colour)
    book.save(path)
    assert "filled with colours" in said(path)
    book.active.cell(2, 3).value = "red"
    book.save(path)
    assert "filled" not in said(path)


def test_numbers_and_texts_in_one_column(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["from", "to", "size", "length"],
        ["X1:1", "X2:1", "0,75", 1.5],
        ["X1:2", "X2:2", 1.5, "2"],
    ]
    wires = load_harness(one(tmp_path, rows)).wires
    assert [(wire.size_mm2, wire.length_m) for wire in wires] == [(0.75, 1.5), (1.5, 2)]
    rows[1][2] = "1.234,5"
    assert "thousands" in refused(one(tmp_path, rows))


def test_gauge_and_several_targets_in_a_cell(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Conn", "Pin", "AWG", "Goes to"],
        ["X1", 1, 16, "X2-4, X3-1"],
        ["X1", 2, 18, "X2 5 and GND1"],
        ["X1", 3, 18, "X4 2, 5"],
        ["X1", 4, 18, "X4, 3"],
        ["X1", 5, None, "n/c"],
    ]
    path = one(tmp_path, rows)
    assert ends(path) == [
        ("X1:1", "X2:4"), ("X1:1", "X3:1"), ("X1:2", "X2:5"), ("X1:2", "GND1"), ("X1:3", "X4:2"),
        ("X1:3", "X4:5"), ("X1:4", "X4:3"),
    ]  # fmt: skip
    assert load_harness(path).wires[0].size_mm2 == pytest.approx(1.309, abs=1e-3)  # ASTM B258, AWG 16


def test_ditto_marks_and_own_columns_are_kept(tmp_path: Path) -> None:
    path = one(tmp_path, [["Connector A", "Pin A", "Connector B", "Pin B", "Colour", "Shop code"],
                          ["X1", 1, "X2", 1, "red", "k7"], ['"', 2, '"', 2, "ditto", "k8"]])  # fmt: skip
    assert ends(path) == [("X1:1", "X2:1"), ("X1:2", "X2:2")]
    wires = load_harness(path).wires
    assert wires[1].colour == "red" and dict(wires[1].extra) == {"Shop code": "k8"}


def test_mistakes_name_sheet_row_and_column_as_the_person_knows_them(tmp_path: Path) -> None:
    header: Row = ["Pin", "Wire colour", "Goes to"]
    path = xlsx(
        tmp_path / "a.xlsx",
        ("X1", [header, [1, "red", "X2 4"]]),
        ("X2", [["Bulkhead"], header, [4, "red", "X1 1"], [5, "bleen", "X1 2"]]),
    )
    text = refused(path)
    assert "a.xlsx#X2, line 4, Wire colour" in text and "bleen" in text


def test_the_two_ends_say_different_colours(tmp_path: Path) -> None:
    header: Row = ["Pin", "Colour", "Goes to"]
    path = xlsx(
        tmp_path / "a.xlsx", ("X1", [header, [1, "red", "X2 4"]]), ("X2", [header, [4, "blue", "X1 1"]])
    )
    assert ends(path) == [("X1:1", "X2:4")]
    assert '"blue", and "red" at the other end' in said(path)


def test_two_wires_beside_each_other_stay_two(tmp_path: Path) -> None:
    header: Row = ["Pin", "Goes to"]
    path = xlsx(tmp_path / "a.xlsx", ("X1", [header, [1, "X2 4"], [1, "X2 4"]]),
                ("X2", [header, [4, "X1 1"], [4, "X1 1"]]))  # fmt: skip
    assert ends(path) == [("X1:1", "X2:4")] * 2


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16", "utf-8-sig"])
def test_a_list_of_another_country_saved_as_csv(tmp_path: Path, encoding: str) -> None:
    german = "Kabelbaum Traktor;;;;;\n\nVon;Pin;Nach;Pin;Farbe;Querschnitt;Länge\n"
    german += "X1;1;X2;4;rot;1,5;0,85\nX1;2;Masse;;grün/weiß;2,5;1,2\n"
    (tmp_path / "liste.csv").write_bytes(german.encode(encoding))
    wires = load_harness(tmp_path / "liste.csv").wires
    assert [(w.start, w.end, w.size_mm2, w.length_m, w.row) for w in wires] == [
        ("X1:1", "X2:4", 1.5, 0.85, 4), ("X1:2", "Masse", 2.5, 1.2, 5),
    ]  # fmt: skip
    french = "Connecteur\tBroche\tCouleur\tVers\nX1\t1\trouge\tX2/4\n"
    (tmp_path / "fr.csv").write_bytes(french.encode(encoding))
    assert ends(tmp_path / "fr.csv") == [("X1:1", "X2:4")]


def test_a_csv_named_after_its_connector(tmp_path: Path) -> None:
    (tmp_path / "X1.csv").write_text("Pin,Colour,Goes to\n1,red,X2 4\n2,,\n")
    assert ends(tmp_path / "X1.csv") == [("X1:1", "X2:4")]


def test_opendocument_is_read_alike(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Pin", "Wire colour", "Goes to", "Connector"],
        ["1", "red", "X4:3", "X1"],
        [2, "blue", "X4 4", "X1"],
    ]
    assert ends(ods(tmp_path / "a.ods", rows)) == [("X1:1", "X4:3"), ("X1:2", "X4:4")]


def test_hundreds_of_double_crimps_are_one_sentence(tmp_path: Path) -> None:
    rows: list[Row] = [["Connector", "Pin", "Goes to"]]
    rows += [["X1", pin, f"X2 {pin}, X3 {pin}"] for pin in range(1, 300)]
    path = one(tmp_path, rows)
    assert len(load_harness(path).wires) == 598 and len(said(path).splitlines()) <= 3


def test_columns_are_named_in_harness_toml(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["what", "Ref", "Slot", "Ziel", "hue"],
        ["a", "X1", 1, "X2 4", "red"],
        ["b", "X1", 2, "X2 5", "blue"],
    ]
    path = one(tmp_path, rows)
    text = refused(path)
    assert "[columns]" in text and "Ref" in text
    toml = tmp_path / "harness.toml"
    toml.write_text(
        'wires = "loom.xlsx"\n[columns]\nfrom = ["Ref", "column C"]\nto = "ziel"\ncolour = "hue"\n'
    )
    for harness in (tmp_path, toml, path):  # the bare list is read by the file beside it too
        assert ends(harness) == [("X1:1", "X2:4"), ("X1:2", "X2:5")]
        assert load_harness(harness).wires[0].colour == "red"
        assert dict(load_harness(harness).wires[0].extra)["what"] == "a"
    toml.write_text('wires = "loom.xlsx"\n[columns]\nfrom = "Ref"\nto = "nowhere"\n')
    assert "nowhere" in refused(tmp_path)
    toml.write_text(
        'wires = "loom.xlsx"\n[columns]\nfrom = 3\nto = ["a", "b", "c"]\nfro = "x"\nheading_row = -1\n'
    )
    with pytest.raises(InputError) as caught:
        load_harness(tmp_path)
    assert {p.column for p in caught.value.problems} >= {
        "columns.from",
        "columns.to",
        "columns.fro",
        "columns.heading_row",
    }


def test_a_list_without_column_names(tmp_path: Path) -> None:
    one(tmp_path, [["X1", 1, "X2", 4], ["X1", 2, "X2", 5]])
    (tmp_path / "harness.toml").write_text(
        'wires = "loom.xlsx"\n[columns]\nfrom = ["column A", "column B"]\nto = ["column C", "column D"]\n'
        "heading_row = 0\n"
    )
    assert ends(tmp_path) == [("X1:1", "X2:4"), ("X1:2", "X2:5")]


def test_columns_of_a_csv(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("Ref;Slot;Ziel\nX1;1;X2 4\n")
    (tmp_path / "harness.toml").write_text('[columns]\nfrom = ["Ref", "Slot"]\nto = "Ziel"\n')
    assert ends(tmp_path) == [("X1:1", "X2:4")]


def test_two_rows_of_names_and_words_of_a_cable_list(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Cable No.", "From", None, "To", None, "Colour", "CSA", "Length"],
        [None, "Item", "Term", "Item", "Term", None, "mm2", "mm"],
        ["W01", "Battery", "+", "Fuse box", 1, "Red", 6, 500],
        ["W02", "Fuse box", 2, "Ignition sw", "B", "White", 2.5, 1200],
    ]
    path = one(tmp_path, rows)
    assert ends(path) == [("Battery+", "Fuse_box:1"), ("Fuse_box:2", "Ignition_sw:B")]
    wires = load_harness(path).wires
    assert [(w.name, w.size_mm2, w.length_m) for w in wires] == [("W01", 6, 0.5), ("W02", 2.5, 1.2)]


def test_names_of_two_words_and_other_names_of_our_columns(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["From", "To", "Wire colour", "CSA", "Type"],
        ["Splice 4", "light switch 2", "red", 1.5, "thin wall"],
        ["splice_A", "SPL3", "blue", 1, "thick wall"],
    ]
    path = one(tmp_path, rows)
    assert ends(path) == [("Splice4", "light_switch:2"), ("splice_A", "SPL3")]
    wires = load_harness(path).wires
    assert [(w.colour, w.size_mm2, w.kind) for w in wires] == [("red", 1.5, "wire"), ("blue", 1, "wire")]
    assert dict(wires[0].extra) == {"Type": "thin wall"}  # insulation, and no kind of part
    rows = [["From", "To", "Type"], ["X1:1", "X2:1", "bulb"], ["X1:2", "X2:2", "Fuse 10 A"]]
    assert [w.kind for w in load_harness(one(tmp_path, rows)).wires] == ["lamp", "fuse"]


def test_connectors_in_words_as_columns(tmp_path: Path) -> None:
    rows: list[Row] = [["Signal", "ECU", "DASH", "QTY"], ["tacho", 12, 3, 1], ["ground", 1, 2, 1]]
    assert ends(one(tmp_path, rows)) == [("ECU:12", "DASH:3"), ("ECU:1", "DASH:2")]
    parts: list[Row] = [["ITEM", "QTY", "PRICE"], [1, 20, 3], [2, 5, 1]]  # no circuits: a list of parts
    assert "no column names" in refused(one(tmp_path, parts))


def test_a_formula_without_its_value_is_told(tmp_path: Path) -> None:
    assert "1 formula without" in said(one(tmp_path, [["from", "to", "length"], ["X1:1", "X2:1", "=1+1"]]))


def test_titles_totals_and_ends_nobody_knew(tmp_path: Path) -> None:
    rows: list[Row] = [["From", "To"], ["LIGHTING", None], ["X1:1", "X2:1"], ["HORN"], ["X1:2", "X3:1"]]
    assert ends(one(tmp_path, rows)) == [("X1:1", "X2:1"), ("X1:2", "X3:1")]
    rows[3] = ["X1:9", None]  # a wire whose other end was forgotten is no title
    assert "line 4, to" in refused(one(tmp_path, rows)).casefold()
    rows = [
        ["Connector", "Pin", "Connector", "Pin", "Length"],
        ["X1", 1, "X2", 1, 1.2],
        ["Total", None, None, None, 1.2],
    ]
    assert ends(one(tmp_path, rows)) == [("X1:1", "X2:1")]
    rows = [["Pin", "Goes to"], [1, "X2 pin 4"], [2, "TBC"], [3, "see note"]]
    path = xlsx(tmp_path / "x.xlsx", ("X1", rows))
    assert ends(path) == [("X1:1", "X2:4")] and "X1:3" in said(path)
    rows = [["Start", "Goes to"], ["X1/1", "X2/4"], ["X1/2", "?"]]
    with pytest.raises(InputError, match="where it ends"):
        load_harness(one(tmp_path, rows))


def test_a_list_of_pins_says_each_wire_from_both_ends(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Connector", "Pin", "Colour", "Destination", "Pin"],
        ["X1", 1, "RD", "X2", 4],
        [None, 2, "BK", "GND", None],
        ["X2", 4, "RD", "X1", 1],
    ]
    assert ends(one(tmp_path, rows)) == [("X1:1", "X2:4"), ("X1:2", "GND")]


NAMES = [
    "Connector",
    "Pin",
    "Pin 2",
    "From",
    "To",
    "Goes to",
    "Colour",
    "Size",
    "Length (mm)",
    "AWG",
    "No",
    "Signal",
    "X1",
    "X2",
    "Plug X3",
]
TEXTS = [
    "1",
    "2",
    "A4",
    "1.0",
    "X2 4",
    "X2/4 and X3/1",
    "GND1",
    "red",
    "rot",
    "-",
    "ditto",
    "?",
    "#1",
    "2.5",
    "2024-02-01",
    "=A1",
    "Note: by eye",
    ":",
    "a:b:c",
]
CELLS = st.sampled_from([*NAMES, *TEXTS, "", "", "", "1,5", '"', "'", "\x1b[2J", "\u202eX1", "x" * 200])


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.lists(CELLS, min_size=1, max_size=7), max_size=9), st.booleans())
def test_any_sheet_gives_wires_or_a_message(rows: list[list[str]], two: bool) -> None:
    """Never another error; and what was read is read again from the CSV that a run keeps of it."""
    width = max(map(len, rows), default=0)
    sheet = [row + [""] * (width - len(row)) for row in rows]
    problems: list[Problem] = []
    table = wire_table("list", [("X1", sheet), ("X9", sheet[::-1])][: 1 + two], None, problems)
    if table is None:
        return
    assert all(len(cells) == len(table.header) for _, cells in table.rows)
    wires = read_wires(table, problems).wires
    told = [str(table.in_place(problem)) for problem in problems]
    assert all(text.isprintable() for text in told)
    if not any(problem.severity == "error" for problem in problems):
        again = read_wires(Table("again", table.header, 1, table.rows, ","), []).wires
        assert [(w.start, w.end, w.colour) for w in again] == [(w.start, w.end, w.colour) for w in wires]


def test_names_with_underlines_as_programs_write_them(tmp_path: Path) -> None:
    text = "from_connector,from_pin,to_connector,to_pin,wire_colour,length_mm\nX1,1,X2,4,red,850\n"
    (tmp_path / "list.csv").write_text(text)
    (wire,) = load_harness(tmp_path / "list.csv").wires
    assert (wire.start, wire.end, wire.colour, wire.length_m) == ("X1:1", "X2:4", "red", 0.85)


def test_a_sheet_named_in_harness_toml_is_the_one_that_is_copied_and_changed(tmp_path: Path) -> None:
    xlsx(
        tmp_path / "loom.xlsx",
        ("Bow", [["from", "to"], ["X9:1", "X9:2"]]),
        ("Stern", [["from", "to"], ["X1:1", "X2:1"]]),
    )
    (tmp_path / "harness.toml").write_text('wires = "loom.xlsx#Stern"\n')
    harness = load_harness(tmp_path)
    (tmp_path / "copy").mkdir()
    for name, data in harness_copies(harness).items():
        (tmp_path / "copy" / name).write_bytes(data)
    assert ends(tmp_path / "copy") == ends(tmp_path) == [("X1:1", "X2:1")]
    assert harness_digest(load_harness(tmp_path / "copy")) == harness_digest(harness)
    assert list_text(harness) == "from,to\nX1:1,X2:1\n"
