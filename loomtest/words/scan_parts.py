"""A scan in parts in words: how many, what to plug in next, what was never met."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from loomtest.words.lines import all_of
from loomtest.words.numbers import counted

ASK = "Press Enter when it is plugged in; type s and Enter to stop."
STOPPED = "Stopped. The same command goes on with this part."


class LeadPin(Protocol):
    """A pin of the scanner and the lead set on it."""

    @property
    def pin(self) -> int:
        """The pin, from 1."""

    @property
    def lead_set(self) -> str:
        """The lead set's name."""


def parts_text(points: int, pins: int, parts: int, changes: int, bound: int) -> str:
    """How many parts the scan takes, with the fewest changes that any order can do."""
    fewest = "no order does with fewer" if changes == bound else f"no order does with fewer than {bound}"
    return (
        f"{points} points and {pins} pins: a scan in {counted(parts, 'part')}. Every two lead sets are in "
        f"together once. {counted(changes, 'lead set')} to plug in, all told; {fewest}."
    )


def part_text(
    number: int, total: int, plug_in: Sequence[str], take_off: Sequence[str], seats: Sequence[LeadPin]
) -> str:
    """What comes off and what goes on which pins."""
    off = f" Take off {all_of(list(take_off))}." if take_off else ""
    on = all_of([f"{name} on {_pins(seats, name)}" for name in plug_in])
    return f"Part {number} of {total}.{off} Plug in {on}."


def _pins(seats: Sequence[LeadPin], name: str) -> str:
    """`pins 1 to 8 and 17 to 18`."""
    runs: list[list[int]] = []
    for pin in sorted(seat.pin for seat in seats if seat.lead_set == name):
        if runs and pin == runs[-1][1] + 1:
            runs[-1][1] = pin
        else:
            runs.append([pin, pin])
    spans = [f"{a} to {b}" if a < b else str(a) for a, b in runs]
    return ("pin " if len(runs) == 1 and runs[0][0] == runs[0][1] else "pins ") + all_of(spans)


def never_text(never: Sequence[tuple[str, str]]) -> str:
    """Lead sets that are too large to be in together."""
    pairs = ", ".join(f"{a} with {b}" for a, b in never[:6])
    more = f" and {len(never) - 6} more" if len(never) > 6 else ""
    return (
        f"Too large to be in together, and so never measured against each other: {pairs}{more}. Shorts "
        "between them stay untested: split one of them in lead_sets.csv, by its cavities."
    )


def remembered_text(file: str) -> str:
    """Where the lead sets stand."""
    return f"The lead sets stand in {file}: build them so, or write there how yours are."
