"""`loomtest demo`: the whole job, again and again, without ever writing over anything."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from loomtest.commands import demo
from tests.documents import play as run
from tests.faults.disks import small_disk
from tests.faults.injections import run as program


def test_the_demo_does_the_whole_job(tmp_path: Path) -> None:
    status, text = run("loomtest demo", tmp_path)
    assert status == 0
    place = tmp_path / "loomtest-demo"
    for name in ("1_before", "2_after", "3_final"):
        assert (place / "reports" / name / "report.html").is_file()
    assert (place / "before-and-after" / "circuits.png").is_file()
    assert (place / "orchard_tractor" / "wires.csv").is_file()
    told = [line.strip() for line in text.splitlines()]
    assert told.index("Not right yet: 4 faults found.") < told.index(
        "Not proven: no fault found, but 1 place is still doubtful."
    )
    assert "loomtest-demo/reports/1_before/report.html" in told
    assert "From the first run to the last: 4 faults gone, none left" in told
    assert max(map(len, text.splitlines())) <= 80
    written = sum(path.stat().st_size for path in tmp_path.rglob("*") if path.is_file())
    assert 0.5 * demo.NEEDED_MB < written / 1e6 < demo.NEEDED_MB  # what it asks for on a full disk


def test_a_second_demo_stands_beside_the_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert demo._new_folder(None) == Path("loomtest-demo")
    Path("loomtest-demo").mkdir()
    assert demo._new_folder(None) == Path("loomtest-demo-2")
    Path("loomtest-demo-2").write_text("", encoding="utf-8")
    assert demo._new_folder(None) == Path("loomtest-demo-3")
    Path("empty").mkdir()
    assert demo._new_folder("empty") == Path("empty")


def test_a_folder_with_something_in_it_is_refused(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "a.txt").write_text("keep", encoding="utf-8")
    status, text = run("loomtest demo --out mine", tmp_path)
    assert status == 2
    assert text.startswith("loomtest: mine")
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["a.txt"]


@pytest.mark.parametrize("kilobytes", [30, 300])
def test_on_a_full_disk_it_says_what_is_missing(tmp_path: Path, kilobytes: int) -> None:
    with small_disk(tmp_path / "disk", kilobytes) as before:
        done = program("demo", "--out", tmp_path / "disk" / "demo", before=before)
        said = " ".join(done.stderr.split())
        assert done.returncode == 2 and "Traceback" not in said and "[" not in said
        assert re.search(r"demo, --out: found (no space left on device|file too large); expected", said)
        assert "with 5 MB free" in said
