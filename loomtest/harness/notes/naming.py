"""Ends by their names: bare terminals get the device meant, `both` and `all` the devices of the page."""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.pairs import singular


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
            found.append(mention)
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
        found.append(replace(mention, words=words))
    return found


def expanded(group: list[Mention], scene: Surroundings) -> list[Mention]:
    """`both headlamps`, `all indicators`: those of the page, where their number is plain."""
    found: list[Mention] = []
    for mention in group:
        if not mention.many and _is_plural(mention, scene) and scene.meant != "end":
            raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
        if mention.many == "all" and not _ends_in_s(mention):
            found.append(replace(mention, many=""))  # `…: all body earth bar`
            continue
        plural = mention.words and mention.words[-1].casefold().endswith("s") and len(mention.words[-1]) > 3
        if not mention.many or not (plural or mention.many != "both"):
            if mention.many == "both" and scene.meant != "end":
                raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
            found.append(mention)
            continue
        have = which(mention, scene.names)
        if mention.many == "all" and scene.meant not in ("all", "end") and not _one_family(have):
            raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
        wanted = int(mention.many) if mention.many.isdigit() else 2 if mention.many == "both" else len(have)
        if scene.meant == "end":
            found.append(replace(mention, many=""))
            continue
        if len(have) < 2 and mention.many == "both" and scene.meant == "all":
            words = (*mention.words[:-1], singular(mention.words[-1]))
            found += [replace(mention, words=(side, *words), many="") for side in ("LH", "RH")]
            continue
        if len(have) < 2 or (len(have) != wanted and scene.meant != "all"):
            raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
        found += [replace(mention, words=words, many="") for words in have]
    return found


def _ends_in_s(mention: Mention) -> bool:
    return bool(mention.words) and mention.words[-1].casefold().endswith("s")


def _is_plural(mention: Mention, scene: Surroundings) -> bool:
    """`tails`, `horns`: several devices, and how many is not said."""
    last = mention.words[-1] if mention.words else ""
    one = last.removesuffix("s")
    several = len(one) > 2 and one != last and trade.noun_sort(one) == "load" and not last.endswith("ss")
    return several and (len(mention.words) == 1 or bool(which(mention, scene.names)))


def _one_family(have: list[tuple[str, ...]]) -> bool:
    """Whether devices differ by their side or number alone: then a page that has them has them all."""
    sides = trade.words("english", "sides")
    return (
        len(
            {
                tuple(w for w in map(trade.long_form, words) if w not in sides and not w.isdigit())
                for words in have
            }
        )
        < 2
    )


def which(mention: Mention, names: Names) -> list[tuple[str, ...]]:
    """The devices of the page that a plural may mean: `indis`, `reverse lamps`."""
    last = mention.words[-1]
    singular = (
        trade.long_form(last)
        if trade.long_form(last) != last.casefold()
        else last.casefold().removesuffix("s")
    )
    tail = [*(trade.long_form(word) for word in mention.words[:-1]), trade.long_form(singular)]
    have: dict[str, tuple[str, ...]] = {}
    sides = trade.words("english", "sides")
    for key, words in names.spelled.items():
        parts = key.split()
        if parts[: len(tail)] == tail and parts[len(tail) :] and set(parts[len(tail) :]) <= sides:
            have.setdefault(key, words)  # `number plate lamp L`
        for end in range(len(tail), len(parts) + 1):
            if (
                parts[end - len(tail) : end] == tail
                and end > len(tail)
                and (end == len(parts) or trade.noun_sort(parts[end]) == "")
            ):
                have.setdefault(" ".join(parts[:end]), tuple(words[: end - (len(parts) - len(words))]))
    return list(have.values())
