"""Several cavities in a row: one prompt, and as many values typed in one line as there were touches."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from loomtest.bench.plan.plan import Step
from loomtest.bench.plan.route import station_of
from loomtest.bench.session.events import Asked, Event, Said
from loomtest.readings.values import ValueSyntaxError, parse_value
from loomtest.words.sitting import rest_not_taken

MOST_IN_A_ROW = 6


def goes_on(step: Step, other: Step) -> bool:
    """Whether `other` follows `step` with the same clip, in the same connector, to the same purpose."""
    return (
        (step.what, step.clip, step.quantity, step.clip_at_end)
        == (other.what, other.clip, other.quantity, other.clip_at_end)
        and station_of(step.probe) == station_of(other.probe)
        and not step.bonded
        and not other.bonded
    )


def values_in(text: str, most: int) -> list[str]:
    """The values of a line such as `0.3 0.3 ol`, at most so many; the text itself where it is one value."""
    words = text.split()
    if not 1 < len(words) <= most or not all(_is_value(word) for word in words):
        return [text]
    return words


def take_row(parts: Sequence[str], typed: Callable[[str], list[Event]]) -> list[Event]:
    """Take the values one after another; the first after which no next pair is asked for ends the row.

    So a touch in the wrong order, which its value tells, takes nothing with it.
    """
    events: list[Event] = []
    for number, part in enumerate(parts, 1):
        new = typed(part)
        events += new
        left = len(parts) - number
        if left and not any(isinstance(event, Asked) for event in new):
            return [*events, Said(rest_not_taken(parts[number:]), "doubt")]
    return events


def _is_value(word: str) -> bool:
    try:
        parse_value("OL" if word.casefold() == "o" else word)
    except ValueSyntaxError:
        return False
    return True
