"""The pin-scanner's driver: asks until an undamaged answer comes, and never uses a doubtful one.

    with Scanner(port) as scanner:
        print(scanner.identity.pins)
        for row in scanner.scan():
            ...

`bench.connect.open_scanner` opens the port first.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, TypeVar

from loomtest.bench.scanner.answers import Identity, PinRow, RangeCalibration, SelfTest, StandingVoltageError
from loomtest.bench.scanner.protocol import (
    PROTOCOL,
    Boot,
    Damaged,
    Link,
    PinValue,
    Reply,
    number_in,
    parse_row,
    parse_value,
    pin_set,
    pins_in,
)
from loomtest.bench.scanner.values import UP_TO_OHM
from loomtest.errors import InstrumentError

T = TypeVar("T")

BAUD = 115_200
SILENCE_S = 4.0  # the longest pause inside any answer is under 2 s (the voltage check of 128 pins)
TRIES = 400  # a bad line spoils most rows, but not all of them
SILENT_TRIES = 6
MOST_STALE = 500  # lines of another request, one after another: whoever sends more answers nothing
MOST_PINS = 256  # twice the largest board
LEAST_OHM, BEYOND_RANGE = -1.0, 2.0  # a reading is no further below zero, nor beyond the end of its range

CAUTIONS = (
    "Take the loom off the vehicle, or disconnect the battery, negative first, before plugging anything in.",
    "Never connect a scanner to restraint-system circuits (airbags, belt tensioners), control units or "
    "high-voltage circuits: unplug control units first, leave the others to licensed people.",
    "Follow the vehicle's manual; where it says otherwise, the manual is right.",
)


class ScannerPort(Protocol):
    """What the driver uses of a serial port."""

    @property
    def in_waiting(self) -> int:
        """Bytes that `read` gives at once."""

    def read(self, size: int = 1, /) -> bytes:
        """At most `size` bytes; waits a moment for the first, then gives what there is, or nothing."""

    def write(self, data: bytes, /) -> int | None:
        """Send all of `data`."""

    def close(self) -> None:
        """Let the port go."""


@dataclass
class Counts:
    """What went wrong on the line, and was mended."""

    damaged: int = 0
    stale: int = 0
    silent: int = 0
    resets: int = 0


class Scanner:
    """A board on an open port. `silence_s`: how long it may say nothing before it is asked again."""

    def __init__(self, port: ScannerPort, *, silence_s: float = SILENCE_S) -> None:
        self._port, self._link, self._silence_s = port, Link(), silence_s
        self.counts = Counts()
        self.identity = self._identify()
        self.counts = Counts()  # a board may start anew when its port is opened: that is no loss

    def __enter__(self) -> Scanner:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let the port go."""
        self._port.close()

    @property
    def port(self) -> ScannerPort:
        """The port that it is on."""
        return self._port

    # ---- one request ----

    def _lines(self, command: str) -> Iterator[tuple[str, ...]]:
        """Words of each answer line of one request, () for a damaged one; ends when no more will come.

        That is after silence, a reset, or when the board did not understand. The consumer stops reading
        when it has what it wants.
        """
        self._write(self._link.ask(command))
        heard_s, stale = time.monotonic(), 0
        while True:
            data = self._read()
            if stale > MOST_STALE or (not data and time.monotonic() - heard_s > self._silence_s):
                self.counts.silent += 1
                return
            for event in self._link.receive(data):
                heard_s = time.monotonic()
                if isinstance(event, Reply):
                    yield event.words
                elif isinstance(event, Damaged):
                    self.counts.damaged += 1
                    if event.told:
                        return
                    yield ()
                elif isinstance(event, Boot):
                    self.counts.resets += 1
                    return
                else:
                    stale += 1
                    self.counts.stale += 1

    def _read(self) -> bytes:
        try:
            return self._port.read(max(1, self._port.in_waiting))
        except OSError as error:
            raise InstrumentError(f"the connection to the scanner is lost ({error})") from error

    def _write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except OSError as error:
            raise InstrumentError(f"the connection to the scanner is lost ({error})") from error

    def _tries(self, command: str, silent: int) -> Iterator[None]:
        """As many tries as a request is worth; raises InstrumentError when they are used up.

        A line that spoils much gets many; a board that says nothing at all is left alone soon.
        """
        quiet = 0
        for _ in range(TRIES):
            before = self.counts.silent
            yield
            quiet = quiet + 1 if self.counts.silent > before else 0
            if quiet == silent:
                break
        self._link.done()
        raise InstrumentError(f"the scanner gave no usable answer to '{command}'")

    def _ask(
        self, command: str, understand: Callable[[tuple[str, ...]], T | None], silent: int = SILENT_TRIES
    ) -> T:
        """The one-line answer to a request, asked for again until it comes whole and makes sense."""
        for _ in self._tries(command, silent):
            for words in self._lines(command):
                if not words:
                    break
                _refuse(words)
                answer = understand(words)
                if answer is not None:
                    self._link.done()
                    return answer
                self.counts.damaged += 1
                break
        raise AssertionError("the tries end with an error of their own")

    def _ask_list(self, command: str, understand: Callable[[tuple[str, ...]], T | None]) -> list[T]:
        """The lines of an answer that ends with `end COUNT`."""
        for _ in self._tries(command, SILENT_TRIES):
            found: list[T] = []
            for words in self._lines(command):
                if not words:
                    break
                _refuse(words)
                if words[0] == "end":
                    self._link.done()
                    if len(words) >= 2 and words[1] == str(len(found)):
                        return found
                    break
                item = understand(words)
                if item is None or len(found) >= len(UP_TO_OHM):
                    break
                found.append(item)
        raise AssertionError("the tries end with an error of their own")

    def _identify(self) -> Identity:
        def understand(words: tuple[str, ...]) -> Identity | None:
            if len(words) != 6 or words[0] != "who" or not words[1].isdecimal() or not words[3].isdecimal():
                return None
            if int(words[1]) != PROTOCOL:
                raise InstrumentError(
                    f"the scanner speaks protocol {words[1]}, this program {PROTOCOL}: flash the firmware of "
                    "firmware_notes that came with this program"
                )
            pins = number_in(words[3], MOST_PINS)
            if pins is None or pins < 4 or pins % 4:
                return None
            return Identity(words[2], pins, words[4] == "switches", words[5] == "calibrated")

        return self._ask("who", understand, silent=4)

    # ---- what it can do ----

    def self_test(self) -> SelfTest:
        """Every pin's path through the multiplexers, the baseline and the noise; refused on a live loom."""
        pins = self.identity.pins

        def understand(words: tuple[str, ...]) -> SelfTest | None:
            if len(words) != 5 or words[0] != "test":
                return None
            code, noise, bad = number_in(words[2]), number_in(words[3]), pins_in(words[4], pins)
            if code is None or noise is None or bad is None:
                return None
            return SelfTest(words[1] == "ok", code, noise / 100.0, bad)

        return self._ask("test", understand)

    def check_voltage(self) -> None:
        """Raises StandingVoltageError when a voltage stands between any two pins; drives nothing."""
        self._ask("volts", lambda words: words == ("volts", "none") or None)

    def pair(self, start: int, end: int) -> tuple[PinValue, PinValue]:
        """Two pins (from 1), measured with `start` high, then with `end` high."""

        def understand(words: tuple[str, ...]) -> tuple[PinValue, PinValue] | None:
            if len(words) != 5 or words[:3] != ("pair", str(start), str(end)):
                return None
            there, back = parse_value(words[3]), parse_value(words[4])
            whole = there is not None and back is not None and _believable((there, back))
            return (there, back) if there is not None and back is not None and whole else None

        return self._ask(f"pair {start} {end}", understand)

    def row(self, pin: int, among: Collection[int] | None = None) -> PinRow:
        """One pin against all others, or against those of `among`."""
        pins = self.identity.pins
        chosen = "" if among is None else " " + pin_set(set(among), pins)

        def understand(words: tuple[str, ...]) -> PinRow | None:
            found = parse_row(words, pins)
            if found is None or found[0] != pin or not _believable(found[1]):
                return None
            asked = set(range(1, pins + 1)) if among is None else set(among)
            told = {n for n, value in enumerate(found[1], 1) if not math.isnan(value.ohms)}
            return PinRow(*found) if told == asked - {pin} else None

        return self._ask(f"row {pin}{chosen}", understand)

    def scan(self, rows: Collection[int] | None = None) -> Iterator[PinRow]:
        """Every pin against every other, one row at a time as they come; `rows`: only these are wanted.

        Rows that were damaged or lost are asked for one by one at the end; each is given once.
        """
        pins = self.identity.pins
        missing = set(range(1, pins + 1)) if rows is None else set(rows)
        low: dict[int, set[int]] = {}  # by pin: the pins it was found joined to, in milliohms
        if len(missing) > pins // 2:
            for number, words in enumerate(self._lines("scan")):
                if number > 4 * pins:  # the same again and again, and never an end
                    break
                if not words:
                    continue
                _refuse(words)
                if words[0] == "end":
                    break
                found = parse_row(words, pins)
                if found is None or not _believable(found[1]):
                    continue
                row = PinRow(*found)
                low[row.pin] = {n for n, v in enumerate(row.values, 1) if v.range in (0, 1)}
                told = {n for n, v in enumerate(row.values, 1) if v.same}
                # What refers to a row that was lost, or to a pair that has changed since, is asked for anew.
                left = {n for n, v in enumerate(row.values, 1) if math.isnan(v.ohms)} - told
                if row.pin in missing and left == {row.pin} and all(row.pin in low.get(n, ()) for n in told):
                    missing.discard(row.pin)
                    yield row
            self._link.done()
        for pin in sorted(missing):
            yield self.row(pin)

    def apart(self, high: Collection[int]) -> bool:
        """Drives the pins of `high` against all others at once: True when nothing joins the two sets."""
        digits = pin_set(set(high), self.identity.pins)

        def understand(words: tuple[str, ...]) -> bool | None:
            whole = len(words) == 4 and words[:2] == ("apart", digits) and words[2] in ("yes", "no")
            return words[2] == "yes" if whole else None

        return self._ask(f"apart {digits}", understand)

    def reach(self, high: Collection[int]) -> frozenset[int]:
        """Feeds the pins of `high`; those that follow, themselves included."""
        digits = pin_set(set(high), self.identity.pins)

        def understand(words: tuple[str, ...]) -> frozenset[int] | None:
            whole = len(words) == 3 and words[:2] == ("reach", digits)
            found = pins_in(words[2], self.identity.pins) if whole else None
            return found if found is not None and found >= set(high) else None

        return self._ask(f"reach {digits}", understand)

    def calibration(self) -> tuple[RangeCalibration, ...]:
        """The calibration that the board keeps."""
        return tuple(self._ask_list("cal", _range_calibration))


def _range_calibration(words: tuple[str, ...]) -> RangeCalibration | None:
    if len(words) != 5 or words[0] != "cal":
        return None
    range_, scale = number_in(words[1], len(UP_TO_OHM) - 1), number_in(words[2])
    zero, ppm = number_in(words[3].removeprefix("-")), number_in(words[4], 1_000_000)
    if range_ is None or not scale or zero is None or ppm is None:
        return None
    return RangeCalibration(range_, scale / 256.0, -zero if words[3].startswith("-") else zero, ppm)


def _believable(values: Iterable[PinValue]) -> bool:
    """False where a reading lies outside what its range can show: such a line is damaged, whole or not."""
    return all(
        LEAST_OHM <= value.ohms <= BEYOND_RANGE * UP_TO_OHM[value.range]
        for value in values
        if value.range is not None
    )


_REASONS = {
    "argument": "does not know such a pin or number",
    "unknown": "does not know this request: its firmware is of another version, or it has no switches",
    "cannot": "cannot do this with what is connected: check the resistor, the pins and the range",
}


def _refuse(words: tuple[str, ...]) -> None:
    """Raises what an `error` line says."""
    if words[0] != "error":
        return
    volts = [number_in(word) for word in words[2:]] if words[1:2] == ("volts",) else []
    if len(volts) == 3 and None not in volts:
        pin, against, millivolts = (number or 0 for number in volts)
        raise StandingVoltageError(pin, against, millivolts / 1000.0)
    refused = "refuses: " + " ".join(words[1:])[:80]
    raise InstrumentError(f"the scanner {_REASONS.get(' '.join(words[1:2]), refused)}")
