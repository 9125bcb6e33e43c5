"""The items of a statement, from left to right: ends into groups, and what is said of the wire."""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.adding import add_end
from loomtest.harness.notes.block import Ends
from loomtest.harness.notes.ends import EndsFound
from loomtest.harness.notes.items import Item
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.tokens import bare_size


def gather(items: list[Item], reading: EndsFound, scene: Surroundings) -> None:
    """Go through the items from left to right and put ends into groups."""
    gap = listed = via = False
    for index, item in enumerate(items):
        rest = items[index + 1 :]
        complete = sum(bool(group) for group in reading.groups) >= 2
        if item.sort == "join":
            before = items[index - 1] if index else None
            minus = item.value == "dash" and before is not None and before.sort == "list"
            if minus and complete and before is not None and before.value != "gap" and not scene.meant:
                raise UnsureError(Ask.SEVERAL_MEANINGS, "-")  # `blower + F5, - bar`: its minus
            goes_on = complete and any(later.sort == "end" for later in rest)
            if goes_on and not scene.meant and _another_wire(items[:index]):
                raise UnsureError(Ask.SEVERAL_MEANINGS, items[index - 1].value)
            if _add_join(item, _before(items[:index]), reading):
                gap = listed = via = False
        elif item.sort == "via":
            via = True
        elif item.sort == "list":
            gap, listed = gap or item.value == "gap", listed or item.value != "gap"
            reading.by_and = item.value in ("and", "plus") or (reading.by_and and item.value == "gap")
        elif via and item.mention is not None and _is_passage(item.mention):
            reading.notes.append("through " + " ".join(item.mention.words))
            via = False
        elif item.sort == "end" and item.mention is not None:
            if via or _passed_through(item.mention, rest, reading, scene):
                _fuse(item.mention, reading, scene, items[index + 1 :], items)
                via = False
                continue
            mention = replace(item.mention, weak=gap and not listed, listed=listed)
            behind_about = index and items[index - 1].sort == "about" and not mention.words
            number = not mention.words and mention.terminal.isdigit() and gap
            if (behind_about or number) and complete and not scene.pins:
                reading.notes.append(item.value)  # a number that may be a length: `red 25`
                continue
            joined = any(later.sort == "join" for later in rest)
            if behind_about and joined and scene.pins and mention.terminal.isdigit() and not scene.meant:
                raise UnsureError(Ask.SEVERAL_MEANINGS, item.value)  # `main - red 16 - solenoid`: a size
            if listed and complete and _nameless_fuse(mention, scene):
                _fuse(mention, reading, scene, items[index + 1 :], items)
                continue
            if complete and scene.pins and not scene.meant:
                _check_column(mention, item, items[:index], reading, scene)
            add_end(mention, item, reading, scene, complete, rest)
            gap = listed = False
        elif item.sort == "label" and not index and scene.pins:
            reading.label = item.value
        elif item.sort in ("prose", "label") and via:
            reading.fuses[_place(reading, rest)] = item.value
            via = False
        elif item.sort in ("prose", "label"):
            _add_prose(item, reading, rest, complete, bool(scene.pins))
        else:
            _add_said(item, items[max(0, index - 2) : index], reading)
    if via and any(item.sort == "about" and item.value == "amps" for item in items):
        reading.fuses[_place(reading, [])] = "fuse"


def _another_wire(before: list[Item]) -> bool:
    """`joint: brown in, brown to tail, brown to plate lamp`: from the joint again, or from the lamp on."""
    last = [(item.sort, item.value) for item in before[-2:]]
    return len(last) == 2 and last[0][0] == "list" and last[0][1] != "gap" and last[1] == ("about", "colour")


def _check_column(
    mention: Mention, item: Item, before: list[Item], reading: EndsFound, scene: Surroundings
) -> None:
    """Raises UnsureError for `6  mic earth  screen  insert case`: which of the two names is the other end."""
    behind_colour = [(i.sort, i.value) for i in before[-2:]] in (
        [("about", "colour"), ("list", "gap")],
        [("about", "letters"), ("list", "gap")],
    )
    group = reading.groups[-1]
    plain = bool(group) and not group[-1].terminal and not mention.terminal
    if behind_colour and plain and scene.names.stands(mention.key) < 2 and scene.columns == Ends.FIRST:
        raise UnsureError(Ask.SEVERAL_MEANINGS, item.value)


def _before(items: list[Item]) -> Item | None:
    """What stands before a sign of joining: `another red to` goes on from the first end again."""
    behind = next((item for item in reversed(items) if item.sort not in ("about", "note")), None)
    again = behind is not None and behind.sort == "side" and _AGAIN & set(behind.value.split())
    return behind if again else items[-1] if items else None


_AGAIN = {"also", "one", "another", "second", "third"}


def _add_join(item: Item, before: Item | None, reading: EndsFound) -> bool:
    """Begin a new group of ends; False for a `from` that begins the statement."""
    if item.value == "from" and not any(reading.groups):
        return False
    if not any(reading.groups) and reading.about and item.value in ("to", "arrow"):
        reading.headless = True  # `their blacks > choc block 2`
    if reading.groups[-1]:
        reading.groups.append([])
    reading.joins.append(item.value)
    text = item.token.text.casefold() if item.token is not None else ""
    if reading.joins[1:] and re.fullmatch(r"and (?:also )?(?:(?:goes|runs) )?to", text):
        reading.also.add(len(reading.groups) - 1)  # `joint J1 to coil + and to box 1`
    if text.startswith(("earth", "ground")):
        _earth_of(reading)
    reading.looped = reading.looped or bool(_LOOPS.search(text))
    reading.equals = reading.equals or (
        item.token is not None and set(item.token.text) == {"="} and len(item.token.text) < 3
    )
    if before is not None and before.sort == "side" and _AGAIN & set(before.value.split()):
        reading.also.add(len(reading.groups) - 1)
    return True


# What is done between terminals of one device: common practice.
_LOOPS = re.compile(r"\b(?:loop|link|bridg|strap|jump|common|short|tied|daisy)")


def _add_said(item: Item, before: list[Item], reading: EndsFound) -> None:
    """What is said of the wire: colour, size, kind, a note, `both`."""
    if item.sort == "about":
        _add_about(item, reading, sum(map(len, reading.groups)))
        anded = item.value == "colour" and [other.value for other in before] == ["colour", "and"]
        reading.anded = reading.anded or anded
    elif item.sort == "kind":
        reading.kind = item.value
    elif item.sort == "count":
        reading.count = int(item.value)
    elif item.sort == "pair":
        _pair(reading)
    elif item.sort == "note":
        reading.notes.append(item.value)
        if re.fullmatch(r"[2-9]", item.value) and any(reading.groups):
            reading.count = int(item.value)  # `number plate lamps (2)`
    elif item.sort == "side":
        reading.each = reading.each or "each" in item.value
        group = reading.groups[-1]
        if "both" in item.value.split() and len(group) == 1 and group[0].sort == "load" and not group[0].many:
            group[0] = replace(group[0], many="both")  # `4 red stop lamp, both`


def _add_prose(item: Item, reading: EndsFound, rest: list[Item], complete: bool, pinned: bool) -> None:
    """Words of a sentence: what the wire is for, a note, or a doubt where they stand between ends."""
    if re.search(r"(?i)\bof(?: the)?$", item.value) and any(later.sort == "end" for later in rest[:1]):
        raise UnsureError(Ask.UNKNOWN_WORDS, item.value)  # `the common of the switch`
    if item.sort == "prose" and not complete and any(reading.groups) and not pinned:
        reading.odd.append(item.value)
    if item.value.startswith("for ") and any(reading.groups):
        reading.label = re.sub(r"^for (?:the )?", "", item.value)
        return
    reading.notes.append(item.value)
    if not (complete and item.value.casefold().startswith(("not ", "no "))):
        reading.left.append(item.value)
    if complete and item.sort == "prose" and any(later.sort == "join" for later in rest):
        raise UnsureError(Ask.SEVERAL_MEANINGS, item.value)


def _is_passage(mention: Mention) -> bool:
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


_MAKES = (
    "glass",
    "inline",
    "in-line",
    "blade",
    "midi",
    "mega",
    "maxi",
    "circuit",
    "thermal",
    "ceramic",
    "little",
)


def _passed_through(mention: Mention, rest: list[Item], reading: EndsFound, scene: Surroundings) -> bool:
    """A fuse or breaker without a name of its own between two ends."""
    nameless = _nameless_fuse(mention, scene)
    return nameless and any(reading.groups[0]) and any(i.sort == "join" for i in rest)


def _nameless_fuse(mention: Mention, scene: Surroundings) -> bool:
    """`fuse`, `glass fuse`, where the page has none of that name."""
    words = mention.words
    if not words or trade.long_form(words[-1]) not in ("fuse", "breaker", "fusible") or mention.terminal:
        return False
    made = all(word.casefold() in _MAKES for word in words[:-1])
    return made and (len(words) == 1 or scene.names.stands(mention.key) < 2)


def _fuse(
    mention: Mention, reading: EndsFound, scene: Surroundings, rest: list[Item], items: list[Item]
) -> None:
    """Take the mention for a fuse that the wire passes."""
    key = mention.key
    amps = any(item.sort == "about" and item.value == "amps" for item in items) and not mention.sort
    known = mention.sort or mention.terminal
    if (
        not re.search(r"fuse|breaker|fusible", key)
        and sum(bool(group) for group in reading.groups) >= 2
        and not known
    ):
        if scene.meant != "note":
            raise UnsureError(Ask.SEVERAL_MEANINGS, "via " + " ".join(mention.words))
        reading.notes.append("via " + " ".join(mention.words))
        return
    if not re.search(r"fuse|breaker|fusible", key) and not amps:
        raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(mention.words))
    reading.fuses[_place(reading, rest)] = " ".join(mention.words)
