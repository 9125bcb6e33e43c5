"""A sitting with marker clips: which clip to put on, which point to touch, what it read. No port, no clock.

Whoever drives it hands in keys, typed text and what the meter showed, as to `Session`, and shows the events.
Points are asked for by cavity number alone: colour and expected value are hidden, for a clip put on by the
wire's colour hides exactly the wire that sits in another cavity.
"""

from __future__ import annotations

import math

from loomtest.bench.meter.capture import Capture
from loomtest.bench.meter.protocol import Shown
from loomtest.bench.plan.marked_next import Seating, Touching, next_in_round
from loomtest.bench.plan.markers import MarkedPlan
from loomtest.bench.plan.plan import Step
from loomtest.bench.session.by_hand import typed_value
from loomtest.bench.session.corrections import Listed
from loomtest.bench.session.events import (
    Asked,
    Bell,
    Ended,
    Event,
    Prompt,
    Question,
    Recorded,
    Said,
    TakenBack,
    WhatHappened,
    touched,
)
from loomtest.bench.session.session import Choices, Key
from loomtest.diagnosis.markers.rounds import read_rounds
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.marked import COMMON, Marked
from loomtest.readings.model import Instrument, Range
from loomtest.readings.run import Reading, RunWriter
from loomtest.words.marked import (
    AFTER,
    ON_COMMON,
    ON_THE_CLIP,
    over_range_text,
    read_text,
    seat_sentences,
    touch_sentence,
)


class MarkedSession:
    """One sitting; `begin` first, then `shown`, `key`, `typed` in any order until Ended comes."""

    lead_ohm = 0.0
    note = ""
    step: Step | None = None
    question: Question | None = None

    def __init__(
        self,
        harness: Harness,
        writer: RunWriter,
        plan: MarkedPlan,
        instrument: Instrument,
        held: Range,
        choices: Choices,
    ) -> None:
        self._harness, self._writer, self._plan = harness, writer, plan
        self._instrument, self._held, self._choices = instrument, held, choices
        self._capture = Capture(instrument)
        self._plugs = {one.clip.marker: one.clip.plug for one in plan.placings if one.clip.plug}
        self._ask: Seating | Touching | None = None
        self._hands: list[str] = []  # what is still to be put on or taken off, one sentence each
        self._skipped: set[str] = set()
        self._rows: list[int] = []
        self._live: Shown | None = None

    @property
    def state(self) -> str:
        """Where the capture stands: open, touching, settling, taken."""
        return self._capture.state

    @property
    def live(self) -> Shown | None:
        """What the meter showed last."""
        return self._live

    def begin(self) -> list[Event]:
        """The first clip to put on, or where a stopped sitting goes on."""
        return self._advance()

    def shown(self, now_s: float, shown: Shown) -> list[Event]:
        """The meter showed something: a touch is taken when it is steady."""
        self._live = shown if shown.function == "ohm" else None
        if self._live is None:
            return []
        out: list[Event] = []
        for move in self._capture.feed(now_s, shown):
            if move.what == "taken" and isinstance(self._ask, Touching):
                out += self._record(f"{move.value_ohm:.10g}", move.value_ohm)
        return out

    def tick(self, now_s: float) -> list[Event]:
        """Time passed: nothing is taken by time alone."""
        return []

    def key(self, now_s: float, key: Key) -> list[Event]:
        """A key: Enter says that a clip sits; over-range and what the meter shows are taken by a key."""
        if key == "stop":
            return [Bell("done"), Ended("stopped")]
        if isinstance(self._ask, Seating):
            return self._seated() if key in ("enter", "pedal") else []
        if key == "back":
            return self._take_last_back()
        if key == "skip" and isinstance(self._ask, Touching):
            self._skipped.add(self._ask.point)
            return self._advance()
        if key == "over-range" or (key in ("enter", "pedal") and self._live is not None):
            value = math.inf if key == "over-range" or self._live is None else self._live.value
            return self._record("OL" if math.isinf(value) else f"{value:.10g}", value)
        return [Said(over_range_text())]

    def typed(self, now_s: float, text: str) -> list[Event]:
        """A value typed by hand, `10.02k`, or `ol`; while clips are put on it counts as Enter."""
        if isinstance(self._ask, Seating):
            return self._seated()
        text = "OL" if text.strip().casefold() in ("o", "ol") else text.strip()
        try:
            return self._record(text, typed_value(text))
        except ValueError as error:
            return [Said(f"not taken: {error}", "bad"), Bell("bad")]

    def meter_went(self, back: bool) -> None:
        """The meter's cable was pulled, or is back: it stands in the run's record."""
        self._writer.note_meter(back)

    def set_note(self, text: str) -> None:
        """A note for the next reading."""
        self.note = text.strip()

    def other_pair(self, text: str) -> list[Event]:
        """Pairs are read in a sitting without clips."""
        return [Said("pairs are read without clips: end this sitting, and go on without --markers")]

    def readings(self) -> list[Listed]:
        """Nothing to list: a touch is put right with b, or afterwards with --correct."""
        return []

    def answer(self, what: WhatHappened) -> list[Event]:
        """No question is asked here."""
        return []

    def take_back(self, row: int) -> list[Event]:
        """The last touch alone is taken back here."""
        return self._take_last_back()

    def say_again(self, row: int, text: str) -> list[Event]:
        """The last touch is said again by taking it back."""
        return self._take_last_back()

    def _marked(self) -> Marked | None:
        return load_readings(self._writer.folder, self._harness).marked

    def _advance(self) -> list[Event]:
        marked = self._marked()
        self._ask = next_in_round(self._harness, self._plan, marked, self._instrument, self._skipped)
        if self._ask is None:
            return [Said(AFTER, "good"), Bell("done"), Ended("complete")]
        if isinstance(self._ask, Touching):
            sentence = touch_sentence(touched(self._ask.point), again=self._ask.again)
            hint = over_range_text() if self._ask.expected_ohms == math.inf else ""
            about = (ON_COMMON, *((ON_THE_CLIP,) if self._ask.itself else ()))
            prompt = Prompt("probe", sentence, touched(self._ask.point), COMMON, about, hint, "black")
            return [Asked(prompt)]
        placed = {one.clip.marker: touched(one.point) for one in self._ask.placings}
        self._hands = seat_sentences(self._ask.reason, self._ask.clips, placed, self._plugs)
        return self._next_hand()

    def _next_hand(self) -> list[Event]:
        return [Asked(Prompt("leads", self._hands[0], about=(ON_COMMON,), expected="Enter when it is done"))]

    def _seated(self) -> list[Event]:
        ask = self._ask
        assert isinstance(ask, Seating)
        self._hands = self._hands[1:]
        if self._hands:
            return self._next_hand()
        self._writer.seat(ask.round, [(one.clip, one.point) for one in ask.placings])
        return self._advance()

    def _record(self, text: str, value: float) -> list[Event]:
        ask = self._ask
        if not isinstance(ask, Touching):
            return []
        held = math.isinf(value) and ask.expected_ohms != math.inf
        top = self._held.up_to_ohms if held else None
        reading = Reading(ask.point, COMMON, text, range_ohms=top, note=self.note, round=ask.round)
        try:
            row = self._writer.record(reading)
        except ValueError as error:
            return [Said(f"not taken: {error}", "bad"), Bell("bad")]
        self._rows.append(row)
        self.note = ""
        good, said = self._told()
        event = Recorded(row, ask.point, COMMON, text, good, said)
        return [event, Bell("taken" if good else "bad"), *self._advance()]

    def _told(self) -> tuple[bool, str]:
        """Whether the last touch reads its circuit's own clip, or none where there is none; and in words."""
        marked = self._marked()
        assert marked is not None
        one = read_rounds(self._harness, marked, self._instrument)[-1]
        touch, block = one.touches[-1], one.decoded.blocks[-1]
        own = block == (touch.clip,) if touch.clip >= 0 else not block
        low = block in one.decoded.leaking
        return own and not low, read_text(one.names(block), own, low)

    def _take_last_back(self) -> list[Event]:
        if not self._rows:
            return [Said("nothing was taken in this sitting", "doubt")]
        row = self._rows.pop()
        back = self._writer.withdraw(row, "taken back at the bench")
        return [TakenBack(back, row), *self._advance()]
