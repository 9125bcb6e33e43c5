"""Which devices a plural means: `both headlamps`, `all three lights`, `tails`, `battery negatives`.

The members are those that the page names elsewhere: with the plural's words in their name, and besides them
a side, a number or a word of their own. How many there must be says `both`, a number, or the page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.lists import is_side, one_of
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names

_LAMPS = ("lamp", "light", "bulb")  # a person says the one and the other of the same thing
_SIGNS = {
    "negatives": "-", "negs": "-", "minuses": "-", "positives": "+", "pluses": "+",
    "earths": "E", "grounds": "E",
}  # fmt: skip
Words = tuple[str, ...]


def expanded(group: list[Mention], scene: Surroundings) -> list[Mention]:
    """The group with every plural as its members. Raises UnsureError where they are not plain."""
    found: list[Mention] = []
    for mention in group:
        found += _expanded(mention, scene)
    return found


def _expanded(mention: Mention, scene: Surroundings) -> list[Mention]:
    mention = _with_sign(mention, scene.names)
    plural = bool(mention.words) and bool(one_of(mention.words[-1]))
    both = mention.many == "both" and mention.sort == "load"
    if mention.many == "each" and not plural and mention.words:  # `each marker`
        mention = replace(mention, words=(*mention.words[:-1], _plural(mention.words[-1])), many="all")
        plural = True
    if mention.many == "all" and not plural:
        return [replace(mention, many="")]  # `…: all body earth bar`
    if not (plural or both):
        counted = mention.many == "both" or mention.many.isdigit()
        if counted and scene.meant != "end":
            raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
        return [mention]
    if not mention.many and not _means_several(mention, scene.names):
        return [mention]
    have, sure = which(mention, scene.names)
    if scene.meant == "end" and not sure:
        return [replace(mention, many="")]
    if not have and mention.many != "all" and scene.meant == "all":
        have = _left_and_right(mention, scene.names)
    if len(have) < 2 or (not sure and scene.meant != "all"):
        raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
    return [replace(mention, words=words, many="") for words in have]


def _with_sign(mention: Mention, names: Names) -> Mention:
    """`battery negatives`: the negative of each battery; `the button earths` is a sentence."""
    sign = _SIGNS.get(mention.words[-1].casefold(), "") if len(mention.words) > 1 else ""
    if not sign or mention.terminal or not trade.is_noun(mention.words[-2]):
        return mention
    noun = mention.words[-2]
    whole = replace(mention, words=(*mention.words[:-2], _plural(one_of(noun) or noun)), terminal=sign)
    return whole if mention.many or len(which(whole, names)[0]) > 1 else mention


def _plural(noun: str) -> str:
    return f"{noun[:-1]}ies" if noun.casefold().endswith("ry") else f"{noun}s"


def _means_several(mention: Mention, names: Names) -> bool:
    """Whether a plural without `both` or `all` is several devices: `tails`, and no heading's `lights`."""
    key = names.alias(mention.key)
    one = trade.noun_sort(one_of(mention.words[-1]))
    if one not in ("load", "contact") or (names.terminals.get(key) and key in names.headed):
        return False
    return (one == "load" and len(mention.words) == 1) or bool(which(mention, names)[0])


def which(mention: Mention, names: Names) -> tuple[list[Words], bool]:
    """The devices of the page that a plural may mean, and whether they are plain."""
    noun = one_of(mention.words[-1]) or mention.words[-1]
    tails = [_key((*mention.words[:-1], noun))]
    if tails[0][-1] in _LAMPS:
        tails += [[*tails[0][:-1], lamp] for lamp in _LAMPS if lamp != tails[0][-1]]
    have: dict[str, Words] = {}
    for tail in tails:
        have |= _named(tail, names) if len(have) < 2 else {}
    alike = {key: words for key, words in have.items() if family(key) in (tails[0], [*tails[0], "lamp"])}
    wanted = int(mention.many) if mention.many.isdigit() else 2 if mention.many == "both" else 0
    for pool in (alike, have):
        if wanted and len(pool) == wanted:
            return list(pool.values()), True
    if wanted and (numbered := _numbered(alike, wanted)):
        return numbered, True
    if wanted:
        return list((alike or have).values()), False
    if len(alike) > 1 and mention.many != "all":
        return list(alike.values()), True
    one_family = len({tuple(family(key)) for key in have}) == 1
    return list(have.values()), one_family and len(have) > 1


def _numbered(have: Mapping[str, Words], wanted: int) -> list[Words]:
    """`the two galley lights` where `galley light 1` stands: 1 and 2; [] where names say something else."""
    last = {words[-1] for words in have.values()}
    if not last or not last <= {str(number + 1) for number in range(wanted)}:
        return []
    first = next(iter(have.values()))
    return [(*first[:-1], str(number + 1)) for number in range(wanted)]


def _key(words: Sequence[str]) -> list[str]:
    return Mention(tuple(words)).key.split()


def _named(tail: list[str], names: Names) -> dict[str, Words]:
    """The devices whose names have these words, with nothing behind them but what tells devices apart."""
    have: dict[str, Words] = {}
    for key, words in names.spelled.items():
        parts = key.split()
        for place in range(len(parts) - len(tail) + 1):
            if parts[place : place + len(tail)] != tail or parts == tail:
                continue
            rest = parts[place + len(tail) :]
            if rest and rest[0] in _LAMPS:
                rest = rest[1:]
            if all(map(_tells_apart, rest)) and not one_of(words[-1]):
                have.setdefault(names.alias(key), words)
            break
    return have


def _tells_apart(word: str) -> bool:
    return is_side(word) or word.isdigit() or (len(word) == 1 and word.isalpha())


def family(key: str) -> list[str]:
    """The words of a name without what tells it from others of its kind: a side, a number, a letter."""
    return [part for part in key.split() if not _tells_apart(part)]


def _left_and_right(mention: Mention, names: Names) -> list[Words]:
    """`both headlamps`, which the page names nowhere: one at each side, as the page calls its sides."""
    said = [word for words in names.spelled.values() for word in words if is_side(word)]
    for pair in (
        ("L", "R"),
        ("left", "right"),
        ("N/S", "O/S"),
        ("nearside", "offside"),
        ("port", "starboard"),
    ):
        if any(word.casefold() in (pair[0].casefold(), pair[1].casefold()) for word in said):
            break
    else:
        pair = ("LH", "RH")
    noun = one_of(mention.words[-1]) or mention.words[-1]
    return [(side, *mention.words[:-1], noun) for side in pair]
