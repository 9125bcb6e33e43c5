"""Ends by their names: bare terminals get the device meant."""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention


def named(group: list[Mention], scene: Surroundings, index: int) -> list[Mention]:
    """Bare terminals get the name that stands before them, or the heading's."""
    found: list[Mention] = []
    for mention in group:
        if len(mention.words) == 1 and re.fullmatch(r"[A-Za-z]+\d+-[A-Za-z]\d+", mention.words[0]):
            raise UnsureError(Ask.GLUED, mention.words[0])
        have = scene.names.terminals.get(scene.names.alias(mention.key))
        if mention.sort == "code" and not mention.terminal and have:
            raise UnsureError(Ask.CAVITY_LACKS, mention.words[0])
        if mention.words:
            found.append(scene.names.told_apart(mention))
            continue
        if found and found[-1].words[-1:] in (("L",), ("R",)) and mention.terminal in ("L", "R"):
            found.append(replace(found[-1], words=(*found[-1].words[:-1], mention.terminal)))
            continue
        if found and (mention.terminal not in "+-" or len(found[-1].words) > 0):
            words = found[-1].words
        elif index and scene.other is not None:
            words = scene.other.words
        elif scene.device is not None and (not index or scene.pins):
            words = scene.device.words
            if index and mention.terminal in "+-":
                raise UnsureError(Ask.CAVITY, mention.terminal)
        elif scene.topic is not None and not index:
            words = scene.topic.words
        else:
            raise UnsureError(Ask.CAVITY, mention.terminal)
        found.append(scene.names.told_apart(replace(mention, words=words)))
    return found
