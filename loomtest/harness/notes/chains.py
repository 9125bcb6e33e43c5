"""A run through several points: `tacho - oil - temp`, `fuse -> switch -> lamp`; or one point to several.

A run goes from each end to the next. What is asked: a splice or a switch's numbered terminal in the middle of
it, which may be a star; and a lamp without terminals between two other things, which would be bridged.
"""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.ends import EndsFound
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.members import family
from loomtest.harness.notes.mentions import Mention

_LOOPED = re.compile(r"(?i)daisy|chain|loop|then on|jump|link|in turn|one to the next|series")

# What a wire comes in at one side of and leaves at the other.
TWO_SIDED = {"switch", "button", "push", "breaker", "isolator", "thermostat", "trip", "cutout", "fuse"}


def check_chain(reading: EndsFound, groups: list[list[Mention]]) -> None:
    """Raises UnsureError where three groups may be a chain, and may be a list."""
    signs = all(join in ("dash", "arrow") for join in reading.joins)
    coloured = [ends for sort, _, ends in reading.about if sort == "colour"]
    if coloured == list(range(1, len(groups))):
        return  # `flywheel -blue-> lock 2 -blue-> coil`: a wire for each sign
    if any(len(g) > 1 for i, g in enumerate(groups[1:-1], 1) if i + 1 not in reading.also):
        raise UnsureError(Ask.SEVERAL_MEANINGS)
    run = [g[0] for g in groups]
    ends_there = any(_may_be_a_star(run, place) for place in range(1, len(run) - 1)) and not _said(reading)
    if signs and (_is_joint(run[0]) or ends_there):
        raise UnsureError(Ask.SEVERAL_MEANINGS, " - ".join(" ".join(m.words) for m in run))


def _is_joint(mention: Mention) -> bool:
    return mention.sort == "joint" or mention.key.split()[:1] in (["splice"], ["joint"])


def _said(reading: EndsFound) -> bool:
    """Whether the line says that it is a run: `daisy chain`, `looped`."""
    return any(_LOOPED.search(note) for note in (*reading.notes, reading.label))


def _may_be_a_star(run: list[Mention], place: int) -> bool:
    """Whether a point in the middle of a run may be one of several that the first one goes to."""
    own = run[place]
    if own.terminal in ("", "+", "-", "E") or own.sort == "load" or _is_node(own):
        return False
    return own.terminal not in (run[place - 1].terminal, run[place + 1].terminal)


def _is_node(mention: Mention) -> bool:
    """Whether both wires at a terminal land on one point: of a terminal strip, a junction box, a bus."""
    last = mention.key.split()[-1:]
    return bool(re.fullmatch(r"(?:tb|ts|jb|jp)\d*", mention.key)) or last[0] in (
        "strip",
        "block",
        "bus",
        "bar",
        "box",
    )


def in_series(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[list[Mention]]:
    """`switch -> bulb -> earth`: as one point the bulb would be bridged, so its two sides are asked about."""
    middle = [m for group in groups[1:-1] for m in group]
    bare = [m for m in middle if not m.terminal and not trade.is_ground(m.key)]
    through = [m for m in bare if m.sort in ("load", "contact")]
    if through == middle and len(middle) == len(groups) - 2 and not scene.meant and not reading.polarity:
        loop = all(m.key.split()[-1:] == groups[-1][0].key.split()[-1:] for m in middle)  # `lamp - lamp`
        if not loop and all(m.key.split()[-1] in TWO_SIDED for m in middle):
            return groups  # its sides are told apart when the page is finished
    signs = all(join in ("arrow", "dash") for join in reading.joins)
    if scene.meant == "series" and through and len(middle) == len(groups) - 2:
        ends = [[replace(m, terminal=side) for side in "12"] if m in through else [m, m] for m in middle]
        return [groups[0], *ends, groups[-1]]
    if scene.meant == "chain" or not through or not signs or reading.polarity or _said(reading):
        return groups
    heads = [_head(m) for m in (groups[0][0], *middle, *groups[-1])]
    alike = all(head == heads[-1] for head in heads[1:])
    alike = alike or all(head == heads[0] for head in heads[: 1 + len(middle)])
    if alike and all(m.sort == "load" for m in through):
        return groups  # from lamp to lamp: a second wire goes on from where the first one ends
    raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(through[0].words))


_LAMPS = {
    "lamp", "light", "bulb", "tail", "stop", "headlamp", "headlight", "sidelamp", "sidelight", "taillamp",
    "taillight", "worklamp", "worklight", "foglamp", "indicator", "repeater", "marker", "beacon", "led",
}  # fmt: skip


def _head(mention: Mention) -> str:
    """What sort of device a name is of: `tail` and `plate light` are lamps, no two of them in series."""
    head = "".join(family(mention.key)[-1:])
    return "lamp" if head in _LAMPS else head
