"""From the ends that a statement names to its wires: lists, chains, what stands in series."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

from loomtest.harness.notes import trade
from loomtest.harness.notes.chains import check_chain, in_series
from loomtest.harness.notes.ends import EndsFound
from loomtest.harness.notes.meaning import Ask, Joint, RemarkError, Surroundings, UnsureError
from loomtest.harness.notes.members import expanded, which
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.naming import named
from loomtest.harness.notes.saying import described

_LETTERS = re.compile(r"bl|br|gr|gn|gy|lg|lb|bk|wh|ye|rd|pk|vt|or|pu|blk|Br|Gr|Bl|Lg", re.ASCII)
_NO_POINT = (
    "disconnected", "capped", "dead", "nowhere", "nothing", "capped off", "cut off", "dead end",
    "harness", "loom", "wiring", "cable", "main loom", "wiring harness", "main harness",
)  # fmt: skip


def joints_of(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[Joint]:
    """The wires that the groups make. Raises UnsureError where they can be meant in more than one way."""
    if reading.headless:
        raise UnsureError(Ask.ONE_END, " ".join(groups[0][0].words))
    groups = _named_once(reading, named(reading, groups, scene))
    groups = [expanded(group, scene) for group in _from_and_to(reading, groups, scene)]
    if scene.meant == "note":
        reading.notes += reading.odd
    elif reading.odd:
        raise UnsureError(Ask.UNKNOWN_WORDS, reading.odd[0])
    if reading.polarity:
        groups = [
            [m if m.terminal or trade.is_ground(m.key) else replace(m, terminal=reading.polarity) for m in g]
            for g in groups
        ]
    groups = _minus(reading, groups, scene)
    _check_sure(reading, groups, scene)
    pairs = _paired(reading, groups, scene)
    pairs = _not_bridged(pairs, reading, scene)
    if reading.count and reading.count != len(pairs) and scene.meant != "note":
        raise UnsureError(Ask.SEVERAL_MEANINGS, str(reading.count))
    joints = described(pairs, reading, groups, scene)
    return [_of_a_twin(joint) for joint in joints] if scene.names.twin else joints


def _named_once(reading: EndsFound, groups: list[list[Mention]]) -> list[list[Mention]]:
    """`… to the negative bar and from the bar … to the block`: the bar is one end, named twice.

    Raises UnsureError where what follows the `from` is another end, which begins a statement of its own.
    """
    found = groups[:1]
    for index, group in enumerate(groups[1:], 1):
        again = index > 1 and index < len(groups) - 1 and reading.joins[index - 1 : index] == ["from"]
        before = found[-1]
        if again and len(group) == len(before) == 1 and not group[0].terminal:
            own, whole = ([trade.long_form(word) for word in m.words] for m in (group[0], before[0]))
            if whole[-len(own) :] == own:
                del reading.joins[index - 1]
                return [*found, *groups[index + 1 :]]
            raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(group[0].words))
        found.append(group)
    return found


def _of_a_twin(joint: Joint) -> Joint:
    """The red of a lamp is its +, the black its -, where a page speaks of the reds and the blacks of lamps:
    common practice with twin cable."""
    sign = {"red": "+", "black": "-"}.get(joint.said.get("colour", ""), "")
    own = (joint.start, joint.end)
    ends = [replace(m, terminal=sign) if m.sort == "load" and not m.terminal else m for m in own]
    return replace(joint, start=ends[0], end=ends[1]) if sign else joint


Pair = tuple[Mention, Mention, bool]  # two ends, and whether a fuse stands between them


def _paired(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[Pair]:
    """Which end is joined to which: all to the first one, or each group to the next."""
    many = len(groups) > 2
    weak = any(m.weak for g in groups[2:] for m in g)
    star = scene.meant == "star" or (bool(scene.pins) and (scene.star or weak))
    if many and star and len(groups[0]) == 1:
        return [(groups[0][0], m, False) for g in groups[1:] for m in g]
    if many and scene.meant != "chain":
        check_chain(reading, groups)
    pairs: list[Pair] = []
    groups = in_series(reading, groups, scene)
    for index, (left, right) in enumerate(pairwise(groups)):
        right = right[:1] if scene.meant == "series" and index + 2 < len(groups) else right
        left = left[1:] if scene.meant == "series" and index else left
        left = groups[0] if index + 1 in reading.also else left
        pairs += _between(left, right, index in reading.fuses, scene)
    return pairs


def _between(left: list[Mention], right: list[Mention], fused: bool, scene: Surroundings) -> list[Pair]:
    """The pairs of two groups: one to many, or one by one."""
    if len(left) == 1 or len(right) == 1 or (scene.meant == "each" and len(left) != len(right)):
        return [(a, b, fused) for a in left for b in right]
    if len(left) == len(right):
        return [(a, b, fused) for a, b in zip(left, right, strict=True)]
    if scene.meant == "first":  # the lists are joined in themselves, and by their first points
        return [(left[0], b, fused) for b in right] + [(left[0], a, False) for a in left[1:]]
    raise UnsureError(Ask.LIST_TO_LIST)


_ANY_WAY = re.compile(r"(?i)\b(?:any|either|whichever) way (?:round|about|up)\b")


def _not_bridged(pairs: list[Pair], reading: EndsFound, scene: Surroundings) -> list[Pair]:
    """`CDI 3, 4 to stator`: as one point the stator would join the two. Raises UnsureError where it is not
    said that both its terminals do for both wires."""
    for one in {b for _, b, _ in pairs if not b.terminal and b.sort in ("load", "contact", "")}:
        ends = {a for a, b, _ in pairs if b == one and a.terminal}
        if len(ends) < 2 or len({a.words for a in ends}) > 1 or scene.meant or trade.is_ground(one.key):
            continue
        if not any(_ANY_WAY.search(note) for note in reading.notes):
            raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(one.words))
        order = [a for a, b, _ in pairs if b == one]
        pairs = [
            (a, replace(b, terminal=str(order.index(a) + 1)) if b == one else b, fused)
            for a, b, fused in pairs
        ]
    return pairs


def _from_and_to(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[list[Mention]]:
    """`horns from relay 87 to both`: what stands before `from` is what the wire is for, or an end too."""
    if len(groups) != 3 or reading.joins[:2] not in (["from", "to"], ["back", "to"]) or not reading.groups[0]:
        return groups
    several = {tuple(map(trade.long_form, words)) for words in which(groups[0][0], scene.names)[0]}
    same = several and all(tuple(map(trade.long_form, m.words)) in several for m in groups[-1])
    if scene.meant != "chain" and (scene.meant == "star" or same or not groups[0][0].sort):
        reading.label = " ".join(groups[0][0].words)
        reading.joins = reading.joins[1:]
        return groups[1:]
    if scene.meant == "chain":
        return groups
    raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(groups[0][0].words))


def _check_sure(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> None:
    """Two names that nothing shows to be devices, with no more than a dash or a `to` between them."""
    ends = [m for group in groups for m in group]
    for mention in ends:
        if mention.key in _NO_POINT or mention.key in trade.phrases("empty", "whole"):  # `CB3 | spare`
            raise RemarkError
        if len(mention.words) == 1 and _LETTERS.fullmatch(mention.words[0]) and not scene.pins:
            raise UnsureError(Ask.UNKNOWN_WORDS, mention.words[0])  # a colour's letters, likelier than a name
        parts = mention.words[-1].casefold().split("/") if mention.words else []
        if len(parts) > 1 and all(part in trade.words("terminals", "words") for part in parts):
            raise UnsureError(Ask.SEVERAL_MEANINGS, mention.words[-1])  # `dimmer hi/lo`
        if mention.key == "switch" and not scene.pins and scene.names.how_many("switch") > 1:
            raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
    sure = [m for m in ends if m.terminal or m.sort or scene.names.seen.get(scene.names.alias(m.key), 0) > 1]
    if not sure and "arrow" not in reading.joins:
        if reading.about and scene.meant != "end":
            raise UnsureError(Ask.UNKNOWN_WORDS, " ".join(ends[0].words))
        raise RemarkError
    if reading.equals and scene.meant != "end" and not any(m.terminal for m in ends):
        raise UnsureError(Ask.SEVERAL_MEANINGS, "=")


def _minus(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[list[Mention]]:
    """`VHF - neg bus`: the dash is the terminal too, where the page gives the device a plus."""
    if len(groups) != 2 or len(groups[0]) != 1 or "dash" not in reading.joins:
        return groups
    first, second = groups[0][0], groups[1][0]
    have = scene.names.terminals.get(scene.names.alias(first.key), set())
    if not first.terminal and "+" in have and trade.is_ground(second.key):
        return [[replace(first, terminal="-")], groups[1]]
    return groups
