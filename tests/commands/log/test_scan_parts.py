"""A scan in parts as a person runs it, rehearsed; and on the firmware of a simulated chip."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loomtest.bench.rehearsal.faults import read_faults, true_loom
from loomtest.bench.rehearsal.network import Parts
from loomtest.bench.rehearsal.scanner import network_of
from loomtest.bench.scanner.leadsets import proposed_lead_sets, scan_in_parts
from loomtest.harness.load import load_harness
from tests.commands.in_process import loomtest
from tests.firmware.simulated import board

FAULTS = "fault,wire,from,to,ohms\nshort,,X1:2,X4:3,\nopen,W7,,,\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An invented loom of 26 points: no board of 16 pins holds it."""
    rows = [f"X1:{n},X2:{n}" for n in range(1, 6)] + [f"X3:{n},X4:{n}" for n in range(1, 6)]
    rows += ["X1:6,X3:6", "X2:6,X4:6", "X2:7,GND1"]
    place = tmp_path / "loom"
    place.mkdir()
    (place / "wires.csv").write_text("from,to\n" + "\n".join(rows) + "\n")
    (place / "faults.csv").write_text(FAULTS)
    return place


def scan(folder: Path, out: Path, port: str, typed: str, ends: int = 0) -> str:
    done = loomtest("log", str(folder), "--out", str(out), "--scanner", port, "--quiet", typed=typed)
    assert done.returncode == ends, done.stderr + done.stdout
    return " ".join((done.stdout + done.stderr).split())


def verdict(folder: Path, out: Path) -> dict[str, object]:
    done = loomtest("judge", str(folder), str(out), "--json")
    told: dict[str, object] = json.loads(done.stdout)
    return told


def found(told: dict[str, object]) -> set[tuple[str, frozenset[str]]]:
    findings = told["findings"]
    assert isinstance(findings, list)
    return {(one["fault"], frozenset(one["points"])) for one in findings}


SHORT, OPEN = ("short", frozenset({"X1:2", "X4:3"})), ("open", frozenset({"X3:2", "X4:2"}))


def test_all_parts_are_one_run_and_one_verdict(folder: Path, tmp_path: Path) -> None:
    said = scan(folder, tmp_path / "run", f"rehearse:{folder}#16", "\n" * 40)
    assert "26 points and 16 pins" in said and "Part 1 of" in said and "lead sets to plug in" in said
    told = verdict(folder, tmp_path / "run")
    assert {SHORT, OPEN} <= found(told) and len(found(told)) == 2
    coverage = told["coverage"]
    assert isinstance(coverage, dict)
    assert coverage["wires_tested"] == 13
    whole = scan_in_parts(proposed_lead_sets(load_harness(folder), 16), 16)
    tables = sorted((tmp_path / "run").glob("sockets-*.csv"))
    assert len(tables) == len(whole.parts)


def test_a_scan_that_stopped_between_parts_goes_on_there(folder: Path, tmp_path: Path) -> None:
    port = f"rehearse:{folder}#16"
    assert "The same command goes on" in scan(folder, tmp_path / "run", port, "\ns\n")
    first = (tmp_path / "run" / "readings.csv").read_text("utf-8")
    assert SHORT not in found(verdict(folder, tmp_path / "run"))
    said = scan(folder, tmp_path / "run", port, "\n" * 40)
    assert "Part 1 of" not in said and "Part 2 of" in said
    assert (tmp_path / "run" / "readings.csv").read_text("utf-8").startswith(first)
    assert {SHORT, OPEN} == found(verdict(folder, tmp_path / "run"))


def test_lead_sets_too_large_to_meet_are_said_and_stay_untested(folder: Path, tmp_path: Path) -> None:
    harness = load_harness(folder)
    rows = [("A" if p[:2] in ("X1", "X4") else "B", p) for p in harness.points]
    (folder / "lead_sets.csv").write_text("lead_set,point\n" + "\n".join(",".join(r) for r in rows) + "\n")
    said = scan(folder, tmp_path / "run", f"rehearse:{folder}#16", "\n" * 9)
    assert "never measured against each other: A with B" in said
    told = verdict(folder, tmp_path / "run")
    coverage = told["coverage"]
    assert isinstance(coverage, dict)
    assert coverage["wires_tested"] < 13 and told["wiring"] != "pass"


def test_parallel_is_refused_in_parts(folder: Path, tmp_path: Path) -> None:
    done = loomtest(
        "log", str(folder), "--out", str(tmp_path / "run"), "--scanner", f"rehearse:{folder}#16", "--parallel"
    )
    assert done.returncode == 2 and "in parts" in done.stderr
    assert "one of 16, 64, 128" in scan(folder, tmp_path / "run", f"rehearse:{folder}#17", "", ends=2)


def test_the_firmware_is_scanned_in_parts(folder: Path, tmp_path: Path) -> None:
    """Each part on the simulated chip with what is plugged in; between two the power is off."""
    rows = [f"X1:{n},X2:{n}" for n in range(1, 8)] + ["X1:8,GND1", "X2:8,GND2"]
    (folder / "wires.csv").write_text("from,to\n" + "\n".join(rows) + "\n")
    (folder / "faults.csv").write_text("fault,wire,from,to,ohms\nshort,,X1:2,GND2,\nopen,W7,,,\n")
    harness = load_harness(folder)
    loom = true_loom(harness, read_faults(folder, harness))
    for part in scan_in_parts(proposed_lead_sets(harness, 16), 16).parts:
        with board(network_of(loom, part.sockets, 16, Parts())) as port:
            scan(folder, tmp_path / "run", port, "\n")
    told = verdict(folder, tmp_path / "run")
    assert {kind for kind, _ in found(told)} == {"short", "open"} and len(found(told)) == 2
    assert ("open", frozenset({"X1:7", "X2:7"})) in found(told)
