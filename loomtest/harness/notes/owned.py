"""Terminals by words of their own: `brake lamp, tip` and `brake lamp shell`.

No list of words has all that people call the terminals of a device. The page shows them: two different words
stand behind the same device, and the same words behind its like.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.lists import is_side
from loomtest.harness.notes.mentions import WHERE
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token

_MOST_WORDS = 4  # of a device's name
Found = tuple[PageLine, int, int, str, str]  # line, where the name ends, where the word is, device, word


def with_own_terminals(lines: Sequence[PageLine]) -> None:
    """Mark such words as terminals, and leave out the comma before them."""
    found = [place for line in lines for place in _behind_devices(line)]
    words, devices = defaultdict[str, set[str]](set), defaultdict[str, set[str]](set)
    for _, _, _, device, word in found:
        words[device].add(word)
        devices[word].add(device)
    several = {device for device, own in words.items() if len(own) > 1}
    told = {word for word, own in devices.items() if own & several and len(own) > 1}
    for line, end, at, device, word in reversed(found):  # from the end of each line, so that places stay
        if word in told and words[device] & told:
            own = replace(line.tokens[at], sort="pin")
            line.tokens = [*line.tokens[: end + 1], own, *line.tokens[at + 1 :]]


def _behind_devices(line: PageLine) -> list[Found]:
    """The words of a line that stand right behind a device, or behind a comma, and end there."""
    found: list[Found] = []
    tokens = line.tokens
    for end, noun in enumerate(tokens):
        if noun.sort != "word" or trade.noun_sort(noun.text) not in ("load", "contact"):
            continue
        at = end + 2 if end + 1 < len(tokens) and tokens[end + 1].sort == "comma" else end + 1
        if at < len(tokens) and _can_be_one(tokens, at):
            device = " ".join(trade.long_form(token.text) for token in _name(tokens, end))
            found.append((line, end, at, device, tokens[at].text.casefold()))
    return found


def _can_be_one(tokens: Sequence[Token], at: int) -> bool:
    token = tokens[at]
    low = token.text.casefold()
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    goes_on = after is not None and after.sort in ("word", "number") and not trade.is_odd(after.text)
    if token.sort != "word" or goes_on or not token.text.isalpha() or not 2 < len(low) < 10:
        return False
    device = trade.is_noun(low) and trade.noun_sort(low) != "ground"  # `ring` and `tab` are terminals too
    if device or trade.long_form(low) != low or trade.is_colour(low) or is_side(low):
        return False
    if trade.is_odd(low) or trade.is_prose(low) or trade.is_filler(low) or low in WHERE:
        return False
    known = trade.words("terminals", "words") | trade.words("terminals", "sides")
    return low not in known | trade.words("english", "sizes") | trade.words("terminals", "before")


def _name(tokens: Sequence[Token], end: int) -> list[Token]:
    """The words of a device's name up to its noun."""
    found: list[Token] = []
    for token in reversed(tokens[max(0, end - _MOST_WORDS) : end + 1]):
        if token.sort != "word" or trade.is_odd(token.text) or trade.is_filler(token.text):
            break
        found.insert(0, token)
    return found
