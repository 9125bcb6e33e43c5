"""Breaks as a place: the closed form of two capacitors, steps, and what stands in the way."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.why import ReadPieces
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.model import CapacitanceRange, Instrument, Range
from tests.diagnosis.place.looms import harness_of

WIRES = ("W1,X1:1,X2:1,0.5,2.0", "W2,X1:2,X2:2,0.5,2.0", "W3,X1:3,X2:3,0.5,2.0")
BROKEN = ("X1:1,X2:1,OL,,,", "X1:2,X2:2,0.1,,,", "X1:3,X2:3,0.1,,,")
WHOLE = "X1:2,X1:3,140,pF,capacitance,"


def meter(step_pf: float = 1.0, lead_pf: float = 0.0, counts: int = 5) -> Instrument:
    ranges = (CapacitanceRange(2e-9, 1.0, counts, step_pf * 1e-12),)
    return Instrument(
        "meter",
        lead_ohms=0.1,
        ranges=(Range(200.0, 0.8, 3, 0.1),),
        capacitance_ranges=ranges,
        lead_farads=lead_pf * 1e-12,
    )


def open_of(harness: Harness, folder: Path, rows: list[str], with_meter: Instrument) -> Finding:
    text = "\n".join(["from,to,value,unit,quantity,bonded", *BROKEN, *rows]) + "\n"
    (folder / "readings.csv").write_text(text)
    verdict = judge(harness, load_readings(folder / "readings.csv", harness), with_meter)
    (finding,) = verdict.findings
    assert (finding.fault, verdict.doubted) == ("open", ())
    return finding


def pieces(near_pf: float, far_pf: float, rest: str = "X2:2,{},pF,capacitance,X2:3") -> list[str]:
    return [f"X1:1,X1:2,{near_pf},pF,capacitance,X1:3", f"X2:1,{rest.format(far_pf)}"]


@pytest.mark.parametrize(("near", "far", "lead"), [(35, 105, 0), (70, 70, 0), (130, 10, 0), (45, 115, 10)])
def test_two_capacitors_share_the_wire(tmp_path: Path, near: float, far: float, lead: float) -> None:
    """x/L = C1/(C1 + C2), the leads' own taken off: two capacitors of one capacitance a metre."""
    harness = harness_of(tmp_path, WIRES)
    place = open_of(harness, tmp_path, [*pieces(near, far), WHOLE], meter(lead_pf=lead)).place
    assert place is not None
    x = 2.0 * (near - lead) / (near + far - 2 * lead)
    assert (place.wire, place.start) == ("W1", "X1:1")
    assert place.metres == pytest.approx(x, rel=1e-6)
    assert place.interval_metres is not None
    assert place.interval_metres[0] < x < place.interval_metres[1]
    assert place.interval_metres[1] - place.interval_metres[0] > 0.08  # a metre's capacitance differs


def test_steps_of_ten_picofarads_tell_only_the_third(tmp_path: Path) -> None:
    harness = harness_of(tmp_path, WIRES)
    for near, far, zone in ((20, 120, "start"), (70, 70, "middle"), (120, 20, "end")):
        place = open_of(harness, tmp_path, [*pieces(near, far), WHOLE], meter(10.0, counts=1)).place
        assert place is not None
        assert (place.zone, place.metres, place.interval_metres) == (zone, None, None)


@pytest.mark.parametrize(
    ("rows", "why", "ends"),
    [
        (pieces(35, 105)[:1], "one end", ("X2:1",)),
        (pieces(35, 105, "X2:2,{},pF,capacitance,"), "rests", ("X1:1", "X2:1")),
        ([*pieces(135, 138), WHOLE], "damp", ("X1:1", "X2:1")),
        ([*pieces(20, 30), WHOLE], "less", ("X1:1", "X2:1")),
    ],
)
def test_what_tells_no_place_says_why(tmp_path: Path, rows: list[str], why: str, ends: tuple[str]) -> None:
    finding = open_of(harness_of(tmp_path, WIRES), tmp_path, rows, meter())
    assert finding.place is None
    assert isinstance(finding.todo, ReadPieces)
    assert (finding.todo.wire, finding.todo.ends, finding.todo.why) == ("W1", ends, why)
    assert finding.todo.rests == ((("X1:2", "X1:3"), ("X1:2",)) if why == "rests" else ())


def test_other_wires_on_a_piece_count_with_their_length(tmp_path: Path) -> None:
    """A break in a leg of a splice: 1 m and 0.5 m hang on the far piece."""
    wires = ["W1,X1:1,SP1,0.5,2.0", "W4,SP1,X2:1,0.5,1.0", "W5,SP1,X4:1,0.5,0.5", *WIRES[1:]]
    harness = harness_of(tmp_path, wires, 'unreachable = ["SP1"]\n')
    rows = ["X2:1,X4:1,0.1,,,", "X1:1,X4:1,OL,,,"]
    rows += ["X1:1,X1:2,42,pF,capacitance,X1:3", "X4:1,X2:2,203,pF,capacitance,X2:3"]
    place = open_of(harness, tmp_path, rows, meter()).place
    assert place is not None
    assert place.wire == "W1"
    assert place.metres == pytest.approx(42 / 70, rel=1e-6)  # 70 pF a metre throughout


def test_an_open_without_capacitances_stays_as_it_was(tmp_path: Path) -> None:
    finding = open_of(harness_of(tmp_path, WIRES), tmp_path, [], meter())
    assert finding.place is None
    assert not isinstance(finding.todo, ReadPieces)
