"""A name that a statement mentions: an end, a part of the one before, what the wire is for, or a doubt."""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.block import Ends
from loomtest.harness.notes.ends import EndsFound
from loomtest.harness.notes.items import Item
from loomtest.harness.notes.lists import one_of
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.remarks import is_remark

_SIDES = trade.words("terminals", "sides") | {"leg", "lead", "wire", "one"}


def add_end(
    mention: Mention, item: Item, reading: EndsFound, scene: Surroundings, complete: bool, rest: list[Item]
) -> None:
    """Take the mention for an end, or for the label or remark that it is."""
    mention = _other_side(mention, scene)
    if mention.other and [end.words for end in reading.groups[-1]] == [mention.words]:
        reading.groups[-1].pop()  # `3 valves, other terminal - frame`
    listed = mention.listed and reading.groups[-1] and reading.groups[-1][-1].other
    if (
        mention.other and reading.groups[-1] and not scene.meant and not listed
    ):  # another wire of the device, and no list
        raise UnsureError(Ask.SEVERAL_MEANINGS, item.value)
    group = reading.groups[-1]
    said = complete and mention.listed and group and not mention.terminal and " " in item.value
    if said and _is_said(item.value, reading, scene):
        reading.notes.append(item.value)  # `…, three turns on a ferrite ring`
        return
    sure = _is_sure(mention, group, scene)
    joined = any(later.sort == "join" for later in rest)
    shade = bool(group) and not mention.words and re.fullmatch("[a-z]", mention.terminal)
    if shade and not group[-1].terminal.islower():
        reading.notes.append(f"colour {mention.terminal}")  # `D to D, y`: no terminal as those
    elif scene.pins and len(reading.groups) == 1 and not reading.joins:
        _add_behind_the_pin(mention, item, reading, scene, rest)
    elif scene.fuse_row and scene.pins and not mention.terminal and len(reading.groups) == 1 and joined:
        reading.label = item.value
    elif _two_cells(mention, group, complete, scene, rest):
        raise UnsureError(Ask.SEVERAL_MEANINGS, item.value)
    elif mention.weak and complete and mention.words and mention.key == "switch":
        raise UnsureError(Ask.UNKNOWN_WORDS, item.value)
    elif mention.weak and complete and not (reading.joins and not group) and _is_label(mention, scene, sure):
        reading.notes.append(item.value)
    elif mention.listed and group and scene.pins and _is_a_use(mention, group[-1]) and scene.meant != "each":
        if scene.meant != "note":
            raise UnsureError(Ask.SEVERAL_MEANINGS, item.value)
        reading.notes.append(item.value)
    elif mention.listed and group and scene.pins and _of_a_ground(mention, group[-1]) and not scene.meant:
        raise UnsureError(Ask.SEVERAL_MEANINGS, item.value)
    elif mention.listed and group and (terminal := _next_terminal(mention, group[-1], scene)):
        group.append(replace(mention, words=group[-1].words, terminal=terminal))
    elif mention.listed and group and _of_a_pot(mention, group[-1]):
        group[-1] = replace(group[-1], terminal=mention.words[0])
    elif mention.listed and group and len(mention.words) == 1 and mention.words[0].casefold() in _SAME:
        reading.notes.append(item.value)
    elif _is_tail(mention, item, reading, scene):
        _add_unsure(mention, item, reading, scene)
    elif mention.listed and group and not mention.weak and not sure:
        side = mention.words[-1].casefold() == "side" and not group[-1].terminal
        if (joined and not side) or not _qualifies(mention, group[-1]):
            _add_unsure(mention, item, reading, scene)
        else:
            group[-1] = replace(group[-1], words=(*group[-1].words, *mention.words))
    elif mention.listed and group and not mention.terminal and _qualifies(mention, group[-1]):
        group[-1] = replace(group[-1], words=(*group[-1].words, *mention.words))
    elif group and not mention.listed and not mention.weak:
        _add_beside(mention, item, reading, scene, sure)
    elif group or mention.words or mention.terminal:
        group.append(mention)


def _two_cells(
    mention: Mention, group: list[Mention], complete: bool, scene: Surroundings, rest: list[Item]
) -> bool:
    """`14  green  stop switch 2  brake lamp 1`: from one to the other, or from the cavity to both."""
    if not (mention.weak and complete and group):
        return False
    if not scene.pins:
        return bool(rest) and rest[0].sort == "join"
    both = bool(mention.words and mention.terminal and group[-1].terminal)
    return both and not scene.meant and scene.columns != Ends.BOTH


def _is_tail(mention: Mention, item: Item, reading: EndsFound, scene: Surroundings) -> bool:
    """`P1-J to M1-S, oil press ind`: behind two cavities a further name may say what the wire is for."""
    group = reading.groups[-1]
    if not mention.listed or not group or mention.terminal or len(reading.groups) < 2 or scene.pins:
        return False
    cavities = len(group) == 1 and group[0].sort == "code" and bool(group[0].terminal)
    return cavities and scene.names.stands(mention.key) < 2


def _of_a_ground(mention: Mention, before: Mention) -> bool:
    """`chassis, bolt by hitch`: where on the chassis it is, likelier than a second ground."""
    return mention.sort == before.sort == "ground" and not mention.terminal and not before.terminal


def _is_a_use(mention: Mention, before: Mention) -> bool:
    """`clamp 3, earth`: what the circuit is for, or a second end."""
    device = before.sort != "ground" and not trade.is_ground(before.key)
    use = len(mention.words) == 1 and trade.long_form(mention.words[0]) in (
        "earth",
        "ground",
        "mass",
        "negative",
    )
    return use and not mention.terminal and (bool(before.terminal) or device)


def _other_side(mention: Mention, scene: Surroundings) -> Mention:
    """`fuse 3 other side`: a terminal without a name, which is asked about."""
    low = [word.casefold() for word in mention.words]
    place = low.index("other") if "other" in low else 0
    if not place or (low[place + 1 :] and not _SIDES & set(low[place:])):
        return mention
    device = replace(mention, words=mention.words[:place])
    one = trade.long_form(one_of(device.words[-1]))
    several = bool(one) and scene.names.how_many(one.split()[-1]) > 1  # `3 valves other side`
    if scene.meant != "end" and not several and (not device.sort or scene.names.stands(device.key) < 1):
        raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(mention.words))
    return replace(device, terminal="2", other=True)


def _is_sure(mention: Mention, group: list[Mention], scene: Surroundings) -> bool:
    """Whether a mention is a point: by its terminal, the trade's nouns, the page, or the one before it."""
    if mention.terminal or mention.sort or scene.names.knows(mention):
        return True
    if not mention.listed or not group:
        return False
    like = group[-1].words  # `LH lamp fog and RH lamp fog`
    return (
        len(mention.words) > 1
        and len(like) > 1
        and (mention.words[-1] == like[-1] or mention.words[1:] == like[1:])
    )


def _add_unsure(mention: Mention, item: Item, reading: EndsFound, scene: Surroundings) -> None:
    """A further word behind a comma: an end or a remark, which is asked about."""
    remark = not scene.meant and not mention.terminal and is_remark(item.value, scene.names)
    named = not scene.meant and reading.by_and and not remark and _is_plain(mention)
    if scene.meant == "end" or named:
        reading.groups[-1].append(mention)  # `coil + & reg sense`
    elif scene.meant == "note" or remark:
        reading.notes.append(item.value)
    else:
        raise UnsureError(Ask.UNKNOWN_WORDS, item.value)


def _is_plain(mention: Mention) -> bool:
    """Whether a name could be one: few words, none of a sentence."""
    return 0 < len(mention.words) < 4 and not any(map(trade.is_odd, mention.words)) and not mention.many


def _add_behind_the_pin(
    mention: Mention, item: Item, reading: EndsFound, scene: Surroundings, rest: list[Item]
) -> None:
    """The first name in a row: its other end, or what the circuit is for."""
    next_join = next((later for later in rest if later.sort in ("join", "list", "end", "prose")), None)
    column = [later.sort if later.value != "gap" else "gap" for later in rest[:2]] == ["gap", "join"]
    alone = scene.names.stands(mention.key) < 2 and bool(mention.words)
    if column and not mention.words and mention.terminal.isdigit() and reading.about:
        raise UnsureError(Ask.SEVERAL_MEANINGS, mention.terminal)  # `red 6  from the switch`: a size
    unknown = mention.sort == "" or (mention.sort == "load" and not mention.terminal)
    if column and not scene.star and (alone or unknown):
        reading.label = item.value
        return
    use = mention.key in ("earth", "ground", "mass", "negative", "live", "feed", "supply")
    if use and not mention.terminal and any(later.sort == "end" for later in rest):
        reading.label = item.value  # `6 black: earth, to the chassis point`
        return
    twice = scene.names.seen.get(scene.names.alias(mention.key), 0) > 1
    known = mention.terminal or mention.sort or twice
    joined = next_join is not None and next_join.sort == "join"
    if joined and not mention.terminal and (scene.fuse_row or not known):
        reading.label = item.value
        return
    if not known and next_join is not None and next_join.sort == "list":
        later = [other.mention for other in rest if other.mention is not None]
        if later and later[0].terminal and scene.meant != "end":
            raise UnsureError(Ask.UNKNOWN_WORDS, item.value)
    reading.groups.append([mention])


def _add_beside(mention: Mention, item: Item, reading: EndsFound, scene: Surroundings, sure: bool) -> None:
    """A name that follows another without a sign: `wiper motor 31 cab earth`."""
    before = reading.groups[-1][-1]
    terminals = before.terminal or mention.terminal
    if sure and terminals and mention.words and (before.words or scene.device) and len(reading.groups) == 1:
        reading.groups.append([mention])
    elif not sure or scene.meant == "note" or _is_said(item.value, reading, scene):
        reading.notes.append(item.value)
        reading.left.append(item.value)
    else:
        raise UnsureError(Ask.SEVERAL_MEANINGS, item.value)


def _next_terminal(mention: Mention, before: Mention, scene: Surroundings) -> str:
    """`lamp main, dip`, `switch in and out`: a further terminal of the same device; "" for anything else."""
    words = trade.words("terminals", "words")
    if len(mention.words) != 1 or mention.terminal or before.terminal.casefold() not in words:
        return ""
    word = mention.words[0]
    device = scene.names.terminals.get(scene.names.alias(mention.key))
    return word if word.casefold() in words and not device else ""


def _is_said(text: str, reading: EndsFound, scene: Surroundings) -> bool:
    """Whether words without a sign before them are a remark, or say where the wire's fuse is."""
    fused = bool(reading.fuses) or any(sort == "amps" for sort, _, _ in reading.about)
    return not scene.meant and is_remark(text, scene.names, fused)


def _of_a_pot(mention: Mention, before: Mention) -> bool:
    """`height pot, wiper`: one of the three terminals of a potentiometer."""
    own = len(mention.words) == 1 and mention.words[0].casefold() in (
        "wiper",
        "top",
        "bottom",
        "slider",
        "track",
    )
    return own and bool(before.words) and before.words[-1].casefold() in ("pot", "potentiometer", "rheostat")


def _is_label(mention: Mention, scene: Surroundings, sure: bool) -> bool:
    """Whether a further column says what a circuit is for rather than where it goes."""
    if scene.columns == Ends.BOTH:
        return not sure
    if mention.terminal and mention.words and (mention.sort or scene.names.knows(mention)):
        return False
    return scene.names.seen.get(scene.names.alias(mention.key), 0) < 3


_POSITIONS = ("top", "bottom", "upper", "lower", "middle", "centre", "center", "inner", "outer")
_SAME = ("terminal", "side", "end", "pin", "wire", "cable", "colour", "color", "size", "new", "old")
_LIGHTS = ("stop", "tail", "park", "turn", "main", "dip", "hi", "lo", "side", "brake")


def _qualifies(mention: Mention, before: Mention | None = None) -> bool:
    """`battery side`, `left post`: says which terminal of the end before."""
    last = mention.words[-1].casefold() if mention.words else ""
    if len(mention.words) == 1 and last in ("input", "output"):
        return True
    if len(mention.words) > 2:
        return False
    if len(mention.words) == 1 and last in _POSITIONS and before is not None and before.sort == "contact":
        return not before.terminal  # `changeover switch, top`
    if before is not None and len(mention.words) == 1 and last in _LIGHTS and not mention.terminal:
        return trade.long_form(before.words[-1] if before.words else "") in (
            "light",
            "lamp",
            "cluster",
            "bulb",
        )
    return (
        last in trade.words("terminals", "sides")
        and not trade.is_ground(" ".join(mention.words))
        and last not in ("lug", "eyelet", "stud")
    ) or (len(mention.words) == 1 and trade.long_form(last) in ("lh", "rh"))
