"""What each level of isolation costs and shows, side by side."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

from loomtest.words.numbers import counted


class Costs(Protocol):
    """What a level costs; `bench.plan.plan.LevelCost` is one."""

    @property
    def isolation(self) -> str:
        """The level."""

    @property
    def touches(self) -> int:
        """How many touches of a probe."""

    @property
    def clips(self) -> int:
        """How many clips are hung on a point."""

    @property
    def minutes(self) -> int:
        """How long in all."""

    @property
    def comb(self) -> int:
        """How many clips hang on at once."""


class MarkedCosts(Protocol):
    """What proving the loom with marker clips costs; `bench.plan.markers.MarkedCost` is one."""

    @property
    def clips(self) -> int:
        """How many of a kit are used."""

    @property
    def touches(self) -> int:
        """How many touches of the red lead."""

    @property
    def placings(self) -> int:
        """How often a clip is put on a point."""

    @property
    def minutes(self) -> int:
        """How long in all."""


SHOWS = {
    "none": "every wire; no short is looked for",
    "neighbours": "and shorts of wires side by side",
    "bonded": "and all shorts, with {comb} clips tied together",
    "full": "and all shorts, empty cavities too",
}


def level_rows(costs: Iterable[Costs], chosen: str) -> list[str]:
    """A heading and one row a level; the chosen one is marked."""
    out = ["  level       touches  clips  minutes  checks"]
    for cost in costs:
        mark = ">" if cost.isolation == chosen else " "
        shows = SHOWS[cost.isolation].format(comb=cost.comb)
        minutes = max(1, cost.minutes)
        out.append(f"{mark} {cost.isolation:<11}{cost.touches:>8,}{cost.clips:>7,}{minutes:>9,}  {shows}")
    return out


def marked_row(cost: MarkedCosts) -> str:
    """The row under them: the same with marker clips."""
    return (
        f"  or with {counted(cost.clips, 'marker clip')}: {counted(cost.touches, 'touch', 'touches')}, "
        f"{counted(cost.placings, 'clip')} put on, {counted(max(1, cost.minutes), 'minute')}"
    )
