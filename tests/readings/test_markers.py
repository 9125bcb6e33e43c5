"""Kits, seats and touches against the common, as files."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path

import pytest

from loomtest.errors import InputError, RunFolderError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings.kitfile import SEATS_FILE, read_kit, read_seats
from loomtest.readings.load import load_readings
from loomtest.readings.marked import Clip
from loomtest.readings.run import About, Reading, create_run, resume_run
from loomtest.readings.runfile import OLDER_HEADER

KIT = "marker,ohms\nM1,10.02k\nM2,12010\n"
SEATS = "round,marker,point,ohms\n1,M1,X1:1,10020\n1,M2,X1:2,12010\n"
ROWS = "from,to,value,round\nX2:1,COMMON,10020,1\nX1:1,X1:2,OL,\nCOMMON,X2:2,12.05k,\nX2:1,COMMON,OL,1\n"


def clock() -> datetime:
    return datetime.fromisoformat("2026-05-01T12:00:00+02:00")


@pytest.fixture
def harness(tmp_path: Path) -> Harness:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\nX1:2,X2:2\n")
    return load_harness(tmp_path / "wires.csv")


def written(folder: Path, name: str, text: str) -> Path:
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


def problems(caught: pytest.ExceptionInfo[InputError]) -> str:
    return str(caught.value)


def test_touches_stand_apart_from_the_readings_of_pairs(tmp_path: Path, harness: Harness) -> None:
    rows, seats = written(tmp_path, "r.csv", ROWS), written(tmp_path, "markers.csv", SEATS)
    readings = load_readings(rows, harness, seats)
    assert len(readings) == 1
    assert readings.points == harness.points
    marked = readings.marked
    assert marked is not None
    assert [readings.points[p] for p in marked.point] == ["X2:1", "X2:2", "X2:1"]
    assert marked.ohm.tolist() == [10020, 12050, math.inf]
    assert marked.round.tolist() == [1, 1, 1]
    assert marked.row.tolist() == [2, 4, 5]
    assert [(s.clip.marker, readings.points[s.point]) for s in marked.seats] == [
        ("M1", "X1:1"),
        ("M2", "X1:2"),
    ]


def test_an_undeclared_cavity_keeps_its_code_beside_the_common(tmp_path: Path, harness: Harness) -> None:
    rows = written(tmp_path, "r.csv", ROWS + "X2:9,COMMON,OL,1\nX2:3,COMMON,OL,1\nX2:9,X2:3,OL,\n")
    readings = load_readings(rows, harness, written(tmp_path, "m.csv", SEATS))
    assert readings.points[4:] == ("X2:3", "X2:9")
    assert readings.marked is not None
    assert [readings.points[p] for p in readings.marked.point[-2:]] == ["X2:9", "X2:3"]
    assert [readings.points[p] for p in (readings.start[-1], readings.end[-1])] == ["X2:9", "X2:3"]
    assert sum("X2:9" in str(w) for w in readings.warnings) == 1
    assert not any("COMMON" in str(w) for w in readings.warnings)


def test_a_withdrawn_touch_is_gone(tmp_path: Path, harness: Harness) -> None:
    rows = written(
        tmp_path,
        "r.csv",
        "from,to,value,withdraws,round\nX2:1,COMMON,1,,1\nX2:1,COMMON,,1,\nX2:2,COMMON,2,,1\n",
    )
    readings = load_readings(rows, harness, written(tmp_path, "m.csv", SEATS))
    assert readings.marked is not None
    assert readings.marked.ohm.tolist() == [2]


def test_touches_without_seats_say_what_is_missing(tmp_path: Path, harness: Harness) -> None:
    with pytest.raises(InputError, match=r"COMMON.*markers\.csv"):
        load_readings(written(tmp_path, "r.csv", ROWS), harness)


def test_an_unknown_round_is_named_with_the_known_ones(tmp_path: Path, harness: Harness) -> None:
    rows = written(tmp_path, "r.csv", ROWS.replace("10020,1", "10020,7"))
    with pytest.raises(InputError, match=r"line 2, round: found round 7; expected a round of .*: 1"):
        load_readings(rows, harness, written(tmp_path, "m.csv", SEATS))


def test_a_loom_with_a_point_of_that_name_is_told_only_with_markers(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,COMMON\nX1:2,X2:2\n")
    harness = load_harness(tmp_path / "wires.csv")
    rows = written(tmp_path, "r.csv", "from,to,value\nX1:1,COMMON,0.3\n")
    assert len(load_readings(rows, harness)) == 1
    with pytest.raises(InputError, match="a point COMMON in the loom; expected another name"):
        load_readings(rows, harness, written(tmp_path, "m.csv", SEATS))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("round,marker,point,ohms\n1,M1,X1:1,10020\n1,M1,X1:2,10020\n", "one clip on one point"),
        ("round,marker,point,ohms\n1,M1,X1:1,10020\n1,M2,X1:1,12020\n", "one clip on one point"),
        ("round,marker,point,ohms\n1,M1,X1:1,10020\n1,M2,X2:1,12020\n", "one clip on each circuit"),
        ("round,marker,point,ohms\n1,M1,X9:1,10020\n", "a point of the harness"),
        ("round,marker,point,ohms\n0,M1,X1:1,10020\n", "the number of a round"),
        ("round,marker,point,ohms\n1,M1,COMMON,10020\n", "a point of the loom"),
        ("round,marker,point,ohms\n1,M1,X1:1,OL\n", "measured ohms"),
        ("round,marker,ohms\n1,M1,10020\n", "a column named point"),
    ],
)
def test_seats_that_cannot_be_are_refused(tmp_path: Path, harness: Harness, text: str, said: str) -> None:
    rows = written(tmp_path, "r.csv", "from,to,value\nX2:1,COMMON,1\n")
    with pytest.raises(InputError, match=said) as caught:
        load_readings(rows, harness, written(tmp_path, "m.csv", text))
    assert "m.csv" in problems(caught)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("marker,ohms\nM1,10020\nm1,12000\n", "each clip once"),
        ("marker,ohms\nM1,10020\n", "two or more"),
        ("marker,ohms\nM 1,10020\nM2,12000\n", "a short name"),
        ("marker,ohms\nM1,0\nM2,12000\n", "measured ohms above zero"),
        ("marker,ohm\nM1,1000\nM2,12000\n", 'a column named ohms \\("ohm" is there\\)'),
        ("marker,ohms,instrument\nM1,1000,a\nM2,12000,b\n", "one meter for the whole kit"),
    ],
)
def test_a_kit_that_cannot_be_is_refused(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_kit(written(tmp_path, "kit.csv", text))


def test_a_kit_is_read_as_a_spreadsheet_saves_it(tmp_path: Path) -> None:
    kit = read_kit(
        written(tmp_path, "kit.csv", "\ufeffmarker;ohms;uncertainty\r\nM1;10,02k;5\r\nM2;12010;\r\n")
    )
    assert kit.clips == (Clip(marker="M1", ohms=10020, uncertainty_ohm=5), Clip(marker="M2", ohms=12010))


def test_a_run_keeps_where_the_clips_sat_and_which_round_a_touch_was_of(
    tmp_path: Path, harness: Harness
) -> None:
    clips = read_kit(written(tmp_path, "kit.csv", KIT)).clips
    with create_run(tmp_path / "run", harness, About(), clock=clock) as writer:
        writer.seat(1, [(clips[0], "X1:1"), (clips[1], "X1:2")])
        writer.record(Reading("X2:1", "COMMON", "10030", round=1))
        writer.seat(2, [(clips[1], "X1:2")])
        writer.record(Reading("X2:1", "COMMON", "OL", round=2))
        writer.record(Reading("X1:1", "X2:1", "0.3"))
    readings = load_readings(tmp_path / "run", harness)
    assert readings.marked is not None
    assert readings.marked.round.tolist() == [1, 2]
    assert [seat.round for seat in readings.marked.seats] == [1, 1, 2]
    assert len(readings) == 1
    other = written(tmp_path, "m.csv", SEATS.replace("10020", "10300"))
    with pytest.raises(InputError, match="kit or placings of another run"):
        load_readings(tmp_path / "run", harness, other)
    assert {row.round for row in read_seats(tmp_path / "run" / SEATS_FILE)} == {1, 2}


def test_a_run_that_began_before_marker_clips_goes_on_without_them(tmp_path: Path, harness: Harness) -> None:
    run = tmp_path / "run"
    create_run(run, harness, About(), clock=clock).close("stopped")
    (run / "readings.csv").write_text(OLDER_HEADER)
    with resume_run(run, clock=clock) as writer:
        writer.record(Reading("X1:1", "X2:1", "0.3"))
        with pytest.raises(RunFolderError, match="before marker clips"):
            writer.seat(1, [(Clip(marker="M1", ohms=1e4), "X1:1")])
    assert load_readings(run, harness).value.tolist() == [0.3]
