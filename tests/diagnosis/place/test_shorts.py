"""Shorts as a place: closed forms of the loop tests, branched looms against ngspice, and what is not told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.verdict import Finding, WirePlace
from loomtest.diagnosis.why import PlaceReading, ReadBothEnds
from loomtest.harness.copper import copper_ohms
from loomtest.harness.model import Harness
from loomtest.readings.model import Instrument, Range
from tests.diagnosis.place.looms import Resistor, Spice, harness_of, readings_of

BARE = "[expect]\njoint_milliohms = 0.001\njoint_spread_milliohms = 0.001\n"
PAIR = ("W1,X1:1,X2:1,0.5,2.0", "W2,X1:2,X2:2,0.5,2.0")
SHORTED = ("X1:1,X2:1,0.08,,,,", "X1:2,X2:2,0.08,,,,", "X1:1,X1:2,0.4,,,,")
PRECISE = Instrument("four-wire", method="four-wire", lead_ohms=0.0, ranges=(Range(2.0, 0.01, 1, 1e-5),))


def short_of(harness: Harness, folder: Path, rows: list[str], meter: Instrument | None = None) -> Finding:
    verdict = judge(harness, readings_of(folder, harness, rows), meter)
    (finding,) = [finding for finding in verdict.findings if finding.fault == "short"]
    assert verdict.doubted == ()
    return finding


def drops(fed: str, far: str, ohm: float, amps: float = 2.0, sign: int = 1) -> str:
    return f"{fed},{far},{sign * ohm * amps * 1e3:.4f},mV,voltage_drop,{amps},0.01"


def told(finding: Finding) -> WirePlace:
    assert finding.place is not None
    return finding.place


@pytest.mark.parametrize("turned", [1, -1])
@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 0.9])
def test_the_ratio_of_two_drops_is_the_place(tmp_path: Path, share: float, turned: int) -> None:
    """x/L = V1/(V1 + V2) at one current: the closed form of the voltage-drop way, joints left out. The
    return wire's drops stand below zero where the meter's leads are not turned."""
    harness = harness_of(tmp_path, PAIR, BARE)
    whole = 1.05 * 0.017241 * 2.0 / 0.5
    rows = [
        *SHORTED,
        drops("X1:1", "X2:1", share * whole),
        drops("X2:1", "X1:1", (1 - share) * whole),
        drops("X1:2", "X2:2", share * whole, sign=turned),
        drops("X2:2", "X1:2", (1 - share) * whole, sign=turned),
    ]
    place = told(short_of(harness, tmp_path, rows))
    assert (place.wire, place.start) == ("W1", "X1:1")
    assert place.share == pytest.approx(share, abs=0.002)
    assert place.metres == pytest.approx(2.0 * share, abs=0.006)
    assert place.beside is not None
    assert (place.beside.wire, place.beside.start) == ("W2", "X1:2")
    assert place.beside.share == pytest.approx(share, abs=0.002)


def test_murray_s_loop(tmp_path: Path) -> None:
    """A handbook's example of the Murray loop (its figures from memory): a faulty and a good conductor of
    400 m each, joined at the far end, balance at ratio arms of 3 : 1: the fault is at 2·400/(3 + 1) = 200 m.
    Here a hundredth of it: 4 m each, and the arms' ratio is that of the drops around the same loop."""
    harness = harness_of(tmp_path, ("W1,X1:1,X2:1,0.5,4.0", "W2,X1:2,X2:2,0.5,4.0"), BARE)
    r = float(copper_ohms(np.array([0.5]), np.array([4.0]), 20.0, 1.05)[0])
    near = 2 * r * 1 / (3 + 1)  # the loop's share on the faulty side
    rows = [*SHORTED, drops("X1:1", "X2:1", near), drops("X2:1", "X1:1", r - near)]
    rows += [drops("X1:2", "X2:2", near), drops("X2:2", "X1:2", r - near)]
    assert told(short_of(harness, tmp_path, rows)).metres == pytest.approx(2.0, abs=0.01)


def test_varley_s_loop_by_four_leads(tmp_path: Path) -> None:
    """Varley: with equal arms the added resistance R at balance gives the fault at x = (loop − R)/2 (from
    memory). By four leads across both circuits from either end: 2x + S and 2(r − x) + S; their difference is
    2(2x − r), and S falls out."""
    harness = harness_of(tmp_path, PAIR, BARE)
    r, short = 1.05 * 0.017241 * 2.0 / 0.5, 0.35
    x = (2 * r - 1.4 * r) / 2  # R = 1.4 r at balance
    rows = [
        f"X1:1,X2:1,{r},,resistance_4w,,",
        f"X1:2,X2:2,{r},,resistance_4w,,",
        f"X1:1,X1:2,{2 * x + short},,resistance_4w,,0.00005",
        f"X2:1,X2:2,{2 * (r - x) + short},,resistance_4w,,0.00005",
    ]
    place = told(short_of(harness, tmp_path, rows, PRECISE))
    assert place.share == pytest.approx(0.3, abs=0.005)
    assert place.short_ohm == pytest.approx(short, abs=0.002)


def test_from_one_end_no_place_is_claimed(tmp_path: Path) -> None:
    harness = harness_of(tmp_path, PAIR)
    finding = short_of(
        harness, tmp_path, [*SHORTED, drops("X1:1", "X2:1", 0.03), drops("X1:2", "X2:2", 0.03)]
    )
    assert finding.place is None
    fed = ("X2:1", "X2:2")
    ends = (("X2:1", "X1:1"), ("X2:2", "X1:2"))
    assert finding.todo == ReadBothEnds(tuple(PlaceReading("voltage_drop", *pair, fed) for pair in ends))


@pytest.mark.parametrize("ohm", [0.01, 0.05])
def test_two_shorts_between_the_same_circuits_are_not_taken_for_one(tmp_path: Path, ohm: float) -> None:
    harness = harness_of(tmp_path, PAIR)
    leg = 1.05 * 0.017241 / 0.5
    resistors: list[Resistor] = [("A", "B", ohm), ("C", "D", ohm)]
    for start, mid, far, end in (("X1:1", "A", "C", "X2:1"), ("X1:2", "B", "D", "X2:2")):
        resistors += [(start, mid, 0.3 * leg + 0.002), (mid, far, 1.4 * leg), (far, end, 0.3 * leg + 0.002)]
    finding = short_of(harness, tmp_path, [*SHORTED, *_read(Spice(tuple(resistors), tmp_path))])
    assert finding.place is None
    assert isinstance(finding.todo, ReadBothEnds)
    assert not finding.todo.fits


def _read(spice: Spice) -> list[str]:
    rows = []
    for near, far in (("X1", "X2"), ("X2", "X1")):
        pairs = [(f"{near}:{k}", f"{far}:{k}") for k in (1, 2)]
        volts = spice.volts((pairs[0][0], pairs[1][0]), 2.0, pairs)
        rows += [drops(*pair, volt / 2.0) for pair, volt in zip(pairs, volts, strict=True)]
    return rows


def test_a_short_to_a_single_terminal(tmp_path: Path) -> None:
    """To ground: a stud without a wire of its own has no length along it."""
    harness = harness_of(tmp_path, (*PAIR, "W3,GND1,X3:1,4,0.3"))
    whole = 1.05 * 0.017241 * 2.0 / 0.5
    rows = [*SHORTED[:2], "GND1,X3:1,0.01,,,,", "X1:1,GND1,0.5,,,,"]
    rows += [drops("X1:1", "X2:1", 0.3 * whole + 0.002), drops("X2:1", "X1:1", 0.7 * whole + 0.002)]
    place = told(short_of(harness, tmp_path, rows))
    assert (place.wire, place.beside) == ("W1", None)
    assert place.metres == pytest.approx(0.6, abs=0.03)


@pytest.mark.parametrize("seed", range(8))
def test_the_leg_of_a_branched_circuit_and_the_place_on_it(tmp_path: Path, seed: int) -> None:
    """A splice with three legs, shorted on a random one to a straight wire: every reading from ngspice."""
    rng = np.random.default_rng(seed)
    lengths = rng.uniform(0.6, 2.5, 3)
    wires = [f"L{k},SP1,X{k}:1,0.5,{length:.3f}" for k, length in enumerate(lengths)]
    harness = harness_of(tmp_path, [*wires, "W9,X1:2,X2:2,0.5,3.0"], 'unreachable = ["SP1"]\n')
    leg, share, other = int(rng.integers(3)), float(rng.uniform(0.1, 0.9)), float(rng.uniform(0.1, 0.9))
    per_m, joint = 1.05 * 0.017241 / 0.5, 0.002
    resistors: list[Resistor] = [("P", "Q", float(np.exp(rng.uniform(np.log(0.01), np.log(5)))))]
    for k, length in enumerate(lengths):
        whole = per_m * round(float(length), 3)
        if k == leg:
            resistors += [("SP1", "P", share * whole + joint), ("P", f"X{k}:1", (1 - share) * whole + joint)]
        else:
            resistors += [("SP1", f"X{k}:1", whole + 2 * joint)]
    resistors += [("X1:2", "Q", 3 * per_m * other + joint), ("Q", "X2:2", 3 * per_m * (1 - other) + joint)]
    spice = Spice(tuple(resistors), tmp_path)
    rows = ["X0:1,X1:1,0.1,,,,", "X0:1,X2:1,0.1,,,,", "X1:2,X2:2,0.1,,,,", "X1:1,X1:2,1.0,,,,"]
    for k in range(3):
        pairs = [(f"X{k}:1", f"X{far}:1") for far in range(3) if far != k]
        returns = ("X1:2", "X2:2") if k % 2 == 0 else ("X2:2", "X1:2")
        volts = spice.volts((f"X{k}:1", returns[0]), 2.0, [*pairs, returns])
        rows += [drops(*p, v / 2.0) for p, v in zip([*pairs, returns], volts, strict=True) if abs(v) > 1e-3]
    place = told(short_of(harness, tmp_path, rows))
    assert place.wire == f"L{leg}"
    assert place.metres is not None
    assert place.metres == pytest.approx(share * lengths[leg], abs=0.05)
    assert place.interval_metres is not None
    assert place.interval_metres[0] < share * lengths[leg] < place.interval_metres[1]


def test_without_lengths_a_share_of_the_wire_is_told(tmp_path: Path) -> None:
    harness = harness_of(tmp_path, ("W1,X1:1,X2:1,,", "W2,X1:2,X2:2,,"))
    rows = [*SHORTED]
    for wire in (1, 2):
        rows += [drops(f"X1:{wire}", f"X2:{wire}", 0.032), drops(f"X2:{wire}", f"X1:{wire}", 0.092)]
    place = told(short_of(harness, tmp_path, rows))
    assert place.metres is None
    assert place.interval_metres is None
    assert place.share == pytest.approx(0.25, abs=0.02)


def test_drops_along_a_whole_wire_are_no_place(tmp_path: Path) -> None:
    """An ordinary drop, a current through the whole wire: read both ways, it stays a reading of the wire."""
    harness = harness_of(tmp_path, PAIR)
    whole = 1.05 * 0.017241 * 2.0 / 0.5 + 0.004
    rows = [*SHORTED, drops("X1:1", "X2:1", whole), drops("X2:1", "X1:1", whole, sign=-1)]
    finding = short_of(harness, tmp_path, rows)
    assert finding.place is None
    assert not isinstance(finding.todo, ReadBothEnds)
