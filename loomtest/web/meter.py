"""A meter on a cable, or a rehearsed one, heard for a sitting."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from loomtest.bench.connect import connect
from loomtest.bench.meter.protocol import Shown
from loomtest.bench.meter.scpi import ScpiMeter
from loomtest.bench.rehearsal.loom import LoomPort
from loomtest.bench.session.events import Event, Said
from loomtest.words.numbers import shown_ohms

if TYPE_CHECKING:
    from loomtest.bench.meter.port import MeterLink
    from loomtest.bench.plan.plan import Step
    from loomtest.bench.session.session import Session
    from loomtest.harness.model import Harness
    from loomtest.readings.model import Instrument

REHEARSE = "rehearse:"


class HeardMeter:
    """What it shows goes into the session; `words` is what it shows now."""

    def __init__(
        self, link: MeterLink, instrument: Instrument | None, address: str, clock: Callable[[], float]
    ) -> None:
        self._link, self.instrument, self.address, self.clock = link, instrument, address, clock
        self.words = {"shows": "", "state": "", "trouble": "", "rehearsal": address.startswith(REHEARSE)}
        self.rehearsal = address.startswith(REHEARSE)
        self._aimed: object = self

    @classmethod
    def connected(
        cls, address: str, stated: Instrument | None, harness: Harness, pace: float = 1.0
    ) -> HeardMeter:
        """A meter on that port; a rehearsed one may live `pace` times as fast as we do.

        Raises InstrumentError or InputError.
        """
        began_s = time.monotonic()

        def clock() -> float:
            return began_s + pace * (time.monotonic() - began_s)

        link, instrument = connect(address, stated, harness, clock)
        return cls(link, instrument, address, clock)

    def hear(self, session: Session) -> tuple[list[Event], bool]:
        """Events since the last call, and whether what it shows has changed."""
        before, now_s = dict(self.words), self.clock()
        events: list[Event] = []
        for at_s, event in self._link.poll(now_s):
            if isinstance(event, Shown):
                self.words["trouble"] = ""
                self.words["shows"] = event.text if event.function == "volt" else shown_ohms(event.value)
                events += session.shown(at_s, event)
            else:
                self.words["trouble"] = "" if event.kind == "back" else event.text
                events.append(Said(event.text, "good" if event.kind == "back" else "doubt"))
        self.words["state"] = session.state
        events += session.tick(now_s)
        return events, self.words != before

    def turn_to(self, function: str) -> None:
        """A rehearsed meter and one that obeys are turned; any other is turned by hand."""
        for part in (self._link.port, self._link.meter):
            if isinstance(part, LoomPort | ScpiMeter):
                part.turn_to(function)

    def aim(self, step: Step | None) -> None:
        """In a rehearsal the simulated hand is told what was asked for."""
        if not isinstance(self._link.port, LoomPort) or step is self._aimed:
            return
        self._aimed = step
        if step is None:
            self._link.port.touch_tips()
        else:
            self._link.port.touch(step.start, step.end)

    def close(self) -> None:
        """Let the port go."""
        self._link.close()
