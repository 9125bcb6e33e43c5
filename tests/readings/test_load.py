"""A readings file: what is used, what is said, and every mistake at once."""

from __future__ import annotations

import gzip
import math
from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.seen.observe import observe
from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings.generic import generic_handheld
from loomtest.readings.load import load_readings
from loomtest.readings.model import Quantity, Readings
from loomtest.readings.together import followed
from tests.readings.looms import small_loom


@pytest.fixture
def harness(tmp_path: Path) -> Harness:
    return small_loom(tmp_path / "loom")


def load(harness: Harness, text: str | bytes, name: str = "readings.csv") -> Readings:
    assert harness.source is not None
    path = harness.source.parent / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return load_readings(path, harness)


def problems(harness: Harness, text: str | bytes) -> list[tuple[int | None, str, str]]:
    with pytest.raises(InputError) as error:
        load(harness, text)
    return [(p.line, p.column, p.found) for p in error.value.problems]


def pairs(readings: Readings) -> list[tuple[str, str, float]]:
    names = readings.points
    return [
        (names[a], names[b], v)
        for a, b, v in zip(readings.start, readings.end, readings.value.tolist(), strict=True)
    ]


def test_three_columns_are_enough(harness: Harness) -> None:
    readings = load(harness, "from,to,value\nX1:1,X2:1,0.42\nX2:2,X1:2,OL\nX1:1,X2:1,0.44\n")
    assert pairs(readings) == [("X1:1", "X2:1", 0.42), ("X2:2", "X1:2", math.inf), ("X1:1", "X2:1", 0.44)]
    assert readings.row.tolist() == [2, 3, 4]
    assert set(readings.quantity.tolist()) == {Quantity.RESISTANCE}
    for column in (readings.above_ohm, readings.current_a, readings.uncertainty, readings.temperature_c):
        assert np.isnan(column).all()
    assert readings.points == harness.points
    assert readings.warnings == ()


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_separators_byte_order_mark_and_line_ends(
    harness: Harness, separator: str, mark: bytes, end: str
) -> None:
    rows = ["value,to,from,operator", "0.5,X2:1,-X1:1,A. Nobody", ",,,", "OL, X2:2 ,X1:2,"]
    text = end.join(rows).replace(",", separator)
    assert pairs(load(harness, mark + text.encode())) == [("X1:1", "X2:1", 0.5), ("X1:2", "X2:2", math.inf)]


def test_decimal_commas_are_read_and_said_so_once(harness: Harness) -> None:
    readings = load(harness, "from;to;value\nX1:1;X2:1;0,42\nX1:2;X2:2;1,234\n")
    assert readings.value.tolist() == [0.42, 1.234]
    assert [(w.line, w.column) for w in readings.warnings] == [(2, "value")]
    assert "0.42" in readings.warnings[0].expected


def test_a_comma_that_could_mean_two_things_is_refused(harness: Harness) -> None:
    assert problems(harness, 'from,to,value\nX1:1,X2:1,"1,234"\n') == [(2, "value", '"1,234"')]


def test_comments_hints_and_packed_files(harness: Harness) -> None:
    text = "sep=;\n# measured on the bench\nfrom;to;value\n#X1:1;X2:1;9\nX1:1;X2:1;2\n"
    readings = load(harness, gzip.compress(text.encode()), "readings.csv.gz")
    assert pairs(readings) == [("X1:1", "X2:1", 2.0)]
    assert readings.row.tolist() == [5]


def test_every_mistake_is_reported_at_once_with_its_place(harness: Harness) -> None:
    found = problems(
        harness,
        "from,to,value,quantity,unit,current,uncertainty,range,bonded,temperature\n"
        "X1:1,X1:1,5\n"  # 2
        "X1:1,-X1:1,5\n"  # 3
        "X1:1,Y2:1,abc\n"  # 4
        "X1:1,X2:1,0.1,voltage_drop\n"  # 5
        "X1:1,X2:1,0.1,voltage_drop,,0\n"  # 6
        "X1:1,X2:1,4,resistence,furlong\n"  # 7
        "X1:1,,nan,,,,-1\n"  # 8
        "X1:1,X2:1,4,,,,,none,X1:1 X9:9,warm\n"  # 9
        "X1:1,X2:1,4,,,,,,,,,more\n"  # 10
        "X1:1,X2:1,OL,,,,,,X1:1\n",  # 11
    )
    assert [(line, column) for line, column, _ in found] == [
        (2, "to"),
        (3, "to"),
        (4, "to"),
        (4, "value"),
        (5, "current"),
        (6, "current"),
        (7, "quantity"),
        (7, "unit"),
        (8, "to"),
        (8, "value"),
        (8, "uncertainty"),
        (9, "bonded"),
        (9, "range"),
        (9, "temperature"),
        (10, ""),
        (11, "bonded"),
    ]


def test_an_unknown_point_names_the_nearest(harness: Harness) -> None:
    with pytest.raises(InputError) as error:
        load(harness, "from,to,value\nx1:1,X2:1,5\nGND2,X2:1,5\n")
    assert "X1:1" in error.value.problems[0].expected
    assert "GND1" in error.value.problems[1].expected


def test_an_undeclared_cavity_of_a_known_connector_is_used_with_a_warning(harness: Harness) -> None:
    readings = load(harness, "from,to,value\nX2:10,X2:1,OL\nX2:9,X1:1,0.1\nX2:01,X1:2,OL\nX2:9,X1:2,OL\n")
    assert readings.points == (*harness.points, "X2:01", "X2:9", "X2:10")
    assert pairs(readings)[1] == ("X2:9", "X1:1", 0.1)
    assert [(w.line, w.column, w.found) for w in readings.warnings] == [
        (2, "from", '"X2:10"'),
        (3, "from", '"X2:9"'),
        (4, "from", '"X2:01"'),
    ]
    assert "X2:1" in readings.warnings[2].expected


def test_a_declared_empty_cavity_is_a_point_like_any_other(harness: Harness) -> None:
    assert load(harness, "from,to,value\nX1:6,X2:1,OL\n").warnings == ()


def test_a_reading_at_an_unreachable_point_draws_a_warning(harness: Harness) -> None:
    readings = load(harness, "from,to,value\nX1:3,SP1,0.1\nX1:3,SP1,0.1\n")
    assert len(readings) == 2
    assert [(w.line, w.column) for w in readings.warnings] == [(2, "to")]


def test_a_missing_column_names_the_nearest_that_is_there(harness: Harness) -> None:
    found = problems(harness, "form,to,value\nX1:1,X2:1,1\n")
    assert found == [(1, "from", 'no such column, the nearest is "form"')]
    assert problems(harness, "from,to,value,value\nX1:1,X2:1,1,2\n")[0][1] == "value"


def test_a_misspelt_optional_column_draws_a_warning(harness: Harness) -> None:
    readings = load(harness, "from,to,value,uncertanty,weather\nX1:1,X2:1,1,2,rain\n")
    assert [w.column for w in readings.warnings] == ["uncertanty"]


@pytest.mark.parametrize(
    "text", [b"", b"\n\n", b"PK\x03\x04zip", b"from,to,value\nX1:1,X2:1,1\x81\n", b"\x00\x01\x02\x03"]
)
def test_a_file_of_another_kind_is_one_clear_problem(harness: Harness, text: bytes) -> None:
    assert len(problems(harness, text)) == 1


def test_no_such_file_and_no_run_folder(harness: Harness, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        load_readings(tmp_path / "none.csv", harness)
    with pytest.raises(InputError, match=r"without run\.toml"):
        load_readings(tmp_path, harness)


def test_a_withdrawn_row_is_gone_and_so_are_its_mistakes(harness: Harness) -> None:
    readings = load(
        harness,
        "from,to,value,withdraws\n"
        "X1:1,X2:1,42,\n"
        "X1:1,Q9:1,mistyped,\n"
        "X1:1,X2:1,,1\n"
        "X1:1,X2:1,0.42,2\n"
        "X1:2,X2:9,7,\n"
        ",,,5\n",
    )
    assert pairs(readings) == [("X1:1", "X2:1", 0.42)]
    assert readings.row.tolist() == [5]
    assert readings.points == harness.points  # an undeclared cavity of a withdrawn row is not one
    assert readings.warnings == ()


@pytest.mark.parametrize("number", ["2", "3", "4", "9", "two", "-1", "0"])
def test_withdrawing_what_is_no_earlier_row_is_refused(harness: Harness, number: str) -> None:
    text = f"from,to,value,withdraws\nX1:1,X2:1,1,\nX1:1,X2:1,2,{number}\nX1:1,X2:1,3,\n"
    assert [(line, column) for line, column, _ in problems(harness, text)] == [(3, "withdraws")]


def test_a_row_taken_back_twice_draws_a_warning(harness: Harness) -> None:
    readings = load(harness, "from,to,value,withdraws\nX1:1,X2:1,1,\nX1:1,X2:1,,1\nX1:1,X2:1,,1\n")
    assert len(readings) == 0
    assert [(w.line, w.column) for w in readings.warnings] == [(4, "withdraws")]


def test_a_withdrawal_holds_no_reading_to_withdraw(harness: Harness) -> None:
    text = "from,to,value,withdraws\nX1:1,X2:1,1,\nX1:1,X2:1,,1\nX1:1,X2:1,,2\n"
    assert problems(harness, text)[0][:2] == (4, "withdraws")


def test_what_over_range_states(harness: Harness) -> None:
    readings = load(harness, "from,to,value,range\nX1:1,X2:2,OL,2M\nX1:1,X2:2,>40M,\nX1:1,X2:2,7,200\n")
    assert readings.above_ohm[:2].tolist() == [2e6, 40e6]
    assert math.isnan(readings.above_ohm[2])  # a range says nothing about a reading within it


def test_units_and_uncertainties(harness: Harness) -> None:
    readings = load(
        harness,
        "from,to,value,unit,uncertainty\n"
        "X1:1,X2:1,420,milliohm,5\n"  # both in the unit
        "X1:1,X2:1,420 mΩ,,5\n"  # an uncertainty is in the unit of its value
        "X1:1,X2:1,0.42,,5 mohm\n"  # its own unit
        "X1:1,X2:1,0.42,,0.005\n",
    )
    assert readings.value == pytest.approx([0.42] * 4)
    assert readings.uncertainty == pytest.approx([0.005] * 4)


def test_a_voltage_drop_below_zero_had_its_leads_exchanged(harness: Harness) -> None:
    readings = load(
        harness,
        "from,to,value,quantity,current,unit\n"
        "X1:1,X2:1,-30,voltage_drop,5 A,mV\n"
        "X1:1,X2:1,30,voltage_drop,500 mA,mV\n",
    )
    assert pairs(readings) == [("X2:1", "X1:1", pytest.approx(0.03)), ("X1:1", "X2:1", pytest.approx(0.03))]
    assert readings.current_a.tolist() == [5.0, 0.5]


def test_clips_times_notes_and_temperature(harness: Harness) -> None:
    readings = load(
        harness,
        "from,to,value,bonded_from,bonded,time,note,temperature\n"
        'X1:1,X1:2,OL,X2:1,X2:2 GND1,2026-05-01T14:03:00+02:00,"damp, cold",18.5 °C\n'
        "X1:1,X2:1,0.1,,,,,\n",
    )
    code = harness.code_of
    assert readings.bonded == {0: ((code["X2:1"],), (code["X2:2"], code["GND1"]))}
    assert dict(readings.times) == {0: "2026-05-01T14:03:00+02:00"}
    assert dict(readings.notes) == {0: "damp, cold"}
    assert readings.temperature_c[0] == 18.5
    with pytest.raises(KeyError):
        readings.notes[1]


def test_a_time_without_offset_draws_one_warning(harness: Harness) -> None:
    readings = load(harness, "from,to,value,time\nX1:1,X2:1,1,14:03\nX1:1,X2:1,1,14:04\n")
    assert [w.column for w in readings.warnings] == ["time"]
    assert readings.times[1] == "14:04"


def test_an_uncertainty_beyond_its_value_draws_a_warning(harness: Harness) -> None:
    readings = load(harness, "from,to,value,uncertainty\nX1:1,X2:1,1.2k,5\n")
    assert [w.column for w in readings.warnings] == ["uncertainty"]


def test_a_header_alone_is_no_reading_and_no_error(harness: Harness) -> None:
    readings = load(harness, "from,to,value,withdraws,time,note\n")
    assert len(readings) == 0
    assert len(readings.notes) == 0


def test_rows_of_a_sheet_that_nobody_filled_in_are_not_measured(harness: Harness) -> None:
    """A bench sheet comes with empty values; a row taken back keeps its number."""
    rows = ("X1:1,X2:1,,", "X1:1,X2:1,0.2,", "X1:1,X2:1,0.9,", "X1:1,X2:1,,", ",,,3")
    readings = load(harness, "from,to,value,withdraws\n" + "\n".join(rows) + "\n")
    assert readings.value.tolist() == [0.2] and readings.row.tolist() == [3]
    assert [(p.line, p.column, p.found) for p in readings.warnings] == [
        (2, "value", "nothing (and in 1 more rows)")
    ]


def test_a_capacitance_keeps_its_unit_and_joins_nothing(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\nX1:2,X2:2\n")
    (tmp_path / "readings.csv").write_text(
        "from,to,value,unit,quantity,uncertainty,bonded\n"
        "X1:1,X1:2,120,pF,capacitance,2,X2:2\n"
        "X2:1,X1:2,0.2 nF,,capacitance,3 pF,X2:2\n"
    )
    harness = load_harness(tmp_path / "wires.csv")
    readings = load_readings(tmp_path / "readings.csv", harness)
    assert readings.value == pytest.approx([120e-12, 200e-12], rel=1e-9)
    assert readings.uncertainty == pytest.approx([2e-12, 3e-12], rel=1e-9)
    assert (observe(readings, generic_handheld(), harness.limits).state == 0).all()


def test_a_drop_below_zero_says_which_end_was_written_first(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    (tmp_path / "readings.csv").write_text(
        "from,to,value,unit,quantity,current\n"
        "X1:1,X2:1,-20,mV,voltage_drop,1\nX1:1,X2:1,20,mV,voltage_drop,1\n"
    )
    readings = load_readings(tmp_path / "readings.csv", load_harness(tmp_path / "wires.csv"))
    assert readings.turned is not None
    assert readings.turned.tolist() == [True, False]
    assert readings.start.tolist() == [1, 0]
    both = followed([readings, readings])
    assert both.turned is not None
    assert both.turned.tolist() == [True, False, True, False]
