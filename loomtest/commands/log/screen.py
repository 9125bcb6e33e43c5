"""The guided session's screen, drawn with rich; the same facts as plain lines where there is no terminal."""

from __future__ import annotations

import math
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

from loomtest.bench.session.corrections import Listed
from loomtest.bench.session.events import Asked, Bell, Ended, Event, Question, Recorded, Said, TakenBack
from loomtest.commands.log.letters import large
from loomtest.commands.log.view import CAUTIONS, KEYS, TYPED_KEYS, View
from loomtest.commands.terminal.text import shown
from loomtest.words.sitting import then_touch

if TYPE_CHECKING:
    from rich.text import Text

_STYLES = {"plain": "", "good": "cyan bold", "doubt": "yellow bold", "bad": "red bold"}
_MARKS = {"plain": "  ", "good": "= ", "doubt": "? ", "bad": "! "}
_BELLS = {"taken": 1, "soon": 1, "bad": 2, "done": 3}
_BELL_EVERY_S = 0.18


class Bells:
    """Sounds by the terminal's bell: once for taken, twice for doubtful, three times for done."""

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet
        self._waiting = 0
        self._next_s = 0.0

    def take(self, event: Event) -> None:
        """Queue the sound of an event; a later one replaces what has not sounded."""
        if isinstance(event, Bell) and not self._quiet:
            self._waiting = _BELLS[event.kind]

    def due(self, now_s: float) -> str:
        """A bell character when it is time for one."""
        if not self._waiting or now_s < self._next_s:
            return ""
        self._waiting -= 1
        self._next_s = now_s + _BELL_EVERY_S
        return "\a"


def rows_of(view: View, width: int, height: int) -> list[tuple[str, str]]:
    """The screen as (text, style) rows: exactly `height` of at most `width` columns."""
    top: list[tuple[str, str]] = [_title(view, width), ("─" * width, "dim")]
    body = _body_rows(view, width, height)
    foot = _foot_rows(view, width, height - len(top) - len(body))
    gap = max(0, height - len(top) - len(body) - len(foot))
    return [(shown(text)[:width], style) for text, style in [*top, *body, *[("", "")] * gap, *foot]][:height]


def _body_rows(view: View, width: int, height: int) -> list[tuple[str, str]]:
    if view.listing:
        return [_listed_row(one, width) for one in view.listing[-(height - 10) :]]
    return _prompt_rows(view, width, height) if view.prompt is not None else _caution_rows(view, width)


def _listed_row(one: Listed, width: int) -> tuple[str, str]:
    back = f"  taken back: {one.why}" if one.withdrawn else ""
    text = f" {one.row:>5}  {one.start + ' ' + one.end:<18} {one.value:<8}{back}"
    return shown(text)[:width], "dim" if one.withdrawn else ""


def _title(view: View, width: int) -> tuple[str, str]:
    left = view.harness + (f", {view.stage}" if view.stage else "")
    right = f"{view.done} of {view.total} readings" if view.total else ""
    room = width - len(right) - 2
    left = left if len(left) <= room else left[: room - 1] + "…"
    return f" {left}".ljust(width - len(right) - 1) + right, "bold"


def _caution_rows(view: View, width: int) -> list[tuple[str, str]]:
    rows = [("", ""), ("  Before the first reading", "bold"), ("", "")]
    for caution in (*view.cautions, *CAUTIONS):
        wrapped = textwrap.wrap(caution, width - 6)
        rows += [(("  ! " if not index else "    ") + line, "yellow") for index, line in enumerate(wrapped)]
    return [*rows, ("", ""), ("  Press Enter to begin, q to stop.", "bold")]


def _prompt_rows(view: View, width: int, height: int) -> list[tuple[str, str]]:
    prompt = view.prompt
    assert prompt is not None
    rows = [(f" {shown(line)}", "bold") for line in textwrap.wrap(prompt.sentence, width - 2)]
    roomy = width >= 150 and height >= 40
    crowded = bool(prompt.cautions) and height < 40
    for lead, point, style in (("red", prompt.red, "red bold"), ("black", prompt.black, "bold")):
        if not point:
            continue
        short = point.replace(" cavity ", ":")
        tries = [(point, 2), (short, 2), (point, 1), (short, 1)] if roomy else [(point, 1), (short, 1)]
        tries = [] if crowded else tries
        drawn = next(filter(None, (large(text, width - 8, scale) for text, scale in tries)), None)
        rows.append(("", ""))
        if drawn is None:
            rows.append((f" {lead:6} {shown(point)}{' (stays)' if prompt.stays == lead else ''}", style))
        else:
            labels = [lead, "stays" if prompt.stays == lead else ""] + [""] * len(drawn)
            rows += [(f" {label:6} {line}", style) for label, line in zip(labels, drawn, strict=False)]
    rows.append(("", ""))
    most = 2 if height < 30 else 5
    about = [line for text in prompt.about for line in textwrap.wrap(shown(text), width - 2)]
    rows += [(f" {line}", "dim") for line in about[:most]]
    for caution in prompt.cautions:
        wrapped = textwrap.wrap(caution, width - 4)
        rows += [((" ! " if not index else "   ") + line, "yellow") for index, line in enumerate(wrapped)]
    rows.append((f" {prompt.expected}" + f"      {_meter_words(view)}" * bool(view.live), "bold"))
    if prompt.then and not view.live:
        rows += [(f" {shown(line)}", "dim") for line in textwrap.wrap(then_touch(prompt.then), width - 2)]
    return rows


def _meter_words(view: View) -> str:
    if view.trouble:
        return f"! {view.trouble}"
    state = {
        "open": "tips apart",
        "touching": "touching",
        "settling": "settling, hold still",
        "taken": "recorded – lift the probes",
    }
    return f"meter {view.meter or '…'}   {state.get(view.state, '')}"


def _foot_rows(view: View, width: int, room: int) -> list[tuple[str, str]]:
    bar_room = width - 30
    share = view.done / view.total if view.total else 0.0
    filled = round(share * bar_room)
    left = view.total - view.done
    rest = f"{left} to go" if left else "settling what is doubtful"
    bar = f" {'█' * filled}{'░' * (bar_room - filled)}  {rest}" if view.total else ""
    keys = textwrap.wrap(KEYS if view.live else TYPED_KEYS, width - 2)
    message = textwrap.wrap(shown(view.message), width - 4)[:3] or [""]
    fixed = [
        *[
            ((_MARKS[view.tone] if not index else "  ") + line, _STYLES[view.tone])
            for index, line in enumerate(message)
        ],
        (bar, ""),
        *[(f" {line}", "dim") for line in keys],
    ]
    if view.asks or view.entry or not view.live:
        fixed.append((f" {view.asks or 'value'}: {shown(view.entry)}▏", "bold"))
    if view.prompt is None:
        return []
    history = max(0, min(room - len(fixed), 12, len(view.last)))
    rows = [_reading_row(view, reading, width) for reading in view.last[-history:]] if history else []
    return [*rows, *fixed]


def _reading_row(view: View, reading: Recorded, width: int) -> tuple[str, str]:
    words = "taken back" if reading.row in view.withdrawn else reading.text
    mark = "-" if reading.row in view.withdrawn else "=" if reading.good else "!"
    pair = f"{reading.start} {reading.end}"
    text = f" {mark} {reading.row:>4}  {pair:<16} {words}"
    return shown(text)[:width], "" if mark == "=" else "dim" if mark == "-" else "red"


class FullScreen:
    """The whole terminal, drawn again when something changed."""

    def __init__(self, view: View, quiet: bool) -> None:
        from rich.console import Console

        self.view, self.bells = view, Bells(quiet)
        self._console = Console(highlight=False, markup=False, emoji=False)
        self._live: Any = None
        self._before: list[tuple[str, str]] = []

    @contextmanager
    def opened(self) -> Iterator[FullScreen]:
        """Take the screen, and give it back as it was."""
        from rich.live import Live

        with Live(self._text(), console=self._console, screen=True, auto_refresh=False) as self._live:
            yield self

    def take(self, event: Event) -> None:
        """Show an event."""
        self.view.take(event)
        self.bells.take(event)

    def draw(self, now_s: float) -> None:
        """Bring the screen up to date."""
        size = self._console.size
        rows = rows_of(self.view, size.width, size.height)
        if rows != self._before:
            self._before = rows
            self._live.update(self._text(), refresh=True)
        if bell := self.bells.due(now_s):
            self._console.file.write(bell)
            self._console.file.flush()

    def _text(self) -> Text:
        from rich.text import Text

        size = self._console.size
        text = Text(no_wrap=True, overflow="crop", end="")
        rows = rows_of(self.view, size.width, size.height)
        for index, (line, style) in enumerate(rows):
            text.append(line, style or None)
            if index < len(rows) - 1:
                text.append("\n")
        return text


class PlainLines:
    """Where standard output is no terminal: one line an event, so that a script can follow."""

    def __init__(self, view: View) -> None:
        self.view = view
        self._cautions: tuple[str, ...] = ()  # those that stand above the last prompt

    @contextmanager
    def opened(self) -> Iterator[PlainLines]:
        """Print the cautions."""
        for caution in (*self.view.cautions, *CAUTIONS):
            typer.echo(caution)
        yield self

    def take(self, event: Event) -> None:
        """Print an event."""
        self.view.take(event)
        line = ""
        if isinstance(event, Asked):
            for caution in event.prompt.cautions if event.prompt.cautions != self._cautions else ():
                typer.echo(caution)
            self._cautions = event.prompt.cautions
            line = f"{event.prompt.sentence} {event.prompt.expected}."
        elif isinstance(event, Recorded):
            line = f"recorded {event.row}: {event.start} {event.end} {event.value} ({event.text})"
        elif isinstance(event, TakenBack):
            line = f"recorded {event.row}: row {event.of} is taken back"
        elif isinstance(event, Question):
            line = event.sentence
        elif isinstance(event, Said):
            line = event.text
        elif isinstance(event, Ended):
            line = f"ended: {event.status}"
        if line:
            typer.echo(shown(line))
            sys.stdout.flush()

    def draw(self, now_s: float) -> None:
        """Nothing is redrawn."""


def live_words(value: float, function: str, step: float, lead_ohm: float) -> str:
    """What the meter shows, with the digits that it shows; small ohms also without the leads."""
    from loomtest.words.numbers import ohms

    if math.isinf(value):
        return "over-range"
    decimals = min(4, max(0, -math.floor(math.log10(step) + 1e-9))) if step > 0 else 3
    if function == "volt":
        return f"{value:.{decimals}f} V"
    if value >= 1000.0:
        return ohms(value)
    less = f" ({max(0.0, value - lead_ohm):.{decimals}f} less leads)" if lead_ohm and value < 10.0 else ""
    return f"{value:.{decimals}f} Ω{less}"
