"""No reading is passed over: what the loom as found does not give keeps the verdict from `pass`."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.words.verdict import judge

ONE = "X1:1,X2:1,1.5,2\n"
TWO = ONE + "X1:2,X2:2,1.5,2\n"
RING = "X1:1,X2:1,1.5,1\nX2:1,X3:1,1.5,1\nX3:1,X1:1,1.5,1\n"
APART = "X1:1,X1:2,OL,resistance,,\n"


def judged(folder: Path, wires: str, readings: str, settings: str = "") -> Verdict:
    (folder / "wires.csv").write_text("from,to,size,length\n" + wires)
    (folder / "harness.toml").write_text('name = "invented"\n' + settings)
    (folder / "readings.csv").write_text("from,to,value,quantity,bonded,current\n" + readings)
    harness = load_harness(folder)
    return judge(harness, load_readings(folder / "readings.csv", harness))


def rows(verdict: Verdict) -> list[int]:
    return [doubt.row for doubt in verdict.doubted]


@pytest.mark.parametrize(
    ("wires", "good"),
    [
        (ONE, "X1:1,X2:1,0.3,resistance,,\n"),
        (TWO, "X1:1,X2:1,0.3,resistance,,\nX1:2,X2:2,0.3,resistance,,\n" + APART),
        (TWO, "X1:1,X2:1,yes,continuity,,\nX1:2,X2:2,0.3,resistance,,\n" + APART),
    ],
)
def test_the_controls_pass(tmp_path: Path, wires: str, good: str) -> None:
    verdict = judged(tmp_path, wires, good)
    assert (verdict.wiring, verdict.doubted, verdict.doubted_count) == ("pass", (), 0)


@pytest.mark.parametrize(
    ("wires", "readings", "doubted"),
    [
        (ONE, "X1:1,X2:1,50000,resistance,,\nX1:1,X2:1,0.3,resistance,,\n", [2]),
        (ONE, "X1:1,X2:1,no,continuity,,\n" * 3 + "X1:1,X2:1,0.3,resistance,,\n", [2, 3, 4]),
        (ONE, "X1:1,X2:1,OL,insulation,,\nX1:1,X2:1,0.3,resistance,,\n", [2]),
        (
            TWO,
            "X1:1,X2:1,0.3,resistance,,\nX1:2,X2:2,0.3,resistance,,\n"
            + APART
            + "X1:1,X1:2,OL,resistance,X2:1,\n",
            [5],
        ),
        (
            TWO,
            "X1:1,X2:1,0.3,resistance,,\nX1:2,X2:2,0.3,resistance,,\n" + APART + "X1:1,X1:2,0.01,diode,,\n",
            [5],
        ),
        (ONE, "X1:1,X2:1,-0.9,resistance_4w,,\n", [2]),
    ],
    ids=["50000 then 0.3", "no no no then 0.3", "OL as insulation", "clipped OL", "diode", "negative"],
)
def test_what_the_rest_contradicts_never_passes(
    tmp_path: Path, wires: str, readings: str, doubted: list[int]
) -> None:
    verdict = judged(tmp_path, wires, readings)
    assert verdict.verdict != "pass"
    assert rows(verdict) == doubted or verdict.findings, verdict.doubted
    assert verdict.doubted_count == len(verdict.doubted)


def test_a_slip_in_a_ring_that_reads_sound_is_doubted(tmp_path: Path) -> None:
    good = [("X1:1", "X2:1"), ("X2:1", "X3:1"), ("X3:1", "X1:1")]
    text = "".join(f"{a},{b},0.0105,resistance_4w,,\n" for a, b in good * 2)
    settings = '[limits]\nisolation = "full"\n'
    assert judged(tmp_path, RING, text, settings).doubted == ()
    verdict = judged(tmp_path, RING, text + "X1:1,X2:1,7.5,resistance_4w,,\n", settings)
    assert verdict.verdict != "pass"
    assert rows(verdict) == [8] or verdict.findings


def test_every_pair_ninety_ohms_too_high_is_no_pass(tmp_path: Path) -> None:
    wires = RING + "GND1,X1:1,1.5,1\n"
    pairs = [("X1:1", "X2:1"), ("X2:1", "X3:1"), ("X3:1", "X1:1")]
    text = "".join(f"{a},{b},0.0105,resistance_4w,,\n" for a, b in pairs)
    text += "".join(f"GND1,{p},90.0{n},resistance_4w,,\n" for n, p in enumerate(("X1:1", "X2:1", "X3:1")))
    verdict = judged(tmp_path, wires, text)
    assert verdict.verdict != "pass"
    assert {row.wire: row.verdict for row in verdict.wires}["W4"] != "pass"


def test_zero_volts_at_a_milliampere_measure_no_wire(tmp_path: Path) -> None:
    verdict = judged(tmp_path, ONE, "X1:1,X2:1,0,voltage_drop,,0.001\n")
    assert (verdict.verdict, verdict.coverage.wires_tested) == ("not-proven", 0)


def test_a_doubt_stands_in_the_object_in_words(tmp_path: Path) -> None:
    text = "X1:1,X2:1,0.3,resistance,,\nX1:2,X2:2,0.3,resistance,,\n" + APART + "X1:1,X1:2,0.01,diode,,\n"
    told = judged(tmp_path, TWO, text).to_json()
    assert told["doubted_count"] == 1
    doubt = told["doubted"][0]
    assert (doubt["row"], doubt["from"], doubt["to"]) == (5, "X1:1", "X1:2")
    assert (doubt["value"], doubt["expected"]) == ("0.01 V", "OL")
    assert doubt["why"].endswith(".")
