"""Runs that are judged or shown as one loom are of one loom, in their order."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.readings.together import check_goes_on, load_together, odd_pair
from tests.documents import play as run
from tests.evidence.example import TRACTOR

LOOM = load_harness(TRACTOR)


def of_unit(folder: Path, sample: str, unit: str) -> Path:
    shutil.copytree(TRACTOR / sample, folder / sample)
    with (folder / sample / "run.toml").open("a", encoding="utf-8") as stream:
        stream.write(f'\n[job]\nunit = "{unit}"\n')
    return folder / sample


def test_runs_of_two_units_make_no_verdict_and_no_page(tmp_path: Path) -> None:
    """Half of one loom and half of another are no right loom, and one is not what became of the other."""
    before, after = of_unit(tmp_path, "1_before", "41"), of_unit(tmp_path, "3_final", "42")
    with pytest.raises(InputError, match="unit 42 beside a run of unit 41"):
        load_together([before, after], LOOM)
    with pytest.raises(InputError, match="unit 42 beside a run of unit 41"):
        check_goes_on(before, after)
    command = f"loomtest report {TRACTOR} --before {before} --after {after} --out page"
    status, text = run(command, tmp_path)
    assert status == 2 and "job.unit" in text and not (tmp_path / "page").exists()


def test_one_run_is_not_before_and_after(tmp_path: Path) -> None:
    run_folder = of_unit(tmp_path, "1_before", "41")
    with pytest.raises(InputError, match="two different runs"):
        check_goes_on(run_folder, tmp_path / "." / "1_before")


def test_one_unit_or_none_named_goes_together(tmp_path: Path) -> None:
    before, after = of_unit(tmp_path, "1_before", "41"), of_unit(tmp_path, "3_final", "41")
    assert len(load_together([before, after], LOOM).sittings) == 2
    assert len(load_together([before, TRACTOR / "3_final"], LOOM).sittings) == 2
    check_goes_on(before, after)


def test_an_earlier_run_behind_a_later_one_is_told(tmp_path: Path) -> None:
    first, last = (load_readings(TRACTOR / name, LOOM) for name in ("1_before", "3_final"))
    assert odd_pair(first, last, "last") == []
    (told,) = odd_pair(last, first, "first")
    assert told.severity == "warning" and "2026-03-07 after one of 2026-03-14" in told.found
    shutil.copytree(TRACTOR / "1_before", tmp_path / "odd")
    text = (tmp_path / "odd" / "run.toml").read_text("utf-8")
    (tmp_path / "odd" / "run.toml").write_text(text.replace('started = "2026-03-07', 'started = "March 07'))
    assert odd_pair(last, load_readings(tmp_path / "odd", LOOM), "odd") == []


def test_a_comparison_of_two_units_is_told(tmp_path: Path) -> None:
    before, after = of_unit(tmp_path, "1_before", "41"), of_unit(tmp_path, "3_final", "42")
    status, text = run(f"loomtest compare {TRACTOR} {before} {after}", tmp_path)
    assert status == 0 and "unit 42 after unit 41" in text
