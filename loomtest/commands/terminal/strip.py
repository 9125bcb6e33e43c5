"""The live strip of the wiggle test: one line that moves, and a bell at each event."""

from __future__ import annotations

import math
import re
import shutil
import sys
from collections import deque
from statistics import median
from typing import TYPE_CHECKING

import typer

from loomtest.commands.terminal.text import shown

if TYPE_CHECKING:
    from loomtest.diagnosis.flexing import FlexRule

_LEVELS = "▁▂▃▄▅▆▇"
_OVER = "█"
_DRAW_EVERY_S = 0.1


class LiveStrip:
    """Values scroll from right to left; the newest stands beside them, and the events are counted.

    The count here is quick and rough, from the last hundred values: the analysis afterwards decides.
    """

    def __init__(self, quiet: bool, rule: FlexRule) -> None:
        self._quiet = quiet or not sys.stdout.isatty()
        self._rule = rule
        self._values: deque[float] = deque(maxlen=100)
        self._drawn_s = -math.inf
        self._level_s = -math.inf
        self._middle_ohm = self._noise_ohm = 0.0
        self._out = False
        self._events = 0
        self._said = ""

    def add(self, time_s: float, value_ohm: float) -> None:
        """The next value."""
        self._values.append(value_ohm)
        if self._quiet:
            return
        if time_s - self._level_s >= _DRAW_EVERY_S:  # a fast stream has thousands of values a second
            self._level_s = time_s
            self._level()
        if self._noise_ohm <= 0.0:
            return
        size = abs(value_ohm - self._middle_ohm) / self._noise_ohm
        if size > self._rule.enter_sigmas and not self._out:
            self._out = True
            self._events += 1
            typer.echo("\a", nl=False)
        elif size < self._rule.leave_sigmas:
            self._out = False

    def _level(self) -> None:
        import numpy as np

        from loomtest.diagnosis.flexing import robust_sigma

        finite = np.array([value for value in self._values if math.isfinite(value)])
        if len(finite) >= 10:
            self._middle_ohm = float(np.median(finite))
            self._noise_ohm = robust_sigma(finite)

    def say(self, text: str) -> None:
        """A sentence of the port's, on a line of its own."""
        alike = re.sub("[0-9]+", "0", text)  # a meter that sends another number each time says one thing
        if alike != self._said:
            self._said = alike
            typer.echo(("" if self._quiet else "\r") + shown(text), err=self._quiet)

    def draw(self, now_s: float, left_s: float) -> None:
        """Bring the line up to date."""
        if self._quiet or now_s - self._drawn_s < _DRAW_EVERY_S:
            return
        self._drawn_s = now_s
        width = shutil.get_terminal_size((80, 24)).columns - 1
        typer.echo("\r" + self.line(width, left_s), nl=False)

    def line(self, width: int, left_s: float) -> str:
        """The strip as text of exactly `width` columns."""
        newest = self._values[-1] if self._values else math.nan
        if math.isnan(newest):
            return "clip both leads on: waiting for a value below over-range".ljust(width)[:width]
        from loomtest.words.numbers import shown_ohms

        value = shown_ohms(newest)
        time_text = f"{left_s:.0f} s left" if math.isfinite(left_s) else "waiting"
        tail = f" {value:>10}  events {self._events}  {time_text}"
        room = max(5, width - len(tail))
        recent = list(self._values)[-room:]
        finite = [value for value in recent if math.isfinite(value)]
        low, high = (min(finite), max(finite)) if finite else (0.0, 1.0)
        middle = median(finite) if finite else 0.5
        span = max(high - low, 0.02 * abs(middle), 1e-4)
        marks = [
            _OVER if math.isinf(v) else _LEVELS[min(6, int(7 * (v - low) / span * 0.999))] for v in recent
        ]
        return ("".join(marks).rjust(room) + tail).ljust(width)[:width]

    def end(self) -> None:
        """Leave the line."""
        if not self._quiet:
            typer.echo("")
