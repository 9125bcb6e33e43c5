"""Rows whose cavities begin again: below one heading the same cavities come once, so a heading was missed.

`1 … 6` and then `1 … 4` under one plug are two devices: the rows from the second beginning on are asked
about.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

FEWEST = 2  # cavities that come again one after another; one alone holds two wires


@dataclass(frozen=True, slots=True)
class PinnedRow:
    """A row below a heading: its line, the line of that heading, the device and its cavities."""

    line: int
    heading: int
    device: str
    pins: tuple[str, ...]


def begun_again(rows: Sequence[PinnedRow]) -> dict[int, str]:
    """The lines whose cavity stands in doubt, each with the cavity."""
    found: dict[int, str] = {}
    blocks: dict[tuple[int, str], list[PinnedRow]] = {}
    for row in rows:
        blocks.setdefault((row.heading, row.device), []).append(row)
    for block in blocks.values():
        if (place := _again(block)) is not None:
            found |= {row.line: row.pins[0] for row in block[place:]}
    return found


def _again(block: Sequence[PinnedRow]) -> int | None:
    """Where the cavities of a block begin again; None where they do not."""
    seen: dict[str, int] = {}
    order = [row.pins[0] for row in block]
    for place, pin in enumerate(order):
        follows = order[place : place + FEWEST]
        back = seen.get(pin)
        again = back is not None and pin != order[place - 1] and len(set(follows)) == FEWEST
        if again and follows == _distinct(order[back:place])[:FEWEST]:
            return place
        seen.setdefault(pin, place)
    return None


def _distinct(pins: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(pins))
