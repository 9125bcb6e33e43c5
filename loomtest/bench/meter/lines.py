"""A meter that prints one line per reading, on its own or when asked, read by a regular expression."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import suppress

from loomtest.bench.meter.pattern import LinePattern
from loomtest.bench.meter.protocol import (
    NO_METER_SHOWS,
    Event,
    Lines,
    Readability,
    Shown,
    Trouble,
    last_digit,
    range_shown,
    scale_of,
)
from loomtest.bench.meter.settings import SerialSettings
from loomtest.readings.model import Range


class LineMeter:
    """Reads lines by `settings.pattern`; `ranges` tell on which range an over-range was shown.

    A meter without autorange stays on its range: the step of the last value it showed names the range,
    and an over-range is known to be above that.
    """

    def __init__(
        self, settings: SerialSettings, ranges: Sequence[Range] = (), autorange: bool = True
    ) -> None:
        self._settings = settings
        self._pattern = LinePattern(settings.pattern)
        self._lines = Lines(settings.terminator, joined=not settings.poll)
        self._readable = Readability(settings.rate, "lines of the pattern in [serial]")
        self._poll = settings.poll.encode("ascii")
        self._ranges = () if autorange else tuple(ranges)
        self._range_ohm: float | None = ranges[0].up_to_ohms if len(ranges) == 1 and not autorange else None
        self.restart()

    def restart(self) -> None:
        """Forget the half line and ask afresh."""
        self._lines.restart()
        self._asked_s = -math.inf
        self._answered = True

    def due(self, now_s: float) -> bytes:
        """The poll, when the last one is answered and its time is over, or when it went unanswered."""
        if not self._poll:
            return b""
        wait = self._settings.poll_every_s if self._answered else self._settings.answer_within_s
        if now_s - self._asked_s < wait:
            return b""
        self._asked_s, self._answered = now_s, False
        return self._poll

    def feed(self, data: bytes) -> list[Event]:
        """What the bytes show; unreadable lines are dropped, and told when nothing else comes."""
        found: list[Event] = []
        for line in self._lines.feed(data):
            event = self._read(line)
            if event is not None:
                found.append(event)
        return found

    def _read(self, line: bytes) -> Event | None:
        if self._poll:
            echo = self._poll.strip()
            if line == echo:
                return None  # an adapter that echoes what is sent
            if echo and line.startswith(echo):
                line = line[len(echo) :].strip()
            self._answered = True
        text = line.decode("utf-8", "replace")
        match = self._pattern.match(text)
        if match is None:
            return self._readable.bad(line)
        self._readable.good()
        unit = match.get("unit") or self._settings.unit
        function, factor = scale_of(unit)
        if function == "other":
            return Trouble(
                "other-function",
                f"the meter shows {text!r}, which is neither ohms nor volts: turn it to resistance (Ω)",
            )
        if match.get("overload"):
            return Shown(math.inf, function, math.nan, self._overload_range(match, factor), text)
        number = match.get("value", "").replace(" ", "").replace(",", ".")
        try:
            value, step = float(number) * factor, last_digit(number) * factor
        except ValueError:
            return self._readable.bad(line)
        if not abs(value) < NO_METER_SHOWS or not math.isfinite(step):
            return self._readable.bad(line)
        if function == "ohm":
            self._note_range(step)
        return Shown(value, function, step, None, text)

    def _note_range(self, step: float) -> None:
        for each in self._ranges:
            if math.isclose(each.resolution_ohms, step, rel_tol=1e-3):
                self._range_ohm = each.up_to_ohms

    def _overload_range(self, match: Mapping[str, str], factor: float) -> float | None:
        if match.get("range"):
            with suppress(ValueError):  # a pattern of the person's own may match what is no number
                return range_shown(float(match["range"].replace(",", ".")) * factor)
        return self._range_ohm
