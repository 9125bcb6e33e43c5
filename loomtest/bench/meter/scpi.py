"""A bench meter that speaks SCPI over a serial line: one question at a time, every answer checked.

Numbers are IEEE 488.2 numeric response data: NR1 an integer, NR2 with an explicit point, NR3 with a
point and an exponent. SCPI-99 volume 1 (7.2.1) sets 9.9E37 for infinity and 9.91E37 for not a number;
bench meters answer an over-range resistance with the former.
"""

from __future__ import annotations

import math
import re
from typing import Literal

from loomtest.bench.meter.protocol import (
    NO_METER_SHOWS,
    Event,
    Lines,
    Readability,
    Shown,
    Trouble,
    last_digit,
    range_shown,
)
from loomtest.bench.meter.settings import SerialSettings

# NR1 | NR2 | NR3; a leading + is optional in what meters really answer.
_NUMBER = re.compile(r"[+-]?(?:\d+\.\d*|\.\d+|\d+)(?:[Ee][+-]?\d+)?")
_ERROR = re.compile(r'([+-]?\d+)\s*,\s*"(.*)"')

_CONFIGURE = {
    "resistance": ("CONF:RES", "RES"),
    "resistance_4w": ("CONF:FRES", "FRES"),
    "voltage": ("CONF:VOLT:DC", "VOLT"),
    "diode": ("CONF:DIOD", "DIOD"),
}
_FUNCTION_EVERY_S = 5.0  # how often to ask whether somebody turned the meter to another function
Step = Literal["identify", "configure", "errors", "range-auto", "range", "read", "function"]


class ScpiMeter:
    """Identifies, sets the function, looks for errors, asks the range, then reads again and again."""

    def __init__(self, settings: SerialSettings) -> None:
        self._settings = settings
        self._configure, self._short = _CONFIGURE[settings.function]
        self._end = settings.terminator.encode("ascii")
        self._lines = Lines(settings.terminator, joined=False)
        self._readable = Readability(settings.rate, "a number or a SCPI answer")
        self.identity = ""
        self.restart()

    def restart(self) -> None:
        """Begin at the identity: an answer that was under way when the line broke is not waited for."""
        self._lines.restart()
        self._step: Step = "identify"
        self._outstanding: bytes | None = None
        self._asked_s = -math.inf
        self._function_asked_s = -math.inf
        self._asks_function = self._asks_range = True
        self._auto_range = True
        self._range_ohm: float | None = None

    def turn_to(self, function: str) -> None:
        """Set the meter to `resistance` (two- or four-wire, as its file says) or `diode`."""
        name = self._settings.function if function == "resistance" else function
        if _CONFIGURE[name] != (self._configure, self._short):
            self._configure, self._short = _CONFIGURE[name]
            self.restart()

    def due(self, now_s: float) -> bytes:
        """The next question, once the last is answered; the same one again when no answer came."""
        if self._outstanding is not None:
            if now_s - self._asked_s < self._settings.answer_within_s:
                return b""
            self._unanswered()
        elif self._step == "read" and now_s - self._asked_s < self._settings.poll_every_s:
            return b""
        if self._step == "configure":
            self._asked_s, self._step, self._outstanding = now_s, "errors", b"SYST:ERR?"
            return self._configure.encode() + self._end + b"SYST:ERR?" + self._end
        question = self._question(now_s)
        self._outstanding, self._asked_s = question, now_s
        return question + self._end

    def _question(self, now_s: float) -> bytes:
        if (
            self._step == "read"
            and self._asks_function
            and now_s - self._function_asked_s >= _FUNCTION_EVERY_S
        ):
            self._function_asked_s = now_s
            self._step = "function"
        return {
            "identify": b"*CLS;*IDN?",
            "errors": b"SYST:ERR?",
            "range-auto": f"{self._short}:RANG:AUTO?".encode(),
            "range": f"{self._short}:RANG?".encode(),
            "function": b"FUNC?",
        }.get(self._step, b"READ?")

    def _unanswered(self) -> None:
        self._outstanding = None
        if self._step in ("range-auto", "range"):
            self._asks_range, self._step = False, "read"
        elif self._step == "function":
            self._asks_function, self._step = False, "read"

    def feed(self, data: bytes) -> list[Event]:
        """What the answers mean."""
        found: list[Event] = []
        for line in self._lines.feed(data):
            event = self._answer(line)
            if event is not None:
                found.append(event)
        return found

    def _is_echo(self, text: str) -> bool:
        if text == self._configure:
            return True
        return self._outstanding is not None and text == self._outstanding.decode()

    def _answer(self, line: bytes) -> Event | None:
        text = line.decode("ascii", "replace")
        if self._outstanding is None or self._is_echo(text):
            return None  # an echo, or the late answer to a question that was given up
        handled, event = self._take(text)
        if handled:
            self._outstanding = None
            self._readable.good()
            return event
        return self._readable.bad(line)

    def _take(self, text: str) -> tuple[bool, Event | None]:
        """Whether the text answers the outstanding question, and what to tell."""
        step = self._step
        if step == "identify":
            if text.count(",") < 3:
                return False, None  # IEEE 488.2: four fields
            self.identity, self._step = text, "configure"
            return True, None
        if step == "errors":
            return self._take_errors(text)
        if step == "function":
            self._step = "read"
            return self._take_function(text)
        if _NUMBER.fullmatch(text) is None:
            return False, None
        value = float(text)
        if step == "range-auto":
            self._auto_range = value != 0
            self._step = "read" if self._auto_range else "range"
            return True, None
        if step == "range":
            self._range_ohm, self._step = range_shown(value), "read"
            return True, None
        return True, self._shown(value, text)

    def _take_errors(self, text: str) -> tuple[bool, Event | None]:
        match = _ERROR.fullmatch(text)
        if match is None:
            return False, None
        code = int(match[1])
        if code == 0:
            wants_range = self._asks_range and self._short in ("RES", "FRES")
            self._step = "range-auto" if wants_range else "read"
            return True, None
        return True, Trouble("instrument-error", f"the meter reports error {code}, {match[2]!r}")

    def _take_function(self, text: str) -> tuple[bool, Event | None]:
        name = text.strip("\"'").upper().removeprefix("SENS:").partition(":")[0]
        long_forms = {"RESISTANCE": "RES", "FRESISTANCE": "FRES", "VOLTAGE": "VOLT", "DIODE": "DIOD"}
        if _NUMBER.fullmatch(text):
            return False, None
        if long_forms.get(name, name) == self._short:
            return True, None
        self._step = "configure"
        return True, Trouble(
            "other-function",
            f"the meter was turned to {text.strip(chr(34))}: it is set back to {self._short}",
        )

    def _shown(self, value: float, text: str) -> Event:
        function: Literal["ohm", "volt"] = "ohm" if self._short in ("RES", "FRES") else "volt"
        if 9.895e37 <= value < 9.905e37:
            fixed = None if self._auto_range else self._range_ohm
            return Shown(math.inf, function, math.nan, fixed, text)
        step = last_digit(text)
        if not abs(value) < NO_METER_SHOWS or not math.isfinite(step):
            return Trouble("no-value", f"the meter answers {text}, which is no measured value")
        return Shown(value, function, step, None, text)
