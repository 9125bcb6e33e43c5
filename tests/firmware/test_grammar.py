"""The written grammar holds for the firmware: what it says, and what it takes."""

from __future__ import annotations

import random
import re
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomtest.bench.rehearsal.network import Network, Parts
from loomtest.bench.scanner.protocol import check_of, frame
from tests.firmware.abnf import grammar_of, pattern
from tests.firmware.simulated import built, native

RULES = grammar_of(Path(__file__).parents[2] / "firmware_notes" / "protocol.md")
ANSWER = re.compile(pattern(RULES, "answer"))
REQUEST = re.compile(pattern(RULES, "request"))
LOOM = Network(
    64, 64, 64, ((0, 1, 0.05), (2, 3, 12.0), (4, 5, 470.0), (6, 7, 33e3), (8, 9, 1e6)), parts=Parts()
)


def test_what_the_abnf_reader_understands() -> None:
    rules = {"a": '1*2DIGIT ["x"] / %s"yes" / (%x41-42 %x43.44)', "DIGIT": "%x30-39"}
    expression = re.compile(pattern(rules, "a"))
    for text in ("1", "12", "3x", "3X", "yes", "ACD", "BCD"):
        assert expression.fullmatch(text), text
    for text in ("", "123", "YES", "CCD", "AC", "x"):
        assert not expression.fullmatch(text), text


def test_every_line_of_the_firmware_is_of_the_grammar() -> None:
    everything = ["who", "range", "test", "volts", "scan", "cal", "stop", "nonsense"]
    everything += [
        "pair 1 2",
        "pair 1 1",
        "pair 9 10",
        "row 3",
        "row 3 00000000000000FF",
        "cal set 2 47000 100 5 6",
    ]
    everything += [
        "cal zero 1 2",
        "cal clear",
        "apart 000000000000000F",
        "reach 0000000000000001",
        "pair 1 x",
        "x*y",
    ]
    everything += [
        frame(7, "pair 3 4").decode().strip(),
        frame(255, "who").decode().strip(),
        "@07 who*05FFFF",
    ]
    lines = native(LOOM, everything)
    assert len(lines) > 64
    for line in lines:
        assert ANSWER.fullmatch(line + "\r\n"), line
    assert any(line.startswith(":07 pair 3 4 ") for line in lines)
    assert sum("error damaged" in line for line in lines) == 2


def test_a_live_loom_is_refused_with_a_line_of_the_grammar() -> None:
    live = Network(64, 64, 64, sources=((11, 2, 12.6, 0.5),))
    for request in (
        "volts",
        "scan",
        "test",
        "pair 12 3",
        "row 3",
        "reach 0000000000000001",
        "apart 0000000000000001",
    ):
        (line,) = native(live, [request])[1:]
        assert ANSWER.fullmatch(line + "\r\n")
        assert line.startswith(":-- error volts 12 3 4"), line  # 5 V is the converter's end


@settings(max_examples=15)
@given(st.lists(st.from_regex(REQUEST, fullmatch=True), min_size=20, max_size=40))
def test_every_request_of_the_grammar_is_taken(texts: list[str]) -> None:
    commands = [re.sub(r"^@.. |\*.{6}$", "", text.strip("\r\n")) for text in texts]
    framed = [frame(n % 256, command).decode().strip() for n, command in enumerate(commands)]
    bare = Network(64, 64, 64)
    for line in native(bare, framed)[1:]:
        assert ANSWER.fullmatch(line + "\r\n"), line
        assert "error damaged" not in line and "error unknown" not in line, line


def test_noise_on_the_line_never_breaks_the_firmware() -> None:
    """The host build, under address and undefined-behaviour sanitizers, fed with near-requests."""
    chance = random.Random(5)
    good = [frame(n, c) for n, c in enumerate(("who", "pair 1 2", "row 5 00000000000000F0", "cal", "range"))]
    data = bytearray()
    for _ in range(6000):
        line = bytearray(chance.choice(good)) if chance.random() < 0.8 else bytearray(chance.randbytes(90))
        for _ in range(chance.randrange(4)):
            at = chance.randrange(len(line))
            line[at : at + chance.randrange(3)] = chance.randbytes(chance.randrange(3))
            line += b"" if line else b"x"
        data += line + b"\r\n"
    done = subprocess.run(
        [str(built() / "native-64-checked"), str(_written(LOOM))],
        input=bytes(data),
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    for line in done.stdout.decode("ascii").split("\r\n")[:-1]:
        assert ANSWER.fullmatch(line + "\r\n"), line


@pytest.fixture(autouse=True)
def _folder(tmp_path_factory: pytest.TempPathFactory) -> None:
    global _FOLDER
    _FOLDER = tmp_path_factory.mktemp("networks")


_FOLDER = Path()


def _written(network: Network) -> Path:
    path = _FOLDER / "network.txt"
    network.write(path)
    return path


def test_the_check_is_the_published_one() -> None:
    # CRC-16/IBM-3740 of "123456789" (catalogue of parametrised CRC algorithms; value from memory).
    assert check_of(b"123456789") == "0929B1"
    (line,) = native(LOOM, ["stop"])[1:]
    assert line == ":-- stop*" + check_of(b":-- stop")
