"""The grammar of a statement: what joins what.

    statement  = ends {join ends} {about | note}       a wire from each group of ends to the next
    ends       = end {list end}                         one to many, many to one, or as many to as many
    about      = colour | size | length | amperes       of one wire, or one for each in their order

A chain (`tacho - oil - temp`) has a group for each of its ends. A fuse that is only passed through is the
kind of its wire. What the grammar cannot settle is a doubt, with its reason, and never a guess.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import pairwise

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import Item, items_of
from loomtest.harness.notes.names import Mention, Names
from loomtest.harness.notes.tokens import Token, bare_size


class Why(StrEnum):
    """Why a line was not read."""

    WRITER_UNSURE = "writer unsure"
    SEVERAL_MEANINGS = "several meanings"
    ONE_END = "one end"
    NO_END = "no end"
    LIST_TO_LIST = "list to list"
    COLOURS = "colours"
    WHICH_OF_THEM = "which of them"
    UNKNOWN_WORDS = "unknown words"
    DITTO = "ditto"
    SAME_ENDS = "same ends"
    TOO_LONG = "too long"
    CAVITY = "cavity"
    CAVITY_LACKS = "cavity lacks"
    NAME_TWICE = "name twice"
    GLUED = "glued"


class UnsureError(Exception):
    """A line that has no one meaning: `why`, and the words it is about."""

    def __init__(self, why: Why, about: str = "") -> None:
        self.why, self.about = why, about
        super().__init__(why)


class RemarkError(Exception):
    """Words that say nothing of a wire."""


@dataclass(frozen=True, slots=True)
class Joint:
    """Two mentions that a wire joins, and what was said of it."""

    start: Mention
    end: Mention
    said: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass
class Scene:
    """What the page gives to a statement: names, the heading's device, the row's pins, colour letters."""

    names: Names
    letters: Mapping[str, str] = field(default_factory=dict)
    device: Mention | None = None
    other: Mention | None = None
    pins: tuple[Mention, ...] = ()
    star: bool = False  # a plug with wires on both its halves
    columns: bool = False  # further columns of this block's rows are ends too
    gauge: bool = False  # a bare number is a gauge here
    fuse_row: bool = False


@dataclass
class _Reading:
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


def read_statement(tokens: list[Token], scene: Scene) -> list[Joint]:
    """The wires of one statement. Raises UnsureError, or RemarkError for what is no statement."""
    if (both := _two_sides(tokens)) is not None:
        return [joint for half in both for joint in read_statement(half, scene)]
    items = items_of(tokens, scene.names, scene.letters)
    try:
        return _read_items(items, scene)
    except UnsureError:
        ends = [item.mention for item in items if item.mention is not None]
        joins = any(item.sort in ("join", "via") for item in items)
        if not joins and not scene.pins and not any(m.terminal and m.words for m in ends):
            raise RemarkError from None
        raise


def _two_sides(tokens: list[Token]) -> list[list[Token]] | None:
    """`lamp: one side A, other side B` as `lamp 1 to A` and `lamp 2 to B`: terminals without a name."""
    low = [token.text.casefold() for token in tokens]
    sides = ("side", "end", "terminal", "wire")
    first = next((i for i in range(1, len(low) - 1) if low[i] == "one" and low[i + 1] in sides), 0)
    other = next(
        (
            i
            for i in range(first + 2, len(low) - 1)
            if low[i] in ("other", "the") and low[i + 1] in (*sides, "other")
        ),
        0,
    )
    if not first or not other:
        return None
    head = [token for token in tokens[:first] if token.sort in ("word", "number")]
    skip = other + (3 if low[other] == "the" else 2)
    halves = []
    for number, part in (("1", tokens[first + 2 : other]), ("2", tokens[skip:])):
        part = [
            token
            for token in part
            if token.sort not in ("colon",) and token.text.casefold() not in ("is", "to", "goes")
        ]
        while part and part[-1].sort in ("comma", "and", "semi"):
            part = part[:-1]
        at = part[0].start if part else 0
        halves.append(
            [*head, Token("number", number, number, at, at), Token("to", "to", "to", at, at), *part]
        )
    return halves


def _read_items(items: list[Item], scene: Scene) -> list[Joint]:
    reading = _Reading([list(scene.pins)] if scene.pins else [[]])
    items = _headed(items, reading, scene)
    _gather(items, reading, scene)
    groups = [group for group in reading.groups if group]
    if len(groups) < 2:
        groups = _side_by_side(reading, groups, scene)
    if len(groups) < 2:
        _refuse(items, reading, groups, bool(scene.pins))
    return _joints(reading, groups, scene)


def _refuse(items: list[Item], reading: _Reading, groups: list[list[Mention]], scene_pins: bool) -> None:
    """A line with fewer than two ends is a remark, unless it begins like a wire."""
    if (
        any(m.terminal or m.sort for group in groups for m in group)
        and not scene_pins
        and any(i.sort == "join" for i in items)
    ):
        raise UnsureError(Why.ONE_END, " ".join(groups[0][0].words))
    prose = sum(len(item.value.split()) for item in items if item.sort in ("prose", "label"))
    joins = any(item.sort in ("join", "via") for item in items)
    ends = [m for group in groups for m in group]
    strong = [m for m in ends if m.terminal or m.sort]
    if not joins and sum(bool(m.terminal and m.words) for m in ends) >= 2:
        raise UnsureError(Why.SEVERAL_MEANINGS)
    if strong and any(
        item.sort in ("label", "prose") and re.search(r"\b[A-Z]{1,3}\d{1,2}\b", item.value) for item in items
    ):
        raise UnsureError(Why.SEVERAL_MEANINGS)
    if not strong or (prose and not joins) or (prose >= 3 and len(strong) < 2):
        raise RemarkError
    if len(strong) == 1 and not joins and not reading.about and not strong[0].terminal:
        raise RemarkError
    raise UnsureError(Why.ONE_END, " ".join(strong[0].words))


def _headed(items: list[Item], reading: _Reading, scene: Scene) -> list[Item]:
    """What stands before a colon: the end that all of the rest joins, or what the line is about."""
    place = next((i for i, item in enumerate(items) if item.sort == "colon"), -1)
    if place < 0:
        return items
    before, rest = items[:place], [item for item in items[place + 1 :] if item.sort != "colon"]
    if any(item.sort == "join" for item in before):  # `key switch 15 feeds: a, b`
        return before + rest
    ends = [item for item in before if item.sort == "end"]
    reading.notes += [item.value for item in before if item.sort == "note"]
    about = [item for item in before if item.sort == "about"]
    text = " ".join(
        item.value or " ".join(item.mention.words if item.mention else ())
        for item in before
        if item.sort in ("end", "prose", "label", "side")
    )
    if re.search(r"\b(?:negs?|negatives|grounds|earths|returns)\b", text, re.IGNORECASE):
        reading.polarity = "-"
        return about + rest
    if scene.pins or len(ends) != 1 or not ends[0].mention:
        if (
            ends
            and not scene.pins
            and all(e.mention and (e.mention.terminal or e.mention.sort) for e in ends)
        ):
            reading.groups = [[e.mention for e in ends if e.mention]]
            return [*about, Item("join", "to", 0), *rest]
        if ends and not scene.pins and len(ends) > 1:
            raise UnsureError(Why.SEVERAL_MEANINGS, text)
        reading.label = text
        return about + rest
    joins = [i for i, item in enumerate(rest) if item.sort == "join"]
    first_end = next((i for i, item in enumerate(rest) if item.sort == "end"), len(rest))
    mention = ends[0].mention
    if joins and joins[0] > first_end:  # the rest is a statement of its own
        if mention.terminal and mention.words:
            raise UnsureError(Why.SEVERAL_MEANINGS, text)
        reading.label = text
        return about + rest
    if not mention.terminal and not mention.sort and not scene.names.knows(mention):
        reading.label = text
        return about + rest
    if (
        not mention.terminal
        and mention.words[-1].casefold().endswith("s")
        and not scene.names.terminals.get(scene.names.alias(mention.key))
        and trade.noun_sort(mention.words[-1]) == "load"
        and len(mention.words[-1]) > 3
    ):
        mention = replace(mention, many="all")
    reading.groups = [[mention]]
    return [*about, Item("join", "to", 0), *rest]


def _gather(items: list[Item], reading: _Reading, scene: Scene) -> None:
    """Go through the items from left to right and put ends into groups."""
    complete = False
    gap = listed = False
    via = False
    for index, item in enumerate(items):
        ends = sum(map(len, reading.groups))
        complete = sum(bool(group) for group in reading.groups) >= 2
        if item.sort == "join":
            if item.value in ("from",) and not any(reading.groups):
                continue
            if reading.groups[-1]:
                reading.groups.append([])
            reading.joins.append(item.value)
            reading.equals = reading.equals or (item.token is not None and set(item.token.text) == {"="})
            if index and items[index - 1].sort == "side" and "also" in items[index - 1].value:
                reading.also.add(len(reading.groups) - 1)
            gap = listed = via = False
        elif item.sort == "via":
            via = True
        elif item.sort == "about":
            _add_about(item, reading, ends)
            last = [other.value for other in items[max(0, index - 2) : index]]
            reading.anded = reading.anded or (item.value == "colour" and last == ["colour", "and"])
        elif item.sort == "list":
            gap, listed = gap or item.value == "gap", listed or item.value != "gap"
        elif item.sort == "end" and item.mention is not None:
            if via or _passed_through(item.mention, items[index + 1 :], reading, scene):
                _fuse(item.mention, reading, items, index)
                via = False
                continue
            mention = replace(item.mention, weak=gap and not listed, listed=listed)
            _add_end(mention, item, reading, scene, complete, items[index + 1 :])
            gap = listed = False
        elif item.sort == "kind":
            reading.kind = item.value
        elif item.sort == "pair":
            _pair(reading)
        elif item.sort == "note":
            reading.notes.append(item.value)
        elif item.sort == "side":
            reading.each = reading.each or "each" in item.value
        elif item.sort in ("prose", "label"):
            if via:
                reading.fuses[_place(reading, items[index + 1 :])] = item.value
                via = False
                continue
            if item.sort == "prose" and not complete and any(reading.groups) and not scene.pins:
                reading.odd.append(item.value)
            if item.value.startswith("for ") and any(reading.groups):
                reading.label = re.sub(r"^for (?:the )?", "", item.value)
                continue
            reading.notes.append(item.value)
            if (
                complete
                and any(later.sort == "join" for later in items[index + 1 :])
                and item.sort == "prose"
            ):
                raise UnsureError(Why.SEVERAL_MEANINGS, item.value)
    if via and any(item.sort == "about" and item.value == "amps" for item in items):
        reading.fuses[_place(reading, [])] = "fuse"


def _place(reading: _Reading, rest: list[Item]) -> int:
    """Between which two groups a fuse stands: before the next join, or in the wire just read."""
    groups = sum(bool(group) for group in reading.groups)
    later = any(item.sort == "join" for item in rest) or groups < 2
    return max(0, groups - (1 if later else 2))


def _pair(reading: _Reading) -> None:
    """`headlights (L&R)`: both of them."""
    if not reading.groups[-1]:
        return
    last = reading.groups[-1].pop()
    words = (*last.words[:-1], last.words[-1].removesuffix("s")) if last.words else last.words
    reading.groups[-1] += [replace(last, words=("L", *words)), replace(last, words=("R", *words))]


def _add_about(item: Item, reading: _Reading, ends: int) -> None:
    assert item.token is not None
    sort, value = item.token.sort, item.token.value
    if sort == "decimal":
        sort, value = "size", bare_size(item.token)
    if sort == "number":
        sort, value = "size", f"AWG {value}"
    if sort == "letters":
        reading.notes.append(f"colour {item.token.text}")
        return
    reading.about.append(("size" if sort == "size?" else sort, value, ends))


def _passed_through(mention: Mention, rest: list[Item], reading: _Reading, scene: Scene) -> bool:
    """A fuse or breaker without a name of its own between two ends."""
    plain = (
        trade.long_form(mention.words[-1]) in ("fuse", "breaker") and not mention.terminal
        if mention.words
        else False
    )
    return (
        plain and len(mention.words) == 1 and any(reading.groups[0]) and any(i.sort == "join" for i in rest)
    )


def _fuse(mention: Mention, reading: _Reading, items: list[Item], index: int) -> None:
    key = mention.key
    amps = any(item.sort == "about" and item.value == "amps" for item in items)
    known = mention.sort or mention.terminal
    if (
        not re.search(r"fuse|breaker|fusible", key)
        and sum(bool(group) for group in reading.groups) >= 2
        and not known
    ):
        reading.notes.append("via " + " ".join(mention.words))
        return
    if not re.search(r"fuse|breaker|fusible", key) and not amps:
        raise UnsureError(Why.SEVERAL_MEANINGS, " ".join(mention.words))
    reading.fuses[_place(reading, items[index + 1 :])] = " ".join(mention.words)


def _add_end(
    mention: Mention, item: Item, reading: _Reading, scene: Scene, complete: bool, rest: list[Item]
) -> None:
    """Take the mention for an end, or for the label or remark that it is."""
    group = reading.groups[-1]
    pinned = bool(scene.pins) and len(reading.groups) == 1 and not reading.joins
    sure = bool(mention.terminal) or bool(mention.sort) or scene.names.knows(mention)
    if mention.listed and not sure and group:  # `LH lamp fog and RH lamp fog`
        like = group[-1].words
        sure = (
            len(mention.words) > 1
            and len(like) > 1
            and (mention.words[-1] == like[-1] or mention.words[1:] == like[1:])
        )
    next_join = next((later for later in rest if later.sort in ("join", "list", "end", "prose")), None)
    if pinned:
        column = [later.sort if later.value != "gap" else "gap" for later in rest[:2]] == ["gap", "join"]
        if column and not mention.terminal and mention.sort in ("", "load") and not scene.star:
            reading.label = item.value
            return
        labelled = (
            not mention.terminal
            and (scene.fuse_row or not sure)
            and next_join is not None
            and next_join.sort == "join"
        )
        if labelled:
            reading.label = item.value
            return
        twice = scene.names.seen.get(scene.names.alias(mention.key), 0) > 1
        known = mention.terminal or mention.sort or twice
        if not known and next_join is not None and next_join.sort == "list":
            later = [other.mention for other in rest if other.mention is not None]
            if later and later[0].terminal:
                raise UnsureError(Why.UNKNOWN_WORDS, item.value)
        reading.groups.append([mention])
        return
    if (
        scene.fuse_row
        and not mention.terminal
        and len(reading.groups) == 1
        and any(i.sort == "join" for i in rest)
    ):
        reading.label = item.value
        return
    if mention.weak and complete and not (reading.joins and not group):
        if _is_label(mention, scene, sure):
            reading.notes.append(item.value)
            return
    elif mention.listed and group and not sure:
        if any(later.sort == "join" for later in rest):
            raise UnsureError(Why.UNKNOWN_WORDS, item.value)
        if _qualifies(mention):
            group[-1] = replace(group[-1], words=(*group[-1].words, *mention.words))
            return
        raise UnsureError(Why.UNKNOWN_WORDS, item.value)
    elif mention.listed and group and _qualifies(mention) and not mention.terminal:
        group[-1] = replace(group[-1], words=(*group[-1].words, *mention.words))
        return
    elif group and not mention.listed and not mention.weak:
        before = group[-1]
        beside = (
            sure
            and (before.terminal or mention.terminal)
            and mention.words
            and (before.words or scene.device)
        )
        if len(reading.groups) == 1 and beside:  # two ends side by side: `wiper motor 31 cab earth`
            reading.groups.append([mention])
            return
        if not sure:
            reading.notes.append(item.value)
            return
        raise UnsureError(Why.SEVERAL_MEANINGS, item.value)
    if not group and not mention.words and not mention.terminal:
        return
    group.append(mention)


def _is_label(mention: Mention, scene: Scene, sure: bool) -> bool:
    """Whether a further column says what a circuit is for rather than where it goes."""
    if scene.columns:
        return not sure
    if mention.terminal and mention.words and (mention.sort or scene.names.knows(mention)):
        return False
    return scene.names.seen.get(scene.names.alias(mention.key), 0) < 3


def _qualifies(mention: Mention) -> bool:
    """`battery side`, `left post`: says which terminal of the end before."""
    last = mention.words[-1].casefold() if mention.words else ""
    return (
        last in trade.words("terminals", "sides")
        and not trade.is_ground(" ".join(mention.words))
        and last not in ("lug", "eyelet", "stud")
    ) or (len(mention.words) == 1 and trade.long_form(last) in ("lh", "rh"))


def _side_by_side(reading: _Reading, groups: list[list[Mention]], scene: Scene) -> list[list[Mention]]:
    """Ends without a join between them: two of them are a wire; a terminal each makes them sure."""
    if len(groups) != 1 or len(groups[0]) != 2 or reading.joins or scene.pins:
        return groups
    first, second = groups[0]
    sure = [bool(m.terminal and m.words) or (bool(m.sort) and scene.names.knows(m)) for m in (first, second)]
    if all(sure) and (first.terminal or second.terminal) and second.words:
        return [[first], [second]]
    return groups


def _joints(reading: _Reading, groups: list[list[Mention]], scene: Scene) -> list[Joint]:
    groups = [_expanded(_named(group, scene, index), scene) for index, group in enumerate(groups)]
    if reading.odd:
        raise UnsureError(Why.UNKNOWN_WORDS, reading.odd[0])
    if reading.polarity:
        groups = [
            [m if m.terminal or trade.is_ground(m.key) else replace(m, terminal=reading.polarity) for m in g]
            for g in groups
        ]
    groups = _minus(reading, groups, scene)
    _check_sure(reading, groups, scene)
    pairs: list[tuple[Mention, Mention, bool]] = []
    weak = [m for g in groups[2:] for m in g if m.weak]
    star = len(groups[0]) == 1 and bool(scene.pins) and (scene.star or bool(weak)) and len(groups) > 2
    if star:
        pairs = [(groups[0][0], m, False) for g in groups[1:] for m in g]
    else:
        dashes = all(join in ("dash", "arrow") for join in reading.joins)
        if (
            len(groups) > 2
            and dashes
            and (
                groups[0][0].sort == "joint"
                or any(m.terminal not in ("", "+", "-") for g in groups[1:-1] for m in g)
            )
        ):
            raise UnsureError(
                Why.SEVERAL_MEANINGS, " - ".join(" ".join(m.words) for g in groups for m in g[:1])
            )
        if len(groups) > 2 and any(len(group) > 1 for group in groups[1:-1]):
            raise UnsureError(Why.SEVERAL_MEANINGS)
        for index, (left, right) in enumerate(pairwise(groups)):
            left = groups[0] if index + 1 in reading.also else left
            fused = index in reading.fuses
            if len(left) == 1 or len(right) == 1:
                pairs += [(a, b, fused) for a in left for b in right]
            elif len(left) == len(right):
                pairs += [(a, b, fused) for a, b in zip(left, right, strict=True)]
            else:
                raise UnsureError(Why.LIST_TO_LIST)
    return _described(pairs, reading, groups, scene)


def _check_sure(reading: _Reading, groups: list[list[Mention]], scene: Scene) -> None:
    """Two names that nothing shows to be devices, with no more than a dash or a `to` between them."""
    ends = [m for group in groups for m in group]
    sure = [m for m in ends if m.terminal or m.sort or scene.names.seen.get(scene.names.alias(m.key), 0) > 1]
    if not sure and "arrow" not in reading.joins:
        if reading.about:
            raise UnsureError(Why.UNKNOWN_WORDS, " ".join(ends[0].words))
        raise RemarkError
    if reading.equals and not any(m.terminal for m in ends):
        raise UnsureError(Why.SEVERAL_MEANINGS, "=")


def _minus(reading: _Reading, groups: list[list[Mention]], scene: Scene) -> list[list[Mention]]:
    """`VHF - neg bus`: the dash is the terminal too, where the page gives the device a plus."""
    if len(groups) != 2 or len(groups[0]) != 1 or "dash" not in reading.joins:
        return groups
    first, second = groups[0][0], groups[1][0]
    have = scene.names.terminals.get(scene.names.alias(first.key), set())
    if not first.terminal and "+" in have and trade.is_ground(second.key):
        return [[replace(first, terminal="-")], groups[1]]
    return groups


def _named(group: list[Mention], scene: Scene, index: int) -> list[Mention]:
    """Bare terminals get the name that stands before them, or the heading's."""
    found: list[Mention] = []
    for mention in group:
        if len(mention.words) == 1 and re.fullmatch(r"[A-Za-z]+\d+-[A-Za-z]\d+", mention.words[0]):
            raise UnsureError(Why.GLUED, mention.words[0])
        have = scene.names.terminals.get(scene.names.alias(mention.key))
        if mention.sort == "code" and not mention.terminal and have:
            raise UnsureError(Why.CAVITY_LACKS, mention.words[0])
        if mention.words:
            found.append(mention)
            continue
        if found and (mention.terminal not in "+-" or len(found[-1].words) > 0):
            words = found[-1].words
        elif index and scene.other is not None:
            words = scene.other.words
        elif scene.device is not None and (not index or scene.pins):
            words = scene.device.words
            if index and mention.terminal in "+-":
                raise UnsureError(Why.CAVITY, mention.terminal)
        else:
            raise UnsureError(Why.CAVITY, mention.terminal)
        found.append(replace(mention, words=words))
    return found


def _expanded(group: list[Mention], scene: Scene) -> list[Mention]:
    """`both headlamps`, `all indicators`: those of the page, where their number is plain."""
    found: list[Mention] = []
    for mention in group:
        plural = mention.words and mention.words[-1].casefold().endswith("s") and len(mention.words[-1]) > 3
        if not mention.many or not (plural or mention.many == "all"):
            if mention.many == "both":
                raise UnsureError(Why.WHICH_OF_THEM, " ".join(mention.words))
            found.append(mention)
            continue
        have = which(mention, scene.names)
        if len(have) < 2 or (mention.many == "both" and len(have) != 2):
            raise UnsureError(Why.WHICH_OF_THEM, " ".join(mention.words))
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


def _of_one_item(reading: _Reading, groups: list[list[Mention]], sort: str) -> list[str] | None:
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
    pairs: list[tuple[Mention, Mention, bool]], reading: _Reading, groups: list[list[Mention]], scene: Scene
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
        elif sort == "colour" and len(pairs) == 1 and len(values) == 2:
            raise UnsureError(Why.COLOURS, " ".join(values))
        else:
            raise UnsureError(Why.COLOURS if sort == "colour" else Why.SEVERAL_MEANINGS, ", ".join(values))
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
