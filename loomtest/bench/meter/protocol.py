"""What every meter protocol shares: events out, units, and splitting a byte stream into lines.

A protocol here has no port, clock or sleep: bytes go in with `feed`, what is to be sent comes out of
`due(now_s)`, and what the meter showed comes out as `Shown`, what is wrong as `Trouble`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal, Protocol

Function = Literal["ohm", "volt", "other"]
TroubleKind = Literal[
    "unreadable", "wrong-rate", "other-function", "instrument-error", "silent", "no-value", "lost", "back"
]

# A line longer than this is no reading of any meter: the terminator is wrong or the rate is.
LONGEST_LINE = 256

# Ohms or volts of this size are no measurement: insulation testers end at some 10 TΩ (common practice).
NO_METER_SHOWS = 1e15


@dataclass(frozen=True, slots=True)
class Shown:
    """One thing the meter showed: `value` in ohms or volts, +inf for over-range.

    `step` is the worth of the last digit in the same unit (NaN when the text does not tell);
    `range_ohm` the range that an over-range value was shown on, None when nobody knows.
    """

    value: float
    function: Function = "ohm"
    step: float = math.nan
    range_ohm: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something the person should know; `text` is a sentence that says what to do."""

    kind: TroubleKind
    text: str


Event = Shown | Trouble


class Meter(Protocol):
    """What a protocol offers to whoever holds the port."""

    def due(self, now_s: float) -> bytes:
        """The bytes to send now; empty when it is not time. `now_s` is any steady clock."""

    def feed(self, data: bytes) -> list[Event]:
        """Take what arrived and return what it means, oldest first."""

    def restart(self) -> None:
        """Forget half lines and unanswered questions: the port was opened (again)."""


_PREFIX = {
    "": 1.0,
    "n": 1e-9,
    "u": 1e-6,
    "µ": 1e-6,
    "μ": 1e-6,
    "m": 1e-3,
    "k": 1e3,
    "K": 1e3,
    "M": 1e6,
    "G": 1e9,
}
_UNIT = re.compile(r"\s*([numµμkKMG]?)\s*(ohms?|OHMS?|Ohms?|Ω|Ω|R|V|v|volts?|VOLTS?)(?:\s*(?:DC|dc))?\s*")


def scale_of(unit: str) -> tuple[Function, float]:
    """The function and the factor to ohms or volts of a unit as meters print it (`kOhm`, `mV`, `MΩ`).

    `m` is milli and `M` is mega, whatever the case of the rest. An unknown unit is ("other", 1.0):
    amperes, farads or degrees mean that the meter stands on another function.
    """
    if not unit.strip():
        return "ohm", 1.0
    match = _UNIT.fullmatch(unit)
    if match is None:
        return "other", 1.0
    name = match[2]
    return ("volt" if name[0] in "Vv" else "ohm"), _PREFIX[match[1]]


def last_digit(number: str) -> float:
    """The worth of the last printed digit: `0.42` is 0.01, `1.20E+3` is 10; 12 is 1; `0E999` is infinity."""
    mantissa, _, exponent = number.upper().partition("E")
    decimals = len(mantissa.partition(".")[2])
    return float(f"1e{int(exponent or 0) - decimals}")


def range_shown(ohm: float) -> float | None:
    """A range as the meter states it; None for what cannot be one."""
    return ohm if 0.0 < ohm < NO_METER_SHOWS else None


class Lines:
    """Splits a byte stream at its terminators, whatever mixture of CR and LF comes.

    With `joined` True the stream may have been entered in the middle of a line, and everything up to
    the first terminator is dropped: `2.34` may be the tail of `12.34`.
    """

    def __init__(self, terminator: str, joined: bool) -> None:
        self._split = b"\n" if terminator.strip("\r\n") == "" else terminator.encode("ascii")
        self._ends_in_cr_lf = terminator.strip("\r\n") == ""
        self._joined = joined
        self.restart()

    def restart(self) -> None:
        """Drop what is held; the next bytes may begin anywhere."""
        self._held = b""
        self._drop = self._joined

    def feed(self, data: bytes) -> list[bytes]:
        """The lines completed by `data`, stripped, NUL bytes and empty lines removed."""
        if b"\0" in data:
            data = data.replace(b"\0", b"")
        if self._ends_in_cr_lf and b"\r" in data:
            data = data.replace(b"\r", b"\n")
        parts = (self._held + data).split(self._split)
        self._held = parts.pop()
        if self._drop and parts:
            parts[0] = b""
            self._drop = False
        if len(self._held) > LONGEST_LINE:
            parts.append(self._held)  # no terminator in sight: hand it on as a line that nobody can read
            self._held = b""
            self._drop = True
        return [line for line in map(bytes.strip, parts) if line]


class Readability:
    """Notices a stream of which nothing can be read, and says so once until something can again."""

    def __init__(self, rate: str, form: str) -> None:
        self._rate, self._form = rate, form
        self._bad_lines = self._bad_bytes = self._odd_bytes = 0
        self._said = False

    def good(self) -> None:
        """A line was read."""
        self._bad_lines = self._bad_bytes = self._odd_bytes = 0
        self._said = False

    def bad(self, line: bytes) -> Trouble | None:
        """A line was not read; a sentence when that is no accident any more."""
        self._bad_lines += 1
        self._bad_bytes += len(line)
        self._odd_bytes += sum(byte < 32 or byte > 126 for byte in line)
        if self._said or (self._bad_lines < 4 and self._bad_bytes < LONGEST_LINE):
            return None
        self._said = True
        if self._odd_bytes > 0.15 * self._bad_bytes:
            return Trouble(
                "wrong-rate",
                f"the meter sends, but nothing of it can be read at {self._rate}: "
                "check the baud rate and parity in the table [serial] of the instrument file",
            )
        shown = line.decode("ascii", "replace")[:40]
        return Trouble(
            "unreadable", f"the meter sends lines such as {shown!r}; expected {self._form}: check [serial]"
        )
