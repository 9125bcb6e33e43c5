"""A place in words: in the unit of the wire list, never finer than its interval."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomtest import judge, load_readings
from loomtest.diagnosis.verdict import WirePlace
from loomtest.words.lying import mark_text
from loomtest.words.where import plain_sentence, where_sentence
from tests.diagnosis.place.looms import harness_of, readings_of

SHORTED = ("X1:1,X2:1,0.08,,,,", "X1:2,X2:2,0.08,,,,", "X1:1,X1:2,0.4,,,,")
ONE_END = ("X1:1,X2:1,36,mV,voltage_drop,1.5,0.1", "X1:2,X2:2,36,mV,voltage_drop,1.5,0.1")
BOTH = (*ONE_END, "X2:1,X1:1,78,mV,voltage_drop,1.5,0.1", "X2:2,X1:2,78,mV,voltage_drop,1.5,0.1")


@pytest.mark.parametrize(
    ("length", "said"),
    [
        ("2 m", "The short is 0.61 m from X1 cavity 1 along 0.5 mm² wire W1, ± 6 cm."),
        ("78.74 in", "The short is 24 in from X1 cavity 1 along 0.5 mm² wire W1, ± 3 in."),
        ("", "The short is 30 % of the way from X1 cavity 1 along 0.5 mm² wire W1, ± 2 %."),
    ],
)
def test_the_place_is_in_the_unit_of_the_wire_list(tmp_path: Path, length: str, said: str) -> None:
    harness = harness_of(tmp_path, [f"W1,X1:1,X2:1,0.5,{length}", f"W2,X1:2,X2:2,0.5,{length}"])
    (finding,) = judge(harness, readings_of(tmp_path, harness, [*SHORTED, *BOTH])).findings
    assert said in finding.text
    assert finding.next.startswith("Open the wrap there")
    assert "Look first near" not in finding.text


def test_from_one_end_the_next_step_names_the_readings_of_the_other(tmp_path: Path) -> None:
    harness = harness_of(tmp_path, ["W1,X1:1,X2:1,0.5,2", "W2,X1:2,X2:2,0.5,2"])
    (finding,) = judge(harness, readings_of(tmp_path, harness, [*SHORTED, *ONE_END])).findings
    assert "feed a current into X2 cavity 1 and X2 cavity 2" in finding.next
    assert "read the volts from X2:1 to X1:1 and X2:2 to X1:2" in finding.next
    for caution in ("fuse and a lamp", "off the vehicle", "control unit", "ten seconds", "thinnest wire"):
        assert caution in finding.next


def test_the_place_stands_in_json(tmp_path: Path) -> None:
    harness = harness_of(tmp_path, ["W1,X1:1,X2:1,0.5,2", "W2,X1:2,X2:2,0.5,2"])
    told = judge(harness, readings_of(tmp_path, harness, [*SHORTED, *BOTH])).to_json()["findings"][0]["place"]
    assert (told["wire"], told["from"]) == ("W1", "X1:1")
    low, high = told["interval_metres"]
    assert 0.5 < low < told["metres"] < high < 0.7
    assert (told["beside"]["wire"], told["beside"]["from"]) == ("W2", "X1:2")


@pytest.mark.parametrize(
    ("far", "rest", "said"),
    [
        ("105", "X2:2,{},pF,capacitance,X2:3", "The break is 0.50 m from X1 cavity 1 along 0.5 mm² wire W1"),
        ("105", "X2:2,{},pF,capacitance,", "Tie the same ones together"),
        ("350", "X2:2,{},pF,capacitance,X2:3", "a last strand still holds"),
    ],
)
def test_a_break_is_told_or_what_stands_in_the_way(tmp_path: Path, far: str, rest: str, said: str) -> None:
    harness = harness_of(tmp_path, [f"W{k},X1:{k},X2:{k},0.5,2" for k in (1, 2, 3)])
    rows = ["X1:1,X2:1,OL,,,,", "X1:2,X2:2,0.1,,,,", "X1:3,X2:3,0.1,,,,"]
    rows += ["X1:1,X1:2,35,pF,capacitance,X1:3,1", f"X2:1,{rest.format(far)},1"]
    text = "\n".join(["from,to,value,unit,quantity,bonded,uncertainty", *rows]) + "\n"
    (tmp_path / "readings.csv").write_text(text)
    (finding,) = judge(harness, load_readings(tmp_path / "readings.csv", harness)).findings
    assert said in f"{finding.text} {finding.next}"


def test_where_a_placed_fault_is_stands_at_its_head(tmp_path: Path) -> None:
    harness = harness_of(tmp_path, ["W1,X1:1,X2:1,0.5,2", "W2,X1:2,X2:2,0.5,2"])
    (finding,) = judge(harness, readings_of(tmp_path, harness, [*SHORTED, *BOTH])).findings
    by_name = {wire.name: wire for wire in harness.wires}
    assert where_sentence(finding, harness, by_name) == (
        "0.61 m from X1 cavity 1 along 0.5 mm² wire W1, ± 6 cm"
    )
    assert finding.place is not None
    thirds = {"start": "next to X1 cavity 1", "middle": "in the middle third", "end": "next to X2 cavity 1"}
    for zone, said in thirds.items():
        coarse = replace(finding, place=replace(finding.place, zone=zone))  # type: ignore[arg-type]
        assert said in where_sentence(coarse, harness, by_name)


@pytest.mark.parametrize(("inches", "said"), [(False, "2: 61 cm from X1"), (True, "2: 24 in from X1")])
def test_the_mark_on_the_picture_is_in_the_unit_of_the_wire_list(inches: bool, said: str) -> None:
    place = WirePlace("W1", "X1:1", 0.61, (0.55, 0.67), 0.3, (0.27, 0.33))
    assert mark_text(2, place, inches) == said
    assert mark_text(2, replace(place, metres=None), inches) == "2"


@pytest.mark.parametrize(("near", "far", "doubts"), [(36, 78, 0), (3, 111, 1)])
def test_a_part_left_plugged_in_is_no_doubt_off_the_ends_of_a_wire(
    tmp_path: Path, near: int, far: int, doubts: int
) -> None:
    """1.5 ohm may be a part; at the wire's end it may still be one that is plugged in there."""
    harness = harness_of(tmp_path, ["W1,X1:1,X2:1,0.5,2", "W2,X1:2,X2:2,0.5,2"])
    rows = [
        f"X{a}:{wire},X{b}:{wire},{mv},mV,voltage_drop,1.5,0.1"
        for a, b, mv in ((1, 2, near), (2, 1, far))
        for wire in (1, 2)
    ]
    read = [*SHORTED[:2], "X1:1,X1:2,1.5,,,,"]
    assert len(judge(harness, readings_of(tmp_path, harness, read)).undecided) == 1
    verdict = judge(harness, readings_of(tmp_path, harness, [*read, *rows]))
    assert verdict.findings[0].place is not None
    assert len(verdict.undecided) == doubts


def test_branches_in_inches_give_places_in_inches_and_the_nearer_ends(tmp_path: Path) -> None:
    (tmp_path / "branches.csv").write_text("from,to,length\nX1,J1,50 in\nJ1,X2,29 in\n")
    harness = harness_of(tmp_path, ["W1,X1:1,X2:1,0.5,", "W2,X1:2,X2:2,0.5,"])
    far = [row.replace("36,mV", "0,mV").replace("78,mV", "36,mV").replace("0,mV", "78,mV") for row in BOTH]
    for rows, ends, said in (
        (BOTH, ("X1:1", "X1:2"), "24 in from X1"),
        (far, ("X2:1", "X2:2"), "55 in from X1"),
    ):
        (finding,) = judge(harness, readings_of(tmp_path, harness, [*SHORTED, *rows])).findings
        assert finding.points == ends
        assert said in plain_sentence(finding, harness, {wire.name: wire for wire in harness.wires})
