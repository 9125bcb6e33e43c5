"""Ends by their names: bare terminals get the device meant."""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.ends import EndsFound
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names


def named(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[list[Mention]]:
    """Bare terminals get the name that stands before them, or the heading's."""
    found: list[list[Mention]] = []
    for index, group in enumerate(groups):
        own: list[Mention] = []
        for mention in group:
            own.append(_named(mention, own, found, scene, index, reading))
        found.append(own)
    return found


def _named(
    mention: Mention, own: list[Mention], before: list[list[Mention]], scene: Surroundings, index: int,
    reading: EndsFound,
) -> Mention:  # fmt: skip
    names = scene.names
    mention = _bare(mention, scene)
    if len(mention.words) == 1 and re.fullmatch(r"[A-Za-z]+\d+-[A-Za-z]\d+", mention.words[0]):
        raise UnsureError(Ask.GLUED, mention.words[0])
    have = names.terminals.get(names.alias(mention.key))
    if mention.sort == "code" and not mention.terminal and have:
        raise UnsureError(Ask.CAVITY_LACKS, mention.words[0])
    if mention.words:
        return names.told_apart(mention)
    if own and own[-1].words[-1:] in (("L",), ("R",)) and mention.terminal in ("L", "R"):
        return replace(own[-1], words=(*own[-1].words[:-1], mention.terminal))
    if own and (mention.terminal not in "+-" or len(own[-1].words) > 0):
        words = _of_the_list(own[-1], names)
    elif index and scene.other is not None:
        words = scene.other.words
    elif (of := _of_a_neighbour(mention, before, scene, reading)) is not None:
        return names.told_apart(of)
    elif scene.device is not None and (not index or scene.pins):
        owner = scene.device
        if scene.topic_end is not None:  # of the statement before, and no heading's
            return names.told_apart(_like(owner, mention))
        words = owner.words
        if index and mention.terminal in "+-":
            raise UnsureError(Ask.CAVITY, mention.terminal)
    elif scene.topic is not None and not index:
        return names.told_apart(_like(scene.topic, mention))
    else:
        raise UnsureError(Ask.CAVITY, mention.terminal)
    return names.told_apart(replace(mention, words=words))


def _of_a_neighbour(
    mention: Mention, before: list[list[Mention]], scene: Surroundings, reading: EndsFound
) -> Mention | None:
    """The point of a bare terminal by what stands before it, in its statement or in the one before."""
    if before:
        return _of_the_run(mention, before, scene, reading)
    return None if scene.pins else _of_the_last(mention, scene)


def _bare(mention: Mention, scene: Surroundings) -> Mention:
    """`dip to dip` behind `LH lamp main to RH lamp main`: a word that is a terminal as the one before was."""
    words = trade.words("terminals", "words")
    if scene.topic_end is None or scene.topic_end.terminal.casefold() not in words:
        return mention
    word = mention.words[0] if len(mention.words) == 1 and not mention.terminal else ""
    return replace(mention, words=(), terminal=word) if word.casefold() in words else mention


def _of_the_list(before: Mention, names: Names) -> tuple[str, ...]:
    """The name that a bare number behind a device in a list has: `lamp 1, 2` are two lamps."""
    told = before.words[-1].isdigit() and before.words[-1] in names.several.get(_key(before.words[:-1]), ())
    return before.words[:-1] if told and not before.terminal else before.words


def _key(words: tuple[str, ...]) -> str:
    return Mention(words).key


def _of_the_run(
    mention: Mention, before: list[list[Mention]], scene: Surroundings, reading: EndsFound
) -> Mention | None:
    """The point of a bare terminal behind a sign of joining, where its device is plain; None for none.

    `light 1, on to 2, on to 3`; `block 1 is looped to 2`; `D to D` behind `regulator D to dynamo D`.
    """
    last = before[-1][-1] if before[-1] else None
    if last is None or mention.terminal in ("+", "-"):
        return None
    if len(before) == 1 and scene.topic_end is not None and not _bare(reading.groups[0][0], scene).words:
        return _like(scene.topic_end, mention)
    beside = scene.here.end if scene.here is not None else None  # `A to plug 1. B to terminal 2`
    if len(before) == 1 and beside is not None and beside.terminal and beside.words != last.words:
        return _like(beside, mention) if _may_be_of_one(beside.terminal, mention.terminal) else None
    number = last.terminal or last.words[-1]
    alike = bool(last.terminal or number.isdigit()) and number.isdigit() == mention.terminal.isdigit()
    if alike and (len(before) > 1 or reading.looped or scene.meant == "same"):
        return _like(last, mention)
    return None


def _like(before: Mention, mention: Mention) -> Mention:
    """`2` behind `block 1` or `lamp:1`, each as the one before is told."""
    if not before.terminal and before.words[-1].isdigit() and mention.terminal.isdigit():
        return replace(mention, words=(*before.words[:-1], mention.terminal), terminal="")
    return replace(mention, words=before.words)


_OF_A_RELAY = {"30", "85", "86", "87", "87a"}  # DIN 72552


def _may_be_of_one(one: str, other: str) -> bool:
    """Whether two terminals may be of one device by how they are written."""
    if one == other or (one in _OF_A_RELAY) != (other in _OF_A_RELAY):
        return False
    return (one in "+-") == (other in "+-") and one[:1].isdigit() == other[:1].isdigit()


def _of_the_last(mention: Mention, scene: Surroundings) -> Mention | None:
    """The point of a bare terminal behind a statement: of that of its devices whose terminals are like it."""
    last = scene.here or (scene.last if scene.device is None and scene.topic is None else None)
    if last is None:
        return None
    ends = [e for e in (last.start, last.end) if e.terminal and _may_be_of_one(e.terminal, mention.terminal)]
    if len(ends) == 1 and ends[0].sort not in ("joint", "ground"):
        return _like(ends[0], mention)
    return None
