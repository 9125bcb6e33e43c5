"""Sentences as clauses, each with its subject written out.

A clause is a subject, a verb and what it reaches, with what is said of the wire. What a line or a paragraph
is about (`Deck light. The white goes to deck switch 2, the black to the earth bar`; `Regulator: 3 green to
frame, 4 red to battery +`) is the subject of the clauses that name a terminal, a colour or nothing in its
place; a clause with a device of its own keeps that.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.beginning import SPACE, Clause, beginning, is_label, joins, says_nothing
from loomtest.harness.notes.cavities import is_pin
from loomtest.harness.notes.items import ABOUT, JOINS, items_of
from loomtest.harness.notes.meaning import Surroundings
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.scan import Token

_BETWEEN = ("comma", "and", "semi", "slash")


def bare_clause(statement: Sequence[Token], scene: Surroundings) -> list[Token]:
    """A statement that begins with a terminal of what the paragraph is about, and a colon; else []."""
    said = [token for token in statement if token.sort != "gap"]
    marked = len(said) > 2 and said[1].sort == "colon" and is_pin(said[0])
    return said if marked and scene.topic is not None else []


def clauses(statement: Sequence[Token], scene: Surroundings) -> list[list[Token]]:
    """The clauses of a statement with the topic in the place of their subject; the statement alone for one
    that has no such clause."""
    parts = [part for part in _parted(statement, scene) if part]
    if scene.topic is None:
        apart = any(is_label(part, part) for part in parts[1:])
        return parts if apart else [list(statement)]
    begun = [beginning(part, scene) for part in parts]
    shared = [token for part, clause in zip(parts, begun, strict=True) if not joins(part) for token in part]
    every = [token for token in shared if token.sort in ABOUT]
    every = every or _said_of_all([part for part, c in zip(parts, begun, strict=True) if c.sort == "each"])
    number, shared_out = 0, sum(clause.sort == "each" for clause in begun)
    coloured = [clause for clause in begun if clause.sort == "colour"]
    ends = [_is_ground(clause.rest, scene) for clause in coloured]
    found, own = list[list[Token]](), tuple[Token, ...]()
    for part, clause in zip(parts, begun, strict=True):
        if clause.sort == "each":
            number = max(number + 1, _which_of_them(part))
            at = part[0].start
            sign = [] if _is_shared(scene.topic) else [Token("number", str(number), "", at, at)]
            found.append([*_words(scene.topic, at), *sign, *every, *_joined(clause.rest)])
            continue
        if clause.sort == "own" or (shared_out and not joins(part)):
            if joins(part) or not shared_out:
                found.append(part)
            own = ()
            continue
        if clause.sort == "terminal":
            own = clause.terminal
        terminal = own if own else _by_colour(clause, coloured, ends, scene)
        name = _words(scene.topic, part[0].start)
        found.append([*name, *_behind(name, terminal), *_joined(clause.rest)])
    return found


def _parted(statement: Sequence[Token], scene: Surroundings) -> list[list[Token]]:
    """The pieces between commas that begin clauses of their own."""
    pieces: list[list[Token]] = [[]]
    for token in statement:
        if token.sort in _BETWEEN:
            pieces.append([token])
        else:
            pieces[-1].append(token)
    pieces = _with_two_colours(pieces)
    found: list[list[Token]] = [pieces[0]]
    for piece in pieces[1:]:
        begins = beginning(piece[1:], scene) if len(piece) > 1 else Clause("own", (), ())
        joined = any(token.sort in JOINS for token in piece)
        begun = begins.sort in ("terminal", "colour") or is_label(piece[1:], piece[1:])
        whole = begun and joined and _is_whole(found[-1])
        if begins.sort == "each" or whole:
            found.append(piece[1:])
        else:
            found[-1] += piece
    return found


def _with_two_colours(pieces: Sequence[list[Token]]) -> list[list[Token]]:
    """`… and the yellow and black to …`: a wire of two colours."""
    found: list[list[Token]] = []
    for piece in pieces:
        before = [token for token in found[-1] if token.sort != "gap"] if found else []
        alone = len(before) == 3 and before[1].text.casefold() in ("the", "a") and before[2].sort == "colour"
        own = piece[1:2]
        if alone and piece[0].sort == "and" and own and own[0].sort == "colour":
            both = f"{before[2].value}/{own[0].value}"
            colour = replace(before[2], text=both, value=both, end=own[0].end)
            found[-1] = [*before[:2], colour, *piece[2:]]
        else:
            found.append(piece)
    return found


def _is_whole(tokens: Sequence[Token]) -> bool:
    """Whether a clause has what it reaches: words behind a sign of joining."""
    place = next((i for i, token in enumerate(tokens) if token.sort in JOINS), len(tokens))
    return any(token.sort in ("word", "number") for token in tokens[place + 1 :])


def _which_of_them(part: Sequence[Token]) -> int:
    """`the other goes to …` in a statement of its own is the second."""
    low = {token.text.casefold() for token in part[:3]}
    return 3 if "third" in low else 2 if {"other", "second", "another"} & low else 1


def _said_of_all(parts: Sequence[Sequence[Token]]) -> list[Token]:
    """`one to A and one to B, yellow`: what is said once, at the end, is said of each."""
    said = [[token for token in part if token.sort in ABOUT] for part in parts]
    return said[-1] if len(said) > 1 and said[-1] and not any(said[:-1]) else []


def shared_out(statement: Sequence[Token], scene: Surroundings) -> bool:
    """`two wires, one from …, one to …`"""
    return sum(beginning(part, scene).sort == "each" for part in _parted(statement, scene)) > 1


def _is_shared(topic: Mention) -> bool:
    """Whether all wires of a device are of one point: a joint, a bar, a ground."""
    return topic.sort in ("joint", "ground") or trade.is_ground(topic.key)


def _joined(rest: Sequence[Token]) -> list[Token]:
    """What follows the subject: what is said of the wire, a sign of joining, and the other end."""
    place = 0
    while place < len(rest) and (rest[place].sort in (*SPACE, *ABOUT) or says_nothing(rest[place])):
        place += 1
    said = [token for token in rest[:place] if token.sort in (*ABOUT, "note", "remark")]
    behind = list(rest[place:])
    joins = any(token.sort in (*JOINS, "via") for token in behind)
    if said and behind and not joins and behind[0].sort in ("word", "number"):
        at = behind[0].start
        behind = [Token("to", "to", "to", at, at), *behind]
    return [*said, *behind]


def _words(topic: Mention, at: int) -> list[Token]:
    return [Token("word", word, word, at + n, at + n + 1) for n, word in enumerate(topic.words)]


def _behind(name: Sequence[Token], terminal: Sequence[Token]) -> list[Token]:
    """The terminal behind a topic's name: a word with a colon before it, so that it is none of the name."""
    word = terminal[0].text if len(terminal) == 1 and terminal[0].sort == "word" else ""
    if not word or trade.long_form(word) in ("positive", "negative"):
        return [*terminal]
    at = name[-1].end
    colon = Token("colon", ":", ":", at, at + 1)
    return [colon, replace(terminal[0], start=at + 1, end=at + 2)]


def _is_ground(rest: Sequence[Token], scene: Surroundings) -> bool:
    ends = [item.mention for item in items_of(rest, scene.names, scene.letters) if item.mention is not None]
    if not ends or _LIVE & set(ends[-1].key.split()):
        return False
    return ends[-1].sort == "ground" or trade.is_ground(ends[-1].key)


_LIVE = {"feed", "positive", "live", "power", "supply", "battery", "solenoid", "fuse"}


def _by_colour(
    clause: Clause, coloured: Sequence[Clause], grounds: Sequence[bool], scene: Surroundings
) -> tuple[Token, ...]:
    """The terminal of a wire that its colour names: E of an earth, else its colour where there are more."""
    topic = scene.topic
    if (
        topic is None
        or clause.sort != "colour"
        or topic.sort in ("joint", "ground")
        or trade.is_ground(topic.key)
    ):
        return ()
    if len(coloured) < 2:
        return ()
    place = coloured.index(clause)
    value = next((token.value for token in clause.rest if token.sort == "colour"), "")
    earth = grounds[place] and list(grounds).count(True) == 1
    several = (
        list(grounds).count(False) > 1 or list(grounds).count(True) > 1 or scene.names.stands(topic.key) > 1
    )
    own = "E" if earth else value if several else ""
    at = clause.rest[0].start
    return (Token("number", re.sub(r"[ /]", "_", own), own, at, at),) if own else ()
