"""From a rehearsed scan to a run folder and its verdict: the road that a person takes."""

from __future__ import annotations

import math
import re
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from loomtest.bench.connect import identify, open_scanner
from loomtest.bench.rehearsal.analog import HIGH, Analog, State
from loomtest.bench.rehearsal.board import Board, RehearsalPort
from loomtest.bench.rehearsal.network import Network, Parts, pin_impedance
from loomtest.bench.scanner.answers import RangeCalibration, StandingVoltageError
from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.flex import Watch, flex_watch
from loomtest.bench.scanner.parallel import nets_of
from loomtest.bench.scanner.protocol import PinValue
from loomtest.bench.scanner.run import (
    instrument_of,
    merge,
    now,
    readings_of,
    ready,
    record_scan,
    rows_recorded,
)
from loomtest.bench.scanner.sockets import proposed
from loomtest.bench.scanner.values import BoardBudget
from loomtest.commands.app import app
from loomtest.errors import RunFolderError
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from loomtest.readings.run import About, create_run, resume_run
from loomtest.words.verdict import judge
from tests.looms.solve import resistances

WIRES = """wire,from,to,size,length
W1,X1:1,X2:1,1,1.0
W2,X1:2,X2:2,1,1.2
W3,X1:3,SP1,1,0.5
W4,SP1,X2:3,1,0.6
W5,SP1,GND1,2.5,0.5
W6,X1:4,X2:4,0.5,1.0
"""
SETTINGS = """wires = "wires.csv"
unreachable = ["SP1"]
[limits]
bad_joint_milliohms = 20
[cavities]
X1 = 9
X2 = 9
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "loom"
    home.mkdir()
    (home / "wires.csv").write_text(WIRES, "utf-8")
    (home / "harness.toml").write_text(SETTINGS, "utf-8")
    return home


def run(*words: str | Path) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == 0, result.output + repr(result.exception)
    return re.sub(r"\s+", " ", result.output)


def test_faults_of_a_rehearsal_are_found(folder: Path, tmp_path: Path) -> None:
    (folder / "faults.csv").write_text(
        "fault,wire,from,to,ohms\nopen,W1,,,\nhigh-resistance,W4,,,0.06\nshort,,X1:2,X1:4,0.3\n", "utf-8"
    )
    out = run(
        "log", folder, "--out", tmp_path / "run", "--scanner", f"rehearse:{folder}", "--stage", "before"
    )
    assert "negative first" in out and "restraint-system" in out  # the cautions stand on the first screen
    harness = load_harness(folder)
    verdict = judge(harness, load_readings(tmp_path / "run", harness))
    found = {finding.fault: finding for finding in verdict.findings}
    assert set(found) == {"open", "high-resistance", "short"} and len(verdict.findings) == 3
    assert [s.wire for s in found["open"].suspects] == ["W1"]
    assert [s.wire for s in found["high-resistance"].suspects] == ["W4"]
    assert verdict.coverage.isolation_pairs_tested >= verdict.coverage.isolation_pairs - 3


def test_a_sound_loom_passes(folder: Path, tmp_path: Path) -> None:
    run("log", folder, "--out", tmp_path / "run", "--scanner", f"rehearse:{folder}")
    harness = load_harness(folder)
    verdict = judge(harness, load_readings(tmp_path / "run", harness))
    assert (verdict.verdict, verdict.wiring, verdict.joints) == ("pass", "pass", "pass"), verdict
    assert verdict.joints_judged_at_ohms == 0.02


def test_the_parallel_test_proves_the_wiring(folder: Path, tmp_path: Path) -> None:
    # nets: 4 wired ones, one of them with three reachable points, and 11 empty cavities: Kautz 1974,
    # p - 1 + ceil(log2 q) = 2 + 4.
    harness = load_harness(folder)
    assert len(harness.nets) == 4 + 10
    out = run("log", folder, "--out", tmp_path / "run", "--scanner", f"rehearse:{folder}", "--parallel")
    assert "6 tests, 2 for what is joined and 4 for shorts" in out
    assert "Every circuit is unbroken" in out
    verdict = judge(harness, load_readings(tmp_path / "run", harness))
    assert verdict.coverage.isolation_pairs_tested == verdict.coverage.isolation_pairs
    assert not verdict.findings


@pytest.mark.parametrize(
    "fault", ["open,W5,,,", "short,,X1:1,X2:9,0.5", "crossed,,X2:1,X2:2,", "misplaced,W6,X2:4,X2:5,"]
)
def test_the_parallel_test_fails_on_every_kind(folder: Path, tmp_path: Path, fault: str) -> None:
    (folder / "faults.csv").write_text(f"fault,wire,from,to,ohms\n{fault}\n", "utf-8")
    out = run("log", folder, "--out", tmp_path / "run", "--scanner", f"rehearse:{folder}", "--parallel")
    assert "wrong at" in out and "Every circuit is unbroken" not in out


def test_a_battery_is_refused_before_anything_is_driven(folder: Path, tmp_path: Path) -> None:
    (folder / "faults.csv").write_text("fault,from,to,volts\nvoltage,X1:1,GND1,12.6\n", "utf-8")
    words = ["log", folder, "--out", tmp_path / "run", "--scanner", f"rehearse:{folder}"]
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert isinstance(result.exception, StandingVoltageError)
    assert "stands at scanner pin 1 against pin" in str(result.exception)
    assert not (tmp_path / "run").exists()


class DrivesNothing(Analog):
    """Notes whether the force-plus plane ever goes high or the switches are fed."""

    driven = False

    def change(self, state: State, t_s: float) -> None:
        self.driven |= state.drive == HIGH or state.source != 0
        super().change(state, t_s)


def test_nothing_is_driven_on_a_live_loom() -> None:
    live = Network(16, 16, 16, sources=((3, 8, 3.0, 0.5),))
    for request in ("scan", "test", "pair 4 9", "row 4", "reach 0001", "apart 0001", "cal zero 4 9"):
        board = Board(live)
        board.meter.analog = analog = DrivesNothing(live)
        (answer,) = board.answers(request.split(" "))
        assert answer.startswith("error volts 4 9 "), (request, answer)
        assert not analog.driven, request


def test_a_scan_that_stopped_goes_on(folder: Path, tmp_path: Path) -> None:
    harness = load_harness(folder)
    with open_scanner(f"rehearse:{folder}") as scanner:
        sockets = proposed(harness, scanner.identity.pins)
        budget = ready(scanner, sockets)
        about = About(instrument=instrument_of(scanner, budget))
        writer = create_run(tmp_path / "run", harness, about, clock=now)
        steps = record_scan(scanner, sockets, budget, writer, done=frozenset())
        first = [next(steps).pin for _ in range(5)]
        writer.close("stopped")
    done = rows_recorded(tmp_path / "run", sockets)
    assert done == set(first)
    with open_scanner(f"rehearse:{folder}") as scanner, resume_run(tmp_path / "run", clock=now) as writer:
        rest = [step.pin for step in record_scan(scanner, sockets, budget, writer, done=done)]
    assert sorted(first + rest) == [socket.pin for socket in sockets.rows]
    readings = load_readings(tmp_path / "run", harness)
    pairs = {frozenset(pair) for pair in zip(readings.start.tolist(), readings.end.tolist(), strict=True)}
    assert len(pairs) == len(sockets.rows) * (len(sockets.rows) - 1) // 2


def test_repeats_are_averaged_only_where_they_agree() -> None:
    budget = BoardBudget(
        0.7, tuple(RangeCalibration(n, scale, 0, 500) for n, scale in enumerate((5e4, 25e3, 1e5, 1e4, 1e3)))
    )
    (one,) = merge([PinValue(0.100, 0), PinValue(0.101, 0)], budget)
    assert one.averaged == 2 and one.value.ohms == pytest.approx(0.1005)
    assert budget.uncertainty_ohm(one.value, 2) < budget.uncertainty_ohm(PinValue(0.1, 0))
    assert len(merge([PinValue(0.1, 0), PinValue(0.4, 0)], budget)) == 2  # a joint that moves is no noise
    assert len(merge([PinValue(0.1, 0), PinValue(math.inf)], budget)) == 2
    (over,) = merge([PinValue(math.inf), PinValue(math.inf)], budget)
    assert math.isinf(over.value.ohms)


def test_flex_watch_tells_what_moves(folder: Path, tmp_path: Path) -> None:
    budget = BoardBudget(0.7, (RangeCalibration(0, 5e4, 0, 500),))
    watch = Watch(budget)
    looks = [watch.look(1, 2, PinValue(0.1 + 0.0005 * (n % 3), 0), n) for n in range(20)]
    assert not any(look.moved for look in looks)
    assert watch.look(1, 2, PinValue(0.16, 0), 21).moved
    assert watch.look(1, 2, PinValue(math.inf), 22).moved
    assert not watch.look(1, 2, PinValue(0.1, 0), 23).moved


def test_an_intermittent_joint_is_found_over_the_whole_loom(folder: Path, tmp_path: Path) -> None:
    (folder / "faults.csv").write_text("fault,wire\nintermittent,W2\n", "utf-8")
    harness = load_harness(folder)
    with open_scanner(f"rehearse:{folder}") as scanner:
        sockets = proposed(harness, scanner.identity.pins)
        budget = ready(scanner, sockets)
        about, rounds = About(instrument=instrument_of(scanner, budget)), count()
        with create_run(tmp_path / "run", harness, about, clock=now) as writer:
            for _ in record_scan(scanner, sockets, budget, writer, done=frozenset()):
                pass
            watch = flex_watch(
                scanner, sockets, nets_of(harness, sockets), budget, seconds=12, clock=lambda: next(rounds)
            )
            moved = [look for look in watch if look.moved]
            for look in moved:
                for reading in readings_of(look.start, {look.end: [look.value]}, sockets, budget):
                    writer.record(reading)
    pins = {(look.start, look.end) for look in moved}
    assert [tuple(sockets.by_pin[pin].point for pin in pair) for pair in pins] == [("X1:2", "X2:2")]
    verdict = judge(harness, load_readings(tmp_path / "run", harness))
    assert [f.fault for f in (*verdict.findings, *verdict.undecided)] == ["intermittent"]


def test_the_board_is_told_from_other_things(folder: Path) -> None:
    found = identify(f"rehearse:{folder}")
    assert found is not None and found.startswith("pin-scanner, 64 pins") and "calibrated" in found
    assert identify("loop://", wait_s=0.2) is None


def test_sneak_paths_come_out_as_in_copper() -> None:
    """Reduced and inverted without subtraction, the network agrees with an independent dense solve."""
    rng = np.random.default_rng(3)
    edges = [
        (int(a), int(b), float(10 ** rng.uniform(-2, 3))) for a, b in rng.integers(0, 24, (60, 2)) if a != b
    ]
    network = Network(16, 16, 24, tuple(edges), parts=Parts(leak=1e9))
    z = pin_impedance(network)
    seen = np.diag(z)[:, None] + np.diag(z)[None, :] - 2 * z
    truth = resistances(24, edges)[:16, :16]
    assert np.allclose(seen, truth, rtol=1e-4, atol=1e-6)


def test_readings_of_a_network_are_near_the_truth() -> None:
    """A ring, a lamp and a leak: each pair reads what stands between the two pins through the whole loom."""
    edges = [
        (0, 1, 0.05),
        (1, 2, 0.05),
        (2, 3, 0.05),
        (3, 0, 0.4),
        (0, 4, 8.0),
        (4, 5, 0.03),
        (5, 6, 3e5),
        (7, 8, 680.0),
    ]
    truth = resistances(16, edges)
    board = Board(Network(16, 16, 16, tuple(edges), parts=Parts(inl=0.0)))
    board.meter.calibration.scale[1:] = [
        25625 * 256,
        102500 * 256,
        10025 * 256,
        1000 * 256,
    ]  # the chip's 25 Ω
    scanner = Scanner(RehearsalPort(board))
    for row in scanner.scan():
        for other, value in enumerate(row.values, 1):
            if other == row.pin or value.same:
                continue
            real = truth[row.pin - 1, other - 1]
            if math.isinf(real):
                assert math.isinf(value.ohms)
            else:
                assert value.ohms == pytest.approx(real, rel=0.02, abs=0.003), (row.pin, other)


def test_a_leak_of_less_than_the_stated_limit_is_never_called_over_range() -> None:
    """3.9 MΩ with 3 nF on each net: the screening of 200 µs still sees it."""
    for seed in range(5):
        parts = Parts(capacitance=3e-9, seed=float(seed))
        scanner = Scanner(RehearsalPort(Board(Network(16, 16, 16, ((0, 1, 3.9e6),), parts=parts))))
        for value in scanner.pair(1, 2):
            assert value.ohms == pytest.approx(3.9e6, rel=0.1)


def test_a_rehearsal_stays_one_and_holds_its_table(folder: Path, tmp_path: Path) -> None:
    run("log", folder, "--out", tmp_path / "run", "--scanner", f"rehearse:{folder}")
    table = (tmp_path / "run" / "sockets.csv").read_text("utf-8")
    harness = load_harness(folder)
    with open_scanner(f"rehearse:{folder}") as scanner:
        assert table == proposed(harness, scanner.identity.pins).text()
    verdict = judge(harness, load_readings(tmp_path / "run", harness))
    assert verdict.to_json()["rehearsal"] is True
    create_run(tmp_path / "real", harness, About("before"), clock=now).close("complete")
    with pytest.raises(RunFolderError, match="measured on a real loom"):
        resume_run(tmp_path / "real", clock=now, harness=harness, rehearsal=True)
    words = ["keep", str(tmp_path / "run"), "--archive", str(tmp_path / "kept")]
    assert "rehearsal" in str(CliRunner().invoke(app, words).exception)
    run(*words, "--rehearsal")
    assert "(rehearsal)" in run("history", "--archive", tmp_path / "kept")


def test_a_run_goes_on_only_with_the_table_it_was_begun_with(folder: Path, tmp_path: Path) -> None:
    words = ["log", folder, "--out", tmp_path / "run", "--scanner", f"rehearse:{folder}"]
    run(*words)
    sockets = (tmp_path / "run" / "sockets.csv").read_text("utf-8").splitlines()
    turned = [sockets[0], *(f"{n},{line.split(',', 1)[1]}" for n, line in enumerate(sockets[:0:-1], 1))]
    (folder / "sockets.csv").write_text("\n".join([*turned, ""]))
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert "another socket table" in str(result.exception)
