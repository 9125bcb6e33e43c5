"""A scanner that keeps to the grammar and says what cannot be: every lie ends in one message, never in a file
that does not open, a wrong pair, or a wait without an end."""

from __future__ import annotations

import contextlib
import os
import threading
import time
import tty
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomtest.bench.scanner import driver
from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.run import instrument_of, ready, record_scan
from loomtest.bench.scanner.sockets import proposed
from loomtest.errors import InstrumentError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.run import About, create_run
from tests.bench.scanner.test_driver import WHO, framed, row
from tests.commands.in_process import loomtest

Answer = str | list[str] | Callable[[str], list[str]]
HONEST: dict[str, Answer] = {
    "who": WHO,
    "test": "test ok 3 40 0000",
    "cal": [*(f"cal {r} 12800000 0 500" for r in range(5)), "end 5"],
    "volts": "volts none",
    "row": lambda command: [row(int(command.split()[1]))],
    "scan": [*(row(pin) for pin in range(1, 17)), "end 16 900"],
}


class Liar:
    """A port behind which a board answers each kind of request as it likes, in whole, well-checked lines."""

    def __init__(self, **lies: Answer) -> None:
        self._answers = {**HONEST, **lies}
        self._out = bytearray()
        self.asked: list[str] = []

    @property
    def in_waiting(self) -> int:
        return len(self._out)

    def read(self, size: int = 1) -> bytes:
        taken = bytes(self._out[:size])
        del self._out[:size]
        return taken

    def write(self, data: bytes) -> int:
        command = data[4:].split(b"*")[0].decode()
        self.asked.append(command)
        answer = self._answers[command.split()[0]]
        lines = answer(command) if callable(answer) else [answer] if isinstance(answer, str) else answer
        self._out[:] = b"".join(framed(data[1:3].decode(), line) for line in lines)
        return len(data)

    def close(self) -> None:
        pass


@pytest.fixture(autouse=True)
def few_tries(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(driver, "TRIES", 5)


def loom(folder: Path) -> Harness:
    (folder / "wires.csv").write_text("from,to\n" + "".join(f"X1:{n},X2:{n}\n" for n in range(1, 9)))
    return load_harness(folder / "wires.csv")


def scanned(folder: Path, port: Liar) -> Path:
    """What `log --scanner` does, in a run folder."""
    harness = loom(folder)
    scanner = Scanner(port, silence_s=0.005)
    sockets = proposed(harness, scanner.identity.pins)
    budget = ready(scanner, sockets)
    about = About(instrument=instrument_of(scanner, budget))
    with create_run(folder / "run", harness, about, clock=lambda: datetime.now(UTC)) as writer:
        for _ in record_scan(scanner, sockets, budget, writer, done=frozenset()):
            pass
    return folder / "run"


def test_an_honest_board_is_recorded(tmp_path: Path) -> None:
    assert len(load_readings(scanned(tmp_path, Liar()), loom(tmp_path)).value) == 16 * 15


HUGE = "9" * 300
LIES: dict[str, dict[str, Answer]] = {
    "a thousand million pins": {"who": "who 1 1.0 999999999 switches calibrated"},
    "no pins": {"who": "who 1 1.0 0 switches calibrated"},
    "pins in letters of another script": {"who": "who 1 1.0 ١٦ switches calibrated"},
    "a noise that is no number": {"test": "test ok 3 many 0000"},
    "a noise of 300 digits": {"test": f"test ok 3 {HUGE} 0000"},
    "bad pins that are no set": {"test": "test ok 3 40 WXYZ"},
    "bad pins of a larger board": {"test": "test ok 3 40 00000"},
    "a calibration that is no number": {"cal": ["cal 0 x 0 0", "end 1"]},
    "a calibration of no range": {"cal": ["cal 7 12800000 0 0", "end 1"]},
    "a calibration of nothing": {"cal": [*(f"cal {r} 0 0 0" for r in range(5)), "end 5"]},
    "a calibration without an end": {"cal": ["cal 0 12800000 0 0"] * 5_000},
    "an error of one word": {"test": "error"},
    "volts at no pin": {"test": "error volts 1 x 5000"},
    "values far below zero": {"scan": [], "row": lambda c: [row(int(c.split()[1]), {9: "-5K000/0"})]},
    "values beyond their range": {
        "scan": [],
        "row": lambda c: [row(int(c.split()[1]), {9: "999999999K999/0"})],
    },
    "a pair that was not measured": {"scan": [], "row": lambda c: [row(int(c.split()[1]), {9: "."})]},
    "a pair said to stand elsewhere": {"scan": [], "row": lambda c: [row(int(c.split()[1]), {1: "="})]},
    "another row than was asked for": {"scan": [], "row": row(3)},
}


@pytest.mark.parametrize("lie", LIES, ids=lambda lie: lie.replace(" ", "-"))
def test_a_lie_ends_in_one_message(tmp_path: Path, lie: str) -> None:
    began = time.monotonic()
    with pytest.raises(InstrumentError, match="scanner"):
        scanned(tmp_path, Liar(**LIES[lie]))
    assert time.monotonic() - began < 20
    if (tmp_path / "run").exists():
        load_readings(tmp_path / "run", loom(tmp_path))


def test_the_same_rows_for_ever_are_not_waited_for(tmp_path: Path) -> None:
    port = Liar(scan=[row(1)] * 2_000)
    assert len(load_readings(scanned(tmp_path, port), loom(tmp_path)).value) == 16 * 15
    assert sum(asked.startswith("row ") for asked in port.asked) == 15  # each asked for by itself


def test_a_joined_pin_that_does_not_follow_itself_is_no_answer() -> None:
    port = Liar(reach="reach 0003 0000")
    with pytest.raises(InstrumentError, match="no usable answer"):
        Scanner(port, silence_s=0.005).reach({1, 2})
    assert Scanner(Liar(reach="reach 0003 0103"), silence_s=0.005).reach({1, 2}) == {1, 2, 9}


def test_lines_of_another_request_for_ever_end_in_a_message() -> None:
    class Stale(Liar):
        def read(self, size: int = 1) -> bytes:
            return framed("77", "row 1 >") * 40

    with pytest.raises(InstrumentError, match="no usable answer"):
        Scanner(Stale(), silence_s=0.5)


CELL = st.one_of(
    st.just(">"),
    st.builds(
        lambda sign, whole, letter, part, range_: f"{sign}{whole}{letter}{part:03d}/{range_}",
        st.sampled_from(["", "-"]),
        st.integers(0, 999_999_999) | st.integers(0, 50),
        st.sampled_from("LRK"),
        st.integers(0, 999),
        st.integers(0, 4),
    ),
)


@settings(max_examples=30)
@given(st.lists(CELL, min_size=16, max_size=16), st.integers(1, 999_999_999), st.integers(0, 999_999_999))
def test_any_values_of_the_grammar_give_a_run_that_opens_or_a_message(
    tmp_path_factory: pytest.TempPathFactory, cells: list[str], scale: int, ppm: int
) -> None:
    folder = tmp_path_factory.mktemp("lies")

    def lying(command: str) -> list[str]:
        pin = int(command.split()[1])
        return [row(pin, dict(enumerate(cells, 1)) | {pin: "."})]

    cal = [*(f"cal {r} {scale} 0 {ppm}" for r in range(5)), "end 5"]
    with contextlib.suppress(InstrumentError):
        scanned(folder, Liar(scan=[], row=lying, cal=cal))
    if (folder / "run").exists():
        load_readings(folder / "run", loom(folder))


class Peer:
    """The same liar at the other end of a real line."""

    def __init__(self, liar: Liar) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        tty.setraw(self._master)
        self.name, self._liar = os.ttyname(self._slave), liar
        self._stop = threading.Event()
        os.set_blocking(self._master, False)
        self._thread = threading.Thread(target=self._answer)
        self._thread.start()

    def _answer(self) -> None:
        heard = b""
        while not self._stop.wait(0.005):
            try:
                heard += os.read(self._master, 4096)
            except BlockingIOError:
                continue
            *lines, heard = heard.split(b"\n")
            for line in lines:
                self._liar.write(line.strip(b"\r"))
                rest = self._liar.read(1 << 20)
                while rest and not self._stop.is_set():
                    try:
                        rest = rest[os.write(self._master, rest) :]
                    except BlockingIOError:
                        time.sleep(0.005)

    def end(self) -> None:
        self._stop.set()
        self._thread.join()
        os.close(self._master)
        os.close(self._slave)


@pytest.fixture
def peer() -> Iterator[Peer]:
    liar = Liar(scan=[], row=lambda c: [row(int(c.split()[1]), {9: "-5K000/0"})])
    made = Peer(liar)
    yield made
    made.end()


def test_on_a_real_line_the_command_ends_with_2_and_says_so(tmp_path: Path, peer: Peer) -> None:
    harness = loom(tmp_path)
    done = loomtest("log", "wires.csv", "--out", "run", "--scanner", peer.name, "--quiet", cwd=tmp_path)
    assert done.returncode == 2 and "gave no usable answer to 'row" in done.stderr, done.stderr
    assert len(load_readings(tmp_path / "run", harness).value) == 0
