"""What a sentence speaks of, for the words that point back to it: `it`, `its other side`, `number 2`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import items_of
from loomtest.harness.notes.meaning import Surroundings
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.scan import Token

_HAS = {"has", "have", "had", "got"}
_SIDES = trade.words("terminals", "sides") | {"lead", "leg", "wire", "one"}


def first_named(tokens: Sequence[Token], scene: Surroundings) -> Mention | None:
    """The first device that the words name, without its terminal."""
    for item in items_of(tokens, scene.names, scene.letters):
        if item.mention is not None and item.mention.words and item.mention.sort:
            return replace(item.mention, terminal="", many="", listed=False, weak=False)
    return None


def introduced(tokens: Sequence[Token], scene: Surroundings) -> Mention | None:
    """The device that `the key switch has four terminals` brings up; None for any other sentence."""
    place = next((i for i, token in enumerate(tokens) if token.text.casefold() in _HAS), 0)
    named = first_named(tokens[:place], scene) if place else None
    return named if named is not None and named.sort in ("contact", "load", "code") else None


def with_subject(tokens: Sequence[Token], scene: Surroundings) -> list[Token]:
    """The words with `it`, `its other side` and `the other side` as the device that they point to."""
    found: list[Token] = []
    if not any(token.text.casefold() in ("its", "other") for token in tokens):
        return list(tokens)
    begins = next((token.text.casefold() for token in tokens if token.sort != "gap"), "")
    named = any(a.text.casefold() == "one" and b.text.casefold() in _SIDES for a, b in pairwise(tokens))
    if begins == "one" or named:
        return list(tokens)  # `one side …, other side …` is read as it stands
    subject = scene.topic if scene.topic is not None and scene.topic_indent is not None else scene.subject
    index = 0
    while index < len(tokens):
        low = tokens[index].text.casefold()
        after = [token.text.casefold() for token in tokens[index + 1 : index + 4]]
        own = first_named(found, scene) if low in ("its", "it", "the", "other") and found else None
        subject = own or subject
        taken = 0
        if (
            low == "its"
            and subject is not None
            and after[1:2]
            and after[1] in trade.words("terminals", "before")
        ):
            at = tokens[index].start  # `its D terminal`
            found += [Token("word", word, word, at + n, at + n + 1) for n, word in enumerate(subject.words)]
            found.append(tokens[index + 1])
            index += 3
            continue
        if low in ("its", "the") and after[:1] == ["other"] and after[1:2] and after[1] in _SIDES:
            taken = 0 if after[2:3] == ["of"] else 3
        elif low == "other" and after and after[0] in _SIDES and after[1:3] != ["of", "the"]:
            taken = 4 if after[1:3] == ["of", "it"] else 2
        if taken and subject is not None and not _ends_in_a_name(found):
            at = tokens[index].start
            words = [*subject.words, "other", "side"]
            found += [Token("word", word, word, at + n, at + n + 1) for n, word in enumerate(words)]
            index += taken
            continue
        found.append(tokens[index])
        index += 1
    return found


def _ends_in_a_name(tokens: Sequence[Token]) -> bool:
    return bool(tokens) and tokens[-1].sort in ("word", "number") and not trade.is_filler(tokens[-1].text)


def topic_of(tokens: Sequence[Token]) -> list[Mention]:
    """What `galley: sw 2 > …` and `saloon lights. sw 2 goes …` are about: the words before the first sign."""
    place = next((i for i, token in enumerate(tokens) if token.sort in ("colon", "stop")), 0)
    words = tuple(token.text for token in tokens[:place] if token.sort == "word")
    return [Mention(words)] if 0 < len(words) == place <= 3 else []
