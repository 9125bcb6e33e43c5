"""Odd values and odd files, each recognised: read right, asked about, or refused with the reason."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.readings.model import Readings
from loomtest.readings.run import About, Reading, create_run, resume_run
from tests.evidence.archive import kept

WIRES = "from,to\nX1:1,X2:1\nX1:2,X2:2\nX1:3,X2:3\nX1:4,GND1\n"


def read(folder: Path, content: str | bytes, wires: str = WIRES) -> Readings:
    (folder / "wires.csv").write_text(wires, "utf-8")
    data = content.encode() if isinstance(content, str) else content
    (folder / "readings.csv").write_bytes(data)
    return load_readings(folder / "readings.csv", load_harness(folder / "wires.csv"))


def refused(folder: Path, content: str | bytes) -> str:
    with pytest.raises(InputError) as caught:
        read(folder, content)
    return str(caught.value)


def one(folder: Path, cell: str) -> float:
    return float(read(folder, f"from,to,value\nX1:1,X2:1,{cell}\n").value[0])


@pytest.mark.parametrize(
    ("cell", "ohms"),
    [
        ("-0.02", -0.02),  # what a zeroed meter may show
        ("-0", 0.0),
        ("1e14", 1e14),
        ("420 m\u2126", 0.42),  # ohm sign
        ("420 m\u03a9", 0.42),  # Greek capital omega
        ("5 \u00b5\u03a9", 5e-6),  # micro sign
        ("5 \u03bc\u2126", 5e-6),  # Greek mu
        ("420 M\u03a9", 4.2e8),
        ("\u22120.02", -0.02),  # a typesetter's minus
        ("0.42\u00a0\u03a9", 0.42),
        ("9.9E37", math.inf),
    ],
)
def test_a_value_is_what_it_says(tmp_path: Path, cell: str, ohms: float) -> None:
    assert one(tmp_path, cell) == pytest.approx(ohms, rel=1e-12)


@pytest.mark.parametrize(
    "cell",
    ["-5", "-1e309", "-inf", "1e308", "1e400", "nan", "NaN", "9.91E37", "--", "1 2", "0x10", "1_000", "1.2.3",
     "\u200f0.42", "0.42\u202e", "=1+1", "TRUE", "12:03", "#N/A", "#REF!", "0.42 A", "0.42 F"],
)  # fmt: skip
def test_what_can_be_no_resistance_is_refused_at_its_place(tmp_path: Path, cell: str) -> None:
    message = refused(tmp_path, f"from,to,value\nX1:1,X2:1,0.1\nX1:2,X2:2,{cell}\n")
    assert "readings.csv, line 3, value: found " in message and "; expected " in message
    assert message.isprintable()


@pytest.mark.parametrize("bulk", [False, True])
def test_a_number_past_all_bounds_is_no_over_range_in_a_large_file(tmp_path: Path, bulk: bool) -> None:
    rest = "X1:3,X2:3,7\nX1:2,X2:2,inf\n" * (20_000 if bulk else 1)
    for cell in ("1e400", "1" * 400, "1e39"):
        assert "line 2, value: found" in refused(tmp_path, f"from,to,value\nX1:1,X2:1,{cell}\n{rest}")
    assert math.isinf(read(tmp_path, f"from,to,value\nX1:1,X2:1,1\n{rest}").value[2])


@pytest.mark.parametrize("bulk", [False, True])
def test_decimal_comma_and_point_in_one_file_are_refused_and_both_lines_named(
    tmp_path: Path, bulk: bool
) -> None:
    rest = "X1:3;X2:3;7\n" * (40_000 if bulk else 1)
    message = refused(tmp_path, f"from;to;value\nX1:1;X2:1;0,42\nX1:2;X2:2;1.234\n{rest}")
    assert (
        'line 2, value: found "0,42" with a decimal comma, and "1.234" with a decimal point in line 3'
        in message
    )
    assert len(read(tmp_path, f"from;to;value\nX1:1;X2:1;0,42\nX1:2;X2:2;1,234\n{rest}")) > 2


def test_a_point_in_another_column_counts_too_and_a_withdrawn_row_does_not(tmp_path: Path) -> None:
    header = "from;to;value;uncertainty;withdraws\n"
    assert "uncertainty" in refused(tmp_path, f"{header}X1:1;X2:1;0,42;;\nX1:2;X2:2;1;0.01;\n")
    assert len(read(tmp_path, f"{header}X1:1;X2:1;0,42;;\nX1:2;X2:2;1.5;;\nX1:2;X2:2;1,5;;2\n")) == 2
    assert len(read(tmp_path, f"{header}X1:1;X2:1;0,42;;\nX1:2;X2:2;0.L;;\n")) == 2  # a word, no number


def test_a_run_has_one_decimal_sign_whatever_was_typed(tmp_path: Path) -> None:
    harness = kept.loom(tmp_path / "loom")
    with create_run(tmp_path / "run", harness, About(), clock=lambda: kept.BEGIN) as writer:
        writer.record(Reading("X1:1", "X2:1", "0,42"))
        writer.record(Reading("X1:2", "X2:2", "0.43 ohm"))
    assert load_readings(tmp_path / "run", harness).value.tolist() == [0.42, 0.43]


@pytest.mark.parametrize(
    ("unit", "cells", "asked"),
    [
        ("", ("420M", "350M", "510M"), True),  # m was meant
        ("megohm", ("0.42", "0.35", "0.51"), True),
        ("ohm", ("420", "350", "510"), True),  # milliohms without their unit
        ("milliohm", ("0.00042", "0.00035", "0.00051"), True),
        ("", ("420m", "350m", "510m"), False),
        ("", ("420M", "350m", "510M"), False),  # one wire is read: the others are faults
        ("", ("OL", "OL", "OL"), False),
        ("", ("0.0", "-0.01", "-0.02"), False),
    ],
)
def test_a_column_far_from_any_wire_is_asked_about(
    tmp_path: Path, unit: str, cells: tuple[str, ...], asked: bool
) -> None:
    rows = "".join(f"X1:{n},X2:{n},{cell},{unit}\n" for n, cell in enumerate(cells, 1))
    warnings = read(tmp_path, f"from,to,value,unit\n{rows}").warnings
    assert [w.column for w in warnings if "m is milli, M is mega" in w.expected] == ["value"] * asked


@pytest.mark.parametrize(
    ("cell", "made"),
    [("03:02:00", "a time"), ("3:02 PM", "a time"), ("2026-02-01", "a date"), ("01/02/2026", "a date"),
     ("2-Jan", "a date"), ("Mar-12", "a date"), ("1.2.26", "a date")],
)  # fmt: skip
def test_what_a_spreadsheet_made_of_a_cavity_is_explained(tmp_path: Path, cell: str, made: str) -> None:
    said = f"(a spreadsheet made {made} of it: format the column as text)"
    assert said in refused(tmp_path, f"from,to,value\n{cell},X2:1,0.3\n")
    (tmp_path / "list.csv").write_text(f"from,to\n{cell},X2:1\n", "utf-8")
    with pytest.raises(InputError) as caught:
        load_harness(tmp_path / "list.csv")
    assert said in str(caught.value) and "line 2, from" in str(caught.value)


def test_names_that_only_look_like_dates_are_names(tmp_path: Path) -> None:
    names = ["MAR-12", "3:2", "A.B.C", "1.2", "X-2-J"]
    (tmp_path / "list.csv").write_text(
        "from,to\n" + "".join(f"{n},Z{i}\n" for i, n in enumerate(names)), "utf-8"
    )
    assert [wire.start for wire in load_harness(tmp_path / "list.csv").wires] == names


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_wide_text_is_read(tmp_path: Path, encoding: str) -> None:
    assert read(tmp_path, "from,to,value\nX1:1,X2:1,0.3\n".encode(encoding)).value.tolist() == [0.3]


def test_text_wider_than_that_is_refused(tmp_path: Path) -> None:
    assert "no text" in refused(tmp_path, "from,to,value\nX1:1,X2:1,0.3\n".encode("utf-32"))


@pytest.mark.parametrize(("mark", "end"), [("\ufeff", "\r\n"), ("\ufeff", "\n"), ("", "\r"), ("", "\r\n")])
def test_marks_and_line_ends_of_every_system(tmp_path: Path, mark: str, end: str) -> None:
    assert read(tmp_path, f"{mark}from,to,value{end}X1:1,X2:1,0.3{end}").value.tolist() == [0.3]


def test_a_column_twice_is_refused_in_both_files(tmp_path: Path) -> None:
    assert "the column twice" in refused(tmp_path, "from,to,value,value\nX1:1,X2:1,0.3,0.4\n")
    (tmp_path / "list.csv").write_text("from,to,size,Size\nX1:1,X2:1,1,2\n", "utf-8")
    with pytest.raises(InputError, match="twice"):
        load_harness(tmp_path / "list.csv")


def test_a_quotation_mark_without_its_partner_swallows_no_reading(tmp_path: Path) -> None:
    rows = 'X1:1,X2:1,0.3,"a\nX1:2,X2:2,OL,\nX1:3,X2:3,0.2,"\n'
    assert "line 2" in refused(tmp_path, f"from,to,value,note\n{rows}")
    assert "quotation marks in pairs" in refused(tmp_path, 'from,to,value,note\nX1:1,X2:1,0.3,"a\n')
    prose = 'X1:1,X2:1,0.3,"cleaned,\nthen greased, dried, measured"\nX1:2,X2:2,OL,\n'
    assert len(read(tmp_path, f"from,to,value,note\n{prose}")) == 2  # a note of two lines is a note


def test_rows_without_a_value_count_as_not_measured_and_it_is_said(tmp_path: Path) -> None:
    found = read(tmp_path, "from,to,value\nX1:1,X2:1,0.3\nX1:2,X2:2,\nX1:3,X2:3,\nX1:4,GND1,OL\n")
    assert found.row.tolist() == [2, 5]
    assert ["not measured" in warning.expected for warning in found.warnings] == [True]


def test_nothing_goes_behind_a_run_file_that_was_edited(tmp_path: Path) -> None:
    harness = kept.loom(tmp_path / "loom")
    run = kept.make_run(tmp_path / "run", harness)
    with (run / "run.toml").open("a", encoding="utf-8") as stream:
        stream.write("[bench]\nwords = 1\n")
    before = kept.tree(run)
    with pytest.raises(InputError, match=r"at the end of the file"):
        resume_run(run, clock=lambda: kept.BEGIN)
    assert kept.tree(run) == before


@pytest.mark.parametrize("bulk", [False, True])
def test_points_that_look_like_numbers_keep_their_spelling(tmp_path: Path, bulk: bool) -> None:
    wires = "from,to\n1.1,2.1\n1.10,2.10\n"
    rows = "1.1,2.1,0.1\n1.10,2.10,0.2\n" * (25_000 if bulk else 1)
    found = read(tmp_path, "from,to,value\n" + rows, wires)
    named = [(found.points[a], found.points[b]) for a, b in zip(found.start, found.end, strict=True)]
    assert set(zip(named, found.value.tolist(), strict=True)) == {
        (("1.1", "2.1"), 0.1),
        (("1.10", "2.10"), 0.2),
    }
