"""Targets for what comes over a wire or from a keyboard: the scanner's and the meters' bytes, typed lines."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

from loomtest.bench.meter.lines import LineMeter
from loomtest.bench.meter.protocol import Event, Shown
from loomtest.bench.meter.scpi import ScpiMeter
from loomtest.bench.meter.settings import SerialSettings
from loomtest.bench.scanner.protocol import Link, Reply, check_of, frame, parse_row, parse_value
from loomtest.bench.session.by_hand import line_of, read_line
from loomtest.readings.model import Quantity
from loomtest.readings.values import ValueSyntaxError, is_over_range
from loomtest.readings.values import parse_value as parse_reading
from tests.fuzz import oracle


def _answer(body: str) -> bytes:
    return f"{body}*{check_of(body.encode())}\r\n".encode()


SCANNER_SEEDS = (
    _answer(":01 row 3 >,>,.,4R702/1,0L500/0,-0R001/1,=,12K000/3"),
    _answer(":01 pair 3 7 4R702/1") + _answer(":-- boot") + _answer(":-- error damaged"),
    frame(1, "pair 3 7"),
)
SCANNER_WORDS = (b":01 ", b":-- ", b"row ", b"*", b"\r\n", b"4R702/1", b">", b"=", b".")


def scanner(data: bytes) -> None:
    """Whole, in two pieces and byte by byte, the same; another CRC agrees with a reply's check."""
    found = []
    for cut in (len(data), len(data) // 2, 1):
        link = Link()
        link.ask("scan")
        pieces = [data[i : i + max(cut, 1)] for i in range(0, len(data), max(cut, 1))]
        found.append([event for piece in pieces for event in link.receive(piece)])
    assert found[0] == found[1] == found[2]
    for event in found[0]:
        if isinstance(event, Reply):
            body = f":01 {' '.join(event.words)}".encode()
            assert body + f"*{len(body) % 256:02X}{_crc(body):04X}".encode() in data
            for pins in (8, 64):
                parse_row(event.words, pins)
            for word in event.words:
                value = parse_value(word)
                assert value is None or word in (">", "=", ".") or math.isfinite(value.ohms)


def _crc(data: bytes) -> int:
    """CRC-16/IBM-3740 bit by bit, from its definition: polynomial 0x1021, start 0xFFFF, nothing reflected."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return crc


METER_SEEDS = (
    b"0.123 kOhm\r\n  OL\r\n12.34\r\n+1.2345E+3 Ohm\r\n",
    "0,42 Ω\n0.L MΩ\n-0.02 ohm\n3.2 mV DC\n12.0 mA\n".encode(),
    b"1\r2\r>\r\n",
)
METER_WORDS = (b"OL", b"ohm", b"kOhm", b"\xce\xa9", b"\xc2\xb5", b"E+37", b"E400", b"E-400", b"9.9E37",
               b"\r\n", b"mV DC", b",", b"\xe2\x84\xa6", b"\xff", b"0L")  # fmt: skip
_FIXED = SerialSettings(terminator="\r\n")


def meter(data: bytes) -> None:
    """The same events however the bytes are cut; every number is the decimal number that was printed."""
    found: list[list[Event]] = []
    for size in (len(data), 7, 1):
        reader = LineMeter(_FIXED)
        reader.feed(b"\r\n")  # what comes before the first line end is the tail of something
        step = max(size, 1)
        found.append([e for i in range(0, len(data), step) for e in reader.feed(data[i : i + step])])
    assert max(len(line) for line in data.replace(b"\r", b"\n").split(b"\n")) > 250 or (
        repr(found[0]) == repr(found[1]) == repr(found[2])
    )
    for event in found[0]:
        if isinstance(event, Shown):
            _check_shown(event)


def _check_shown(event: Shown) -> None:
    assert not math.isnan(event.value)
    if math.isinf(event.value):
        assert is_over_range(event.text) or any(word in event.text.upper() for word in _OVER), event
        return
    text = event.text.replace(" ", "").removesuffix("DC").removesuffix("dc")
    for sign in ("V", "v", "R", "Ohms", "OHMS", "OHM", "Ohm"):
        text = text.removesuffix(sign)
    exact = oracle.ohms_of(text)
    if exact is not None:
        assert oracle.same(event.value, exact), event


_OVER = ("OL", "0L", "O.L", "0.L", "OVLD", "OVER", "OPEN", "OFL", ">")

SCPI_SEEDS = (
    b'A,B,C,1\n0,"No error"\n1\n+1.2345E+00\n+9.9E37\n9.91E37\n',
    b'A,B,C,1\n-113,"Undefined header"\n0,"No error"\n0\n100\n1.5\n"RES"\n',
)


def scpi(data: bytes) -> None:
    """Answers as they come, one question before each; finite values are what was printed."""
    reader = ScpiMeter(SerialSettings(protocol="scpi", terminator="\n"))
    now_s = 0.0
    for line in data.split(b"\n"):
        now_s += 1.0
        reader.due(now_s)
        for event in reader.feed(line + b"\n"):
            if isinstance(event, Shown) and not math.isinf(event.value):
                found = oracle.number_and_unit(event.text)
                assert found is not None and oracle.same(event.value, found[0]), event


TYPED_SEEDS = (b"X1:1 X2:1 0.12 a note", b"X1:2 SP1 0.42 ohm", b"SP1 GND1 OL", b"x1:1 x2:1 yes",
               "X1:1 X2:1 4R7 Ω".encode(), b"X1 1 X2 1 -36 mV at 1.5 A hot",
               b"X1:1 X1:2+SP1 1.2 nF")  # fmt: skip


def typed(data: bytes) -> None:
    from tests.fuzz.targets import workplace

    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return
    try:
        reading = read_line(text, workplace().harness)
    except ValueError as error:
        assert str(error)
        return
    again = read_line(line_of(reading), workplace().harness)
    assert (again.start, again.end, again.quantity) == (reading.start, reading.end, reading.quantity)
    assert parse_reading(str(again.value), again.quantity) == parse_reading(
        str(reading.value), reading.quantity
    )


def far(text: str) -> bool:
    """A number that means infinity, whatever unit somebody wrote behind it."""
    found = oracle.number_and_unit(text)
    return found is not None and found[0] > Decimal("9.8e37")


VALUE_SEEDS = tuple(
    text.encode()
    for text in ("0.42", "420 mΩ", "1.2k", "OL", ">40M", "9.9E37", "4R7", "0,42", "1,234", "-0.02", "2.2 MΩ",
                 "yes", "no", "5 µΩ", "1e308", "inf", "0.L MΩ", "٣", "１")
)  # fmt: skip


def value(data: bytes) -> None:
    """One cell, as every quantity: it is what decimal arithmetic says, and prints back to itself."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return
    for quantity in Quantity:
        for comma in (False, True):
            try:
                found = parse_reading(text, quantity, comma_is_decimal=comma)
            except ValueSyntaxError as error:
                assert error.found and error.expected
                continue
            assert not math.isnan(found.number)
            if quantity is Quantity.CONTINUITY:
                assert found.number in (0.0, 1.0)
                continue
            shown = "OL" if math.isinf(found.number) else repr(found.number)
            again = parse_reading(shown, quantity)
            assert again.number == found.number
            exact = oracle.ohms_of(text) if quantity is Quantity.RESISTANCE else None
            if exact is not None:
                assert oracle.same(found.number, exact) or (math.isinf(found.number) and far(text)), text


NOTEPAD_SEEDS = (
    b"X1 1 red to X4 3\nX1:2 - X4:1 BK/WH 1.5mm2 0.85 m (cut here)\n",
    b'X1 to X4:\n1 -> 3 yellow 5A fuse\n2 -> 1 AWG 16 for horn\n" "\nSP1: X1 3, X4 2\n',
)
NOTEPAD_WORDS = (
    b" to ", b" - ", b"->", b":", b",", b'"', b"red", b"1.5mm2", b"X1", b"(", b")", b"fuse", b" for ",
    b"\xe2\x80\x8f", b"\xc2\xb2", b"\n",
)  # fmt: skip


def notepad(data: bytes) -> None:
    """Every line is read or told; where its own words are read again, they make the same wire."""
    from loomtest.harness.notes.notation import read_notation
    from loomtest.harness.notes.reader import read_notes

    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return
    found = read_notes(text)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    blank = sum(not line.lstrip("\ufeff").strip() for line in lines)
    assert len(found.lines) == len(lines) - blank  # nothing is passed over in silence
    for wire in found.wires:
        again = read_notation(wire.words)
        assert again is not None, wire
        assert replace(again, line=wire.line) == wire, (wire, again)
