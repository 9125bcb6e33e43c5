"""What stands before a colon: the end that all of the rest joins, or what the line is about."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.ends import EndsFound
from loomtest.harness.notes.items import Item
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention

_POLARITY = re.compile(r"\b(?:negs?|negatives|grounds|earths|returns)\b", re.IGNORECASE)
_FUSE = re.compile(r"\b(?:fuse|breaker)\b")
_TO = Item("join", "to", 0)


def headed(items: list[Item], reading: EndsFound, scene: Surroundings) -> list[Item]:
    """The items of a statement with what stands before its colon told: see above."""
    place = next((i for i, item in enumerate(items) if item.sort == "colon"), -1)
    if place < 0:
        return items
    before, rest = items[:place], [item for item in items[place + 1 :] if item.sort != "colon"]
    first = next((i for i, item in enumerate(before) if item.mention is not None), 0)
    if sum(item.mention is not None for item in before) == 1:  # `from the joint: a, b, c`
        before = [item for i, item in enumerate(before) if item.sort != "join" or i > first]
    if any(item.sort == "join" for item in before):  # `key switch 15 feeds: a, b`
        return before + rest
    ends = [item.mention for item in before if item.mention is not None]
    reading.notes += [item.value for item in before if item.sort == "note"]
    about = [item for item in before if item.sort == "about"]
    text = _text(before)
    device = len(ends) == 1 and ends[0].sort and not _POLARITY.fullmatch(ends[0].words[-1])  # `neg strip:`
    if _POLARITY.search(text) and not device:
        reading.polarity = "-"
        return about + rest
    if scene.pins or not ends:
        reading.label = text
        return about + rest
    if len(ends) > 1:
        reading.groups = [_several(ends, before, reading, text)]
        return [*about, _TO, *rest]
    return [*about, *_one(ends[0], rest, reading, scene, text)]


def _text(items: Sequence[Item]) -> str:
    said = [item for item in items if item.sort in ("end", "prose", "label", "side")]
    return " ".join(item.value or " ".join(item.mention.words if item.mention else ()) for item in said)


def _several(ends: list[Mention], before: list[Item], reading: EndsFound, text: str) -> list[Mention]:
    """`LH lamp, RH lamp: …` are both joined; of `Fuse 1 (20) blower: …` the fuse is."""
    listed = sum(item.sort == "list" and item.value != "gap" for item in before) >= len(ends) - 1
    if not all(end.terminal or end.sort for end in ends):
        raise UnsureError(Ask.SEVERAL_MEANINGS, text)
    if listed:
        return ends
    if not _FUSE.search(ends[0].key):
        raise UnsureError(Ask.SEVERAL_MEANINGS, text)
    reading.notes += [item.value for item in before if item.mention in ends[1:]]
    return ends[:1]


def _one(
    mention: Mention, rest: list[Item], reading: EndsFound, scene: Surroundings, text: str
) -> list[Item]:
    """The rest behind one name: joined to it, or a statement of its own that is about it."""
    joins = [i for i, item in enumerate(rest) if item.sort == "join"]
    first_end = next((i for i, item in enumerate(rest) if item.sort == "end"), len(rest))
    begun = bool(joins) and rest[joins[0]].value == "from" and joins[0] < first_end and len(joins) > 1
    if (joins and joins[0] > first_end) or begun:
        if mention.terminal and mention.words:
            raise UnsureError(Ask.SEVERAL_MEANINGS, text)
        reading.label = text
        bare = not mention.terminal and bool(mention.words)
        return [_of(item, mention) if bare else item for item in rest]
    if not mention.terminal and not mention.sort and not scene.names.knows(mention):
        reading.label = text
        return rest
    last = mention.words[-1] if mention.words else ""
    several = last.casefold().endswith("s") and len(last) > 3 and trade.noun_sort(last) == "load"
    if several and not mention.terminal and not scene.names.terminals.get(scene.names.alias(mention.key)):
        mention = replace(mention, many="all")
    reading.groups = [[mention]]
    return [_TO, *rest]


def _of(item: Item, mention: Mention) -> Item:
    """`alternator: B+ to starter`: a bare terminal is of what stands before the colon."""
    if item.mention is None or item.mention.words:
        return item
    return replace(item, mention=replace(item.mention, words=mention.words))
