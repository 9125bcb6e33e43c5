"""The grammar of a statement: what joins what.

    statement  = ends {join ends} {about | note}       a wire from each group of ends to the next
    ends       = end {list end}                         one to many, many to one, or as many to as many
    about      = colour | size | length | amperes       of one wire, or one for each in their order

A chain (`tacho - oil - temp`) has a group for each of its ends. A fuse that is only passed through is the
kind of its wire. What the grammar cannot settle is a doubt, with its reason, and never a guess.
"""

from __future__ import annotations

import re

from loomtest.harness.notes.block import Ends, labels_first
from loomtest.harness.notes.ends import EndsFound, side_by_side
from loomtest.harness.notes.gather import gather
from loomtest.harness.notes.headed import headed
from loomtest.harness.notes.items import Item, items_of
from loomtest.harness.notes.joining import joints_of
from loomtest.harness.notes.meaning import Ask, Joint, RemarkError, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.parting import by_colours, by_commas, refuse_two_headed, two_sides
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.straps import strapped


def read_statement(tokens: list[Token], scene: Surroundings) -> list[Joint]:
    """The wires of one statement. Raises UnsureError, or RemarkError for what is no statement."""
    refuse_two_headed(tokens)
    if (run := strapped(tokens, scene)) is not None:
        pins, scene.pins = scene.pins, ()
        try:
            return _read_items(run, scene)
        finally:
            scene.pins = pins
    if (both := two_sides(tokens)) is not None:
        return [joint for half in both for joint in read_statement(half, scene)]
    if (parts := by_colours(tokens, scene)) is not None:
        return [joint for part in parts for joint in read_statement(part, scene)]
    if (parts := by_commas(tokens, scene)) is not None:
        return _one_after_another(parts, scene)
    items = items_of(tokens, scene.names, scene.letters)
    try:
        return _read_items(items, scene)
    except UnsureError:
        ends = [item.mention for item in items if item.mention is not None]
        joins = any(item.sort in ("join", "via") for item in items)
        if not joins and not scene.pins and not any(m.terminal and m.words for m in ends):
            raise RemarkError from None
        raise


def _one_after_another(parts: list[list[Token]], scene: Surroundings) -> list[Joint]:
    """Statements with commas between them: a bare terminal is of the device named before."""
    found: list[Joint] = []
    own, own_end, pins, device = scene.topic, scene.topic_end, scene.pins, scene.device
    for part in parts:
        scene.pins = () if found else pins
        scene.device = None if found else device
        if found:
            signed = part[0].sort in ("dash", "plus")
            signs = [end for end in (found[-1].end, found[-1].start) if end.terminal in ("+", "-")]
            scene.topic = signs[0] if signed and signs else found[-1].start
            scene.topic_end = found[-1].end
        try:
            found += read_statement(part, scene)
        finally:
            scene.topic, scene.topic_end, scene.pins, scene.device = own, own_end, pins, device
    return found


def _read_items(items: list[Item], scene: Surroundings) -> list[Joint]:
    reading = EndsFound([list(scene.pins)] if scene.pins else [[]])
    if scene.hub is not None and not scene.pins and (listed := _at_the_hub(items, scene)):
        reading.groups, items = [[scene.hub]], listed
    else:
        items = headed(items, reading, scene)
    if scene.pins and scene.columns == Ends.SECOND:
        items = labels_first(items, scene.names)
    gather(items, reading, scene)
    groups = [group for group in reading.groups if group]
    if len(groups) < 2:
        groups = side_by_side(reading, groups, scene)
    if len(groups) < 2:
        _refuse(items, reading, groups, bool(scene.pins))
    return joints_of(reading, groups, scene)


def _at_the_hub(items: list[Item], scene: Surroundings) -> list[Item]:
    """A line of a list below `Negative bus bar`: what it names, joined to that; [] for a statement."""
    fused = scene.hub is not None and scene.hub.sort not in ("joint", "ground")
    if fused and items[0].sort not in ("about", "join"):
        return []  # `horn 2 to frame` below a fuse has nothing to do with it
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
        raise UnsureError(Ask.ONE_END, " ".join(groups[0][0].words))
    prose = sum(len(item.value.split()) for item in items if item.sort in ("prose", "label"))
    joins = any(item.sort in ("join", "via") for item in items)
    ends = [m for group in groups for m in group]
    strong = [m for m in ends if m.terminal or m.sort]
    if not joins and sum(bool(m.terminal and m.words) for m in ends) >= 2:
        raise UnsureError(Ask.SEVERAL_MEANINGS)
    if strong and any(
        item.sort in ("label", "prose") and re.search(r"\b[A-Z]{1,3}\d{1,2}\b", item.value) for item in items
    ):
        raise UnsureError(Ask.SEVERAL_MEANINGS)
    if not strong or (prose and not joins) or (prose >= 3 and len(strong) < 2):
        raise RemarkError
    if len(strong) == 1 and not joins and not reading.about and not strong[0].terminal:
        raise RemarkError
    raise UnsureError(Ask.ONE_END, " ".join(strong[0].words))
