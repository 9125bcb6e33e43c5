"""The same readings as .csv, .csv.gz and .parquet give the same verdict."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.readings import load
from loomtest.readings.load import load_readings
from loomtest.words.verdict import judge
from tests.looms import measure
from tests.looms.files import write_harness, write_readings
from tests.looms.scenario import Order, draw
from tests.readings.looms import small_loom

ROWS = """from,to,value,unit,uncertainty,quantity,current,range,withdraws,note
X1:1,X2:1,0.31,,0.02,,,,,first
X1:2,X2:2,>2M,,,,,,,
X1:2,X2:2,0.4,,,,,,,
,,,,,,,,2,mistyped
X1:3,X2:3,12,milliohm,,resistance_4w,,,,
X1:3,GND1,5.1,mV,,voltage_drop,2.5,,,
X1:1,X1:2,OL,,,,,2000,,
X1:1,X1:3,no,,,continuity,,,,
"""


def in_all_forms(csv: Path) -> list[Path]:
    packed, columns, numbers = (csv.with_suffix(end) for end in (".csv.gz", ".parquet", ".n.parquet"))
    packed.write_bytes(gzip.compress(csv.read_bytes()))
    texts = pd.read_csv(csv, dtype=str, keep_default_na=False)
    texts.to_parquet(columns)
    typed = texts.replace("", None)
    for name in set(typed) & {"uncertainty", "current", "range", "withdraws"}:
        typed[name] = typed[name].astype(float)  # as a spreadsheet's export has them, gaps and all
    if not set(texts["value"]) & {"yes", "no"} and not texts["value"].str.contains(">").any():
        typed["value"] = texts["value"].replace("OL", "inf").astype(float)
    typed.to_parquet(numbers)
    return [csv, packed, columns, numbers]


@pytest.mark.parametrize("bulk", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_a_scan_is_judged_alike_in_every_form(
    seed: int, bulk: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(load, "WORTH_IT_BYTES", 0 if bulk else 10**9)
    rng = np.random.default_rng(seed)
    loom = draw(rng, Order(2, wires=(8, 25)))
    harness = load_harness(write_harness(loom.harness, tmp_path / "loom"))
    csv = write_readings(measure.full_scan(loom, rng, measure.Handheld()), tmp_path / "scan.csv")
    verdicts = {
        json.dumps(judge(harness, load_readings(form, harness)).to_json()) for form in in_all_forms(csv)
    }
    assert len(verdicts) == 1
    assert json.loads(verdicts.pop())["verdict"] == "fail"


def test_every_column_is_read_alike_in_every_form(tmp_path: Path) -> None:
    harness = small_loom(tmp_path / "loom")
    csv = tmp_path / "rows.csv"
    csv.write_text(ROWS, "utf-8")
    first, *others = (load_readings(form, harness) for form in in_all_forms(csv))
    assert len(first) == 6
    for other in others:
        for name in ("start", "end", "quantity", "value", "above_ohm", "current_a", "uncertainty", "row"):
            np.testing.assert_array_equal(getattr(other, name), getattr(first, name), name)
        assert dict(other.notes) == dict(first.notes)


def test_a_mistake_is_told_with_its_row(tmp_path: Path) -> None:
    harness = small_loom(tmp_path / "loom")
    frame = pd.DataFrame({"from": ["X1:1", "X1:2"], "to": ["X2:1", "X9:2"], "value": [0.3, -5.0]})
    frame.to_parquet(tmp_path / "r.parquet")
    with pytest.raises(InputError) as error:
        load_readings(tmp_path / "r.parquet", harness)
    assert [(p.line, p.column, p.found) for p in error.value.problems] == [
        (3, "to", '"X9:2"'),
        (3, "value", '"-5"'),
    ]


def test_a_column_that_is_not_there_is_named(tmp_path: Path) -> None:
    pd.DataFrame({"from": ["X1:1"], "value": [0.3]}).to_parquet(tmp_path / "r.parquet")
    with pytest.raises(InputError, match="no such column"):
        load_readings(tmp_path / "r.parquet", small_loom(tmp_path / "loom"))


@pytest.mark.parametrize("content", [b"", b"from,to,value\n", b"PAR1" + b"\0" * 40 + b"PAR1"])
def test_what_is_no_parquet_is_refused_in_one_line(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "r.parquet").write_bytes(content)
    with pytest.raises(InputError, match="cannot be read as Parquet"):
        load_readings(tmp_path / "r.parquet", small_loom(tmp_path / "loom"))


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        load_readings(tmp_path / "r.parquet", small_loom(tmp_path / "loom"))


def test_without_pyarrow_the_person_is_told_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing(path: Path) -> None:
        raise ImportError("no engine")

    monkeypatch.setattr(pd, "read_parquet", missing)
    (tmp_path / "r.parquet").write_bytes(b"PAR1")
    with pytest.raises(InputError, match="pip install pyarrow"):
        load_readings(tmp_path / "r.parquet", small_loom(tmp_path / "loom"))
