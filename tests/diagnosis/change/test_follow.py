"""Readings from before a connector change, told in the points of the harness after it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.change.follow import follow_readings, follow_verdict
from loomtest.diagnosis.verdict import Coverage, Finding, Suspect, Verdict
from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.harness.swap.files import write_harness
from loomtest.harness.swap.map import read_map
from loomtest.harness.swap.swap import swap
from loomtest.readings.earlier import load_earlier

WIRES = "wire,from,to\nW1,X5:1,X1:1\nW2,X5:2,X1:2\nW3,X5:3,X1:3\n"
READINGS = (
    "from,to,value,bonded,note\n"
    "X5:1,X1:1,0.10,,first\n"
    "X5:3,X1:3,0.30,,third\n"
    "X1:2,X5:2,0.20,,second\n"
    "X5:1,X5:2,OL,X5:3 X1:3,clipped\n"
    "X1:1,X1:2,OL,,\n"
)


@pytest.fixture
def after(tmp_path: Path) -> Harness:
    old = tmp_path / "old"
    old.mkdir()
    (old / "wires.csv").write_text(WIRES, encoding="utf-8")
    chart = tmp_path / "map.csv"
    chart.write_text("old,new\nX5:1,Y:7\nX5:2,Y:5\nX5:3,unused\n", encoding="utf-8")
    before = load_harness(old)
    write_harness(before, swap(before, read_map(chart, before)), chart, tmp_path / "new", {})
    (tmp_path / "before.csv").write_text(READINGS, encoding="utf-8")
    return load_harness(tmp_path / "new")


def test_readings_are_followed_and_those_of_a_lost_point_left_out(tmp_path: Path, after: Harness) -> None:
    older, readings = load_earlier(tmp_path / "before.csv", after)
    assert "X5:1" in older.code_of
    found = follow_readings(readings, after)
    pairs = [(found.points[a], found.points[b]) for a, b in zip(found.start, found.end, strict=True)]
    assert pairs == [("Y:7", "X1:1"), ("X1:2", "Y:5"), ("Y:7", "Y:5"), ("X1:1", "X1:2")]
    assert found.value.tolist() == [0.10, 0.20, np.inf, np.inf]
    assert found.row.tolist() == [2, 4, 5, 6]
    assert len(found) == len(found.quantity) == len(found.uncertainty) == len(found.above_ohm) == 4
    assert {row: found.notes[row] for row in (0, 1)} == {0: "first", 1: "second"}
    ((row, clips),) = found.bonded.items()
    assert row == 2
    # the clip at X5:3 is no more, the one at X1:3 is an empty cavity now
    assert [found.points[code] for side in clips for code in side] == ["X1:3"]


def test_readings_after_the_change_are_taken_as_they_are(tmp_path: Path, after: Harness) -> None:
    path = tmp_path / "after.csv"
    path.write_text("from,to,value\nY:7,X1:1,0.1\n", encoding="utf-8")
    harness, readings = load_earlier(path, after)
    assert harness is after and len(readings) == 1


def test_a_point_of_neither_harness_is_told_of_the_new_one(tmp_path: Path, after: Harness) -> None:
    path = tmp_path / "wrong.csv"
    path.write_text("from,to,value\nQ:7,X1:1,0.1\n", encoding="utf-8")
    with pytest.raises(InputError, match="Q:7"):
        load_earlier(path, after)


def test_a_harness_without_a_change_reads_as_always(tmp_path: Path, after: Harness) -> None:
    before = load_harness(tmp_path / "old")
    harness, readings = load_earlier(tmp_path / "before.csv", before)
    assert harness is before and len(readings) == 5


def test_findings_are_told_at_the_new_points(after: Harness) -> None:
    finding = Finding(
        "crossed", ("X5:1", "X5:2"), (Suspect("W1", "X5:1"),), {"X5:1": "X5:2", "X5:2": "X5:1"}, text="X5"
    )
    verdict = Verdict(
        "old",
        "fail",
        "fail",
        "pass",
        None,
        None,
        "full",
        (finding,),
        (),
        (),
        (),
        Coverage(3, 3, 3, 3, 0, 0, 0),
        (),
    )
    (found,) = follow_verdict(verdict, after).findings
    assert found.points == ("Y:7", "Y:5")
    assert found.suspects == (Suspect("W1", "Y:7"),)
    assert found.moves == {"Y:7": "Y:5", "Y:5": "Y:7"}


def test_a_reading_between_cavities_that_became_one_is_left_out(tmp_path: Path, after: Harness) -> None:
    before = load_harness(tmp_path / "old")
    chart = tmp_path / "joined.csv"
    text = "old,new,mark\nX5:1,Y:7,splice\nX5:2,Y:7,splice\nX5:3,Y:5,\n"
    chart.write_text(text, encoding="utf-8")
    joined = swap(before, read_map(chart, before)).harness
    _, readings = load_earlier(tmp_path / "before.csv", before)
    found = follow_readings(readings, joined)
    assert found.row.tolist() == [2, 3, 4, 6]  # not X5:1 to X5:2, which are both Y:7 now
