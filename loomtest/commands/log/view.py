"""The guided session's screen as plain data: what stands where, and what the keys mean. Nothing is drawn."""

from __future__ import annotations

from dataclasses import dataclass, field

from loomtest.bench.session.events import Asked, Event, Prompt, Recorded, Said, TakenBack, Tone
from loomtest.bench.session.session import Key, Session

CAUTIONS = (
    "Battery disconnected, negative clamp first. Loom off the vehicle, or every control unit unplugged.",
    "Never on restraint-system circuits (airbags, belt tensioners): a meter's current can fire them.",
    "High-voltage cables (orange) are for licensed people only.",
    "No open fuel and no vapour near. Fuses are never bridged or made larger, not for a test either.",
    "Before the road: lights and brakes checked, as local law asks.",
    "The vehicle's own manual and local rules come first.",
)
KEYS = "Enter keep · space over-range · b back · s skip · n note · p pair · q stop"
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

    def take(self, event: Event) -> None:
        """One event of the session."""
        if isinstance(event, Asked):
            self.prompt = event.prompt
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
        elif isinstance(event, Said):
            self.message, self.tone = event.text, event.tone

    def key(self, name: str, session: Session, now_s: float) -> list[Event]:
        """A key: a letter of a command, or part of a value, a note or a pair that is being typed."""
        if name == "escape":
            self.entry = self.asks = ""
        elif name == "backspace":
            self.entry = self.entry[:-1]
        elif name == "enter":
            return self._enter(session, now_s)
        elif self.asks or self.entry or (len(name) == 1 and (name in ".>0123456789" or name == "o")):
            if len(name) == 1:
                self.entry += name
        elif name == "n":
            self.asks, self.entry = "note", session.note
        elif name == "p":
            self.asks = "pair"
        elif name in _COMMANDS:
            return session.key(now_s, _COMMANDS[name])
        else:
            return session.key(now_s, "pedal")
        return []

    def _enter(self, session: Session, now_s: float) -> list[Event]:
        text, asks, self.entry, self.asks = self.entry.strip(), self.asks, "", ""
        if asks == "note":
            session.set_note(text)
            return [Said(f"note for the next reading: {text}" if text else "no note")]
        if asks == "pair":
            return session.other_pair(text) if text else []
        if text:
            return session.typed(now_s, text)
        return session.key(now_s, "enter")
