"""The scanner's lines without a port: what is damaged, stale or doubled is never used."""

from __future__ import annotations

import binascii
import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomtest.bench.scanner import protocol
from loomtest.bench.scanner.protocol import Boot, Damaged, Link, PinValue, Reply, Stale
from tests.firmware.abnf import grammar_of, pattern

RULES = grammar_of(Path(__file__).parents[3] / "firmware_notes" / "protocol.md")
ANSWER = re.compile(pattern(RULES, "answer"))
REQUEST = re.compile(pattern(RULES, "request"))


def answer(tag: str, body: str) -> bytes:
    text = f":{tag} {body}".encode("ascii")
    return text + b"*" + protocol.check_of(text).encode("ascii") + b"\r\n"


def bitwise_crc(data: bytes) -> int:
    """CRC-16/IBM-3740 by its definition, one bit at a time."""
    crc = 0xFFFF
    for byte in data:
        for bit in range(7, -1, -1):
            top = crc >> 15 ^ byte >> bit & 1
            crc = (crc << 1 & 0xFFFF) ^ (0x1021 if top else 0)
    return crc


def test_the_crc_is_the_published_one() -> None:
    # Check value of CRC-16/IBM-3740, catalogue of parametrised CRC algorithms (value from memory).
    assert bitwise_crc(b"123456789") == 0x29B1 == binascii.crc_hqx(b"123456789", 0xFFFF)
    assert protocol.check_of(b"123456789") == "0929B1"


@given(st.binary(max_size=300))
def test_the_check_is_length_and_crc(data: bytes) -> None:
    assert protocol.check_of(data) == f"{len(data) % 256:02X}{bitwise_crc(data):04X}"


def test_values_in_letter_code() -> None:
    assert protocol.parse_value("4R702/1") == PinValue(4.702, 1)
    assert protocol.parse_value("47L31/0") == PinValue(pytest.approx(0.04731), 0)
    assert protocol.parse_value("-0L12/0") == PinValue(pytest.approx(-0.00012), 0)
    assert protocol.parse_value("1004K6/4") == PinValue(pytest.approx(1.0046e6), 4)
    assert protocol.parse_value(">") == PinValue(math.inf)
    found = protocol.parse_value("=")
    assert found is not None and found.same and math.isnan(found.ohms)
    for text in (
        "",
        "4702",
        "4R702",
        "4R702/5",
        "R47/1",
        "4R702/1 ",
        "--1R0/1",
        "4M7/4",
        "1R2R3/1",
        "OL",
        "nan",
    ):
        assert protocol.parse_value(text) is None, text


@given(st.from_regex(re.compile(pattern(RULES, "cell")), fullmatch=True))
def test_every_cell_of_the_grammar_is_read(text: str) -> None:
    assert protocol.parse_value(text) is not None


@given(st.from_regex(ANSWER, fullmatch=True), st.binary(max_size=40))
def test_nothing_breaks_the_receiver(line: str, noise: bytes) -> None:
    """Lines of the grammar with made-up checks, and noise: a reply only where the check holds."""
    link = Link()
    link.ask("who")
    body = line[: line.rindex("*")].encode()
    check = line[line.rindex("*") + 1 :].strip()
    right = line.startswith(":01") and check == protocol.check_of(body)
    events = link.receive(line.encode("ascii"))
    assert any(isinstance(event, Reply) for event in events) == right
    link.receive(noise + b"\r\n")
    whole = body + b"*" + protocol.check_of(body).encode() + b"\r\n"
    tag = line[1:3]
    events = link.receive(whole)
    assert any(isinstance(event, Reply) for event in events) == (tag == "01")


def test_requests_are_of_the_grammar() -> None:
    link = Link()
    sets = protocol.pin_set({1, 64}, 64)
    commands = ["who", "test", "volts", "scan", "cal", "cal zero 1 2", "pair 1 64", "row 3", f"row 3 {sets}"]
    for command in (*commands, f"apart {sets}", f"reach {sets}", "cal set 0 100000 500 1 2"):
        assert REQUEST.fullmatch(link.ask(command).decode("ascii")), command
    assert protocol.pins_in(sets, 64) == {1, 64}


def test_every_single_change_of_a_line_is_noticed() -> None:
    """Each byte replaced by each other, lost, or doubled: no reply ever."""
    link = Link()
    link.ask("pair 3 7")
    line = answer("01", "pair 3 7 47L31/0 47L15/0")
    assert [type(event) for event in link.receive(line)] == [Reply]
    places = range(len(line) - 2)
    spoilt = []
    for i in places:
        spoilt += [line[:i] + bytes([b]) + line[i + 1 :] for b in range(256) if b != line[i]]
    spoilt += [line[:i] + line[i + 1 :] for i in places]
    spoilt += [line[: i + 1] + line[i:] for i in places]
    for data in spoilt:
        assert not any(isinstance(event, Reply) for event in link.receive(data + b"\r\n")), data


def test_stale_doubled_and_foreign_lines() -> None:
    link = Link()
    link.ask("who")
    old = answer("01", "who 1 1.0 64 switches calibrated")
    request = link.ask("who")
    assert request.startswith(b"@02 who*")
    assert link.receive(old) == [Stale()]
    new = answer("02", "who 1 1.0 64 switches calibrated")
    assert isinstance(link.receive(new)[0], Reply)
    link.done()
    assert link.receive(new) == [Stale()]  # doubled
    assert link.receive(answer("--", "boot 1 64")) == [Boot()]
    assert link.receive(answer("--", "error damaged")) == [Damaged(told=True)]


def test_lines_come_in_pieces() -> None:
    link = Link()
    link.ask("who")
    line = answer("01", "stop")
    events = [event for byte in line for event in link.receive(bytes([byte]))]
    assert events == [Reply(("stop",))]
    assert link.receive(b"x" * 5000) == [Damaged()]  # noise without an end


def test_a_row_holds_together_or_is_refused() -> None:
    cells = [".", "47L00/0", *[">"] * 14]
    assert protocol.parse_row(("row", "1", ",".join(cells)), 16)
    assert protocol.parse_row(("row", "2", ",".join(["=", ".", *[">"] * 14])), 16)
    for words in (
        ("row", "1", ",".join(cells[:-1])),  # a cell short
        ("row", "2", ",".join(cells)),  # not of pin 2: its own cell is a reading
        ("row", "17", ",".join(cells)),
        ("row", "1", ",".join([".", "=", *[">"] * 14])),  # refers to a row that comes later
        ("row", "1", ",".join([".", "47L00", *[">"] * 14])),
        ("row", "1"),
    ):
        assert protocol.parse_row(words, 16) is None, words
