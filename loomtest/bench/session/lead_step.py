"""The step with the leads: their tips held together, at the start and at the end of a sitting."""

from __future__ import annotations

from typing import Literal

from loomtest.bench.meter.leads import LeadZero
from loomtest.bench.meter.protocol import last_digit
from loomtest.bench.session.events import Asked, Bell, Event, Prompt, Said
from loomtest.readings.model import Instrument
from loomtest.readings.run import RunWriter
from loomtest.readings.values import bare_number
from loomtest.words.numbers import ohms, ohms_within, times
from loomtest.words.sitting import leads_end

When = Literal["start", "end"]


class LeadStep:
    """What is asked and said; the means go into the run. `live`: a meter is connected."""

    def __init__(self, writer: RunWriter, instrument: Instrument, live: bool) -> None:
        self._writer, self._instrument, self._live = writer, instrument, live
        self._zero = LeadZero()
        self._when: When = "start"
        self.start_ohm: float | None = None

    @property
    def ohm(self) -> float:
        """What the leads have, as read last."""
        return self._zero.ohm

    @property
    def uncertainty_ohm(self) -> float:
        """Its standard uncertainty."""
        return self._zero.uncertainty_ohm

    def ask(self, when: When) -> list[Event]:
        """The prompt."""
        self._when, self._zero = when, LeadZero()
        self._zero.touch_ohm = self._instrument.touch_ohms
        if when == "end":
            sentence = leads_end()
        elif self._live:
            sentence = f"Touch the two tips together {times(self._zero.wanted)}, lifting in between."
        else:
            sentence = "Touch the two tips together and type what the meter shows."
        about = ("The resistance of the leads is taken off every reading.", "Enter skips this.")
        return [Asked(Prompt("leads", sentence, about=about, expected="expected 0.1 to 0.5 Ω"))]

    def typed(self, text: str, value: float) -> tuple[list[Event], bool]:
        """One touch, as typed: one is enough. Raises ValueError as `touch` does."""
        self._zero.wanted = 1
        number = bare_number(text)
        printed = last_digit(text.strip().replace(",", ".")) if number is not None else 0.0
        stated = (each.resolution_ohms for each in self._instrument.ranges if abs(value) <= each.up_to_ohms)
        return self.touch(value, max(printed, next(stated, 0.0)))

    def touch(self, value: float, digit_ohm: float) -> tuple[list[Event], bool]:
        """One touch of the tips; True with the last of them. Raises ValueError for what cannot be leads."""
        if not self._zero.add(value, digit_ohm):
            left = self._zero.wanted - len(self._zero.values_ohm)
            told = Said(f"leads {ohms(value)}: lift, and touch again ({left} more)")
            return [Bell("taken"), told], False
        self._writer.note_leads(self._when, round(self.ohm, 7), round(self.uncertainty_ohm, 7))
        words = f"leads {ohms_within(self.ohm, self.uncertainty_ohm)}"
        if self._when == "start":
            self.start_ohm = self.ohm
            return [Bell("taken"), Said(words, "good")], True
        if self.start_ohm is not None:
            words += f"; change since the start {1e3 * (self.ohm - self.start_ohm):+.0f} mΩ"
        return [Said(words, "good")], True
