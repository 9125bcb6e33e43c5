"""Points joined among themselves: `TB1-1 thru TB1-4 strapped`, `2, 3 and 4 linked`, `a link between 5 and 6`.

Electrically they are one; as wires they run from each point to the next, as a person fits links.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.credible import is_credible
from loomtest.harness.notes.items import Item, items_of
from loomtest.harness.notes.meaning import Surroundings
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.scan import Token

_TO = Item("join", "to", 0)
_BEFORE = {
    "is",
    "are",
    "was",
    "were",
    "all",
    "both",
    "and",
    "then",
    "also",
    "each",
    "together",
    "just",
    "daisy",
}
_BETWEEN = {"between", "across"}
MOST_POINTS = 40


def strapped(tokens: Sequence[Token], scene: Surroundings) -> list[Item] | None:
    """The items of such a statement, as a run from point to point; None for any other statement."""
    words = trade.words("joins", "among")
    place = next((i for i, token in enumerate(tokens) if token.text.casefold() in words), -1)
    if place < 0:
        return None
    own = _between(tokens, place, scene) or _before(tokens, place, scene)
    if own is None:
        return None
    ends, rest = own
    items = items_of(rest, scene.names, scene.letters)
    about = [item for item in items if item.sort in ("about", "note")]
    said = [item.value for item in items if item.sort not in ("about", "note", "list", "side", "join")]
    about += [Item("note", " ".join(said), 0)] if any(said) else []
    run = [piece for end in ends for piece in (_TO, Item("end", "", 0, mention=end))][1:]
    return [*run, *about]


Found = tuple[list[Mention], list[Token]]  # the points, and the words besides


def _before(tokens: Sequence[Token], place: int, scene: Surroundings) -> Found | None:
    """`X, Y and Z linked together`"""
    if not tokens[place].text.casefold().endswith("ed"):
        return None  # `with short offcuts`
    end = place
    while end and tokens[end - 1].text.casefold() in _BEFORE:
        end -= 1
    items = [i for i in items_of(tokens[:end], scene.names, scene.letters) if i.sort not in ("side", "list")]
    ends = [item.mention for item in items if item.mention is not None]
    joins = [item for item in items if item.sort in ("join", "via")]
    ends = ends or list(scene.pins)
    others = {item.sort for item in items} - {"end", "join", "via", "about", "note", "colon"}
    if others or len(ends) < 2 or _says_more(tokens[place + 1 :], scene):
        return None
    if not ends[0].words and any(end.words for end in ends) and scene.device is None:
        return None  # `#10 hour meter, fuel pump …`: a number of another kind
    ends = _whole(ends, scene)
    if joins and (len(joins) > 1 or len(ends) != 2):
        return None
    ends = _range(ends) if joins else ends
    about = [token for token in tokens[:end] if token.sort in ("colour", "size", "note")]
    return (ends, [*about, *tokens[place + 1 :]]) if ends else None


def _between(tokens: Sequence[Token], place: int, scene: Surroundings) -> Found | None:
    """`a link between 5 and 6 on TB1`, `strap across A and B`"""
    at = next((i for i, token in enumerate(tokens) if i > place and token.text.casefold() in _BETWEEN), -1)
    if at < 0 or any(token.sort in ("to", "arrow", "from") for token in tokens):
        return None
    items = items_of(tokens[at + 1 :], scene.names, scene.letters)
    ends = [item.mention for item in items if item.mention is not None]
    if len(ends) < 2 or not any(item.value == "and" for item in items):
        return None
    about = [token for token in tokens if token.sort in ("colour", "size", "note")]
    return _whole(ends, scene), about


def _whole(ends: Sequence[Mention], scene: Surroundings) -> list[Mention]:
    """The points with their names: a bare one is of the device that another names, or of the heading's."""
    named = [end for end in ends if end.words]
    devices = {end.words for end in named if not end.terminal}
    found = []
    for index, end in enumerate(ends):
        before = next((other for other in reversed(ends[:index]) if other.words), None)
        owner = before or next(iter(named), None) or scene.device or scene.topic
        if not end.words and owner is not None:
            end = replace(end, words=owner.words)
        found.append(end)
    bare = any(not end.words for end in ends)
    return [end for end in found if end.terminal or not (bare and end.words in devices)]


def _range(ends: Sequence[Mention]) -> list[Mention]:
    """`TB1-1 thru TB1-4`: all from the first to the last; [] for two of different devices."""
    first, last = ends
    numbers = first.terminal.isdigit() and last.terminal.isdigit() and first.words == last.words
    wide = int(last.terminal) - int(first.terminal) if numbers else 0
    if not 0 < wide < MOST_POINTS:
        return []
    return [replace(first, terminal=str(int(first.terminal) + n)) for n in range(wide + 1)]


def _says_more(rest: Sequence[Token], scene: Surroundings) -> bool:
    """Whether points stand behind the word too: then it is a sentence of another kind."""
    ends = [item.mention for item in items_of(rest, scene.names, scene.letters) if item.mention is not None]
    return any(end.words and end.terminal and is_credible(end, scene.names) for end in ends)
