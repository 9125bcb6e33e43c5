"""Readings packed with xz: the same readings, unpacked by the ordinary tool, and no bomb."""

from __future__ import annotations

import hashlib
import lzma
import shutil
import subprocess
from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.readings.packed import pack, unpacked
from tests.evidence.example import TRACTOR
from tests.tools import need


def test_a_packed_run_is_read_as_it_was_and_xz_unpacks_it(tmp_path: Path) -> None:
    run = tmp_path / "run"
    shutil.copytree(TRACTOR / "1_before", run)
    harness = load_harness(TRACTOR)
    before, whole = load_readings(run, harness), (run / "readings.csv").read_bytes()
    assert pack(run / "readings.csv") == hashlib.sha256(whole).hexdigest()
    assert not (run / "readings.csv").exists()
    after = load_readings(run, harness)
    assert (after.value == before.value).all() and (after.row == before.row).all()
    done = subprocess.run(
        [need("xz", "xz-utils"), "-dc", run / "readings.csv.xz"], capture_output=True, check=True
    )
    assert done.stdout == whole


@pytest.mark.parametrize(
    "spoil", [lambda d: d[:-9], lambda d: d + b"x", lambda d: b"PK" + d, lambda d: d[:40] + b"!" + d[41:]]
)
def test_a_spoilt_one_is_one_clear_message(tmp_path: Path, spoil) -> None:  # type: ignore[no-untyped-def]
    run = tmp_path / "run"
    shutil.copytree(TRACTOR / "1_before", run)
    pack(run / "readings.csv")
    file = run / "readings.csv.xz"
    file.write_bytes(spoil(file.read_bytes()))
    with pytest.raises(InputError, match="cannot be read"):
        load_readings(run, load_harness(TRACTOR))


def test_no_more_is_unpacked_than_was_asked_for() -> None:
    bomb = lzma.compress(b"0" * 50_000_000)
    assert len(bomb) < 10_000
    assert len(unpacked(bomb, 1_000)) == 1_001
    greedy = lzma.compress(b"0", filters=[{"id": lzma.FILTER_LZMA2, "dict_size": 1 << 30}])
    with pytest.raises(OSError, match=r"[mM]emory"):
        unpacked(greedy, 1_000)
