"""What a reading leaves over: words and numbers of a statement that stand in none of its wires.

Every word of a statement is in the name of an end, in what is said of the wire, in a note, or says nothing. A
number, a terminal or a device's word that the reading has lost shows that the statement was not understood.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.meaning import Joint
from loomtest.harness.notes.mentions import WHERE
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.signs import SIDE_WORDS

_WORD = re.compile(r"[^\s,;()]+")


def left_over(tokens: Sequence[Token], joints: Sequence[Joint]) -> str:
    """The first word or number of a statement that no wire of it has; "" where nothing is left over."""
    had = _had(joints)
    tokens = _without_topic(tokens)
    told = any(end.other or end.terminal == "2" for joint in joints for end in (joint.start, joint.end))
    if (other := _another_of_it(tokens)) and not told:
        return other
    where = False  # `frame bolt under the seat`: where a point is
    for index, token in enumerate(tokens):
        where = token.text.casefold() in WHERE or (where and token.sort in ("word", "number", "letters"))
        if where or token.sort not in ("word", "number") or _says_nothing(tokens, index):
            continue
        if token.text == str(len(joints)) and [t.sort for t in tokens[index + 1 : index + 2]] == ["word"]:
            continue  # `3 valves`, and three wires
        form = _form(token.text)
        if had[form] > 0:
            had[form] -= token.sort == "number"
        elif not any(had[_form(part)] > 0 for part in re.split(r"[-/+.:]", token.text) if part):
            return token.text
    return ""


_SIDES = {"side", "wire", "lead", "leg", "end", "terminal", "tail", "tag", "post", "one", "contact"}


def _another_of_it(tokens: Sequence[Token]) -> str:
    """`the second wire of both lights`, `the frame on its other side`: another terminal than the one read."""
    for token in tokens:
        if token.sort == "note" and re.fullmatch(
            r"(?i)(?:the )?other (?:side|end|leg|terminal|wire)", token.value
        ):
            return token.value
    for index, token in enumerate(tokens[:-1]):
        after = tokens[index + 1].text.casefold()
        turn = token.text.casefold() in ("other", "second", "remaining", "opposite", "far")
        owned = token.text.casefold() == "other" or any(
            t.text.casefold() in _OF_IT for t in _near(tokens, index)
        )
        if turn and owned and after.removesuffix("s") in _SIDES:
            return f"{token.text} {tokens[index + 1].text}"
    return ""


_OF_IT = {"of", "its", "their", "it", "each", "both", "from"}


def _near(tokens: Sequence[Token], index: int) -> Sequence[Token]:
    return [*tokens[max(0, index - 1) : index], *tokens[index + 2 : index + 3]]


def _without_topic(tokens: Sequence[Token]) -> Sequence[Token]:
    """`Front lamps: …`, `hold in: …`: the words before the colon say what the rest is about."""
    place = next((i for i, token in enumerate(tokens) if token.sort == "colon"), 0)
    head = [token for token in tokens[:place] if token.sort != "gap"]
    last = head[-1].text if head and head[-1].sort == "word" else ""
    plural = last.casefold().endswith("s") and trade.is_noun(last[:-1])
    return tokens[place + 1 :] if last and (plural or not trade.is_noun(last)) else tokens


def _form(word: str) -> str:
    low = trade.long_form(word.strip(".,'’\"").rstrip("+-") or word)
    return low if low.isdigit() or len(low) < 4 else low.removesuffix("s")


def _had(joints: Sequence[Joint]) -> Counter[str]:
    """The words of what a statement was read as, with how often each stands there."""
    found: Counter[str] = Counter()
    for joint in joints:
        for end in (joint.start, joint.end):
            other = ("side", "leg", "end", "lead", "tag", "first") if end.terminal in ("1", "2") else ()
            for word in (*end.words, end.terminal, *_SIGNS.get(end.terminal, ()), *other):
                found[_form(word)] += 1
                for part in [*_form(word).split(), *re.split(r"[-/+.:_]", word)]:
                    found[_form(part)] += 1
        for text in (*joint.notes, *joint.left, *joint.said.values()):
            for word in _WORD.findall(text):
                found[_form(word)] += 1
                for part in re.split(r"[-/+.:]", word):
                    found[_form(part)] += 1
    return found


_SIGNS = {
    "+": ("positive", "plus", "live"),
    "-": ("negative", "minus", "negatives", "negs", "return"),
    "E": ("earth", "ground", "negative"),
}
# How a wire goes, and the fuse in it, which is the wire's kind.
_HOW = {"right", "straight", "direct", "fuse", "fusible", "breaker", "order", "respectively", "then", "there"}
_HOW |= {"onto", "diode", "resistor", "inline", "in-line", "blade", "glass"}
_MANY = {"both", "all", "each", "every", "pair"}


def _says_nothing(tokens: Sequence[Token], index: int) -> bool:
    """Whether a word says nothing of which points are joined."""
    text = tokens[index].text
    low = text.casefold().rstrip(".")
    if (text == "A" and not index) or (low == "line" and tokens[index - 1].text.casefold() == "in"):
        return True
    if text in ("IN", "OUT") and (not index or tokens[index - 1].sort in ("colon", "comma", "word")):
        return not any(token.text.islower() for token in tokens)
    if tokens[index].sort == "number":
        return False
    if trade.is_filler(text) or trade.is_prose(text) or trade.is_odd(text) or low in (*_MANY, *SIDE_WORDS):
        return True
    if (
        low in _HOW
        or low in trade.words("remarks", "words")
        or low in trade.words("terminals", "before")
        or low in trade.words("terminals", "sides")
        or low in trade.ordered("english", "numbers")
    ):
        return True
    return low in (
        "then",
        "there",
        "onto",
        "order",
        "respectively",
        "straight",
        "direct",
        "diode",
        "resistor",
    )
