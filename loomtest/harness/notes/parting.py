"""Statements that stand in one line, parted: by commas, or by `one side … other side`."""

from __future__ import annotations

import re

from loomtest.harness.notes.items import ABOUT, JOINS, items_of
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.names import mention_of
from loomtest.harness.notes.tokens import Token


def refuse_two_headed(tokens: list[Token]) -> None:
    """`bleeper + : from switch   - : chassis`: two statements side by side, which are asked about."""
    colons = [i for i, token in enumerate(tokens) if token.sort == "colon" and i]
    if len(colons) > 1 and any(tokens[i - 1].sort in ("dash", "plus") for i in colons[1:]):
        raise UnsureError(Ask.SEVERAL_MEANINGS, ":")


def by_commas(tokens: list[Token], scene: Surroundings) -> list[list[Token]] | None:
    """`LH lamp E to frame, RH lamp E to frame, black`: statements with a comma between them; else None."""
    if sum(token.sort in ("to", "arrow", "dash") for token in tokens) < 2 or scene.pins:
        return None
    place = next((i for i, token in enumerate(tokens[:-1]) if token.sort == "colon"), -1)
    header = place >= 0 and not any(token.sort in JOINS for token in tokens[:place])
    parts: list[list[Token]] = [[]]
    for token in tokens[place + 1 :] if header else tokens:
        if token.sort in ("comma", "semi"):
            parts.append([])
        else:
            parts[-1].append(token)
    tail: list[Token] = []
    while parts and parts[-1] and all(t.sort in (*ABOUT, "gap", "and") for t in parts[-1]):
        tail = [*parts.pop(), *tail]
    if len(parts) < 2 or not all(_is_statement(part, scene) for part in parts):
        return None
    head = mention_of(tokens[:place]) if header else None
    if head is not None and head.words and not head.terminal:
        own = list(tokens[:place])
        parts = [[*own, *part] if _is_bare(part) else part for part in parts]
    every = header or any(t.text.casefold() in ("all", "both", "each") for t in tokens)
    return [[*part, *tail] if tail and (every or part is parts[-1]) else part for part in parts]


def _is_bare(tokens: list[Token]) -> bool:
    """Whether a statement begins with a terminal alone: `alternator: B+ to …, D+ to …`."""
    first = mention_of([token for token in tokens if token.sort != "gap"][:1])
    return first is not None and not first.words


def _is_statement(tokens: list[Token], scene: Surroundings) -> bool:
    """Whether the tokens are one whole statement: an end, one join, an end."""
    sorts = [item.sort for item in items_of(tokens, scene.names, scene.letters)]
    plain = [sort for sort in sorts if sort not in ("about", "note", "list")]
    return plain == ["end", "join", "end"]


def two_sides(tokens: list[Token]) -> list[list[Token]] | None:
    """`lamp: one side A, other side B` as `lamp 1 to A` and `lamp 2 to B`: terminals without a name."""
    low = [token.text.casefold() for token in tokens]
    sides = ("side", "end", "terminal", "wire", "leg")
    first = next((i for i in range(1, len(low) - 1) if low[i] == "one" and low[i + 1] in sides), 0)
    other = next(
        (
            i
            for i in range(first + 2, len(low) - 1)
            if low[i] in ("other", "the") and low[i + 1] in (*sides, "other")
        ),
        0,
    )
    if not first or not other:
        return None
    head = [token for token in tokens[:first] if token.sort in ("word", "number")]
    skip = other + (3 if low[other] == "the" else 2)
    halves = []
    loose = [*tokens[:first][-1:], *tokens[first + 2 : first + 3], *tokens[skip : skip + 1]]
    letters = [t.text for t in loose if re.fullmatch(r"[A-Z][a-z]?", t.text) and t.sort != "colour"]
    if letters:  # a terminal, or a colour's letter
        raise UnsureError(Ask.SEVERAL_MEANINGS, letters[0])
    for number, part in (("1", tokens[first + 2 : other]), ("2", tokens[skip:])):
        part = [
            token
            for token in part
            if token.sort not in ("colon",) and token.text.casefold() not in ("is", "to", "goes")
        ]
        while part and part[-1].sort in ("comma", "and", "semi"):
            part = part[:-1]
        at = part[0].start if part else 0
        halves.append(
            [*head, Token("number", number, number, at, at), Token("to", "to", "to", at, at), *part]
        )
    return halves
