"""The ends of a statement in groups, the signs between them, and what is said."""

from __future__ import annotations

from dataclasses import dataclass, field

from loomtest.harness.notes.meaning import Surroundings
from loomtest.harness.notes.mentions import Mention


@dataclass
class EndsFound:
    """The ends of a statement in groups, the joins between them, and what is said."""

    groups: list[list[Mention]]
    joins: list[str] = field(default_factory=list)
    about: list[tuple[str, str, int]] = field(default_factory=list)  # sort, value, how many ends stood before
    notes: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)  # notes that stood in the open and may be points
    fuses: dict[int, str] = field(default_factory=dict)  # after which group a fuse stands
    also: set[int] = field(default_factory=set)  # groups that the first one joins too
    each: bool = False
    label: str = ""
    polarity: str = ""
    kind: str = ""
    anded: bool = False  # two colours with an `and` between them
    equals: bool = False
    by_and: bool = False  # the last sign between two ends was an `and` or a `+`
    looped: bool = False  # `block 1 looped to 2`: from one terminal to another of the same device
    count: int = 0  # how many wires the line says there are
    headless: bool = False  # the sign of joining stands first
    odd: list[str] = field(default_factory=list)


def side_by_side(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[list[Mention]]:
    """Ends without a join between them: two of them are a wire; a terminal each makes them sure."""
    if len(groups) != 1 or len(groups[0]) < 2 or reading.joins or scene.pins:
        return groups
    between = any(sort == "colour" and ends == 1 for sort, _, ends in reading.about)
    said = [bool(m.words) and bool(m.terminal or m.sort or scene.names.knows(m)) for m in groups[0]]
    if between and all(said) and groups[0][0].terminal and not reading.left:
        return [groups[0][:1], groups[0][1:]]  # `dip switch 2, blue, LH headlight dip, RH headlight dip`
    if len(groups[0]) > 2:
        return groups
    first, second = groups[0]
    if second.listed and first.sort == second.sort == "load":
        return groups
    sure = [bool(m.terminal and m.words) or scene.names.knows(m) for m in (first, second)]
    if all(sure) and (first.terminal or second.terminal) and second.words:
        return [[first], [second]]
    return groups
