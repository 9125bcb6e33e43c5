"""A few looms through firmware, port and driver to the verdict; the whole counts are commands."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import serial

from loomtest.bench.connect import identify, open_scanner
from loomtest.bench.rehearsal.network import Network, Parts
from loomtest.bench.scanner.driver import BAUD, Scanner
from tests.firmware.milliohms import coverage
from tests.firmware.simulated import SILENCE_S, board
from tests.firmware.verdicts import compare, drawn


@pytest.mark.parametrize("number", [0, 1, 2])
def test_the_verdict_is_that_of_exact_readings(number: int) -> None:
    loom = drawn(np.random.default_rng([7, number]), 64, 1 + number)
    found = compare(loom, 64)
    assert found.agree, (found.exact, found.scanned)
    assert found.exact  # there was something to find
    assert found.scan_seconds < 3.0


def test_128_pins_fit_ten_seconds_on_both_chips() -> None:
    rng = np.random.default_rng(2)
    edges = [(int(a), int(a) + 1, float(rng.uniform(0.01, 0.1))) for a in range(0, 126, 2)]
    edges += [(2 * n, 2 * n + 2, 0.03) for n in range(12)]  # and one large ground net
    network = Network(128, 128, 128, tuple(edges), parts=Parts())
    with board(network, "2560") as name, serial.Serial(name, BAUD, timeout=SILENCE_S) as port:
        port.readline()
        port.write(b"scan\n")
        while b" end " not in (line := port.readline()):
            assert line
    assert int(line.split(b"*")[0].split(b" ")[-1]) < 10_000


def test_a_milliohm_reading_covers_the_truth() -> None:
    share, rms, largest = coverage(12)
    assert 0.92 < share < 0.98  # of 672 readings; the stated band is held by the command with 200 boards
    assert rms < 2e-3 and largest < 2e-3


def test_opened_again_in_mid_scan() -> None:
    """Somebody's scan runs; the port is closed and opened: the board answers the new request at once."""
    network = Network(64, 64, 64, ((0, 1, 0.05),))
    with board(network) as name:
        with serial.Serial(name, BAUD, timeout=SILENCE_S) as port:
            port.readline()
            port.write(b"@99 scan*071234\r\n@41 scan*08")
            port.write(_check(b"@41 scan") + b"\r\n")
            while b":41 row 3 " not in port.readline():
                pass
        with serial.Serial(name, BAUD, timeout=0.05) as port:
            scanner = Scanner(port, silence_s=SILENCE_S)
            assert scanner.identity.pins == 64
            assert scanner.pair(1, 2)[0].ohms == pytest.approx(0.05, abs=0.003)


def _check(body: bytes) -> bytes:
    from loomtest.bench.scanner.protocol import check_of

    return check_of(body)[2:].encode("ascii")


def test_a_port_is_told_to_be_a_scanner() -> None:
    with board(Network(64, 64, 64)) as name:
        found = identify(name, wait_s=4 * SILENCE_S)
    assert found is not None and "64 pins" in found and "not calibrated" in found


def test_the_cable_pulled_in_mid_scan_is_said(tmp_path: Path) -> None:
    from loomtest.errors import InstrumentError

    with board(Network(64, 64, 64)) as name:
        scanner = open_scanner(name, silence_s=SILENCE_S)
        rows = scanner.scan()
        next(rows)
    with pytest.raises(InstrumentError, match=r"connection to the scanner is lost|no usable answer"):
        list(rows)
    scanner.close()
