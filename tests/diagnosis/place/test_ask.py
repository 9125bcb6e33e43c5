"""Which readings would tell a place: of the right ends, in the right order, and never of a meter that has
none of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loomtest import judge
from loomtest.diagnosis.place import shorts
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.why import PlaceReading
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import CapacitanceRange, Instrument, Range, VoltageRange
from tests.diagnosis.place.looms import harness_of, readings_of
from tests.scores.place_branched import LEGS, Branched

OHMS = (Range(200.0, 0.8, 3, 0.1),)
MILLIVOLTS = Instrument(
    "m", lead_ohms=0.1, ranges=OHMS, voltage_ranges=(VoltageRange(0.2, 0.5, 2, 1e-4),), open_above_ohms=2e7
)
PICOFARADS = Instrument(
    "m",
    lead_ohms=0.1,
    ranges=OHMS,
    capacitance_ranges=(CapacitanceRange(2e-9, 1, 5, 1e-12),),
    open_above_ohms=2e7,
)
NEITHER = Instrument("m", lead_ohms=0.1, ranges=OHMS, open_above_ohms=2e7)
FOUR_WIRE = Instrument("m", method="four-wire", lead_ohms=0.0, ranges=(Range(2e8, 0.02, 1, 1e-4),))
PAIR = ("W1,X1:1,X2:1,0.5,2", "W2,X1:2,X2:2,0.5,2", "W3,X1:3,X2:3,0.5,2")
WHOLE = ("X1:1,X2:1,0.08,,,,", "X1:2,X2:2,0.08,,,,", "X1:3,X2:3,0.08,,,,")
SHORT = (*WHOLE, "X1:1,X1:2,0.4,,,,")
OPEN = ("X1:1,X2:1,OL,,,,", *WHOLE[1:])


def found(folder: Path, wires: tuple[str, ...], rows: tuple[str, ...], meter: Instrument) -> Finding:
    harness = harness_of(folder, wires, 'unreachable = ["SP1"]\n' if "SP1" in "".join(wires) else "")
    verdict = judge(harness, readings_of(folder, harness, rows), meter)
    return next(each for each in verdict.findings if each.fault in ("short", "open"))


def drop(start: str, end: str, *feed: str) -> PlaceReading:
    return PlaceReading("voltage_drop", start, end, feed)


def test_a_short_is_read_from_both_ends_fed_end_first(tmp_path: Path) -> None:
    one, two = ("X1:1", "X1:2"), ("X2:1", "X2:2")
    asked = (drop("X1:1", "X2:1", *one), drop("X1:2", "X2:2", *one))
    asked += (drop("X2:1", "X1:1", *two), drop("X2:2", "X1:2", *two))
    finding = found(tmp_path, PAIR, SHORT, MILLIVOLTS)
    assert finding.asked == asked
    assert "To find the place" not in finding.next
    one_end = (*SHORT, "X2:1,X1:1,36,mV,voltage_drop,1.5,0.1", "X2:2,X1:2,-36,mV,voltage_drop,1.5,0.1")
    assert found(tmp_path, PAIR, one_end, MILLIVOLTS).asked == asked[:2]


@pytest.mark.parametrize("meter", [NEITHER, PICOFARADS, generic_handheld()])
def test_a_meter_without_millivolts_is_asked_for_none(tmp_path: Path, meter: Instrument) -> None:
    assert found(tmp_path, PAIR, SHORT, meter).asked == ()


@pytest.mark.parametrize("meter", [NEITHER, MILLIVOLTS, FOUR_WIRE, generic_handheld()])
def test_a_meter_without_capacitance_is_asked_for_none(tmp_path: Path, meter: Instrument) -> None:
    assert found(tmp_path, PAIR, OPEN, meter).asked == ()


def test_a_part_across_the_two_circuits_comes_first(tmp_path: Path) -> None:
    """What bridges them may be a lamp that is plugged in: no current before it is out."""
    wires = (*(f"{row}," for row in PAIR), "L1,X2:1,X2:2,,,lamp", "W5,X1:1,X3:1,0.5,1,")
    harness = harness_of(tmp_path, wires, columns=",kind")
    rows = (*WHOLE, "X1:1,X3:1,0.05,,,,", "X1:1,X1:2,0.05,,,,")
    verdict = judge(harness, readings_of(tmp_path, harness, rows), MILLIVOLTS)
    short = next(each for each in verdict.findings if each.fault == "short")
    assert short.suspects
    assert short.asked == ()


def test_four_leads_ask_across_from_the_end_that_nobody_read(tmp_path: Path) -> None:
    finding = found(tmp_path, PAIR, SHORT, FOUR_WIRE)
    assert finding.asked == (PlaceReading("resistance_4w", "X2:1", "X2:2"),)
    assert "read the ohms by four leads from X2:1 to X2:2" in finding.next
    assert "lamp" not in finding.next


def test_a_branched_circuit_is_asked_for_the_leg_first_and_then_from_beyond_it(tmp_path: Path) -> None:
    wires = ("L1,SP1,X1:1,0.5,1", "L2,SP1,X2:1,0.5,1", "L3,SP1,X3:1,0.5,1", "W9,X1:2,X2:2,0.5,2")
    rows = ("X1:1,X2:1,0.1,,,,", "X1:1,X3:1,0.1,,,,", "X1:2,X2:2,0.1,,,,", "X1:1,X1:2,0.5,,,,")
    first = found(tmp_path, wires, rows, MILLIVOLTS).asked
    fed = ("X1:1", "X1:2")
    assert set(first[:3]) == {
        drop("X1:1", "X2:1", *fed),
        drop("X1:1", "X3:1", *fed),
        drop("X1:2", "X2:2", *fed),
    }
    # 36 mohm a metre: the leg to X3 holds it, at half its length; nothing flows in the leg to X2
    rows += ("X1:1,X2:1,40,mV,voltage_drop,1,0.1", "X1:1,X3:1,60,mV,voltage_drop,1,0.1")
    rows += ("X1:2,X2:2,56,mV,voltage_drop,1,0.1",)
    second = found(tmp_path, wires, rows, MILLIVOLTS).asked
    assert drop("X3:1", "X1:1", "X3:1", "X2:2") in second
    assert not any(each.start == "X2:1" for each in second)


def test_a_break_is_read_against_the_wires_beside_it_from_both_ends(tmp_path: Path) -> None:
    finding = found(tmp_path, (*PAIR, "W7,X8:1,X9:1,0.5,1"), (*OPEN, "X8:1,X9:1,0.1,,,,"), PICOFARADS)
    assert finding.asked == (
        PlaceReading("capacitance", "X1:1", "X1:2", bonded=("X1:3",)),
        PlaceReading("capacitance", "X2:1", "X2:2", bonded=("X2:3",)),
        PlaceReading("capacitance", "X1:2", "X1:3"),
    )


def test_what_tells_the_place_already_is_not_asked_again(tmp_path: Path) -> None:
    drops = [
        f"X{a}:{w},X{b}:{w},{mv},mV,voltage_drop,1.5,0.1"
        for a, b, mv in ((1, 2, 36), (2, 1, 78))
        for w in (1, 2)
    ]
    finding = found(tmp_path, PAIR, (*SHORT, *drops), MILLIVOLTS)
    assert finding.place is not None
    assert finding.asked == ()


def test_no_current_is_asked_into_a_restraint_circuit(tmp_path: Path) -> None:
    wires = ("W1,X1:1,X2:1,0.5,2,", "W2,X1:2,X2:2,0.5,2,airbag")
    harness = harness_of(tmp_path, wires, columns=",circuit")
    assert "X1:2" in harness.untouchable
    verdict = judge(harness, readings_of(tmp_path, harness, SHORT[:2] + SHORT[3:]), MILLIVOLTS)
    assert all(each.asked == () for each in verdict.findings)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_asked_in_its_order_tells_the_leg_and_the_place_on_it(tmp_path: Path, seed: int) -> None:
    """Every drop that the finding asks for, of a tree in closed form, until nothing more is asked."""
    rng = np.random.default_rng(seed)
    loom = Branched(rng, tmp_path, np.full(8, 2e-3))
    place = loom.finding().place
    assert place is not None
    assert place.wire == LEGS[loom.leg]
    assert place.metres == pytest.approx(loom.place_m, abs=0.12)
    assert place.beside is not None
    assert (place.beside.wire, place.beside.start) == ("W9", "X1:2")
    rows = (tmp_path / "readings.csv").read_text().count("voltage_drop")
    assert rows <= 6


def test_of_large_circuits_the_two_legs_are_told_as_if_every_pair_were_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six legs of one circuit and three of another: 18 pairs of wires, of which few are looked at."""
    lengths = {**{f"A{k}": 1 + 0.1 * k for k in range(6)}, **{f"B{k}": 1 + 0.13 * k for k in range(3)}}
    at = {"A3": 0.4, "B1": 0.5}  # metres from the splice
    wires = [f"L{hub},SP{hub[0]},{hub}:1,0.75,{m:.2f}" for hub, m in lengths.items()]
    harness = harness_of(tmp_path, wires, 'unreachable = ["SPA", "SPB"]\n')
    joined = [f"{hub[0]}0:1,{hub}:1,0.2,,,," for hub in lengths if hub[1] != "0"]
    rows, per_m = [*joined, "A0:1,B0:1,0.3,,,,"], 1.05 * 0.017241 / 0.75

    def ohm(fed: str, far: str) -> float:
        if fed in at:
            return per_m * (lengths[fed] - at[fed]) + 0.002
        return per_m * lengths[fed] + 0.004 + (per_m * at[far] + 0.002 if far in at else 0.0)

    while True:
        verdict = judge(harness, readings_of(tmp_path, harness, rows), MILLIVOLTS)
        short = next(each for each in verdict.findings if each.fault == "short")
        if not short.asked:
            break
        for asked in short.asked:
            volt = 1.5 * ohm(asked.start[:2], asked.end[:2])
            rows.append(f"{asked.start},{asked.end},{volt:.6f},V,voltage_drop,1.5,0.0001")
        assert len(rows) < 30
    assert short.place is not None
    assert short.place.beside is not None
    assert {short.place.wire, short.place.beside.wire} == {"LA3", "LB1"}
    for place in (short.place, short.place.beside):
        assert place.metres == pytest.approx(at[place.wire[1:]], abs=0.08)
    monkeypatch.setattr(shorts, "_MOST_WAYS", 1000)
    whole = judge(harness, readings_of(tmp_path, harness, rows), MILLIVOLTS)
    again = next(each for each in whole.findings if each.fault == "short")
    assert again.place is not None
    assert again.place.metres == pytest.approx(short.place.metres, abs=0.001)
    assert again.place.interval_metres == pytest.approx(short.place.interval_metres, abs=0.002)
