"""Parquet from strangers: what is no plain table of a bounded size is one clear message."""

from __future__ import annotations

import gzip
import random
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings import parquet
from loomtest.readings import table as readings_table
from loomtest.readings.load import load_readings
from tests.commands.in_process import loomtest

ENDS = {"to": ["X2:1", "X2:2"]}


@pytest.fixture
def harness(tmp_path: Path) -> Harness:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\nX1:2,X2:2\n")
    return load_harness(tmp_path / "wires.csv")


def written(path: Path, columns: dict[str, Any]) -> Path:
    import pyarrow.parquet as pq

    pq.write_table(pa.table(columns), path)
    return path


GOOD = {"from": ["X1:1", "X1:2"], **ENDS, "value": [0.3, 0.4]}
SPOILT: dict[str, tuple[dict[str, Any], str]] = {
    "lists": ({**GOOD, "from": [["X1:1"], ["X1:2"]]}, "lists, records or bytes"),
    "records": ({**GOOD, "value": [{"b": 1.0}, {"b": 2.0}]}, "lists, records or bytes"),
    "bytes": ({**GOOD, "from": [b"X1:1\xff", b"X1:2"]}, "lists, records or bytes"),
    "minus infinity": ({**GOOD, "value": [float("nan"), float("-inf")]}, "-inf"),
    "no such columns": ({"a": [1]}, "no such column"),
    "more than a meter shows": ({**GOOD, "value": [1e16, 0.3]}, "at most 1e\\+15"),
    "true and false": ({**GOOD, "value": [True, False]}, "yes"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_what_is_no_table_is_said_with_its_column(tmp_path: Path, harness: Harness, name: str) -> None:
    columns, said = SPOILT[name]
    with pytest.raises(InputError, match=said):
        load_readings(written(tmp_path / "r.parquet", columns), harness)


def test_a_column_twice_is_told_as_in_a_csv(tmp_path: Path, harness: Harness) -> None:
    import pyarrow.parquet as pq

    names = ["from", "from", "to", "value"]
    arrays = [pa.array([text]) for text in ("X1:1", "X1:1", "X2:1")] + [pa.array([0.3])]
    pq.write_table(pa.Table.from_arrays(arrays, names=names), tmp_path / "r.parquet")
    with pytest.raises(InputError, match="each column once"):
        load_readings(tmp_path / "r.parquet", harness)


def test_a_few_bytes_that_are_millions_of_rows(
    tmp_path: Path, harness: Harness, monkeypatch: pytest.MonkeyPatch
) -> None:
    many = written(tmp_path / "r.parquet", {name: [cells[0]] * 200_000 for name, cells in GOOD.items()})
    assert many.stat().st_size < 10_000
    assert len(load_readings(many, harness).value) == 200_000
    monkeypatch.setattr(parquet, "MOST_ROWS", 199_999)
    with pytest.raises(InputError, match="200,000 rows"):
        load_readings(many, harness)


def test_flipped_bytes_are_read_or_refused(tmp_path: Path, harness: Harness) -> None:
    data, chance = written(tmp_path / "good.parquet", GOOD).read_bytes(), random.Random(11)
    place, refused = tmp_path / "r.parquet", 0
    for _ in range(400):
        spoilt = bytearray(data)
        for _ in range(chance.choice((1, 2, 5))):
            spoilt[chance.randrange(len(spoilt))] = chance.randrange(256)
        place.write_bytes(spoilt[: chance.choice((len(data), chance.randrange(len(data))))])
        try:
            load_readings(place, harness)
        except InputError as error:
            refused += 1
            assert len(str(error)) < 3000 and str(error).replace("\n", "").isprintable()
    assert refused > 200


def test_a_gzip_bomb_is_refused_once_it_is_too_large(
    tmp_path: Path, harness: Harness, monkeypatch: pytest.MonkeyPatch
) -> None:
    with gzip.open(tmp_path / "bomb.csv.gz", "wb") as bomb:
        bomb.write(b"from,to,value\n" + b"X1:1,X2:1,0.3\n" * 2_000_000)
    assert (tmp_path / "bomb.csv.gz").stat().st_size < 100_000
    monkeypatch.setattr(readings_table, "LARGEST_BYTES", 1_000_000)
    monkeypatch.setattr("loomtest.readings.bulk.LARGEST_BYTES", 1_000_000, raising=False)
    done = loomtest("judge", "wires.csv", "bomb.csv.gz", cwd=tmp_path)
    assert done.returncode == 2 and "more than 1,000,000 bytes" in done.stderr


@pytest.mark.parametrize(
    "data", [b"", b"\x1f\x8b", b"no gzip", gzip.compress(b"from,to,value\n", mtime=0)[:-4]]
)
def test_a_gzip_that_is_cut_or_none_is_said(tmp_path: Path, harness: Harness, data: bytes) -> None:
    (tmp_path / "r.csv.gz").write_bytes(data)
    done = loomtest("judge", "wires.csv", "r.csv.gz", cwd=tmp_path)
    assert done.returncode == 2 and done.stderr.startswith("loomtest: r.csv.gz") and "found" in done.stderr
