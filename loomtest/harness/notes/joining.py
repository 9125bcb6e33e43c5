"""From the ends that a statement names to its wires: lists, chains, what is said of which."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from itertools import pairwise

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import singular
from loomtest.harness.notes.meaning import Ask, Joint, RemarkError, Surroundings, UnsureError
from loomtest.harness.notes.names import Mention, Names

_LETTERS = re.compile(r"bl|br|gr|gn|gy|lg|lb|bk|wh|ye|rd|pk|vt|or|pu|blk|Br|Gr|Bl|Lg", re.ASCII)
_NO_POINT = (
    "disconnected", "capped", "dead", "nowhere", "nothing", "capped off", "cut off", "dead end",
    "harness", "loom", "wiring", "cable", "main loom", "wiring harness", "main harness",
)  # fmt: skip
_LOOPED = re.compile(r"(?i)daisy|chain|loop|then on|jump|link")


@dataclass
class EndsFound:
    """The ends of a statement in groups, the joins between them, and what is said."""

    groups: list[list[Mention]]
    joins: list[str] = field(default_factory=list)
    about: list[tuple[str, str, int]] = field(default_factory=list)  # sort, value, how many ends stood before
    notes: list[str] = field(default_factory=list)
    fuses: dict[int, str] = field(default_factory=dict)  # after which group a fuse stands
    also: set[int] = field(default_factory=set)  # groups that the first one joins too
    each: bool = False
    label: str = ""
    polarity: str = ""
    kind: str = ""
    anded: bool = False  # two colours with an `and` between them
    equals: bool = False
    odd: list[str] = field(default_factory=list)


def side_by_side(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[list[Mention]]:
    """Ends without a join between them: two of them are a wire; a terminal each makes them sure."""
    if len(groups) != 1 or len(groups[0]) != 2 or reading.joins or scene.pins:
        return groups
    first, second = groups[0]
    sure = [bool(m.terminal and m.words) or scene.names.knows(m) for m in (first, second)]
    if all(sure) and (first.terminal or second.terminal) and second.words:
        return [[first], [second]]
    return groups


def joints_of(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[Joint]:
    """The wires that the groups make. Raises UnsureError where they can be meant in more than one way."""
    groups = [_expanded(_named(group, scene, index), scene) for index, group in enumerate(groups)]
    groups = _from_and_to(reading, groups, scene)
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
    pairs: list[tuple[Mention, Mention, bool]] = []
    weak = [m for g in groups[2:] for m in g if m.weak]
    star = len(groups) > 2 and scene.meant == "star" and len(groups[0]) == 1
    star = star or (
        len(groups[0]) == 1 and bool(scene.pins) and (scene.star or bool(weak)) and len(groups) > 2
    )
    if star:
        pairs = [(groups[0][0], m, False) for g in groups[1:] for m in g]
    else:
        dashes = all(join in ("dash", "arrow") for join in reading.joins)
        if (
            len(groups) > 2
            and scene.meant != "chain"
            and dashes
            and (
                groups[0][0].sort == "joint"
                or any(m.terminal not in ("", "+", "-") for g in groups[1:-1] for m in g)
            )
        ):
            raise UnsureError(
                Ask.SEVERAL_MEANINGS, " - ".join(" ".join(m.words) for g in groups for m in g[:1])
            )
        if len(groups) > 2 and scene.meant != "chain" and any(len(group) > 1 for group in groups[1:-1]):
            raise UnsureError(Ask.SEVERAL_MEANINGS)
        groups = _in_series(reading, groups, scene)
        for index, (left, right) in enumerate(pairwise(groups)):
            right = right[:1] if scene.meant == "series" and index + 2 < len(groups) else right
            left = left[1:] if scene.meant == "series" and index else left
            left = groups[0] if index + 1 in reading.also else left
            fused = index in reading.fuses
            if len(left) == 1 or len(right) == 1:
                pairs += [(a, b, fused) for a in left for b in right]
            elif len(left) == len(right):
                pairs += [(a, b, fused) for a, b in zip(left, right, strict=True)]
            elif scene.meant == "each":
                pairs += [(a, b, fused) for a in left for b in right]
            elif scene.meant == "first":  # the lists are joined in themselves, and by their first points
                pairs += [(left[0], b, fused) for b in right] + [(left[0], a, False) for a in left[1:]]
            else:
                raise UnsureError(Ask.LIST_TO_LIST)
    return _described(pairs, reading, groups, scene)


def _in_series(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[list[Mention]]:
    """`switch -> bulb -> earth`: as one point the bulb would be bridged, so its two sides are asked about."""
    middle = [m for group in groups[1:-1] for m in group]
    through = [m for m in middle if not m.terminal and m.sort in ("load", "contact")]
    signs = all(join in ("arrow", "dash") for join in reading.joins)
    if scene.meant == "series" and through and len(middle) == len(groups) - 2:
        ends = [[replace(m, terminal=side) for side in "12"] if m in through else [m, m] for m in middle]
        return [groups[0], *ends, groups[-1]]
    if scene.meant == "chain" or not through or not signs or reading.polarity:
        return groups
    if any(_LOOPED.search(note) for note in (*reading.notes, reading.label)):
        return groups
    raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(through[0].words))


def _from_and_to(reading: EndsFound, groups: list[list[Mention]], scene: Surroundings) -> list[list[Mention]]:
    """`horns from relay 87 to both`: what stands before `from` is what the wire is for, or an end too."""
    if len(groups) != 3 or reading.joins[:2] not in (["from", "to"], ["back", "to"]) or not reading.groups[0]:
        return groups
    if scene.meant != "chain" and (scene.meant == "star" or not groups[0][0].sort):
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


def _named(group: list[Mention], scene: Surroundings, index: int) -> list[Mention]:
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
        else:
            raise UnsureError(Ask.CAVITY, mention.terminal)
        found.append(replace(mention, words=words))
    return found


def _expanded(group: list[Mention], scene: Surroundings) -> list[Mention]:
    """`both headlamps`, `all indicators`: those of the page, where their number is plain."""
    found: list[Mention] = []
    for mention in group:
        plural = mention.words and mention.words[-1].casefold().endswith("s") and len(mention.words[-1]) > 3
        if not mention.many or not (plural or mention.many != "both"):
            if mention.many == "both" and scene.meant != "end":
                raise UnsureError(Ask.WHICH_OF_THEM, " ".join(mention.words))
            found.append(mention)
            continue
        have = which(mention, scene.names)
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
    for key, words in names.spelled.items():
        parts = key.split()
        for end in range(len(tail), len(parts) + 1):
            if (
                parts[end - len(tail) : end] == tail
                and end > len(tail)
                and (end == len(parts) or trade.noun_sort(parts[end]) == "")
            ):
                have.setdefault(" ".join(parts[:end]), tuple(words[: end - (len(parts) - len(words))]))
    return list(have.values())


def _of_one_item(reading: EndsFound, groups: list[list[Mention]], sort: str) -> list[str] | None:
    """`SP1: X1 3 red, X4 2`: what stands inside a list is said of the item before it; else None."""
    if len(groups) != 2 or len(groups[0]) != 1 or len(groups[1]) < 2:
        return None
    if sum(map(len, reading.groups)) != 1 + len(groups[1]):  # `both lamps` is one word and two ends
        return None
    many = len(groups[1])
    placed = [(value, ends - 2) for kind, value, ends in reading.about if kind == sort]
    inside = any(0 <= ends - 2 < many - 1 for _, _, ends in reading.about)
    if (
        not inside
        or any(not 0 <= at < many for _, at in placed)
        or len({at for _, at in placed}) < len(placed)
    ):
        return None
    own = [""] * many
    for value, at in placed:
        own[at] = value
    return own


def _described(
    pairs: list[tuple[Mention, Mention, bool]],
    reading: EndsFound,
    groups: list[list[Mention]],
    scene: Surroundings,
) -> list[Joint]:
    """Each pair with its colour, size and the rest."""
    said: list[dict[str, str]] = [{} for _ in pairs]
    notes = [note for note in reading.notes if note]
    for sort in ("colour", "size", "length", "amps"):
        values = [value for kind, value, _ in reading.about if kind == sort]
        fuse = (
            any(fused for *_, fused in pairs)
            or scene.fuse_row
            or any("fuse" in m.key or "breaker" in m.key for g in groups for m in g)
        )
        if sort == "amps" and values and fuse:
            notes.append(
                " ".join([*reading.fuses.values()][:1] + values) if reading.fuses else f"fuse of {values[0]}"
            )
            continue
        if not values:
            continue
        own = _of_one_item(reading, groups, sort)
        if own is not None:
            for row, value in zip(said, own, strict=True):
                if value:
                    row[sort] = value
            continue
        if len(set(values)) == 1:
            if sort == "length" and len(pairs) > 1 and not reading.each:
                notes.append(values[0])
            else:
                for row in said:
                    row[sort] = values[0]
        elif len(values) == len(pairs):
            for row, value in zip(said, values, strict=True):
                row[sort] = value
        elif sort == "colour" and len(pairs) == 1 and len(values) == 2 and reading.anded:
            said[0][sort] = "/".join(values)
        elif sort == "colour" and len(values) == 2 and scene.meant in ("first", "second"):
            for row in said:
                row[sort] = values[scene.meant == "second"]
        elif sort == "colour" and len(pairs) == 1 and len(values) == 2 and scene.meant == "both":
            said[0][sort] = "/".join(values)
        elif sort == "colour" and len(pairs) == 1 and len(values) == 2:
            raise UnsureError(Ask.COLOURS, " ".join(values))
        else:
            raise UnsureError(Ask.COLOURS if sort == "colour" else Ask.SEVERAL_MEANINGS, ", ".join(values))
    if reading.label:
        for row in said:
            row["circuit"] = reading.label
    found = []
    for (start, end, fused), row in zip(pairs, said, strict=True):
        if fused or reading.kind:
            row["kind"] = "fuse" if fused else reading.kind
        if reading.joins[:1] == ["back"]:
            start, end = end, start
        found.append(Joint(start, end, row, tuple(notes)))
    return found
