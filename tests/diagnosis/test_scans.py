"""A full scan with faults, through the files and the bulk reader: each fault told once, and nothing else."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from loomtest.harness.load import load_harness
from loomtest.readings import load
from loomtest.readings.generic import generic_handheld
from loomtest.words.verdict import judge
from tests.speed.scans import FAULTY, HEALTHY, Faults, placed, write_scan

PINS = 128
SHOWN = {
    "analog": ("crossed", "open", "high-resistance", "short", "leakage"),
    "beeps": ("crossed", "open", "short"),  # a beep tells neither 5 Ω nor 20 kΩ
    "megohms": ("crossed", "open", "high-resistance", "short", "leakage"),
}


@pytest.mark.parametrize("kind", SHOWN)
@pytest.mark.parametrize("faults", [HEALTHY, FAULTY], ids=["healthy", "faulty"])
def test_a_scan_tells_what_was_made(
    kind: str, faults: Faults, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(load, "WORTH_IT_BYTES", 0)
    monkeypatch.setattr(load, "parse_table", None)  # the careful reader is not to be needed
    scan = write_scan(tmp_path, PINS, faults, kind)
    harness = load_harness(scan.harness)
    sockets = replace(generic_handheld(), touch_ohms=0.0)  # nobody holds a probe
    verdict = judge(harness, load.load_readings(scan.readings, harness), sockets)
    made = {what: wires for what, wires in placed(PINS, faults).items() if what in SHOWN[kind]}
    told = Counter(finding.fault for finding in verdict.findings)
    assert told == Counter({what: len(wires) for what, wires in made.items() if wires})
    for finding in verdict.findings:
        wires = {int(suspect.wire[1:]) - 1 for suspect in finding.suspects}
        points = {p for wire in harness.wires for p in (wire.start, wire.end) if p in finding.points}
        at = {n for n, wire in enumerate(harness.wires) if {wire.start, wire.end} & points}
        assert sorted(wires if finding.fault in ("open", "high-resistance") else at) in [
            sorted(of) for of in made[finding.fault]
        ]
    assert verdict.coverage.wires_tested == verdict.coverage.wires
