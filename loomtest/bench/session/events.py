"""What a guided session tells whoever shows it: plain facts, nothing printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from loomtest.bench.plan.plan import Step
from loomtest.harness.colours import colour_words
from loomtest.harness.model import Harness, cavity_of, connector_of
from loomtest.words.lines import capital
from loomtest.words.place import SKIP_PLACES, TYPE_WITH_UNIT, place_cautions, place_first
from loomtest.words.places import Places, span_text
from loomtest.words.sitting import diode_leads

Tone = Literal["plain", "good", "doubt", "bad"]


@dataclass(frozen=True, slots=True)
class Prompt:
    """What to touch now. `sentence` is the whole of it in words; `red` and `black` the two points alone.

    `about`: lines on wire, colour, circuit and place. `stays`: the lead that is on its point already. `then`:
    the points that the moving lead touches next, if all goes as expected; their values may come in one line.
    `first`: what to do before the leads touch (part of `sentence`). `cautions` belong beside it.
    """

    kind: Literal["leads", "probe"]
    sentence: str
    red: str = ""
    black: str = ""
    about: tuple[str, ...] = ()
    expected: str = ""
    stays: Literal["", "red", "black"] = ""
    then: tuple[str, ...] = ()
    first: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """A new prompt stands."""

    prompt: Prompt


@dataclass(frozen=True, slots=True)
class Recorded:
    """A reading is safe on disk as line `row` of readings.csv."""

    row: int
    start: str
    end: str
    value: str
    good: bool
    text: str


WhatHappened = Literal["mistyped", "poor-touch", "jumps"]


@dataclass(frozen=True, slots=True)
class Question:
    """What were the readings in `rows`, that did not fit? Answered by `Session.answer`; `sentence` asks it.

    The first two answers take the rows back, with that reason; the third keeps them: it comes and goes.
    """

    rows: tuple[int, ...]
    sentence: str
    choices: tuple[WhatHappened, ...] = ("mistyped", "poor-touch", "jumps")


@dataclass(frozen=True, slots=True)
class TakenBack:
    """The reading in row `of` was withdrawn by line `row`."""

    row: int
    of: int


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence for the person."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True)
class Bell:
    """A sound: one for taken, two for doubtful, three for done; `soon` before an open is taken by time."""

    kind: Literal["taken", "bad", "done", "soon"]


@dataclass(frozen=True, slots=True)
class TurnTo:
    """The meter must stand on this function from now on."""

    function: Literal["resistance", "diode"]


@dataclass(frozen=True, slots=True)
class Ended:
    """The session is over; `status` goes into the run's last entry."""

    status: Literal["complete", "stopped"]
    reason: str = ""


Event = Asked | Recorded | Question | TakenBack | Said | Bell | TurnTo | Ended


def touched(point: str) -> str:
    """`X1 cavity 3`, or the name of a single terminal."""
    connector = connector_of(point)
    return f"{connector} cavity {cavity_of(point)}" if connector else point


def prompt_of(
    harness: Harness, step: Step, expected: str, before: Step | None = None, row: Sequence[Step] = ()
) -> Prompt:
    """The prompt of one step: two points as a sentence, where and what they are.

    `before` was asked last; `row` follows with the same clip.
    """
    stays: Literal["", "red", "black"] = ""
    if before is not None and (before.start == step.start) != (before.end == step.end):
        stays = "red" if before.start == step.start else "black"
    red, black = touched(step.start), touched(step.end)
    about = []
    by_name = {wire.name: wire for wire in harness.wires}
    for name in step.wires[:2]:
        about.append(span_text(harness, by_name[name]) if len(step.wires) == 1 else _short(harness, name))
    if len(step.wires) > 2:
        about[-1] += f" and {len(step.wires) - 2} more"
    if step.what == "isolation":
        nets = [harness.nets[int(harness.net_of[harness.code_of[p]])].name for p in (step.start, step.end)]
        about.append(f"{nets[0]} apart from {nets[1]}" if not step.bonded else step.proves)
    if step.bonded:
        about.append("clips also tie " + " ".join(step.bonded) + f" to {step.end}")
    if len(step.wires) != 1:
        for lead, point in (("red", step.start), ("black", step.end)):
            place = harness.places.get(connector_of(point) or point, "")
            if place:
                about.append(f"{lead} lead: {place}")
    if step.quantity == "diode":
        about.insert(0, diode_leads(step.start, step.end))
    sentence = f"Red lead: {red}. Black lead: {black}."
    then = tuple(one.probe for one in row)
    prompt = Prompt("probe", sentence, red, black, tuple(about), f"expected {expected}", stays, then)
    return _to_place(harness, step, prompt) if step.what == "place" else prompt


def _to_place(harness: Harness, step: Step, plain: Prompt) -> Prompt:
    """The prompt of a reading that tells a place: what is fed or turned first, two points, the cautions."""
    first = place_first(step.quantity, step.feed, Places(harness))
    tied = (f"tie {' '.join(step.bonded)} to {step.end} with clips",) if step.bonded else ()
    expected = TYPE_WITH_UNIT.get(step.quantity, "any value: it is the wires up to the short, and the short")
    return replace(
        plain,
        sentence=f"{first} {plain.sentence}",
        about=(*tied, f"{capital(step.proves)}. {SKIP_PLACES}"),
        expected=expected,
        first=first,
        cautions=place_cautions(step.quantity),
    )


def _short(harness: Harness, name: str) -> str:
    wire = next(wire for wire in harness.wires if wire.name == name)
    words = [colour_words(wire.colour) if wire.colour else "", wire.kind, name]
    return " ".join(word for word in words if word)
