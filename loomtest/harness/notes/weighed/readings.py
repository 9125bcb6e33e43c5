"""What a statement that was cut into pieces can mean below a device.

The ways: `pin` (the device's terminals and where they go), `cell` (the same, the further columns being
remarks), `label` (the same, with what it is for before where it goes), `hub` (what ends at the device
itself), `num` (a number of the wire before both its ends), `own` (both ends, nothing of the device).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.weighed.cuts import Cut, CutPiece
from loomtest.harness.notes.weighed.lexicon import said
from loomtest.harness.notes.weighed.pairing import (
    Groups,
    LineReading,
    Pair,
    bare,
    chained,
    groups_of,
    joined,
    paired,
    side_by_side,
)
from loomtest.harness.notes.weighed.rows import rows_of, several_rows

WAYS = ("pin", "cell", "label", "hub", "own", "num")
MOST_TAILS = 3


def is_hub(device: Mention) -> bool:
    """Whether several wires end at the device itself."""
    words = {trade.long_form(word) for word in device.words}
    return device.sort in ("ground", "joint") or bool(said("hubs") & words)


def readings_of(
    cut: Cut, names: Names, device: Mention | None, other: Mention | None = None
) -> Iterator[LineReading]:
    """The ways to understand a cut below a device; `other`: the heading's second connector."""
    told = [piece for piece in cut.pieces if piece.sort not in ("note", "left")]
    core = bare(_with_sides(_without_about(told)))
    if not core:
        return
    if device is not None and other is not None:
        pins = [piece for piece in core if piece.sort not in ("join", "list")]
        if [piece.sort for piece in pins] == ["pin", "pin"]:
            ends = replace(device, terminal=pins[0].text), replace(other, terminal=pins[1].text)
            yield joined([ends], cut, 0.0, "pin")
    if core[0].sort == "pin":
        for own in _own(cut, bare(core[1:], joins=True), names):
            own.way = "num"
            yield own.dearer(0.1)
    if core[0].sort == "pin" and device is not None:
        for shorter, more in _without_tails(core):
            for row in rows_of(cut, shorter, device):
                yield row.dearer(more)
        if (several := several_rows(cut, core, device)) is not None:
            yield several
    if (led := _led(cut, _with_sides(told))) is not None:
        yield led
    worded = 0.8 if device is not None and _is_terminal_word(core[0].mention) else 0.0
    for shorter, more in _without_tails(core):
        for own in _own(cut, shorter, names):
            yield own.dearer(more + worded)
        if device is not None and (hub := _of_hub(cut, shorter, device)) is not None:
            yield hub.dearer(more)


def _is_terminal_word(mention: Mention | None) -> bool:
    """`earth - white to the bolt` below a lamp cluster: the lamp's earth likelier than a point of its own."""
    if mention is None or mention.terminal or len(mention.words) != 1:
        return False
    return mention.words[0].casefold().strip(".") in said("terminals")


def _without_about(told: Sequence[CutPiece]) -> list[CutPiece]:
    """What is said of the wires only parts the words before it from those behind."""
    found: list[CutPiece] = []
    for place, piece in enumerate(told):
        if piece.sort != "about":
            found.append(piece)
            continue
        rest = [other.sort for other in told[place + 1 :] if other.sort != "about"]
        parts = found and found[-1].sort not in ("list", "join", "colon")
        if parts and rest[:1] not in (["list"], ["join"], ["colon"]):
            found.append(CutPiece("list", text="about"))
    return found


def _with_sides(core: Sequence[CutPiece]) -> list[CutPiece]:
    """`tow switch, top`, `key sw | B`, `solenoid, battery side`: a terminal behind a comma or in a cell."""
    found: list[CutPiece] = []
    for place, piece in enumerate(core):
        sign = found[-1] if len(found) > 1 else None
        owner = found[-2].mention if sign is not None and sign.sort == "list" else None
        if sign is None or owner is None or owner.terminal or sign.text not in ("comma", "gap"):
            found.append(piece)
            continue
        after = core[place + 1] if place + 1 < len(core) else None
        closes = after is None or (after.sort == "list" and after.text != "about")
        named = piece.mention
        if piece.sort == "pin" and closes and owner.sort not in ("ground", "joint"):
            found[-2:] = [CutPiece("point", replace(owner, terminal=piece.text))]
        elif sign.text == "comma" and named is not None and _is_side(named):
            found[-2:] = [CutPiece("point", replace(owner, words=(*owner.words, *named.words)))]
        else:
            found.append(piece)
    return found


def _is_side(named: Mention) -> bool:
    sided = named.words[-1].casefold() in trade.words("terminals", "sides")
    return sided and len(named.words) > 1 and not named.terminal


def _led(cut: Cut, told: Sequence[CutPiece]) -> LineReading | None:
    """`Fog lamp - brown to BP 5, black to the stud`: a device, and what each of its wires goes to."""
    signs = [place for place, piece in enumerate(told) if piece.sort in ("join", "colon", "list", "about")]
    subject = told[0].mention
    if signs[:1] != [1] or subject is None:
        return None
    parts: list[list[CutPiece]] = [[]]
    for place, piece in enumerate(told[1:], 1):
        nearest = [other.sort for other in told[place + 1 : place + 3]]
        leads = piece.sort == "list" and (nearest[:1] == ["join"] or nearest == ["about", "join"])
        if leads and any(other.sort == "point" for other in parts[-1]):
            parts.append([])
        else:
            parts[-1].append(piece)
    pairs: list[Pair] = []
    cost = -0.2
    for part in parts if len(parts) > 1 else []:
        groups = groups_of([piece for piece in part if piece.sort != "about"], None)
        if groups is None:
            return None
        chain, on = chained(groups.ends)
        pairs += [(subject, end) for end in groups.ends[0]] + chain
        cost += groups.cost + on
    return joined(pairs, cut, cost, "own") if pairs else None


def _without_tails(core: Sequence[CutPiece]) -> Iterator[tuple[list[CutPiece], float]]:
    """The pieces, and without their last parts behind a list sign, which may be remarks; what that costs."""
    found, cost = list(core), 0.0
    yield found, cost
    for _ in range(MOST_TAILS):
        place = max((i for i, piece in enumerate(found) if piece.sort == "list"), default=0)
        if not place:
            return
        for piece in found[place:]:
            if piece.mention is not None:
                cost += 0.5 + (0.6 if piece.mention.terminal else 0.0) + (0.3 if piece.mention.sort else 0.0)
            else:
                cost += {"pin": 0.8, "join": 0.2}.get(piece.sort, 0.0)
        found = bare(found[:place])
        yield found, cost


def _own(cut: Cut, core: Sequence[CutPiece], names: Names) -> Iterator[LineReading]:
    """A statement with both its ends."""
    groups = groups_of(core, None)
    if groups is None:
        return
    first = groups.ends[0]
    if len(groups.ends) == 1:
        if len(first) == 2:
            yield joined([(first[0], first[1])], cut, groups.cost + _near(core), "own")
        elif len(first) > 2:
            yield joined([(first[0], end) for end in first[1:]], cut, groups.cost + 1.5, "own")
        return
    if pairs := side_by_side(core):
        yield joined(pairs, cut, groups.cost + 0.1, "own")
    ends = _with_minus(groups, names)
    if len(first) == 2 and len(ends) == 2 and not first[1].terminal and "gap" in _between(core):
        pairs, more = chained([first[:1], ends[1]])  # `F1  nav lights -> nav switch 1`
        yield joined(pairs, cut, groups.cost + more + 0.3, "own")
    pairs, more = chained(ends)
    more += sum(0.5 for group in ends[1:-1] if len(group) > 1)
    if pairs:
        yield joined(pairs, cut, groups.cost + more, "own")


def _near(core: Sequence[CutPiece]) -> float:
    """What it costs to join two points with no more than a list sign between them."""
    between = _between(core)
    return 0.2 if "gap" in between else 0.35 if "about" in between else 0.5 if between else 0.7


def _between(core: Sequence[CutPiece]) -> set[str]:
    ends = [place for place, piece in enumerate(core) if piece.sort in ("point", "pin")]
    return {piece.text for piece in core[ends[0] + 1 : ends[1]]} if len(ends) > 1 else set()


def _with_minus(groups: Groups, names: Names) -> list[list[Mention]]:
    """`VHF - neg bus`: the dash is the terminal too, where the page gives the device a plus."""
    first = groups.ends[0][0]
    one = len(groups.ends) == 2 and len(groups.ends[0]) == 1 and groups.joins[:1] == ["dash"]
    if not one or first.terminal or not trade.is_ground(groups.ends[1][0].key):
        return groups.ends
    if "+" not in names.terminals.get(names.alias(first.key), ()):
        return groups.ends
    return [[replace(first, terminal="-")], groups.ends[1]]


def _of_hub(cut: Cut, core: Sequence[CutPiece], device: Mention) -> LineReading | None:
    """`battery +` below `Positive bar`: what is joined to the heading's device itself."""
    groups = groups_of(core, None)
    if groups is None:
        return None
    pairs, more = paired([replace(device, many="")], groups.ends[0])
    chain, on = chained(groups.ends)
    own = 0.2 if is_hub(device) else 0.35 if core[0].sort == "join" else 1.0
    own += 0.9 if len(groups.ends) > 1 else 0.0
    return joined([*pairs, *chain], cut, groups.cost + more + on + own, "hub")
