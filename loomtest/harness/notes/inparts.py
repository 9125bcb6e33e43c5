"""A line of several statements of which one is in doubt: the sure ones are read, and only that part is asked.

This holds where the parts are independent: the doubtful one puts nothing right and points to nothing before
it, and what follows it names its own points. Else the doubt is one of the whole line.
"""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.clauses import bare_clause
from loomtest.harness.notes.items import items_of
from loomtest.harness.notes.meaning import Ask, Surroundings
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.sofar import Doubt


def independent(
    doubts: Sequence[Doubt], read: Sequence[tuple[int, Sequence[Token]]], scene: Surroundings
) -> bool:
    """Whether the statements that were read (place and words) hold whatever the doubtful ones mean."""
    places = [place for place, _ in read]
    for doubt in doubts:
        if doubt.why is Ask.ONE_END and doubt.place < max(places):
            return False  # `Motor solenoid. S1: …`: what the rest is about
        if places and doubt.place > min(places) and not _stands_alone(doubt.tokens, scene):
            return False
    first = min(doubt.place for doubt in doubts)
    return all(_stands_alone(words, scene) for place, words in read if place > first)


def _stands_alone(tokens: Sequence[Token], scene: Surroundings) -> bool:
    """Whether a statement names its first point itself, and no word of it points back or puts right."""
    if any(token.text.casefold() in trade.words("english", "back") for token in tokens):
        return False
    if bare_clause(tokens, scene):
        return True  # `2: ditto` among the terminals of what the paragraph is about
    items = items_of(tokens, scene.names, scene.letters)
    first = next((item for item in items if item.sort in ("end", "join", "via")), None)
    named = first.mention if first is not None else None
    return named is not None and bool(named.words) and bool(named.sort or scene.names.knows(named))


def words_of(tokens: Sequence[Token], line: PageLine) -> str:
    """A part of a line as it is written there."""
    said = [token for token in tokens if token.sort != "gap"]
    written = line.text[said[0].start : said[-1].end] if said else ""
    if written.startswith(said[0].text) and written.endswith(said[-1].text):
        return written
    return " ".join(token.text for token in said)
