"""The grammar of a statement: what joins what.

    statement  = ends {join ends} {about | note}       a wire from each group of ends to the next
    ends       = end {list end}                         one to many, many to one, or as many to as many
    about      = colour | size | length | amperes       of one wire, or one for each in their order

A chain (`tacho - oil - temp`) has a group for each of its ends. A fuse that is only passed through is the
kind of its wire. What the grammar cannot settle is a doubt, with its reason, and never a guess.
"""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import Item, items_of
from loomtest.harness.notes.joining import EndsFound, joints_of, side_by_side
from loomtest.harness.notes.meaning import Joint, RemarkError, Surroundings, UnsureError, Why
from loomtest.harness.notes.names import Mention
from loomtest.harness.notes.parting import by_commas, two_sides
from loomtest.harness.notes.tokens import Token, bare_size


def read_statement(tokens: list[Token], scene: Surroundings) -> list[Joint]:
    """The wires of one statement. Raises UnsureError, or RemarkError for what is no statement."""
    if (both := two_sides(tokens)) is not None:
        return [joint for half in both for joint in read_statement(half, scene)]
    if (parts := by_commas(tokens, scene)) is not None:
        return [joint for part in parts for joint in read_statement(part, scene)]
    items = items_of(tokens, scene.names, scene.letters)
    try:
        return _read_items(items, scene)
    except UnsureError:
        ends = [item.mention for item in items if item.mention is not None]
        joins = any(item.sort in ("join", "via") for item in items)
        if not joins and not scene.pins and not any(m.terminal and m.words for m in ends):
            raise RemarkError from None
        raise


def _read_items(items: list[Item], scene: Surroundings) -> list[Joint]:
    reading = EndsFound([list(scene.pins)] if scene.pins else [[]])
    if scene.hub is not None and not scene.pins and (listed := _at_the_hub(items, scene)):
        reading.groups, items = [[scene.hub]], listed
    else:
        items = _headed(items, reading, scene)
    _gather(items, reading, scene)
    groups = [group for group in reading.groups if group]
    if len(groups) < 2:
        groups = side_by_side(reading, groups, scene)
    if len(groups) < 2:
        _refuse(items, reading, groups, bool(scene.pins))
    return joints_of(reading, groups, scene)


def _at_the_hub(items: list[Item], scene: Surroundings) -> list[Item]:
    """A line of a list below `Negative bus bar`: what it names, joined to that; [] for a statement."""
    first_end = next((i for i, item in enumerate(items) if item.mention is not None), -1)
    joins = [i for i, item in enumerate(items) if item.sort in ("join", "colon")]
    if first_end < 0 or any(place > first_end for place in joins):
        return []
    mention = items[first_end].mention
    sure = mention is not None and (mention.terminal or mention.sort or scene.names.knows(mention))
    if not sure and not any(item.sort == "about" for item in items):
        return []
    return [Item("join", "to", 0), *[item for item in items if item.sort not in ("join", "colon")]]


def _refuse(items: list[Item], reading: EndsFound, groups: list[list[Mention]], scene_pins: bool) -> None:
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


def _headed(items: list[Item], reading: EndsFound, scene: Surroundings) -> list[Item]:
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
        if not mention.terminal and mention.words:  # `alternator: B+ to starter`
            rest = [
                replace(item, mention=replace(item.mention, words=mention.words))
                if item.mention is not None and not item.mention.words
                else item
                for item in rest
            ]
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


def _gather(items: list[Item], reading: EndsFound, scene: Surroundings) -> None:
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
            text = item.token.text.casefold() if item.token is not None else ""
            if text.startswith(("earth", "ground")):
                _earth_of(reading)
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
        elif via and item.mention is not None and _is_passage(item.mention, scene):
            reading.notes.append("through " + " ".join(item.mention.words))
            via = False
        elif item.sort == "end" and item.mention is not None:
            if via or _passed_through(item.mention, items[index + 1 :], reading, scene):
                _fuse(item.mention, reading, items, index)
                via = False
                continue
            mention = replace(item.mention, weak=gap and not listed, listed=listed)
            if listed and complete and mention.key in ("fuse", "breaker") and not mention.terminal:
                _fuse(mention, reading, items, index)
                continue
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


def _is_passage(mention: Mention, scene: Surroundings) -> bool:
    """What a wire only passes: `through the bulkhead gland`."""
    return (
        bool(mention.words)
        and not mention.terminal
        and trade.long_form(mention.words[-1]) in trade.words("passages", "words")
    )


def _place(reading: EndsFound, rest: list[Item]) -> int:
    """Between which two groups a fuse stands: before the next join, or in the wire just read."""
    groups = sum(bool(group) for group in reading.groups)
    later = any(item.sort == "join" for item in rest) or groups < 2
    return max(0, groups - (1 if later else 2))


def _earth_of(reading: EndsFound) -> None:
    """`brake light earths to ...`: it is the earth terminal that is meant."""
    group = next((group for group in reversed(reading.groups) if group), None)
    if group and not group[-1].terminal and group[-1].sort == "load":
        group[-1] = replace(group[-1], terminal="E")


def _pair(reading: EndsFound) -> None:
    """`headlights (L&R)`: both of them."""
    if not reading.groups[-1]:
        return
    last = reading.groups[-1].pop()
    words = (*last.words[:-1], last.words[-1].removesuffix("s")) if last.words else last.words
    reading.groups[-1] += [replace(last, words=("L", *words)), replace(last, words=("R", *words))]


def _add_about(item: Item, reading: EndsFound, ends: int) -> None:
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


def _passed_through(mention: Mention, rest: list[Item], reading: EndsFound, scene: Surroundings) -> bool:
    """A fuse or breaker without a name of its own between two ends."""
    plain = (
        trade.long_form(mention.words[-1]) in ("fuse", "breaker") and not mention.terminal
        if mention.words
        else False
    )
    return (
        plain and len(mention.words) == 1 and any(reading.groups[0]) and any(i.sort == "join" for i in rest)
    )


def _fuse(mention: Mention, reading: EndsFound, items: list[Item], index: int) -> None:
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
    mention: Mention, item: Item, reading: EndsFound, scene: Surroundings, complete: bool, rest: list[Item]
) -> None:
    """Take the mention for an end, or for the label or remark that it is."""
    low = [word.casefold() for word in mention.words]
    if "other" in low and {"side", "end", "leg", "lead"} & set(low[low.index("other") :]):
        if scene.meant != "end":
            raise UnsureError(Why.SEVERAL_MEANINGS, " ".join(mention.words))
        mention = replace(mention, words=mention.words[: low.index("other")], terminal="2")
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
        twice = scene.names.seen.get(scene.names.alias(mention.key), 0) > 1
        labelled = (
            not mention.terminal
            and (scene.fuse_row or not (sure and (mention.terminal or mention.sort or twice)))
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


def _is_label(mention: Mention, scene: Surroundings, sure: bool) -> bool:
    """Whether a further column says what a circuit is for rather than where it goes."""
    if scene.columns:
        return not sure
    if mention.terminal and mention.words and (mention.sort or scene.names.knows(mention)):
        return False
    return scene.names.seen.get(scene.names.alias(mention.key), 0) < 3


def _qualifies(mention: Mention) -> bool:
    """`battery side`, `left post`: says which terminal of the end before."""
    last = mention.words[-1].casefold() if mention.words else ""
    if len(mention.words) == 1 and last in ("input", "output"):
        return True
    return (
        last in trade.words("terminals", "sides")
        and not trade.is_ground(" ".join(mention.words))
        and last not in ("lug", "eyelet", "stud")
    ) or (len(mention.words) == 1 and trade.long_form(last) in ("lh", "rh"))
