"""What each level of isolation costs and shows, side by side."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol


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
