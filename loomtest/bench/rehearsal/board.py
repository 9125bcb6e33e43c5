"""A pin-scanner to rehearse with: firmware_notes/firmware/commands.c and line.c in Python, behind a port.

It speaks the same protocol as the real board, so that everything above the port is exercised, and it needs no
compiler. `RehearsalPort` has the few methods of a serial port that the driver uses.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator

from loomtest.bench.rehearsal.analog import Analog
from loomtest.bench.rehearsal.measure import MILLIOHM, SAME, UNUSABLE, BoardMeter, Calibration
from loomtest.bench.rehearsal.network import Network
from loomtest.bench.scanner.protocol import check_of, pin_set, pins_in
from loomtest.bench.scanner.sockets import Sockets

FIRMWARE = "1.0"
LINE_LIMIT, WORD_LIMIT = 80, 8
APART_CODES = 960
_FORM = ((100, 2, "L"), (1000, 3, "R"), (100, 2, "R"), (1000, 3, "K"), (10, 1, "K"))
_UP_TO = ("1R19 100000", "30R 2400", "10K 2400", "100K 450", "4M 50")
Lines = Iterator[str]


class _RefusedError(Exception):
    """The request ends with an error line whose words these are."""


def _written(reading: tuple[int, int] | None) -> str:
    if reading is None:
        return ">"
    if reading == SAME:
        return "="
    range_, value = reading
    part, places, letter = _FORM[range_]
    whole, rest = divmod(abs(value), part)
    return f"{'-' if value < 0 else ''}{whole}{letter}{rest:0{places}}/{range_}"


class Board:
    """The firmware's commands. `answers` yields the bodies of answer lines, one after the other."""

    def __init__(self, network: Network, switches: bool = True) -> None:
        self.meter = BoardMeter(Analog(network), switches)
        self.pins, self.switches = network.pins, switches
        self.first_range = MILLIOHM if switches else MILLIOHM + 1
        self.before_row: Callable[[bool], None] = lambda watched: None  # a rehearsed loom may be flexed here
        self._verbs: dict[str, Callable[[list[str]], Lines]] = {
            "who": self._who,
            "range": self._range,
            "test": self._test,
            "volts": self._volts,
            "pair": self._pair,
            "row": self._row,
            "scan": self._scan,
            "cal": self._cal,
            "stop": lambda words: iter(("stop",)),
        }
        if switches:
            self._verbs |= {"apart": self._apart, "reach": self._reach}

    def answers(self, words: list[str]) -> Lines:
        """The bodies of the answer to one request, without tag and check."""
        verb = self._verbs.get(words[0])
        if verb is None:
            yield "error unknown"
            return
        if words[0] in ("who", "range", "test", "volts", "scan", "stop") and len(words) != 1:
            yield "error argument"
            return
        try:
            yield from verb(words)
        except _RefusedError as refused:
            yield f"error {refused}"
        self.meter.release()

    # ---- reading arguments ----

    def _number(self, words: list[str], index: int, low: int, high: int) -> int:
        text = words[index] if index < len(words) else ""
        if not (text.isascii() and text.isdecimal() and len(text) <= 9 and low <= int(text) <= high):
            raise _RefusedError("argument")
        return int(text)

    def _two_pins(self, words: list[str], index: int) -> tuple[int, int]:
        a = self._number(words, index, 1, self.pins) - 1
        b = self._number(words, index + 1, 1, self.pins) - 1
        if a == b:
            raise _RefusedError("argument")
        return a, b

    def _set(self, text: str) -> frozenset[int]:
        found = pins_in(text, self.pins)
        if found is None:
            raise _RefusedError("argument")
        return frozenset(pin - 1 for pin in found)

    # ---- standing voltage ----

    def _check_pair(self, pin: int, against: int) -> None:
        mv = self.meter.standing_mv(pin, against)
        if mv:
            raise _RefusedError(f"volts {pin + 1} {against + 1} {mv}")

    def _check_pin(self, pin: int, both: bool) -> None:
        for other in range(self.pins):
            if other != pin:
                self._check_pair(other, pin)
                if both:
                    self._check_pair(pin, other)

    def _check_all(self) -> None:
        for pin in range(self.pins):
            self._check_pin(pin, both=False)

    # ---- requests ----

    def _who(self, words: list[str]) -> Lines:
        known = all(self.meter.calibration.ppm[self.first_range :])
        kind = "switches" if self.switches else "plain"
        yield f"who 1 {FIRMWARE} {self.pins} {kind} {'calibrated' if known else 'uncalibrated'}"

    def _range(self, words: list[str]) -> Lines:
        for index in range(self.first_range, 5):
            yield f"range {index} {_UP_TO[index]}"
        yield f"end {5 - self.first_range}"

    def _test(self, words: list[str]) -> Lines:
        self._check_all()
        bad = {pin + 1 for pin in range(self.pins) if self.meter.pin_is_bad(pin)}
        noise = self.meter.noise()
        self.meter.measure_baseline()
        right = not bad and self.meter.baseline <= 30 and noise <= 400
        yield f"test {'ok' if right else 'bad'} {self.meter.baseline} {noise} {pin_set(bad, self.pins)}"

    def _volts(self, words: list[str]) -> Lines:
        self._check_all()
        yield "volts none"

    def _pair(self, words: list[str]) -> Lines:
        if len(words) != 3:
            raise _RefusedError("argument")
        a, b = self._two_pins(words, 1)
        self._check_pair(a, b)
        self._check_pair(b, a)
        self.meter.measure_baseline()
        there, back = self.meter.measure(a, b), self.meter.measure(b, a)
        yield f"pair {a + 1} {b + 1} {_written(there)} {_written(back)}"

    def _row_line(self, pin: int, among: frozenset[int] | None, in_scan: bool = False) -> str:
        self.before_row(among is not None)
        cells = []
        for other in range(self.pins):
            asked = other != pin and (among is None or other in among)
            mirrored = in_scan and other < pin
            cells.append(_written(self.meter.measure(pin, other, mirrored)) if asked else ".")
        return f"row {pin + 1} {','.join(cells)}"

    def _row(self, words: list[str]) -> Lines:
        if len(words) not in (2, 3):
            raise _RefusedError("argument")
        pin = self._number(words, 1, 1, self.pins) - 1
        among = self._set(words[2]) if len(words) == 3 else None
        self._check_pin(pin, both=True)
        self.meter.measure_baseline()
        yield self._row_line(pin, among)

    def _scan(self, words: list[str]) -> Lines:
        started_s = self.meter.t_s
        self._check_all()
        self.meter.measure_baseline()
        for pin in range(self.pins):
            yield self._row_line(pin, None, in_scan=True)
        yield f"end {self.pins} {round((self.meter.t_s - started_s) * 1000)}"

    def _apart(self, words: list[str]) -> Lines:
        if len(words) != 2:
            raise _RefusedError("argument")
        high = self._set(words[1])
        self._check_all()
        code = self.meter.apart(high)
        yield f"apart {words[1]} {'yes' if code >= APART_CODES else 'no'} {code}"

    def _reach(self, words: list[str]) -> Lines:
        if len(words) != 2:
            raise _RefusedError("argument")
        high = self._set(words[1])
        self._check_all()
        yield f"reach {words[1]} {pin_set({pin + 1 for pin in self.meter.reach(high)}, self.pins)}"

    # ---- calibration ----

    def _cal(self, words: list[str]) -> Lines:
        if words[1:2] == ["set"]:
            self._cal_set(words)
        elif words[1:2] == ["zero"]:
            self._cal_zero(words)
        elif words[1:] == ["clear"]:
            self.meter.calibration = Calibration()
        elif len(words) != 1:
            raise _RefusedError("argument")
        kept = self.meter.calibration
        for index in range(self.first_range, 5):
            yield f"cal {index} {kept.scale[index]} {kept.zero[index] if index < 2 else 0} {kept.ppm[index]}"
        yield f"end {5 - self.first_range}"

    def _mean_in(self, range_: int, a: int, b: int) -> int:
        self.meter.measure_baseline()
        values = []
        for _ in range(8):
            values.append(self.meter.measure_in(range_, a, b))
            if values[-1] == UNUSABLE:
                raise _RefusedError("cannot")
        total = sum(values)
        return (abs(total) + 4) // 8 * (-1 if total < 0 else 1)

    def _cal_set(self, words: list[str]) -> None:
        if len(words) != 7:
            raise _RefusedError("argument")
        range_ = self._number(words, 2, self.first_range, 4)
        known, ppm = self._number(words, 3, 1, 100_000_000), self._number(words, 4, 1, 65535)
        a, b = self._two_pins(words, 5)
        self._check_pair(a, b)
        self._check_pair(b, a)
        mean = self._mean_in(range_, a, b)
        kept = self.meter.calibration
        scale = (kept.scale[range_] * known + mean // 2) // mean if mean > 0 else 0
        if not kept.scale[range_] // 2 <= scale <= 2 * kept.scale[range_]:
            raise _RefusedError("cannot")
        kept.scale[range_], kept.ppm[range_] = scale, ppm

    def _cal_zero(self, words: list[str]) -> None:
        if len(words) != 4:
            raise _RefusedError("argument")
        a, b = self._two_pins(words, 2)
        self._check_pair(a, b)
        self._check_pair(b, a)
        for range_ in range(self.first_range, 2):
            mean = self._mean_in(range_, a, b) + self.meter.calibration.zero[range_]
            if abs(mean) > 2000:
                raise _RefusedError("cannot")
            self.meter.calibration.zero[range_] = mean


class RehearsalPort:
    """The board behind the methods of a serial port that the driver uses.

    `line_time`: seconds that one answer line takes, so that a rehearsal is no faster than the bench.
    """

    def __init__(self, board: Board, line_time: float = 0.0) -> None:
        self.board, self.timeout = board, 0.1
        self.plug_in: Callable[[Sockets], None] = lambda part: (
            None
        )  # a rehearsal changes its loom's plugs here
        self._line_time = line_time
        self._typed = bytearray()
        self._requests: deque[tuple[str, list[str]] | None] = deque()  # None: a damaged line
        self._answers: Lines = iter(())
        self._tag = "--"
        self._out = bytearray(_framed("--", f"boot 1 {board.pins}"))

    def write(self, data: bytes) -> int:
        """Takes the bytes of requests; a whole new request stops the answer in hand."""
        self._typed += data
        *lines, rest = self._typed.replace(b"\r", b"\n").split(b"\n")
        self._typed = bytearray(rest)
        self._requests += [_request(bytes(line)) for line in lines if line]
        return len(data)

    @property
    def in_waiting(self) -> int:
        """Bytes that `read` gives at once."""
        if not self._out:
            self._work()
        return len(self._out)

    def read(self, size: int = 1) -> bytes:
        """At most `size` bytes; waits up to `timeout` seconds for the first."""
        if not self.in_waiting and self.timeout:
            time.sleep(min(self.timeout, 0.01))
        taken = bytes(self._out[:size])
        del self._out[:size]
        return taken

    def close(self) -> None:
        """Nothing to let go."""

    def _work(self) -> None:
        while self._requests:
            request = self._requests.popleft()
            if request is None:
                self._out += _framed("--", "error damaged")
            else:
                self._tag, words = request
                self._answers = self.board.answers(words)
        body = next(self._answers, None)
        if body is not None:
            time.sleep(self._line_time)
            self._out += _framed(self._tag, body)


def _framed(tag: str, body: str) -> bytes:
    text = f":{tag} {body}".encode("ascii")
    return text + b"*" + check_of(text).encode("ascii") + b"\r\n"


def _request(line: bytes) -> tuple[str, list[str]] | None:
    """(tag, words) of a request line; None when it is damaged."""
    if len(line) > LINE_LIMIT or any(byte < 0x20 or byte > 0x7E for byte in line):
        return None
    if line[:1] != b"@":
        if not b"a" <= line[:1] <= b"z" or b"*" in line:
            return None
        tag, body = "--", line.decode("ascii")
    else:
        framed, trailer = line[:-7], line[-7:]
        if len(line) < 12 or trailer[:1] != b"*" or trailer[1:] != check_of(framed).encode("ascii"):
            return None
        tag, body = framed[1:3].decode("ascii"), framed[4:].decode("ascii")
        if framed[3:4] != b" " or not set(tag) <= set("0123456789ABCDEF"):
            return None
    return tag, body.split(" ", WORD_LIMIT - 1)
