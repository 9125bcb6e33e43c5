"""One sitting as every screen sees it: the guided session, what it said, and the readings so far.

Commands come in as plain dictionaries (`do`, and what goes with it) and one change goes out for each, to be
sent to every screen. Nothing here sends, waits or asks for the time of day but through what it is given. A
reading is on disk before the change that tells of it is made.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path
from threading import RLock
from typing import TYPE_CHECKING, Any

from loomtest.bench.plan.mending import Mending, mending
from loomtest.bench.plan.plan import plan
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
    TurnTo,
)
from loomtest.bench.session.order import Earlier, Order
from loomtest.bench.session.session import Choices, Session
from loomtest.readings.generic import generic_handheld
from loomtest.readings.instrument import load_instrument
from loomtest.readings.mended import mended_of
from loomtest.readings.run import About, RunWriter, create_run, resume_run
from loomtest.readings.runfile import INSTRUMENT_FILE, READINGS_FILE, RUN_FILE, events_of, read_run_file
from loomtest.web.meter import HeardMeter
from loomtest.web.place import Loom, now
from loomtest.web.rows import ReadingLine, rows_of
from loomtest.web.wishes import SittingWishes
from loomtest.words import web as words
from loomtest.words.sitting import WHAT_HAPPENED

if TYPE_CHECKING:
    from loomtest.harness.model import Harness, IsolationLevel
    from loomtest.readings.model import Instrument

Change = dict[str, Any]
LONGEST_TEXT = 400
COUNTED_EVERY_S = 1.0
_KEYS = {"keep": "enter", "skip": "skip", "stop": "stop", "pedal": "pedal"}


@dataclass
class _SinceLast:
    """What came of the commands since the last change."""

    text: str = ""
    tone: str = "plain"
    bells: list[str] = field(default_factory=list)
    rows: list[ReadingLine] = field(default_factory=list)


def _number(value: object) -> int:
    """A row's number as a screen says it; 0, which is no row, for anything else."""
    return value if isinstance(value, int) else 0


class BenchSitting:
    """One run that is being recorded, or that has ended. Not for two threads at once, but for the lock."""

    def __init__(self, loom: Loom, folder: Path, wishes: SittingWishes) -> None:
        self.loom, self.folder, self.wishes = loom, folder, wishes
        self.lock = RLock()
        self.revision = 0
        self.ended = ""
        self.prompt: Prompt | None = None
        self.rows: dict[int, ReadingLine] = {}
        self._told = _SinceLast()
        self._answered: dict[str, Change] = {}
        self._harness = loom.harness()
        stated = load_instrument(wishes.instrument) if wishes.instrument else None
        kept = folder / INSTRUMENT_FILE
        stated = stated or (load_instrument(kept) if kept.is_file() else None)
        self.meter = (
            HeardMeter.connected(wishes.meter, stated, self._harness, wishes.pace) if wishes.meter else None
        )
        stated = self.meter.instrument or stated if self.meter is not None else stated
        instrument = stated or generic_handheld()
        self._mending = self._earlier()
        self._writer = self._opened(stated)
        self._order = self._ordered(instrument)
        self.total = self._order.total
        self._instrument = instrument
        self._session = self._new_session()
        self._four_wire = instrument.method == "four-wire"
        self._done, self._counted_s = 0, -COUNTED_EVERY_S
        raw = read_run_file(self.folder).raw
        self._leads = any(event.get("what") == "leads" for event in events_of(raw))
        self._began_s, self._began_rows = time.monotonic(), len(self.rows)
        self._begin()

    def _clock(self) -> float:
        return self.meter.clock() if self.meter is not None else time.monotonic()

    @property
    def _rehearsal(self) -> bool:
        return self.meter is not None and self.meter.rehearsal

    def _new_session(self) -> Session:
        choices = Choices(live=self.meter is not None, open_after_s=self.wishes.open_after_s)
        return Session(self._harness, self._writer, self._order, self._instrument, choices)

    def _earlier(self) -> Mending | None:
        """What mending the run before leaves of it, for a run that goes on from one."""
        after = self.wishes.after
        if (self.folder / RUN_FILE).is_file():
            after = mended_of(read_run_file(self.folder).raw).after
        return mending(self._harness, self.loom.run(after)) if after in self.loom.runs() else None

    def _level(self) -> IsolationLevel:
        """What the run goes on from was planned for; else what the loom asks for."""
        before = self._mending.made.isolation if self._mending is not None else None
        return before or self._harness.limits.isolation

    def _ordered(self, instrument: Instrument) -> Order:
        found = self._mending
        if found is not None:
            return Order(
                self._harness, self.folder, found.made, instrument, Earlier(found.standing, found.first)
            )
        level = read_run_file(self.folder).isolation or self._harness.limits.isolation
        return Order(self._harness, self.folder, plan(self._harness, level), instrument)

    def _opened(self, stated: Instrument | None) -> RunWriter:
        if (self.folder / READINGS_FILE).is_file():
            writer = resume_run(self.folder, clock=now, harness=self._harness, rehearsal=self._rehearsal)
            self.rows = rows_of(self.folder, self._harness, stated or generic_handheld())
            self._told.text = words.resumed(sum(not row.back for row in self.rows.values()))
            return writer
        about = About(
            stage=self.wishes.stage,
            operator=self.wishes.operator,
            instrument=stated,
            rehearsal=self._rehearsal,
            isolation=self._level(),
            mended=self._mending.mended if self._mending is not None else None,
        )
        return create_run(self.folder, self._harness, about, clock=now)

    def _begin(self) -> None:
        events = self._session.begin()
        if self.meter is None and not self._four_wire:
            events = self._session.key(0.0, "enter")  # typed leads are offered beside the first pair
            events = [event for event in events if not isinstance(event, Said)]
        self._take(events)

    @property
    def harness(self) -> Harness:
        """The loom that is measured."""
        return self._harness

    @property
    def last_row(self) -> int:
        """The last line of the readings."""
        return self._writer.last_row

    def close(self) -> None:
        """The server ends: the run is closed as it stands."""
        with self.lock:
            if self.meter is not None:
                self.meter.close()
            if not self.ended:
                self._writer.close("stopped", "the bench page was closed")
                self.ended = "stopped"

    # -- commands ----------------------------------------------------------------------------------

    def do(self, command: Change) -> Change:
        """One command of a screen; the change to send to all. The same command again changes nothing."""
        with self.lock:
            name = str(command.get("id", ""))[:64]
            if name and name in self._answered:
                return self._answered[name]
            refused = self._stale(command)
            if refused is not None:
                self._told = _SinceLast(text=refused, tone="doubt", bells=["bad"])
            elif self.ended:
                self._told = _SinceLast(text=words.RUN_HAS_ENDED, tone="doubt")
            else:
                self._take(self._carried_out(command))
            change = self.change()
            change["answers"] = name
            change["refused"] = refused is not None
            if name:
                self._answered[name] = change
                if len(self._answered) > 500:
                    self._answered.pop(next(iter(self._answered)))
            return change

    def _stale(self, command: Change) -> str | None:
        """Why a command that was meant for an earlier prompt is not carried out; None for one that is."""
        seen = command.get("seen")
        if not isinstance(seen, dict) or self._session.step is None:
            return None
        step = self._session.step
        same = [seen.get("from"), seen.get("to")] == [step.start, step.end]
        if same and seen.get("row") == self.last_row:
            return None
        text = str(command.get("text", "")).strip()
        since = [row for row in self.rows.values() if row.row > _number(seen.get("row")) and not row.back]
        pair = [row for row in since if [row.start, row.end] == [seen.get("from"), seen.get("to")]]
        if pair and pair[-1].value == text:
            return words.already_recorded(pair[-1].row, text)
        return words.meant_for_another(str(seen.get("from", "")), str(seen.get("to", "")), text)

    def _carried_out(self, command: Change) -> list[Event]:
        what, text = command.get("do"), str(command.get("text", ""))[:LONGEST_TEXT]
        now_s, session = self._clock(), self._session
        if what == "value":
            return session.typed(now_s, text) if text.strip() else session.key(now_s, "enter")
        if what == "over-range":
            return session.typed(now_s, "OL")
        if what == "same":
            return session.typed(now_s, ".")
        if what == "back":
            return session.key(now_s, "back")
        if what in _KEYS:
            return session.key(now_s, _KEYS[what])  # type: ignore[arg-type]  # one of the keys above
        if what == "note":
            session.set_note(text)
            return [Said(words.note_set(text))]
        if what == "pair":
            return session.other_pair(text)
        if what == "again":
            return self._again(command)
        if what == "leads":
            return self._leads_typed(text)
        if what == "withdraw":
            return session.take_back(_number(command.get("row")))
        if what == "correct":
            return session.say_again(_number(command.get("row")), text)
        if what == "answer":
            chosen = [each for each in Question((), "").choices if each == text]
            return session.answer(chosen[0]) if chosen else []
        return []

    def _leads_typed(self, text: str) -> list[Event]:
        """What the tips read together: the session begins again with it, while it holds no reading."""
        if self.rows or self.meter is not None:
            return [Said(words.LEADS_TOO_LATE, "doubt")]
        session = self._new_session()
        session.begin()
        events = session.typed(time.monotonic(), text)
        if session.step is not None:  # the value was taken, and the first pair is asked
            self._session, self._leads = session, True
        return events

    def _again(self, command: Change) -> list[Event]:
        """The last reading's pair once more, or that of any row."""
        live = [row for row in self.rows.values() if not row.back]
        number = command.get("row")
        chosen = self.rows.get(number) if isinstance(number, int) else (live[-1] if live else None)
        if chosen is None or chosen.back:
            return [Said(words.NOTHING_YET, "doubt")]
        step = self._session.step
        if step is not None and (step.start, step.end) == (chosen.start, chosen.end):
            return [Said(words.TOUCH_AGAIN)]  # it is asked for as it is
        return self._session.other_pair(f"{chosen.start} {chosen.end}")

    # -- the meter ---------------------------------------------------------------------------------

    def hear(self) -> Change | None:
        """What the meter showed since the last call; None where there is nothing to tell."""
        if self.meter is None or self.ended:
            return None
        with self.lock:
            events, stirred = self.meter.hear(self._session)
            self._take(events)
            if events:
                return self.change()
            return {"kind": "live", "meter": self.meter.words} if stirred else None

    # -- what is told ------------------------------------------------------------------------------

    def _take(self, events: list[Event]) -> None:
        told = self._told
        for event in events:
            if isinstance(event, Asked):
                self.prompt = event.prompt
            elif isinstance(event, Recorded):
                row = ReadingLine(event.row, event.start, event.end, event.value, event.text, event.good)
                self.rows[event.row] = row
                told.rows.append(row)
                told.text = words.recorded(event.start, event.end, event.text)
                told.tone = "good" if event.good else "bad"
            elif isinstance(event, TakenBack):
                row = self.rows[event.of] = self.rows[event.of].taken_back()
                told.rows.append(row)
                told.text, told.tone = words.taken_back(row.start, row.end, row.value), "plain"
            elif isinstance(event, Question):
                told.text, told.tone = event.sentence, "doubt"
            elif isinstance(event, Said):
                told.text, told.tone = event.text, event.tone
            elif isinstance(event, Bell):
                told.bells.append(event.kind)
            elif isinstance(event, TurnTo) and self.meter is not None:
                self.meter.turn_to(event.function)
            elif isinstance(event, Ended):
                self.ended, self.prompt = event.status, None
                if event.status == "complete" and (left := self._order.left_open()):
                    told.text, told.tone = " ".join(left), "doubt"
                self._writer.close(event.status)
                if self.meter is not None:
                    self.meter.close()
        if self.meter is not None and not self.ended:
            self.meter.aim(self._session.step)

    def change(self) -> Change:
        """What is new since the last change."""
        self.revision += 1
        told, self._told = self._told, _SinceLast()
        return {
            "kind": "change",
            **self._standing(),
            "said": {"text": told.text, "tone": told.tone},
            "bells": told.bells,
            "rows": [row.to_json() for row in told.rows],
        }

    def state(self) -> Change:
        """All that there is, for a screen that comes or comes back."""
        with self.lock:
            return {
                "kind": "state",
                **self._standing(),
                "said": {"text": self._told.text, "tone": self._told.tone},
                "bells": [],
                "rows": [row.to_json() for row in self.rows.values()],
            }

    def _standing(self) -> Change:
        step, prompt = self._session.step, self.prompt
        asked: Change | None = None
        if prompt is not None:
            asked = {
                "kind": prompt.kind,
                "sentence": prompt.sentence,
                "red": prompt.red,
                "black": prompt.black,
                "first": prompt.first,
                "about": list(prompt.about),
                "cautions": list(prompt.cautions),
                "expected": prompt.expected,
                "stays": prompt.stays,
                "in_a_row": words.in_a_row(prompt.then),
                "from": step.start if step else "",
                "to": step.end if step else "",
                "quantity": self._quantity(),
            }
        done = self._planned_done()
        return {
            "revision": self.revision,
            "run": self.folder.name,
            "ended": self.ended,
            "last_row": self.last_row,
            "prompt": asked,
            "question": self._question(),
            "done": done,
            "total": self.total,
            "left": words.left(self.total - done, self._seconds_each()) if prompt else "",
            "leads": self._leads,
            "meter": self.meter.words if self.meter is not None else None,
        }

    def _planned_done(self) -> int:
        """Planned readings taken, counted anew at most once a second: on a large plan it takes its time."""
        if time.monotonic() - self._counted_s > COUNTED_EVERY_S:
            self._done, self._counted_s = self._order.done, time.monotonic()
        return self._done

    def _question(self) -> Change | None:
        asked = self._session.question
        told = [(what, text) for what, text in WHAT_HAPPENED if asked is not None and what in asked.choices]
        choices = [{"what": what, "text": text} for what, text in told]
        return None if asked is None else {"text": asked.sentence, "choices": choices}

    def _quantity(self) -> str:
        step = self._session.step
        if step is None:
            return "leads" if self.meter is not None and not self.ended else ""
        ohms = "resistance_4w" if self._four_wire else "resistance"
        return ohms if step.quantity == "resistance" else step.quantity

    def _seconds_each(self) -> float:
        """Seconds a reading: the sitting's own pace once it has one."""
        taken = len(self.rows) - self._began_rows
        if taken < 5:
            return words.SECONDS_A_TOUCH
        return max(2.0, min(60.0, (time.monotonic() - self._began_s) / taken))
