"""Whether what a line was read as can be believed: both ends are points, and nothing is left over.

A point is credible by what it is (a device of the trade, a code, a joint, a ground), by its terminal, or
because the page has it in another place. A clear name that stands nowhere else is one beside an end that is.
Words that were left over and could be a point are a doubt. A row is written for nothing less.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.meaning import Ask, Joint, UnsureError
from loomtest.harness.notes.mentions import CODE, WHERE, Mention, is_for
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.remarks import is_remark

_ONE_WAY = {"lamp", "light", "horn", "buzzer", "bulb", "beacon", "bell", "siren", "headlight", "headlamp"}
MOST_UNKNOWN = 3  # words of a name that nothing else shows to be one
_SIDES_AND_USES = {"O/S", "N/S", "L/H", "R/H", "A/C", "W/W"}
_OF_SEVERAL = {"both", "all", "each", "every", "either", "neither", "also", "too", "likewise"}
_NAMELESS = {"pin", "terminal", "cavity", "cav", "way", "position", "number"}


def check(joints: Sequence[Joint], names: Names) -> None:
    """Raises UnsureError for an end that is no credible point, or for words left over that may be one."""
    for joint in joints:
        first, last = _strength(joint.start, names), _strength(joint.end, names)
        for end, own, other in ((joint.start, first, last), (joint.end, last, first)):
            beside = joint.end if end is joint.start else joint.start
            if own == 0 or (own == 1 and (other < 2 or not _stands_well(beside, names))):
                raise UnsureError(Ask.UNKNOWN_WORDS, " ".join(end.words) or end.terminal)
        whole = bool(joint.start.terminal) != bool(joint.end.terminal)  # `starter … to starter 50`
        same = joint.start.key == joint.end.key
        if same and (joint.start.other or joint.end.other or whole):
            raise UnsureError(Ask.SAME_ENDS, " ".join(joint.end.words))
    for joint in joints:
        new = 1 in (_strength(joint.start, names), _strength(joint.end, names))
        if new and (plain := [left for left in joint.left if not _says_where(left)]):
            raise UnsureError(Ask.UNKNOWN_WORDS, plain[0])
        if _is_a_terminal(joint.start, names) and not _is_a_terminal(joint.end, names):
            raise UnsureError(Ask.CAVITY, joint.start.words[0])
    for end in (end for joint in joints for end in (joint.start, joint.end)):
        battery = names.alias(end.key).split()[-1:] == ["battery"] and not end.terminal
        signs = {"+", "-"} & names.terminals.get(names.alias(end.key), set())
        if (battery and signs) or _is_a_device(end, names) or _may_be_a_size(end, names):
            raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join((*end.words, end.terminal)))
    here = [joint for joint in joints if joint.start.words == joint.end.words]
    if len(joints) == 2 and len(here) == 1 and here[0] is joints[0] and joints[1].start == here[0].start:
        raise UnsureError(
            Ask.SEVERAL_MEANINGS, here[0].end.terminal
        )  # `5 black 6  frame`: a size or a cavity
    for index, one in enumerate(joints):  # `Fuse box, 1` taken for two ends
        if any(_again(one, later) for later in joints[index + 1 :]):
            raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(one.start.words))
    for note in {note for joint in joints for note in joint.notes}:
        if _THROUGH_A_JOINT.search(note):
            raise UnsureError(Ask.SEVERAL_MEANINGS, note)
    fused = any("amps" in joint.said or joint.said.get("kind") == "fuse" for joint in joints)
    fused = fused or any("fuse" in note for joint in joints for note in joint.notes if note not in joint.left)
    for note in {note for joint in joints for note in joint.left}:
        if _may_be_a_point(note, names) and not is_remark(note, names, fused):
            raise UnsureError(Ask.SEVERAL_MEANINGS, note)


# A joint in passing is a point of the loom: `by a joint behind the cupboard (joint A)`
_THROUGH_A_JOINT = re.compile(
    r"(?i)\b(?:by|via|through|over|at|in) (?:a|the|one|another) (?:joint|junction|splice|solder place)\b"
    r"|^(?:joint|splice|junction) [A-Z0-9]{1,2}$"
)


def _stands_well(mention: Mention, names: Names) -> bool:
    """Whether a point is more than a noun that the page has once: so much a new name beside it needs."""
    key = names.alias(mention.key)
    return bool(mention.terminal) or names.stands(key) > 1 or key in names.headed or mention.sort == "code"


_OF_ANY = {"gnd", "ign", "bat", "batt", "acc", "start", "sig", "lts", "lgt", "com", "st"}


def _is_a_terminal(mention: Mention, names: Names) -> bool:
    """`GND black to plug 2` below a device: a terminal of it, likelier than a point of this name."""
    words = mention.words
    if len(words) != 1 or mention.terminal or not words[0].isupper() or words[0].casefold() not in _OF_ANY:
        return False
    key = names.alias(mention.key)
    return key not in names.headed and any(words[0] in have for have in names.terminals.values())


def _says_where(text: str) -> bool:
    """`up the mast`, `along the keel`: the way a wire goes."""
    low = text.casefold().split()
    return low[0] in trade.words("joins", "adverbs") or low[0] in WHERE


def _is_a_device(end: Mention, names: Names) -> bool:
    """Whether what was taken for a terminal is a device of the page with terminals: `K1 K2 out for …`."""
    code = end.terminal
    if not re.fullmatch(r"[A-Z]{1,3}\d{1,3}", code) or not end.words:
        return False
    alone = bool(names.terminals.get(names.alias(code.casefold())))
    return alone and len(names.terminals.get(names.alias(end.key), ())) > 1


_HEAVY = {"battery", "starter", "alternator", "isolator", "winch", "solenoid", "generator", "dynamo"}
_THICK = {"10", "16", "25", "35", "50", "70", "95"}  # mm²; a starter's own 50 is a terminal of DIN 72552


def _may_be_a_size(end: Mention, names: Names) -> bool:
    """`to engine block 25`: behind a ground or a heavy feed a figure of a thick cable is no terminal."""
    if not end.words or names.points[names.point(end).casefold()] > 1:
        return False
    ground = end.sort == "ground" or trade.is_ground(end.key)
    if ground and re.fullmatch(r"[1-9]\d{1,2}0", end.terminal):
        return True  # `earth strap 400`: a length
    if end.terminal not in _THICK:
        return False
    last = trade.long_form(end.words[-1])
    heavy = last in _HEAVY and not (last == "starter" and end.terminal == "50")
    return heavy or ground


def _again(one: Joint, other: Joint) -> bool:
    """Whether two wires join the same devices, the one without the terminals that the other has."""
    pairs = ((one.start, other.start), (one.end, other.end))
    same = all(a.words == b.words for a, b in pairs)
    return same and any(bool(a.terminal) != bool(b.terminal) and not (a.other or b.other) for a, b in pairs)


def is_credible(mention: Mention, names: Names) -> bool:
    """Whether a mention is a point by itself."""
    return _strength(mention, names) == 2


def _strength(mention: Mention, names: Names) -> int:
    """2: a point by itself; 1: a clear name that stands nowhere else; 0: no name."""
    words, key = mention.words, names.alias(mention.key)
    if not words or any(trade.is_odd(word) for word in words[is_for(words) :]):
        return 0
    shade = words[-1].casefold() in ("sky", "navy", "lime", "royal", "olive")
    if len(words) > 1 and (words[0].casefold() in ("in", "out") or shade):
        return 0  # `dark green out LH front`: what comes in or goes out is said before it
    lettered = re.fullmatch(r"[A-Z]/[A-Z]", words[0]) and words[0] not in _SIDES_AND_USES
    if lettered and len(words) > 1 and names.stands(key) < 2:
        return 0  # `R/W kill switch`: a colour in letters, or a part of the name
    if sum(word.isdigit() for word in words) > 1:
        return 0  # `glow plugs 1 2 3 4`: a list, and no name
    numbered = words[0].isdigit() and key not in names.headed and names.stands(key) < 2
    if len(words) > 1 and (numbered or not _OF_SEVERAL.isdisjoint(map(str.casefold, words))):
        return 0  # `87 glow plugs` is a cavity and what it goes to; `work lamps both earth` is a sentence
    whole = trade.long_form(words[-1]) in trade.words("english", "wholes")
    if whole and not mention.terminal and key not in names.headed:
        return 0  # the loom, or what it is in
    posts = len(words) == 2 and trade.long_form(words[0]) in ("positive", "negative")
    if (
        posts
        and words[1].casefold() in ("post", "terminal", "pole", "clamp", "side")
        and names.stands(key) < 2
    ):
        return 0  # of which battery
    if key == "key" and not mention.terminal and "key" not in names.headed:
        return 0  # the switch, or a cavity that is keyed
    if len(words) > 1 and trade.long_form(words[-1]) in ("earths", "grounds", "negs", "returns"):
        return 0  # the wires of these, which is another statement
    if any(word.count("/") > 1 for word in words):
        return 0
    if words[-1].casefold() in _NAMELESS and not mention.terminal and len(words) < 3:
        return 0  # a pin, and which is not said
    if key.split()[-1] in _ONE_WAY and mention.terminal.casefold() in ("in", "out"):
        return 0  # the row of another device
    terminal = len(words) == 1 and words[0].casefold() in trade.words("terminals", "words")
    if terminal and not mention.sort and key not in names.headed:
        return 0
    alone = len(words) == 1 and not (words[0].isupper() and trade.is_ground(words[0]))
    signs = key in ("supply", "power") and {"+", "-"} <= names.terminals.get(key, set())  # both stand there
    if (
        alone
        and not signs
        and (trade.long_form(words[0]) in trade.words("english", "nameless") or trade.is_colour(words[0]))
    ):
        return 0
    if len(words) == 1 and not mention.terminal and trade.long_form(words[0]) in ("fuse", "breaker"):
        return 0  # `own 60A fuse`: which one is not said
    sided = words[-1].casefold() in trade.words("terminals", "sides") and any(map(trade.is_noun, words[:-1]))
    if sided or mention.sort or names.stands(key) > 1 or key in names.aliases.values() or key in names.headed:
        return 2
    if mention.terminal and key in names.terminals:
        return 2
    return 1 if len(words) <= MOST_UNKNOWN else 0


def _may_be_a_point(text: str, names: Names) -> bool:
    """Whether words that were left over have a device of the page or a terminal in them."""
    words = [word for word in re.findall(r"[\w+/.-]+", text) if word.casefold() not in ("gauge", "gauges")]
    if words and words[0].casefold() in ("nothing", "not", "no"):
        return False
    if any(word.isdigit() for word in words):
        return True
    if any(
        trade.long_form(word) in ("positive", "negative", "earth", "ground", "live") for word in words[:1]
    ):
        return True  # a terminal that the name before it has lost
    if {"other", "between", "likewise"} & {word.casefold() for word in words}:
        return True
    if len(words) > 2 and words[-1].casefold() in ("a", "an", "same"):
        return True  # `right one the same`; `joined with a red crimp`: the end belongs to it
    if any(CODE.fullmatch(word.split("-")[0]) and word[0].isupper() for word in words):
        return True
    return any(trade.is_noun(word) or names.stands(trade.long_form(word)) for word in words)
