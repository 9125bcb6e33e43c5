"""The pin-scanner's lines without port or clock: bytes in, events out. Grammar: firmware_notes/protocol.md.

    link = Link()
    port.write(link.ask("pair 3 7"))           # b"@01 pair 3 7*0C9A54\\r\\n"
    for event in link.receive(port.read(64)):  # Reply, Damaged, Stale or Boot
        ...

Every line carries the number of the request it answers, its length, and a CRC-16/IBM-3740 (polynomial 0x1021,
start 0xFFFF; of "123456789" 0x29B1, by the catalogue of CRC algorithms, value from memory and equal to
`binascii.crc_hqx`). A damaged line is never used; a line with another number is stale, whatever it says.
"""

from __future__ import annotations

import binascii
import math
import re
from dataclasses import dataclass

PROTOCOL = 1
LONGEST_LINE = 4096  # a row of 128 pins has some 1,500 characters at most
OVER = ">"
NOT_ASKED = "."
SAME = "="
_TRAILER = 7  # "*", two digits of length, four of CRC
# IEC 60062 letter code (R, K stand for the decimal point; L: milliohm), then a slash and the range.
_VALUE = re.compile(r"(-?)([0-9]{1,9})([LRK])([0-9]{1,3})/([0-4])")
_FACTOR = {"L": 1e-3, "R": 1.0, "K": 1e3}


@dataclass(frozen=True, slots=True)
class PinValue:
    """One answer of the board: `ohms` is +inf for over-range, NaN where the pair was not asked for.

    `same`: measured, both ways in one, in the row of the other pin (then `ohms` is NaN too).
    """

    ohms: float
    range: int | None = None
    same: bool = False


@dataclass(frozen=True, slots=True)
class Reply:
    """A whole line with the number of the request that is open."""

    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Damaged:
    """A line that cannot be used; `told` when the board says that it could not use ours."""

    told: bool = False


@dataclass(frozen=True, slots=True)
class Stale:
    """A whole line that answers no open request: late, doubled, or of another program."""


@dataclass(frozen=True, slots=True)
class Boot:
    """The board has just started: whatever was open is lost."""


Event = Reply | Damaged | Stale | Boot


def check_of(body: bytes) -> str:
    """Length (two digits, modulo 256) and CRC of what stands before the star."""
    return f"{len(body) & 0xFF:02X}{binascii.crc_hqx(body, 0xFFFF):04X}"


def frame(seq: int, command: str) -> bytes:
    """A request as it goes on the line."""
    body = f"@{seq:02X} {command}".encode("ascii")
    return body + b"*" + check_of(body).encode("ascii") + b"\r\n"


def unframe(line: bytes) -> tuple[str, tuple[str, ...]] | None:
    """(tag, words) of a whole answer line without its end; None when it is damaged."""
    body, trailer = line[:-_TRAILER], line[-_TRAILER:]
    if len(body) < 5 or body[:1] != b":" or body[3:4] != b" " or trailer[:1] != b"*":
        return None
    plain = all(32 <= byte < 127 for byte in body)  # everything on the line is printable
    if trailer[1:] != check_of(body).encode("ascii") or not plain:
        return None
    words = tuple(body[4:].decode("ascii").split(" "))
    return (body[1:3].decode("ascii"), words) if all(words) else None


def parse_value(token: str) -> PinValue | None:
    """`4R702/1`, `>`, `=` or `.`; None for anything else."""
    if token == OVER:
        return PinValue(math.inf)
    if token == NOT_ASKED:
        return PinValue(math.nan)
    if token == SAME:
        return PinValue(math.nan, same=True)
    found = _VALUE.fullmatch(token)
    if not found:
        return None
    sign, whole, letter, part, range_number = found.groups()
    return PinValue(float(f"{sign}{whole}.{part}") * _FACTOR[letter], int(range_number))


def parse_row(words: tuple[str, ...], pins: int) -> tuple[int, tuple[PinValue, ...]] | None:
    """(pin, values against pins 1..n) of a `row` line; None when it does not hold together."""
    pin = _pin(words[1], pins) if len(words) == 3 and words[0] == "row" else None
    if pin is None:
        return None
    values = tuple(value for value in map(parse_value, words[2].split(",")) if value is not None)
    if len(values) != pins or words[2].count(",") != pins - 1:
        return None
    if not math.isnan(values[pin - 1].ohms) or any(value.same for value in values[pin - 1 :]):
        return None
    return pin, values


def _pin(word: str, pins: int) -> int | None:
    return int(word) if word.isdecimal() and word.isascii() and 1 <= int(word) <= pins else None


def pin_set(chosen: set[int] | frozenset[int], pins: int) -> str:
    """Pins (from 1) as hexadecimal digits, pin 1 in the lowest bit of the last digit."""
    return f"{sum(1 << (pin - 1) for pin in chosen):0{pins // 4}X}"


def number_in(word: str, most: int = 999_999_999) -> int | None:
    """A whole number of the grammar, at most nine digits; None for anything else."""
    return int(word) if re.fullmatch("[0-9]{1,9}", word) and int(word) <= most else None


def pins_in(digits: str, pins: int) -> frozenset[int] | None:
    """The pins (from 1) of a pin set of a board with so many; None where it is none."""
    if re.fullmatch("[0-9A-F]+", digits) is None or len(digits) != pins // 4:
        return None
    value = int(digits, 16)
    return frozenset(bit + 1 for bit in range(value.bit_length()) if value >> bit & 1)


class Link:
    """One end of the line: numbers requests, and tells answers to the open one from everything else."""

    def __init__(self) -> None:
        self._seq = 0
        self._open: str | None = None
        self._waiting = bytearray()

    def ask(self, command: str) -> bytes:
        """The bytes of a new request; answers to any earlier one are stale from now on."""
        self._seq = (self._seq + 1) % 256
        self._open = f"{self._seq:02X}"
        return frame(self._seq, command)

    def done(self) -> None:
        """The open request has all its answers: one more of them would be a doubled line."""
        self._open = None

    def receive(self, data: bytes) -> list[Event]:
        """Events of the lines that `data` completes; half a line waits for the rest."""
        self._waiting += data
        *lines, rest = re.split(rb"[\r\n]", bytes(self._waiting))
        self._waiting = bytearray(rest)
        if len(rest) > LONGEST_LINE:  # no line end for so long: noise
            self._waiting.clear()
            lines.append(rest)
        return [self._event(line) for line in lines if line]

    def _event(self, line: bytes) -> Event:
        found = unframe(line)
        if found is None:
            return Damaged()
        tag, words = found
        if tag == "--" and words[0] == "boot":
            return Boot()
        if tag == "--" and words == ("error", "damaged"):
            return Damaged(told=True)
        return Reply(words) if tag == self._open else Stale()
