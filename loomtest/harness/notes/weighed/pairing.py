"""From the pieces of a statement to pairs of points: the ends between the joins, and how they pair off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise, product

from loomtest.harness.notes.meaning import Joint
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.weighed.cuts import Cut, CutPiece

NOT_READ = 9.0  # what a reading costs that pairs nothing
Pair = tuple[Mention, Mention]


@dataclass
class LineReading:
    """What a statement can mean, at a cost. `way`: how it hangs on its block (see `readings.py`)."""

    cost: float
    joints: list[Joint] = field(default_factory=list)
    way: str = ""

    def dearer(self, more: float) -> LineReading:
        """The same reading, at a higher cost."""
        self.cost += more
        return self


@dataclass
class Groups:
    """The ends between the joins of a statement, in order, what they cost, and the joins."""

    ends: list[list[Mention]]
    cost: float = 0.0
    joins: list[str] = field(default_factory=list)


def bare(pieces: Sequence[CutPiece], *, joins: bool = False) -> list[CutPiece]:
    """The pieces without list signs around them; `joins`: and without joins before them."""
    found = list(pieces)
    while found and (found[0].sort in ("list", "colon") or (joins and found[0].sort == "join")):
        found = found[1:]
    while found and found[-1].sort in ("list", "colon"):
        found = found[:-1]
    return found


def groups_of(pieces: Sequence[CutPiece], device: Mention | None) -> Groups | None:
    """The points between the joins; a terminal behind a point is another one of the same device.

    None where there is no point, or a terminal of nothing.
    """
    found = Groups([[]])
    owner = device
    for piece in pieces:
        if piece.sort == "point" and piece.mention is not None:
            found.ends[-1].append(piece.mention)
            owner = piece.mention
        elif piece.sort == "pin":
            if owner is None:
                return None
            found.cost -= 0.4 if found.ends[-1] else 0.0
            found.ends[-1].append(replace(owner, terminal=piece.text))
        elif piece.sort in ("join", "colon") and found.ends[-1]:
            found.ends.append([])
            found.joins.append(piece.text)
    if not found.ends[-1]:
        found.ends.pop()
        found.cost += 0.4 if found.joins and found.joins[-1] in ("to", "arrow") else 0.0
    return found if found.ends else None


def paired(first: Sequence[Mention], second: Sequence[Mention]) -> tuple[list[Pair], float]:
    """One to many, or one by one."""
    if len(first) == 1 or len(second) == 1:
        return list(product(first, second)), 0.0
    if len(first) == len(second):
        return list(zip(first, second, strict=True)), 0.15
    return [], NOT_READ


def chained(groups: Sequence[Sequence[Mention]]) -> tuple[list[Pair], float]:
    """Each group joined to the next; a load in the middle without a terminal would be bridged."""
    found: list[Pair] = []
    cost = 0.4 * sum(not end.terminal and end.sort == "load" for group in groups[1:-1] for end in group)
    for one, two in pairwise(groups):
        pairs, more = paired(one, two)
        found, cost = [*found, *pairs], cost + more
    return found, cost


def side_by_side(pieces: Sequence[CutPiece]) -> list[Pair]:
    """`A 1 to B 2, C 3 to D 4`: statements with a join each; [] where they are none."""
    parts: list[list[CutPiece]] = [[]]
    for place, piece in enumerate(pieces):
        listed = piece.sort == "list" and piece.text in ("comma", "and", "gap", "slash")
        if listed and _is_whole(parts[-1]) and _begins(pieces[place + 1 :]):
            parts.append([])
        else:
            parts[-1].append(piece)
    found: list[Pair] = []
    before: list[Mention] = []
    for part in parts if len(parts) > 1 else []:
        groups = groups_of(part, _owner(part, before))
        if groups is None or len(groups.ends) < 2:
            return []
        pairs, more = chained(groups.ends)
        if not pairs or more >= NOT_READ:
            return []
        found += pairs
        before = [end for group in groups.ends for end in group]
    return found


def _is_whole(part: Sequence[CutPiece]) -> bool:
    ends = sum(piece.sort in ("point", "pin") for piece in part)
    return ends > 1 and any(piece.sort == "join" for piece in part)


def _begins(rest: Sequence[CutPiece]) -> bool:
    """Whether what follows has a join of its own before the next list sign, or comes `out of` a point."""
    nearest = next((i for i, piece in enumerate(rest) if piece.sort in ("join", "list")), len(rest))
    if nearest == len(rest) or rest[nearest].sort != "join":
        return False
    out_of = rest[0].text in ("from", "back") and any(piece.sort == "join" for piece in rest[1:])
    return nearest > 0 or out_of


def _owner(part: Sequence[CutPiece], before: Sequence[Mention]) -> Mention | None:
    """Whose terminal a bare one is: of the last device before with one of its sort, else of the first."""
    pin = next((piece.text for piece in part if piece.sort == "pin"), "")
    alike = [end for end in before if end.terminal and _sort_of(end.terminal) == _sort_of(pin)]
    return alike[-1] if alike else before[0] if before else None


def _sort_of(terminal: str) -> str:
    return "sign" if terminal[-1:] in ("+", "-") else "number" if terminal[:1].isdigit() else "letter"


def joined(pairs: Sequence[Pair], cut: Cut, cost: float, way: str) -> LineReading:
    """The reading of these pairs, each with what the statement says of its wire."""
    said = said_of(cut, len(pairs))
    joints = [Joint(one, two, said[place]) for place, (one, two) in enumerate(pairs)]
    return LineReading(cut.cost + cost, joints, way)


def said_of(cut: Cut, wires: int) -> list[dict[str, str]]:
    """Colour, size and length of each wire: one for all, or one for each in their order."""
    found: list[dict[str, str]] = [{} for _ in range(wires)]
    for sort in ("colour", "size", "length"):
        values = [
            piece.token.value
            for piece in cut.pieces
            if piece.sort == "about" and piece.token is not None and piece.token.sort in (sort, sort + "?")
        ]
        if len(values) == wires or len(set(values)) == 1:
            for place in range(wires):
                found[place][sort] = values[place if len(values) == wires else 0]
    return found
