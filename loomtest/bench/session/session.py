"""The guided session: which two points, what came of it, and what then. No printing, no clock, no port.

Whoever drives it hands in what the meter showed, keys and typed text, each with a time, and shows the events
that come back. Every reading is on disk (`RunWriter.record`) before the event that tells of it.
"""

from __future__ import annotations

import math
from typing import Literal

from loomtest.bench.meter.capture import Capture
from loomtest.bench.meter.protocol import Shown
from loomtest.bench.plan.plan import Step
from loomtest.bench.session.at_once import AtOnce
from loomtest.bench.session.by_hand import pair_of, quantity_of, step_between, typed_value
from loomtest.bench.session.choices import Choices as Choices
from loomtest.bench.session.corrections import Listed, listed, say_again, step_of, take_back
from loomtest.bench.session.doubts import DoubtfulReading, Doubts
from loomtest.bench.session.events import (
    Asked,
    Bell,
    Ended,
    Event,
    Question,
    Recorded,
    Said,
    TakenBack,
    WhatHappened,
    prompt_of,
)
from loomtest.bench.session.in_a_row import take_row, values_in
from loomtest.bench.session.lead_step import LeadStep
from loomtest.bench.session.order import NextStep
from loomtest.bench.session.turning import Turning
from loomtest.harness.model import Harness
from loomtest.readings.model import Instrument
from loomtest.readings.run import Reading, RunWriter
from loomtest.words.numbers import ohms
from loomtest.words.place import what_to_type
from loomtest.words.sitting import (
    REASONS,
    instead_of,
    kept_as_jumping,
    out_of_proportion,
    what_happened,
    which_of_them,
)

Key = Literal["enter", "pedal", "back", "skip", "over-range", "stop"]
WARN_S = 2.0  # the bell before an open is taken by time


class Session:
    """One sitting; `begin` first, then `shown`, `key`, `typed`, `tick` in any order until Ended comes."""

    def __init__(
        self, harness: Harness, writer: RunWriter, order: NextStep, instrument: Instrument, choices: Choices
    ) -> None:
        self._harness, self._writer, self._order, self._choices = harness, writer, order, choices
        self._instrument = instrument
        self._glance = AtOnce(harness, instrument)
        self._turning = Turning(instrument)
        self._stage: Literal["leads-start", "probe", "leads-end", "ended"] = "probe"
        self._leads = LeadStep(writer, instrument, choices.live)
        self._step: Step | None = None
        self._doubts = Doubts(self._glance.doubt_ohm)
        self._question: Question | None = None
        self._unsure = ""  # a typed value out of all proportion, until it is typed again or kept by Enter
        self._row: tuple[Step, ...] = ()
        self._steps: dict[int, Step] = {}  # by the row that was recorded for it
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
    def question(self) -> Question | None:
        """The question that stands; nothing is taken until it is answered."""
        return self._question

    @property
    def _capture(self) -> Capture:
        return self._turning.capture(self._step)

    def begin(self) -> list[Event]:
        """The first prompt: the leads with their tips together on a two-wire meter, else the first pair."""
        four_wire = self._instrument.method == "four-wire"
        return self._advance() if four_wire else self._ask_leads("leads-start")

    def set_note(self, text: str) -> None:
        """A note for the next reading."""
        self._note = text.strip()

    def meter_went(self, back: bool) -> None:
        """The meter's cable was pulled, or is back: it stands in the run's record."""
        self._writer.note_meter(back)

    # -- what comes in -----------------------------------------------------------------------------

    def shown(self, now_s: float, shown: Shown) -> list[Event]:
        """The meter showed something."""
        if self._step is not None and self._step.typed:
            self._live = None
            return []
        wanted = "volt" if self._capture is not self._turning.ohms else "ohm"
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
                words = f"{ohms(move.value_ohm)} may be you: fingers off the tips, then touch again"
                events += [Said(words + ", or press the space bar to keep it", "doubt"), Bell("bad")]
            elif move.what == "shaky":
                words = "the contact does not hold still: press harder, or clean the tip"
                events.append(Said(words, "doubt"))
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
        if key == "back":
            return self.take_back()
        if self._stage in ("leads-start", "leads-end"):
            return self._key_at_leads(key)
        if key == "stop":
            return self._finish("stopped")
        if self._step is None:
            return []
        if self._question is not None:
            # with both hands on the probes the pedal says it: the touch before was a poor one
            return self.answer("poor-touch") if self._choices.live else [Said(which_of_them(), "doubt")]
        if key == "enter" and self._unsure:
            return self._record(now_s, self._unsure, self._number(self._unsure), None)
        if key == "skip":
            self._order.skip(self._step)
            return self._advance()
        if key == "enter" and self._doubts.readings:
            return [Said("kept"), *self._advance()]
        return self._by_key(now_s)

    def typed(self, now_s: float, text: str) -> list[Event]:
        """A value typed by hand: `0.42`, `ol`, or `.` for the same as last; or those of a row in one line."""
        parts = values_in(text, 1 + len(self._row))
        return take_row(parts, lambda part: self._typed(now_s, part))

    def _typed(self, now_s: float, text: str) -> list[Event]:
        text = text.strip()
        if self._question is not None:
            chosen = dict(zip("123", self._question.choices, strict=True)).get(text[:1])
            return self.answer(chosen) if chosen else [Said(which_of_them(), "doubt")]
        if words := instead_of(text):
            return [Said(words, "doubt")]
        if text == ".":
            if not self._last_text:
                return [Said("no value came before this one", "doubt")]
            text = self._last_text
        elif text.casefold() == "o":
            text = "OL"
        try:
            text = self._turning.typed(text, self._step)
            value = self._number(text)
            if self._stage in ("leads-start", "leads-end"):
                return self._lead_touch(self._leads.typed(text, value))
        except ValueError as error:
            return [Said(f"not taken: {error}", "bad"), Bell("bad")]
        if self._step is None:
            return []
        if text != self._unsure and self._glance.out_of_proportion(self._step, value):
            self._unsure = text
            return [Said(out_of_proportion(text, self._glance.expected_text(self._step)), "doubt")]
        return self._record(now_s, text, value, None)

    def _number(self, text: str) -> float:
        return typed_value(text, quantity_of(self._step, self._instrument))

    def answer(self, what: WhatHappened) -> list[Event]:
        """What the readings were that did not fit. The first two take them back; they stay in the record."""
        asked, self._question = self._question, None
        if asked is None:
            return []
        step = self._step
        events: list[Event] = []
        if what == "jumps" and step is not None:
            events.append(Said(kept_as_jumping(step.start, step.end), "bad"))
        elif what != "jumps":
            for row in asked.rows:
                events.append(TakenBack(take_back(self._writer, row, REASONS[what]), row))
        return [*events, *self._advance()]

    def readings(self) -> list[Listed]:
        """Every reading of the run so far, those that were taken back among them."""
        return listed(self._writer)

    def say_again(self, row: int, text: str) -> list[Event]:
        """The right value of an earlier reading of the run; that one is taken back."""
        try:
            back, again = say_again(self._writer, row, text.strip())
        except ValueError as error:
            return [Said(f"not taken: {error}", "bad")]
        reading = self._writer.reading_in(again)
        step = self._steps[again] = self._step_of(row)
        value = typed_value(str(reading.value), reading.quantity)
        glance = self._glance.look(step, value, reading.current_a)
        good = glance.good and not glance.hands_off
        told = Recorded(again, step.start, step.end, str(reading.value), good, glance.text)
        return [TakenBack(back, row), told, *self._after_correction()]

    def take_back(self, row: int | None = None) -> list[Event]:
        """Take back a reading of the run, the last that stands where none is named, and ask for it again."""
        if row is None:
            row = next((one.row for one in reversed(self.readings()) if not one.withdrawn), None)
        if row is None:
            return [Said("nothing was taken yet", "doubt")]
        try:
            back = take_back(self._writer, row)
        except ValueError as error:
            return [Said(f"not taken back: {error}", "bad")]
        again = [] if self._stage == "leads-start" else self._ask(self._step_of(row))
        return [TakenBack(back, row), *again]

    def _step_of(self, row: int) -> Step:
        """The step that a row was recorded for; rows of an earlier sitting have none of their own."""
        return self._steps.get(row) or step_of(self._harness, self._writer, row)

    def _after_correction(self) -> list[Event]:
        """What is asked now: the same, unless the correction changed what comes next."""
        step = self._order.next() if self._stage != "leads-start" else None
        if step is not None:
            return self._ask(step)
        return self._finish("complete") if self._stage == "probe" else []

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
                return self._lead_touch(self._leads.touch(value, shown.step))
            except ValueError as error:
                return [Said(f"{ohms(value)} is {error}", "doubt"), Bell("bad")]
        if self._stage != "probe" or self._step is None or self._question is not None:
            return []
        return self._record(now_s, f"{value:.10g}", value, shown)

    def _by_key(self, now_s: float) -> list[Event]:
        if self._live is None:
            return [Said(what_to_type(self._step.quantity if self._step is not None else ""))]
        if math.isinf(self._live.value):
            return self._record(now_s, "OL", math.inf, self._live)
        if self._live.value >= self._turning.ohms.auto_below_ohm and self._capture is self._turning.ohms:
            return self._record(now_s, f"{self._live.value:.10g}", self._live.value, self._live)
        return [Said("not steady yet: hold the tips still until the bell", "doubt")]

    def _record(self, now_s: float, text: str, value: float, shown: Shown | None) -> list[Event]:
        step = self._step
        assert step is not None
        reading = Reading(
            step.start,
            step.end,
            text,
            quantity=quantity_of(step, self._instrument),
            current_a=self._turning.amps(step),
            range_ohms=shown.range_ohm if shown is not None and math.isinf(value) else None,
            bonded_end=step.bonded,
            note=self._note,
        )
        try:
            row = self._writer.record(reading)
        except ValueError as error:
            return [Said(f"not taken: {error}", "bad"), Bell("bad")]
        self._steps[row] = step
        self._note, self._last_text, self._unsure = "", text, ""
        self._open_since_s, self._warned = (now_s if math.isinf(value) else math.inf), False
        glance = self._glance.look(step, value, reading.current_a)
        good = glance.good and not glance.hands_off
        events: list[Event] = [Recorded(row, step.start, step.end, text, good, glance.text)]
        return events + self._after(step, DoubtfulReading(row, text, value), good, glance.text)

    def _after(self, step: Step, reading: DoubtfulReading, good: bool, text: str) -> list[Event]:
        """What follows a reading that is on disk: the next pair, the same one again, or a question."""
        odd = self._doubts.odd_beside(reading.value)
        if good:
            self._glance.follow(step, reading.value)
            odd = self._doubts.readings
        elif not self._doubts.add(reading):
            return [Said(f"{text}: touch again or press Enter to keep", "bad"), Bell("bad")]
        events: list[Event] = [] if good else [Said("the same twice: kept", "bad")]
        if not odd:
            return [*events, Bell("taken"), *self._advance()]
        asks = what_happened(step.start, step.end, [one.text for one in odd])
        self._question = Question(tuple(one.row for one in odd), asks)
        return [*events, Bell("bad"), self._question]

    # -- prompts -----------------------------------------------------------------------------------

    def _advance(self) -> list[Event]:
        step = self._order.next()
        return self._finish("complete") if step is None else self._ask(step)

    def _ask(self, step: Step) -> list[Event]:
        before, self._step, self._stage = self._step, step, "probe"
        self._doubts, self._question, self._unsure = Doubts(self._glance.doubt_ohm), None, ""
        self._open_since_s, self._warned = math.inf, False
        self._turning.ohms.expect(self._glance.most_ohm(step))
        self._row = self._order.following(step)
        prompt = prompt_of(self._harness, step, self._glance.prompt_text(step), before, self._row)
        return [*self._turning.to(step), Asked(prompt)]

    def _ask_leads(self, stage: Literal["leads-start", "leads-end"]) -> list[Event]:
        self._stage, self._step = stage, None
        return self._leads.ask("start" if stage == "leads-start" else "end")

    def _lead_touch(self, told: tuple[list[Event], bool]) -> list[Event]:
        events, done = told
        if not done:
            return events
        if self._stage == "leads-end":
            return [*events, *self._end()]
        self._glance.zeroed(self._leads.ohm, self._leads.uncertainty_ohm)
        return [*events, *self._advance()]

    def _key_at_leads(self, key: Key) -> list[Event]:
        if key == "stop" or (key in ("enter", "skip") and self._stage == "leads-end"):
            if key == "stop":
                self._stop_status = "stopped" if self._stage == "leads-start" else self._stop_status
            return self._end()
        if key in ("enter", "skip"):
            return [Said("leads skipped: they are worked out from your readings"), *self._advance()]
        return [Said("hold the tips together until the bell; Enter skips this")]

    def _finish(self, status: Literal["complete", "stopped"]) -> list[Event]:
        self._stop_status = status
        if self._steps and self._leads.start_ohm is not None:
            return self._ask_leads("leads-end")
        return self._end()

    def _end(self) -> list[Event]:
        self._stage, self._step = "ended", None
        return [Bell("done"), Ended(self._stop_status)]
