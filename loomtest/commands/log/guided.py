"""The guided session: one loop that hears the meter and the keys, and shows what comes of it."""

from __future__ import annotations

import sys
import time
from contextlib import ExitStack
from typing import TYPE_CHECKING, Protocol

import typer

from loomtest.commands.log.request import LogRequest

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from loomtest.bench.meter.port import MeterLink
    from loomtest.bench.session.events import Event
    from loomtest.bench.session.marked import MarkedSession
    from loomtest.bench.session.order import Earlier, Order
    from loomtest.bench.session.session import Session
    from loomtest.commands.log.view import View
    from loomtest.harness.model import Harness
    from loomtest.readings.model import Instrument
    from loomtest.readings.run import RunWriter

_LOOP_S = 0.02


class Keyboard(Protocol):
    """Where keys come from."""

    def read(self) -> list[str]:
        """The keys pressed since the last call."""


class Screen(Protocol):
    """Where events go."""

    def opened(self) -> AbstractContextManager[object]:
        """Take the screen."""

    def take(self, event: Event) -> None:
        """Show an event."""

    def draw(self, now_s: float) -> None:
        """Bring it up to date."""


class NoKeys:
    """Standard input is no terminal: nobody presses anything."""

    def read(self) -> list[str]:
        """Nothing."""
        return []


def log_meter(harness: Harness, port: str, request: LogRequest) -> None:
    """Hands-free readings off a meter on `port`."""
    from loomtest.bench.connect import connect
    from loomtest.readings.generic import generic_handheld

    stated = request.stated_instrument()
    link, instrument = connect(port, stated, harness)
    try:
        _sitting(harness, request, instrument or generic_handheld(), instrument, link)
    finally:
        link.close()


def log_typed(harness: Harness, request: LogRequest) -> None:
    """The same session with values typed by hand."""
    from loomtest.readings.generic import generic_handheld

    stated = request.stated_instrument()
    _sitting(harness, request, stated or generic_handheld(), stated, None)


def _sitting(
    harness: Harness,
    request: LogRequest,
    instrument: Instrument,
    stated: Instrument | None,
    link: MeterLink | None,
) -> None:
    from loomtest.bench.plan.plan import plan
    from loomtest.bench.session.order import Order
    from loomtest.bench.session.session import Choices, Session
    from loomtest.commands.log.screen import FullScreen, PlainLines
    from loomtest.commands.log.view import View
    from loomtest.commands.terminal.text import shown

    if request.markers is not None:
        _marked_sitting(harness, request, instrument, stated, link)
        return
    mending = request.mending
    if mending is None:
        planned, earlier = plan(harness, request.planned_level(harness), request.joints), None
    else:
        planned, earlier = mending.made, Earlier(mending.standing, mending.first)
    terminal = sys.stdout.isatty()
    view = View(harness.name, request.stage, live=link is not None, total=len(planned.steps))
    screen: Screen = FullScreen(view, request.quiet) if terminal else PlainLines(view)
    with ExitStack() as stack:
        writer = stack.enter_context(_closed_as(request.open_run(harness, stated)))
        order = Order(harness, request.out, planned, instrument, earlier)
        view.done = order.done
        choices = Choices(live=link is not None, open_after_s=request.open_after_s)
        session = Session(harness, writer.run, order, instrument, choices)
        keys: Keyboard = NoKeys()
        if sys.stdin.isatty():
            from loomtest.commands.log.keys import Keys

            keys = stack.enter_context(Keys())
        stack.enter_context(screen.opened())
        if terminal and not _cautions_read(screen, keys):
            writer.status = "stopped"
            return
        writer.status = _Loop(session, order, view, screen, keys, link).run()
    if writer.status == "complete":
        for sentence in order.left_open():
            typer.echo(shown(sentence))
    runs = f"{request.after} {request.out}" if request.after else request.out
    typer.echo(shown(f"recorded in {request.out}. Next: loomtest judge {harness.source or 'HARNESS'} {runs}"))


def _marked_sitting(
    harness: Harness,
    request: LogRequest,
    instrument: Instrument,
    stated: Instrument | None,
    link: MeterLink | None,
) -> None:
    """The same with marker clips."""
    from loomtest.bench.session.marked import MarkedSession
    from loomtest.bench.session.session import Choices
    from loomtest.commands.log.screen import FullScreen, PlainLines
    from loomtest.commands.log.view import View
    from loomtest.words.marked import BEFORE

    planned, held = request.marked_plan(harness, instrument)
    terminal = sys.stdout.isatty()
    view = View(harness.name, request.stage, live=link is not None, cautions=BEFORE)
    screen: Screen = FullScreen(view, request.quiet) if terminal else PlainLines(view)
    with ExitStack() as stack:
        writer = stack.enter_context(_closed_as(request.open_run(harness, stated)))
        choices = Choices(live=link is not None)
        session = MarkedSession(harness, writer.run, planned, instrument, held, choices)
        keys: Keyboard = NoKeys()
        if sys.stdin.isatty():
            from loomtest.commands.log.keys import Keys

            keys = stack.enter_context(Keys())
        stack.enter_context(screen.opened())
        if terminal and not _cautions_read(screen, keys):
            writer.status = "stopped"
            return
        writer.status = _Loop(session, None, view, screen, keys, link).run()
    typer.echo(f"recorded in {request.out}. Next: loomtest judge {harness.source or 'HARNESS'} {request.out}")


class _closed_as:
    """Closes the run with the status that the session ended with."""

    def __init__(self, run: RunWriter) -> None:
        self.run, self.status = run, "complete"

    def __enter__(self) -> _closed_as:
        return self

    def __exit__(self, *error: object) -> None:
        if error[0] is None:
            self.run.close(self.status)
        else:
            self.run.__exit__(*error)  # type: ignore[arg-type]  # passed on as given


def _cautions_read(screen: Screen, keys: Keyboard) -> bool:
    while True:
        screen.draw(time.monotonic())
        for key in keys.read():
            return key not in ("q", "escape")
        time.sleep(_LOOP_S)


class _Loop:
    """Hears, asks the session, shows."""

    def __init__(
        self,
        session: Session | MarkedSession,
        order: Order | None,
        view: View,
        screen: Screen,
        keys: Keyboard,
        link: MeterLink | None,
    ) -> None:
        self._session, self._order, self._view = session, order, view
        self._screen, self._keys, self._link = screen, keys, link
        self._status = ""

    def run(self) -> str:
        """Until the session ends; the status that goes into the record."""
        self._show(self._session.begin())
        while not self._status:
            now_s = time.monotonic()
            if self._link is not None:
                self._hear(self._link, now_s)
            for key in self._keys.read():
                self._show(self._view.key(key, self._session, now_s))
            self._screen.draw(now_s)
            time.sleep(_LOOP_S)
        for _ in range(30):  # let the last bells sound
            self._screen.draw(time.monotonic())
            time.sleep(_LOOP_S)
        return self._status

    def _hear(self, link: MeterLink, now_s: float) -> None:
        from loomtest.bench.meter.protocol import Shown
        from loomtest.bench.session.events import Said
        from loomtest.commands.log.screen import live_words

        for at_s, event in link.poll(now_s):
            if isinstance(event, Shown):
                self._view.trouble = ""
                lead_ohm = self._session.lead_ohm
                self._view.meter = live_words(event.value, event.function, event.step, lead_ohm)
                self._show(self._session.shown(at_s, event))
            else:
                self._view.trouble = "" if event.kind == "back" else event.text
                if event.kind in ("lost", "back"):
                    self._session.meter_went(event.kind == "back")
                self._show([Said(event.text, "good" if event.kind == "back" else "doubt")])
        self._view.state = self._session.state
        self._show(self._session.tick(now_s))

    def _show(self, events: list[Event]) -> None:
        from loomtest.bench.meter.scpi import ScpiMeter
        from loomtest.bench.rehearsal.loom import LoomPort
        from loomtest.bench.session.events import Asked, Ended, TurnTo

        for event in events:
            self._screen.take(event)
            if isinstance(event, Asked):
                self._view.done = self._order.done if self._order is not None else 0
                self._aim()
            elif isinstance(event, TurnTo) and self._link is not None:
                for part in (self._link.port, self._link.meter):
                    if isinstance(part, LoomPort | ScpiMeter):
                        part.turn_to(event.function)
            elif isinstance(event, Ended):
                self._status = event.status

    def _aim(self) -> None:
        """In a rehearsal the simulated hand is told what was asked for."""
        from loomtest.bench.rehearsal.loom import LoomPort

        port = self._link.port if self._link is not None else None
        step = self._session.step
        if not isinstance(port, LoomPort):
            return
        if step is None:
            port.touch_tips()
        else:
            port.touch(step.start, step.end)
