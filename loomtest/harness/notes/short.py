"""Short names: `the lamp` in a line about the work lamp, `sw 2` in one about the saloon lights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.lists import one_of
from loomtest.harness.notes.meaning import Ask, Joint, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names

_SIDES = {"lh", "rh", "ns", "os", "front", "rear", "port", "starboard", "lf", "rf", "lr", "rr"}


def spelled_out(
    joints: Sequence[Joint], names: Names, about: Sequence[Mention], block: Sequence[Mention]
) -> list[Joint]:
    """The joints with every short name as the whole one that it stands for.

    `about` are the longer names that the line speaks of, `block` those of the lines above. Raises UnsureError
    where a short name can stand for several.
    """
    near = [mention.words for joint in joints for mention in (joint.start, joint.end)]
    near += [mention.words for mention in about]
    above = [mention.words for mention in block]
    return [
        replace(
            joint, start=_whole(joint.start, names, near, above), end=_whole(joint.end, names, near, above)
        )
        for joint in joints
    ]


def _ends_in(longer: str, noun: str) -> bool:
    """Whether a longer name ends in the word, with more before it than a side."""
    return longer.split()[-1] == noun and not set(longer.split()[:-1]) <= _SIDES


def _whole(
    mention: Mention, names: Names, near: Sequence[tuple[str, ...]], above: Sequence[tuple[str, ...]]
) -> Mention:
    key = mention.key
    numbered = len(mention.words) == 2 and mention.words[1] in names.several.get(key.split()[0], ())
    if numbered and mention.sort == "load":
        named = _whole(replace(mention, words=mention.words[:1]), names, near, above)
        return replace(named, words=(*named.words, mention.words[1]))
    if len(mention.words) != 1 or not mention.sort or key in names.aliases or key in names.headed:
        return mention
    if mention.sort in ("code", "joint", "ground") or (trade.is_ground(key) and key != "bar"):
        return mention
    noun = key.split()[-1]
    corner = len(mention.words) == 1 and key in trade.words("english", "corners")
    longer = {
        other: words
        for other, words in names.spelled.items()
        if other != key
        and (corner or names.first(other) <= names.first(key))
        and (noun in other.split() if corner else _ends_in(other, noun))
        and (names.stands(other) > 1 or other in names.terminals or other in names.ended)
    }
    shared = mention.terminal == "E" and names.how_many(noun) > 1  # `valve ground`: of all valves
    if not longer or shared:
        return mention
    same = {" ".join(map(trade.long_form, words)): words for words in near if len(words) > 1}
    here = [words for other, words in longer.items() if other in same]
    topics = {word for words in near for word in map(trade.long_form, words)} - {noun}
    topical = [words for other, words in longer.items() if topics & set(other.split()[:-1])]
    lately = {" ".join(map(trade.long_form, words)) for words in above}
    before = [words for other, words in longer.items() if other in lately and mention.terminal != "E"]
    for found in (here, topical, before):
        if len(found) == 1:
            last = one_of(found[0][-1]) if not one_of(mention.words[-1]) else ""
            return replace(mention, words=(*found[0][:-1], last) if last else found[0])
    if corner:
        if len(longer) == 1:
            return replace(mention, words=next(iter(longer.values())))
        raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
    if len(longer) > 1 and names.stands(key) < 2 and not mention.terminal and mention.sort == "contact":
        raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
    return mention
