"""The guided session: which two points, what came of it, and what then. No printing, no clock, no port.

Whoever drives it hands in what the meter showed, keys and typed text, each with a time, and shows the events
that come back. Every reading is on disk (`RunWriter.record`) before the event that tells of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

from loomtest.bench.meter.capture import Capture
from loomtest.bench.meter.leads import LeadZero
from loomtest.bench.meter.protocol import Shown, last_digit
from loomtest.bench.plan.plan import Step
from loomtest.bench.session.at_once import AtOnce
from loomtest.bench.session.by_hand import pair_of, step_between, typed_value
from loomtest.bench.session.events import (
    Asked,
    Bell,
    Ended,
    Event,
    Prompt,
    Recorded,
    Said,
    TakenBack,
    TurnTo,
    probe_prompt,
)
from loomtest.harness.model import Harness
from loomtest.readings.model import Instrument, Quantity
from loomtest.readings.run import Reading, RunWriter
from loomtest.readings.values import bare_number
from loomtest.words.numbers import ohms

Key = Literal["enter", "pedal", "back", "skip", "over-range", "stop"]
WARN_S = 2.0  # the bell before an open is taken by time


class NextStep(Protocol):
    """What the session asks for the order of the probings; `bench.order.Order` is one."""

    def next(self) -> Step | None:
        """The next probing."""

    def skip(self, start: str, end: str) -> None:
        """Leave this pair out."""


@dataclass(frozen=True, slots=True)
class Choices:
    """`live`: a meter is connected. `open_after_s`: an open is taken after so long (None: by key only)."""

    live: bool = True
    open_after_s: float | None = None


@dataclass
class _Doubt:
    row: int
    value: float


class Session:
    """One sitting; `begin` first, then `shown`, `key`, `typed`, `tick` in any order until Ended comes."""

    def __init__(
        self, harness: Harness, writer: RunWriter, order: NextStep, instrument: Instrument, choices: Choices
    ) -> None:
        self._harness, self._writer, self._order, self._choices = harness, writer, order, choices
        self._instrument = instrument
        self._glance = AtOnce(harness, instrument)
        self._ohms, self._volts = Capture(instrument), Capture(None)
        self._stage: Literal["leads-start", "probe", "leads-end", "ended"] = "probe"
        self._zero = LeadZero()
        self._start_zero_ohm: float | None = None
        self._step: Step | None = None
        self._doubt: _Doubt | None = None
        self._taken: list[tuple[int, Step]] = []
        self._note = ""
        self._last_text = ""
        self._live: Shown | None = None
        self._open_since_s = math.inf
        self._warned = self._function_said = False
        self._stop_status: Literal["complete", "stopped"] = "complete"

    @property
    def state(self) -> str:
        """Where the capture stands: open, touching, settling, taken."""
        return self._capture.state

    @property
    def live(self) -> Shown | None:
        """What the meter showed last."""
        return self._live

    @property
    def step(self) -> Step | None:
        """The probing that is asked for; None while the leads are zeroed."""
        return self._step

    @property
    def lead_ohm(self) -> float:
        """What the leads have, as far as it is known."""
        return self._glance.lead_ohm

    @property
    def note(self) -> str:
        """The note that goes with the next reading."""
        return self._note

    @property
    def _capture(self) -> Capture:
        return self._volts if self._step is not None and self._step.quantity == "diode" else self._ohms

    def begin(self) -> list[Event]:
        """The first prompt: the leads with their tips together on a two-wire meter, else the first pair."""
        if self._instrument.method == "four-wire":
            return self._advance()
        return self._ask_leads("leads-start")

    def set_note(self, text: str) -> None:
        """A note for the next reading."""
        self._note = text.strip()

    # -- what comes in -----------------------------------------------------------------------------

    def shown(self, now_s: float, shown: Shown) -> list[Event]:
        """The meter showed something."""
        wanted = "volt" if self._capture is self._volts else "ohm"
        if shown.function != wanted:
            self._live = None
            if self._function_said:
                return []
            self._function_said = True
            to = "its diode test" if wanted == "volt" else "resistance (Ω)"
            return [Said(f"the meter shows {shown.text}: turn it to {to}; nothing is taken", "doubt")]
        self._function_said = False
        self._live = shown
        if math.isfinite(shown.value):
            self._open_since_s = math.inf
            self._warned = False
        elif math.isinf(self._open_since_s):
            self._open_since_s = now_s
        events: list[Event] = []
        for move in self._capture.feed(now_s, shown):
            if move.what == "taken":
                events += self._settled(now_s, move.value_ohm, shown)
            elif move.what == "fingers":
                words = f"{ohms(move.value_ohm)} may be you: hands off the tips, again"
                events += [Said(words + ", or press the space bar to keep it", "doubt"), Bell("bad")]
            elif move.what == "shaky":
                events.append(
                    Said("the contact does not hold still: press harder, or clean the tip", "doubt")
                )
        return events

    def tick(self, now_s: float) -> list[Event]:
        """Time passed: an open is taken when it has lasted as long as was asked for."""
        after = self._choices.open_after_s
        if after is None or self._stage != "probe" or self._step is None or self._live is None:
            return []
        lasted = now_s - self._open_since_s
        if lasted >= after:
            return self._record(now_s, "OL", math.inf, self._live)
        if lasted >= after - WARN_S and not self._warned:
            self._warned = True
            return [Bell("soon")]
        return []

    def key(self, now_s: float, key: Key) -> list[Event]:
        """A key or the pedal."""
        if self._stage in ("leads-start", "leads-end"):
            return self._key_at_leads(key)
        if key == "stop":
            return self._finish("stopped")
        if key == "back":
            return self._take_back()
        if self._step is None:
            return []
        if key == "skip":
            self._order.skip(self._step.start, self._step.end)
            return self._advance()
        if key == "enter" and self._doubt is not None:
            return [Said("kept"), *self._advance()]
        return self._by_key(now_s)

    def typed(self, now_s: float, text: str) -> list[Event]:
        """A value typed by hand: `0.42`, `ol`, or `.` for the same as last."""
        text = text.strip()
        if text == ".":
            if not self._last_text:
                return [Said("no value came before this one", "doubt")]
            text = self._last_text
        elif text.casefold() == "o":
            text = "OL"
        quantity = (
            Quantity.DIODE
            if self._step is not None and self._step.quantity == "diode"
            else Quantity.RESISTANCE
        )
        try:
            value = typed_value(text, quantity)
            if self._stage in ("leads-start", "leads-end"):
                return self._lead_touch(value, self._typed_step(text, value), wanted=1)
        except ValueError as error:
            return [Said(f"not taken: {error}", "bad"), Bell("bad")]
        if self._step is None:
            return []
        return self._record(now_s, text, value, None)

    def _typed_step(self, text: str, value: float) -> float:
        """The worth of the last digit typed, as far as text and instrument tell."""
        number = bare_number(text)
        printed = last_digit(text.strip().replace(",", ".")) if number is not None else 0.0
        stated = (each.resolution_ohms for each in self._instrument.ranges if abs(value) <= each.up_to_ohms)
        return max(printed, next(stated, 0.0))

    def other_pair(self, text: str) -> list[Event]:
        """Two points typed by the person, to be read next."""
        try:
            start, end = pair_of(text, self._harness)
        except ValueError as error:
            return [Said(f"not a pair: {error}", "bad")]
        return self._ask(step_between(self._harness, start, end))

    # -- readings ----------------------------------------------------------------------------------

    def _settled(self, now_s: float, value: float, shown: Shown) -> list[Event]:
        if self._stage in ("leads-start", "leads-end"):
            try:
                return self._lead_touch(value, shown.step, wanted=self._zero.wanted)
            except ValueError as error:
                return [Said(f"{ohms(value)} is {error}", "doubt"), Bell("bad")]
        if self._stage != "probe" or self._step is None:
            return []
        return self._record(now_s, f"{value:.10g}", value, shown)

    def _by_key(self, now_s: float) -> list[Event]:
        if self._live is None:
            return [Said("type the value, or ol for over-range")]
        if math.isinf(self._live.value):
            return self._record(now_s, "OL", math.inf, self._live)
        if self._live.value >= self._ohms.auto_below_ohm and self._capture is self._ohms:
            return self._record(now_s, f"{self._live.value:.10g}", self._live.value, self._live)
        return [Said("not steady yet: hold the tips still until the bell", "doubt")]

    def _record(self, now_s: float, text: str, value: float, shown: Shown | None) -> list[Event]:
        step = self._step
        assert step is not None
        reading = Reading(
            step.start,
            step.end,
            text,
            quantity=self._quantity(step),
            range_ohms=shown.range_ohm if shown is not None and math.isinf(value) else None,
            bonded_end=step.bonded,
            note=self._note,
        )
        try:
            row = self._writer.record(reading)
        except ValueError as error:
            return [Said(f"not taken: {error}", "bad"), Bell("bad")]
        self._taken.append((row, step))
        self._note, self._last_text = "", text
        self._open_since_s, self._warned = (now_s if math.isinf(value) else math.inf), False
        glance = self._glance.look(step, value)
        good = glance.good and not glance.hands_off
        events: list[Event] = [Recorded(row, step.start, step.end, text, good, glance.text)]
        return events + self._after(row, value, good, glance.text)

    def _after(self, row: int, value: float, good: bool, text: str) -> list[Event]:
        """What follows a reading that is on disk: the next pair, or the same one again."""
        before, self._doubt = self._doubt, None
        events: list[Event] = []
        if good:
            if before is not None:
                back = self._writer.withdraw(before.row, "touched again: the first touch was poor")
                events.append(TakenBack(back, before.row))
            return [*events, Bell("taken"), *self._advance()]
        if before is not None and self._agree(before.value, value):
            return [Said("the same twice: kept", "bad"), Bell("taken"), *self._advance()]
        self._doubt = _Doubt(row, value)
        return [Said(f"{text}: touch again or press Enter to keep", "bad"), Bell("bad")]

    def _agree(self, one: float, two: float) -> bool:
        if math.isinf(one) or math.isinf(two):
            return one == two
        return abs(one - two) <= max(0.1 * max(abs(one), abs(two)), self._glance.doubt_ohm(two))

    def _quantity(self, step: Step) -> Quantity:
        if step.quantity == "diode":
            return Quantity.DIODE
        four_wire = self._instrument.method == "four-wire"
        return Quantity.RESISTANCE_4W if four_wire else Quantity.RESISTANCE

    def _take_back(self) -> list[Event]:
        if not self._taken:
            return [Said("nothing was taken in this sitting", "doubt")]
        row, step = self._taken.pop()
        back = self._writer.withdraw(row, "taken back at the bench")
        return [TakenBack(back, row), *self._ask(step)]

    # -- prompts -----------------------------------------------------------------------------------

    def _advance(self) -> list[Event]:
        self._doubt = None
        step = self._order.next()
        if step is None:
            return self._finish("complete")
        return self._ask(step)

    def _ask(self, step: Step) -> list[Event]:
        before, self._step, self._stage, self._doubt = self._step, step, "probe", None
        self._open_since_s, self._warned = math.inf, False
        expected = self._glance.prompt_text(step)
        self._ohms.expect(self._glance.most_ohm(step))
        events: list[Event] = []
        quantity = step.quantity
        if quantity != (before.quantity if before is not None else "resistance"):
            events.append(TurnTo("diode" if quantity == "diode" else "resistance"))
        return [*events, Asked(probe_prompt(self._harness, step, expected, before))]

    def _ask_leads(self, stage: Literal["leads-start", "leads-end"]) -> list[Event]:
        self._stage, self._zero, self._step = stage, LeadZero(), None
        self._zero.touch_ohm = self._instrument.touch_ohms
        if self._choices.live:
            sentence = f"Hold the two tips together, {self._zero.wanted} times, apart in between."
        else:
            sentence = "Hold the two tips together and type what the meter shows."
        about = ("What the leads have themselves is taken off every reading.", "Enter leaves it out.")
        return [Asked(Prompt("leads", sentence, about=about, expected="expected 0.1 to 0.5 Ω"))]

    def _lead_touch(self, value: float, resolution: float, wanted: int) -> list[Event]:
        self._zero.wanted = wanted
        if not self._zero.add(value, resolution):
            left = self._zero.wanted - len(self._zero.values_ohm)
            return [Bell("taken"), Said(f"leads {ohms(value)}; {left} more: apart, and together again")]
        when = "start" if self._stage == "leads-start" else "end"
        ohm, uncertainty = self._zero.ohm, self._zero.uncertainty_ohm
        self._writer.note_leads(when, round(ohm, 7), round(uncertainty, 7))
        words = f"leads {ohms(ohm)}, standard uncertainty {ohms(uncertainty)}"
        if when == "start":
            self._start_zero_ohm = ohm
            self._glance.lead_ohm, self._glance.lead_known = ohm, True
            return [Bell("taken"), Said(words, "good"), *self._advance()]
        if self._start_zero_ohm is not None:
            words += f"; drift since the start {1e3 * (ohm - self._start_zero_ohm):+.0f} mΩ"
        return [Said(words, "good"), *self._end()]

    def _key_at_leads(self, key: Key) -> list[Event]:
        if key == "stop" or (key in ("enter", "skip") and self._stage == "leads-end"):
            if key == "stop":
                self._stop_status = "stopped" if self._stage == "leads-start" else self._stop_status
            return self._end()
        if key in ("enter", "skip"):
            return [Said("leads left out: they are estimated from the run"), *self._advance()]
        return [Said("this step is taken by itself when the tips rest together; Enter leaves it out")]

    def _finish(self, status: Literal["complete", "stopped"]) -> list[Event]:
        self._stop_status = status
        if self._taken and self._start_zero_ohm is not None:
            return self._ask_leads("leads-end")
        return self._end()

    def _end(self) -> list[Event]:
        self._stage, self._step = "ended", None
        return [Bell("done"), Ended(self._stop_status)]
