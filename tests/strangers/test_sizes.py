"""Sizes beyond use are refused in a sentence, before they cost memory or minutes.

The limits stand in docs/reliability.md. They are lowered here where reaching them would take gigabytes;
`python -m tests.strangers.sizes` reaches them for real.
"""

from __future__ import annotations

import gzip
import zipfile
from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.zip import import_bag
from loomtest.harness import table as harness_table
from loomtest.harness.load import load_harness
from loomtest.readings import table as readings_table
from loomtest.readings.load import load_readings
from tests.evidence.archive import kept

WIRES = "from,to\nX1:1,X2:1\nX1:2,X2:2\n"


def refusal(folder: Path, content: bytes, name: str = "readings.csv") -> str:
    (folder / "wires.csv").write_text(WIRES, "utf-8")
    (folder / name).write_bytes(content)
    with pytest.raises(InputError) as caught:
        load_readings(folder / name, load_harness(folder / "wires.csv"))
    return str(caught.value)


def list_refusal(folder: Path, content: bytes, name: str = "list.csv") -> str:
    (folder / "wires.csv").write_text(WIRES, "utf-8")
    (folder / name).write_bytes(content)
    with pytest.raises(InputError) as caught:
        load_harness(folder / name)
    return str(caught.value)


def test_a_line_of_two_million_characters(tmp_path: Path) -> None:
    long = b"x" * 2_000_000
    assert len(refusal(tmp_path, b"from,to,value\nX1:1,X2:1," + long + b"\n")) < 500
    assert len(refusal(tmp_path, long + b",from,to,value\n")) < 500
    assert len(list_refusal(tmp_path, b"from,to\nX1:1," + long + b"\n")) < 500
    assert len(list_refusal(tmp_path, b'name = "' + long + b'"\n', "harness.toml")) < 500


def test_a_million_columns(tmp_path: Path) -> None:
    header = b"from,to,value" + b",valu" * 1_000_000 + b"\n"
    assert "1,000,003 columns; expected at most 1,000" in refusal(tmp_path, header)
    assert "at most 1,000 columns" in list_refusal(tmp_path, header)


def test_distinct_points_by_the_hundred_thousand(tmp_path: Path) -> None:
    unknown = "".join(f"Q{n}:1,X2:1,0.3\n" for n in range(30_000))
    assert refusal(tmp_path, b"from,to,value\n" + unknown.encode()).count("\n") <= 1_000
    undeclared = "".join(f"X1:c{n},X2:1,0.3\n" for n in range(11_000))
    message = refusal(tmp_path, b"from,to,value\n" + undeclared.encode())
    assert "at most 10,000 cavities that the harness does not name" in message


def test_rows_that_are_all_too_long(tmp_path: Path) -> None:
    message = refusal(tmp_path, b"from,to,value\n" + b"X1:1,X2:1,0,3\n" * 50_000)
    assert "more than 500 such rows" in message and message.count("\n") < 520


def test_more_bytes_than_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readings_table, "LARGEST_BYTES", 1_000_000)
    monkeypatch.setattr(readings_table, "LARGEST_CAREFUL_BYTES", 300_000)
    rows = b"X1:1,X2:1,0.3\n" * 100_000
    for first in (b"X1:1,X2:1,1\n", b'"X1:1",X2:1,1\n'):  # plain rows, and what is read row by row
        assert "more than 1,000,000 bytes" in refusal(tmp_path, b"from,to,value\n" + first + rows)
    packed = gzip.compress(b"from,to,value\n" + rows)
    assert len(packed) < 10_000  # some kilobytes that unpack to any size
    assert "more than 1,000,000 bytes" in refusal(tmp_path, packed, "r.csv.gz")
    careful = b"from,to,value\n\n" + rows[:420_000]
    assert "row by row" in refusal(tmp_path, careful)
    with (tmp_path / "list.csv").open("wb") as stream:
        stream.truncate(
            harness_table.LARGEST_BYTES + 1
        )  # a file of holes: as large, and no bytes on the disk
    with pytest.raises(InputError, match="200,000,001 bytes; expected at most 200,000,000 bytes"):
        load_harness(tmp_path / "list.csv")


def test_toml_that_is_deep_or_endless(tmp_path: Path) -> None:
    for text, why in (
        ("name = " + "[" * 100_000, "nested too deep"),
        ("name = " + "{a=" * 100_000, "nested too deep"),
        (".".join("a" * 100_000) + " = 1", "more than 200 parts"),
        ("[" + ".".join("a" * 100_000) + "]", "more than 200 parts"),
        ("name = " + "9" * 10_000, "a number of enormous length"),
        ("#" * 2_000_001, "at most 2,000,000"),
    ):
        assert why in list_refusal(tmp_path, text.encode() + b"\n", "harness.toml")


def test_a_zip_bomb(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("bag/data/x", b"\0" * 20_000_000)
    with pytest.raises(InputError, match="the size of a kept run"):
        import_bag(Archive(tmp_path / "archive"), tmp_path / "bomb.zip", kept.SIMPLE)
    assert Archive(tmp_path / "archive").leftovers() == []
