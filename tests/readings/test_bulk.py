"""The bulk reader gives what the careful reader gives, or leaves the file to it."""

from __future__ import annotations

import gzip
import sys
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomtest.errors import InputError
from loomtest.harness.model import Harness, Wire
from loomtest.readings.bulk import WORTH_IT_BYTES, bulk_table
from loomtest.readings.load import assemble, load_readings
from loomtest.readings.model import Readings
from loomtest.readings.table import decode, parse_table

POINTS = ("X1:1", "X1:2", "X1:3", "X2:1", "X2:2", "GND1")
LOOM = Harness("invented", (Wire("W1", "X1:1", "X2:1"), Wire("W2", "X1:2", "GND1")), POINTS)

values = st.one_of(
    st.floats(0, 1e9).map(repr),
    st.floats(-0.9, 10).map(lambda x: f"{x:.4f}"),
    st.sampled_from(["OL", "O.L", "ol", "inf", "9.9E37", "+9.9E+37", "0", "1e-3", ".5", "5."]),
    st.sampled_from([">2M", "1.2k", "420 mΩ", "4R7", " 7 ", "1 kohm", "OL MΩ", ">40"]),
    st.sampled_from(["", "nan", "-9", "abc", "0x10", "1_0", "1e400", "-inf", "9.91E37", "True", "1e20"]),
)
plain = st.one_of(st.floats(0, 1e6).map(lambda x: f"{x:.5g}"), st.just("OL"))
point = st.sampled_from([*POINTS, "-X1:1", " X2:1 ", "X2:7", "X1:03"])
apart = point.filter(lambda name: name != "GND1")
bad_point = st.sampled_from(["Y9:1", "", "#X1:1", "X1:1:1"])
row = st.fixed_dictionaries(
    {
        "from": st.one_of(point, point, point, bad_point) | point,
        "to": point,
        "value": values,
        "unit": st.sampled_from(["", "", "milliohm", "megohm", "V"]),
        "uncertainty": st.sampled_from(["", "0.01", "5 mohm", "-1"]),
        "quantity": st.sampled_from(["", "", "resistance_4w", "diode", "continuity", "voltage_drop"]),
        "current": st.sampled_from(["", "5"]),
        "range": st.sampled_from(["", "200", "2M"]),
        "withdraws": st.sampled_from(["", "", "", "1", "2"]),
        "bonded": st.sampled_from(["", "", "X1:3", "X1:3 GND1"]),
        "note": st.sampled_from(["", "damp", "x"]),
    }
)


def written(rows: list[dict[str, str]], columns: list[str], separator: str, end: str) -> bytes:
    lines = [separator.join(columns), *(separator.join(r.get(c, "") for c in columns) for r in rows)]
    return (end.join(lines) + end).encode()


def outcome(readings: Readings | InputError) -> object:
    if isinstance(readings, InputError):
        return readings.problems
    out: dict[str, object] = {}
    for field in fields(readings):
        value = getattr(readings, field.name)
        if isinstance(value, np.ndarray):
            value = (str(value.dtype), value.shape, value.tobytes())
        out[field.name] = dict(value) if field.name in ("notes", "times", "bonded") else value
    return out


def both_ways(data: bytes) -> tuple[object, object, bool]:
    """What the careful reader makes of the bytes, and what the two together do; whether bulk took it."""
    took = False

    def careful() -> Readings:
        return assemble(parse_table(decode(data, "f.csv"), "f.csv"), LOOM)

    def bulk() -> Readings:
        nonlocal took
        table = bulk_table(data, "f.csv")
        if table is not None:
            try:
                readings = assemble(table, LOOM)
            except Exception:  # the loader falls back on every refusal
                return careful()
            took = True
            return readings
        return careful()

    results = []
    for way in (careful, bulk):
        try:
            results.append(outcome(way()))
        except InputError as error:
            results.append(outcome(error))
    return results[0], results[1], took


@given(
    st.lists(row, min_size=1, max_size=12),
    st.sets(
        st.sampled_from(
            ["unit", "uncertainty", "quantity", "current", "range", "withdraws", "bonded", "note"]
        )
    ),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
)
def test_both_readers_say_the_same(
    rows: list[dict[str, str]], more: set[str], separator: str, end: str
) -> None:
    careful, bulk, _ = both_ways(written(rows, ["from", "to", "value", *sorted(more)], separator, end))
    assert careful == bulk


@given(st.lists(st.fixed_dictionaries({"from": apart, "to": st.just("GND1"), "value": plain}), min_size=1))
def test_an_ordinary_scan_is_taken_by_the_bulk_reader(rows: list[dict[str, str]]) -> None:
    careful, bulk, took = both_ways(written(rows, ["value", "to", "from"], ",", "\n"))
    assert careful == bulk
    assert took


@given(st.lists(st.tuples(apart, plain), min_size=1, max_size=40), st.integers(1, 60))
def test_a_file_is_read_in_pieces(cells: list[tuple[str, str]], size: int) -> None:
    lines = [f"{point.strip()},GND1,{value}" for point, value in cells]
    data = "\r\n".join(["from,to,value", *lines]).encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("loomtest.readings.bulk._CHUNK_BYTES", size + 30)  # a row is no longer
        table = bulk_table(data, "f.csv")
    assert table is not None
    careful = parse_table(data.decode(), "f.csv")
    for name in ("from", "to"):
        fast, slow = table.columns[name], careful.columns[name]
        assert [fast.texts[code] for code in fast.codes] == [slow.texts[code] for code in slow.codes]
    assert outcome(assemble(table, LOOM)) == outcome(assemble(careful, LOOM))


@given(st.lists(st.tuples(apart, values), min_size=1, max_size=30))
def test_values_of_every_spelling_are_the_same_to_the_last_bit(cells: list[tuple[str, str]]) -> None:
    careful, bulk, _ = both_ways(
        written([{"from": p, "to": "GND1", "value": v} for p, v in cells], ["from", "to", "value"], ",", "\n")
    )
    assert careful == bulk


@pytest.mark.parametrize(
    "text",
    [
        'from,to,value\n"X1:1",X2:1,1\n',  # quotes
        "from,to,value\n\nX1:1,X2:1,1\n",  # a blank line shifts the numbers of lines
        "from,to,value,note\nX1:1,X2:1,1\nX1:1,X2:1,1,a,b\n",  # one too few, one too many: the sum is right
        "from,to,value\nX1:1,X2:1,1,2\n",
        "from,to,value\rX1:1,X2:1,1\r",
        "# note\nfrom,to,value\nX1:1,X2:1,1\n",
        "from,to,value\nX1:1,X2:1,1\0\n",
        "from,to,value\n",
        "from,to\n1,2\n",
        "from,to,value\nX1:1,X2:1,1\xb5\n",
    ],
)
def test_what_is_out_of_the_ordinary_is_left_to_the_careful_reader(text: str) -> None:
    assert bulk_table(text.encode("latin-1"), "f.csv") is None


def test_a_large_file_goes_through_the_bulk_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    line = b"X1:1,X2:1,0.5\n"
    data = b"from,to,value\n" + line * (WORTH_IT_BYTES // len(line) + 1)
    (tmp_path / "large.csv").write_bytes(data)
    packed = tmp_path / "large.csv.gz"
    packed.write_bytes(gzip.compress(data, 0))
    monkeypatch.setattr("loomtest.readings.load.parse_table", None)  # the careful reader is not to be called
    plain_rows, packed_rows = load_readings(tmp_path / "large.csv", LOOM), load_readings(packed, LOOM)
    assert len(plain_rows) == len(packed_rows) == WORTH_IT_BYTES // len(line) + 1


def test_a_mistake_in_a_large_file_is_told_with_its_own_spelling(tmp_path: Path) -> None:
    rows = ["X1:1,X2:1,0.50"] * 40_000
    rows[30_000] = "X1:1,X2:1,-5.00"
    (tmp_path / "large.csv").write_text("\n".join(["from,to,value", *rows]))
    with pytest.raises(InputError) as error:
        load_readings(tmp_path / "large.csv", LOOM)
    assert [(p.line, p.found) for p in error.value.problems] == [(30_002, '"-5.00"')]


def test_without_pyarrow_the_careful_reader_takes_every_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows on ARM has none; Parquet is refused with what to do."""
    rows = "from,to,value\n" + "X1:1,X2:1,0.1\nX1:1,GND1,OL\n" * (WORTH_IT_BYTES // 20)
    (tmp_path / "scan.csv").write_text(rows, "utf-8")
    (tmp_path / "scan.parquet").write_bytes(b"PAR1")
    with_it = load_readings(tmp_path / "scan.csv", LOOM)
    for name in ("pyarrow", "pyarrow.csv", "pyarrow.parquet", "pyarrow.types"):
        monkeypatch.setitem(sys.modules, name, None)
    assert bulk_table(tmp_path / "scan.csv", "scan.csv") is None
    without = load_readings(tmp_path / "scan.csv", LOOM)
    assert np.array_equal(without.value, with_it.value) and np.array_equal(without.start, with_it.start)
    with pytest.raises(InputError, match="no pyarrow"):
        load_readings(tmp_path / "scan.parquet", LOOM)
