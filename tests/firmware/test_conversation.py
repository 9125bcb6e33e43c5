"""The firmware on both chips, its host build and the rehearsal board: one conversation, byte for byte."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from loomtest.bench.rehearsal.board import Board, RehearsalPort
from loomtest.bench.rehearsal.network import Network, Parts
from tests.firmware.simulated import board, built, native, on_chip

EDGES = ((0, 1, 0.1), (2, 3, 10.0), (4, 5, 470.0), (6, 7, 22e3), (8, 9, 1e6), (10, 66, 0.02), (66, 11, 0.03))
MORE = ((66, 12, 0.05), (20, 21, 1.17), (22, 23, 0.9), (30, 64, 5.0))
LOOM = Network(
    64, 65, 67, (*EDGES, *MORE), (), ((13, 14), (64, 31)),
    Parts(seed=5, capacitance=1e-10),
)  # fmt: skip
REQUESTS = [
    *(
        "who",
        "range",
        "test",
        "volts",
        "pair 1 2",
        "pair 3 4",
        "pair 5 6",
        "pair 7 8",
        "pair 9 10",
        "pair 11 13",
    ),
    *(
        "pair 14 15",
        "pair 31 32",
        "pair 21 22",
        "row 1",
        "row 12 00000000000FFFFF",
        "cal zero 23 24",
        "cal zero 1 2",
    ),
    *("cal set 0 10000 100 1 2", "cal set 1 10000 100 3 4", "pair 1 2", "pair 5 5", "nonsense", "scan"),
    *(
        "apart 000000000000000F",
        "apart 0000000000000001",
        "reach 0000000000000001",
        "reach 000000000000003F",
        "cal",
    ),
]


def rehearsed(network: Network, requests: list[str]) -> list[str]:
    port = RehearsalPort(Board(network))
    out = bytearray()
    for request in requests:
        port.write(request.encode() + b"\n")
        while port.in_waiting:
            out += port.read(100_000)
    return out.decode("ascii").split("\r\n")[:-1]


def without_time(lines: list[str]) -> list[str]:
    """The scan's own duration is the one thing that differs."""
    return [re.sub(r"end 64 \d+\*.*", "end 64", line) for line in lines]


def test_host_build_rehearsal_and_both_chips_say_the_same() -> None:
    host = without_time(native(LOOM, REQUESTS))
    assert len(host) > 100 and sum("/0" in line for line in host) > 5
    assert without_time(rehearsed(LOOM, REQUESTS)) == host
    assert without_time(on_chip(LOOM, REQUESTS, "328p")) == host
    assert without_time(on_chip(LOOM, REQUESTS, "2560")) == host


def test_the_firmware_fits_the_small_chip(tmp_path: Path) -> None:
    """Flash under 16 KiB, and variables with the deepest stack seen under 1.5 KiB, on the ATmega328P."""
    for pins in (16, 64, 128):
        binary = built() / f"scanner-328p-{pins}.elf"
        text = subprocess.run(
            ["avr-size", "-A", str(binary)], capture_output=True, text=True, check=True
        ).stdout
        size = {m[1]: int(m[2]) for m in re.finditer(r"^\.(\w+)\s+(\d+)", text, re.MULTILINE)}
        assert size["text"] + size["data"] < 16 * 1024
        assert size["data"] + size["bss"] < 1024
    times = tmp_path / "times"
    import serial

    with board(LOOM, times=times) as name, serial.Serial(name, 115_200, timeout=60) as port:
        port.readline()
        for request, last in (("test", b" test "), ("scan", b" end "), ("cal set 0 10000 100 1 2", b" end ")):
            port.write(request.encode() + b"\n")
            while last not in port.readline():
                pass
    stack = int(times.read_text().split()[-1])
    assert stack > 40
    assert size["data"] + size["bss"] + stack < 1536


def test_calibration_survives_a_reset_only_whole() -> None:
    """On the host build: a stored record that fails its checksum is not used."""
    lines = native(LOOM, ["cal set 0 10000 100 1 2", "cal"])
    kept = [line for line in lines if " cal 0 " in line]
    assert kept[0].split("*")[0] == kept[1].split("*")[0]
    assert int(kept[0].split()[3]) != 12_800_000
    assert native(LOOM, ["cal"])[1].startswith(":-- cal 0 12800000 0 0*")  # a fresh store is all ones


@pytest.mark.parametrize("at", [0, 1, 20, 26, 34])
def test_a_flipped_bit_in_the_store_is_noticed(at: int, tmp_path: Path) -> None:
    network = tmp_path / "network.txt"
    LOOM.write(network)
    command = [str(built() / "native-64"), str(network), str(tmp_path / "store")]

    def run(request: str) -> str:
        done = subprocess.run(command, input=request.encode() + b"\n", capture_output=True, check=True)
        return done.stdout.decode().split("\r\n")[1]

    changed = run("cal set 0 10000 100 1 2")
    assert run("cal") == changed != ":-- cal 0 12800000 0 0*165721"
    store = bytearray((tmp_path / "store").read_bytes())
    store[at] ^= 0x10
    (tmp_path / "store").write_bytes(bytes(store))
    assert run("cal") == ":-- cal 0 12800000 0 0*165721"
