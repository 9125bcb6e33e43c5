"""The guided session's screen as plain data: what stands where, and what the keys mean. Nothing is drawn."""

from __future__ import annotations

from dataclasses import dataclass, field

from loomtest.bench.session.corrections import Listed
from loomtest.bench.session.events import (
    Asked,
    Event,
    Prompt,
    Question,
    Recorded,
    Said,
    TakenBack,
    Tone,
    TurnTo,
)
from loomtest.bench.session.marked import MarkedSession
from loomtest.bench.session.session import Key, Session
from loomtest.words.sitting import choose_row, how_to_correct, no_such_row, turn_the_meter

CAUTIONS = (
    "Battery disconnected, negative clamp first. Loom off the vehicle, or every control unit unplugged.",
    "Never on restraint-system circuits (airbags, belt tensioners): a meter's current can fire them.",
    "High-voltage cables (orange) are for licensed people only.",
    "No open fuel and no vapour near. Fuses are never bridged or made larger, not for a test either.",
    "Before the road: lights and brakes checked, as local law asks.",
    "The vehicle's own manual and local rules come first.",
)
KEYS = "Enter keep · space over-range · b back · s skip · l list · n note · p pair · q stop"
TYPED_KEYS = (
    "Type what the meter shows, ol for over-range, . for the same as last; or b back · s skip · l list · "
    "n note · p pair · q stop. Then Enter."
)
_COMMANDS: dict[str, Key] = {"b": "back", "s": "skip", "q": "stop"}


@dataclass
class View:
    """Everything the screen shows. `entry` is what is being typed, `asks` what for."""

    harness: str
    stage: str
    live: bool
    prompt: Prompt | None = None
    done: int = 0
    total: int = 0
    last: list[Recorded] = field(default_factory=list)
    withdrawn: set[int] = field(default_factory=set)
    message: str = ""
    tone: Tone = "plain"
    meter: str = ""
    state: str = "open"
    trouble: str = ""
    entry: str = ""
    asks: str = ""
    question: Question | None = None
    listing: list[Listed] = field(default_factory=list)
    cautions: tuple[str, ...] = ()  # before those of every sitting
    chosen: int = 0

    def take(self, event: Event) -> None:
        """One event of the session."""
        if isinstance(event, Asked):
            self.prompt, self.question = event.prompt, None
        elif isinstance(event, Recorded):
            self.last.append(event)
            self.message, self.tone = (
                f"{event.start} {event.end}: {event.text}",
                "good" if event.good else "bad",
            )
        elif isinstance(event, TakenBack):
            self.withdrawn.add(event.of)
            self.message, self.tone = (
                f"row {event.of} is taken back (it stays in the file, crossed out)",
                "plain",
            )
        elif isinstance(event, Question):
            self.question = event
            self.message, self.tone = event.sentence, "doubt"
        elif isinstance(event, TurnTo):
            self.message, self.tone = turn_the_meter(event.function == "diode"), "doubt"
        elif isinstance(event, Said):
            self.message, self.tone = event.text, event.tone

    def key(self, name: str, session: Session | MarkedSession, now_s: float) -> list[Event]:
        """A key: a letter of a command, or part of a value, a note or a pair that is being typed.

        Without a meter a command is typed like a value and wants Enter too, so that `short` is no skip.
        """
        if name == "escape":
            self.entry = self.asks = ""
            self.listing = []
        elif name == "backspace":
            self.entry = self.entry[:-1]
        elif name == "enter":
            return self._enter(session, now_s)
        elif self.question is not None and name in ("1", "2", "3"):
            return session.answer(self.question.choices[int(name) - 1])
        elif self._begins_entry(name):
            if len(name) == 1:
                self.entry += name
        elif self.live and name in ("n", "p", "l", *_COMMANDS):
            return self._command(name, session, now_s)
        else:
            return session.key(now_s, "pedal")
        return []

    def _begins_entry(self, name: str) -> bool:
        if self.asks or self.entry:
            return True
        if not self.live:
            return len(name) == 1 and name != " "
        return len(name) == 1 and name in ".,>-0123456789oO"

    def _command(self, letter: str, session: Session | MarkedSession, now_s: float) -> list[Event]:
        if letter == "n":
            self.asks, self.entry = "note", session.note
        elif letter == "p":
            self.asks = "pair"
        elif letter == "l":
            self.listing, self.asks = session.readings(), "line"
            return [Said(choose_row())]
        else:
            return session.key(now_s, _COMMANDS[letter])
        return []

    def _enter(self, session: Session | MarkedSession, now_s: float) -> list[Event]:
        text, asks, self.entry, self.asks = self.entry.strip(), self.asks, "", ""
        if asks == "note":
            session.set_note(text)
            return [Said(f"note for the next reading: {text}" if text else "no note")]
        if asks == "pair":
            return session.other_pair(text) if text else []
        if asks == "line":
            return self._choose(text)
        if asks:
            return self._correct(text, session)
        if text in ("n", "p", "l", *_COMMANDS):
            return self._command(text, session, now_s)
        if text:
            return session.typed(now_s, text)
        return session.key(now_s, "enter")

    def _choose(self, text: str) -> list[Event]:
        found = next((one for one in self.listing if text == str(one.row) and not one.withdrawn), None)
        if found is None:
            if text:
                self.asks = "line"
                return [Said(no_such_row(text), "doubt")]
            self.listing = []
            return []
        self.chosen, self.asks = found.row, "right value, or x"
        return [Said(how_to_correct(found.row, found.start, found.end, found.value))]

    def _correct(self, text: str, session: Session | MarkedSession) -> list[Event]:
        self.listing = []
        if text.casefold() == "x":
            return session.take_back(self.chosen)
        return session.say_again(self.chosen, text) if text else []
