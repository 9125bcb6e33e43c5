"""How a clause begins: with a terminal, a colour, one wire of several, a sign of joining, or a device."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import ABOUT, JOINS
from loomtest.harness.notes.meaning import Surroundings
from loomtest.harness.notes.mentions import CODE
from loomtest.harness.notes.scan import Token

SPACE = ("gap", "comma", "colon", "stop", "note", "remark")
_SAYS_OF = {"is", "has", "have", "gets", "takes", "are", "being", "it's", "its", "same", "also", "another"}
_OF_IT = {"with", "it", "them", "then", "leave", "leaves"}
COUNTS = {*trade.ordered("english", "numbers")[2:], "more", "further"}
SIDES = trade.words("terminals", "sides") | {"wire", "lead", "leg", "pin", "contact"}
LETTERED = re.compile(r"[A-Z]{1,2}\d{0,2}[+-]?|\d{1,3}[A-Za-z]?")


@dataclass(frozen=True, slots=True)
class Clause:
    """How a clause begins (`terminal`, `colour`, `join` or `own`), its terminal and the rest of it."""

    sort: str
    terminal: tuple[Token, ...]
    rest: tuple[Token, ...]


def joins(tokens: Sequence[Token]) -> bool:
    """Whether there is a sign of joining."""
    return any(token.sort in (*JOINS, "via") for token in tokens)


def is_label(rest: Sequence[Token], following: Sequence[Token]) -> bool:
    """`tank gauge, tan from box 6 to sender 1`: a colour and both ends; the head says what it is for."""
    first = next((token for token in following if not says_nothing(token)), None)
    signs = [token.sort for token in following if token.sort in JOINS]
    return first is not None and first.sort == "colour" and signs[:1] == ["from"] and "to" in signs[1:]


def beginning(tokens: Sequence[Token], scene: Surroundings) -> Clause:
    """How a clause begins: with a terminal, a colour, a sign of joining, or a device of its own."""
    place = _past(tokens, 0)
    signs = [token for token in tokens if token.sort in JOINS]
    if [token.sort for token in signs[:2]] == ["from", "to"]:
        return Clause("own", (), tuple(tokens))  # `a blue one comes out of 58 and runs to …`
    first = next((token.text.casefold() for token in tokens[:3] if token.text.casefold() not in _THE), "")
    if first in _ONE_OF_THEM and signs and _reaches(tokens):
        return Clause(
            "each", (), tuple(token for token in tokens if token.text.casefold() not in _ONE_OF_THEM)
        )
    if place < len(tokens) and tokens[place].sort in JOINS:
        return Clause("join", (), tuple(tokens[place:]))
    length, own = _terminal(tokens, place, scene)
    if own and _goes_on(tokens, place + length):
        return Clause("terminal", tuple(own), tuple(tokens[place + length :]))
    if place < len(tokens) and tokens[place].sort in ABOUT and not is_label(tokens, tokens):
        behind = place
        while behind < len(tokens) and (tokens[behind].sort in ABOUT or says_nothing(tokens[behind])):
            behind += 1
        about = tuple(token for token in tokens[place:behind] if token.sort in ABOUT)
        if behind < len(tokens) and tokens[behind].text.casefold() in ("on", "of", "at"):
            length, own = _terminal(tokens, behind + 1, scene)
            if own and _goes_on(tokens, behind + 1 + length):
                return Clause("terminal", tuple(own), (*about, *tokens[behind + 1 + length :]))
        length, own = _terminal(tokens, behind, scene)
        if own and behind + length < len(tokens) and tokens[behind + length].sort in JOINS:
            return Clause("terminal", tuple(own), (*about, *tokens[behind + length :]))
        at = next((i for i, token in enumerate(tokens) if token.sort in (*JOINS, "via")), 0)
        if at and not any(token.sort in ("word", "number") for token in tokens[behind:at]):
            return Clause("colour", (), (*about, *tokens[at:]))
    return Clause("own", (), tuple(tokens))


_THE = {"the", "and", ""}
_ONE_OF_THEM = {"one", "other", "another", "second", "first", "third"}


def _reaches(tokens: Sequence[Token]) -> bool:
    """Whether no name stands before the first sign of joining: `one of them brown to …`, `the other to`."""
    place = next(i for i, token in enumerate(tokens) if token.sort in JOINS)
    words = (token for token in tokens[:place] if token.sort not in ABOUT)
    told = SIDES | _ONE_OF_THEM | {"end", "of", "them", "is", "core"}
    return all(says_nothing(token) or token.text.casefold() in told for token in words)


def says_nothing(token: Token) -> bool:
    """Whether a word says nothing of what is joined to what."""
    low = token.text.casefold()
    said = trade.is_filler(low) or low in _SAYS_OF or low in _OF_IT or low in COUNTS
    return token.sort == "gap" or (token.sort == "word" and said)


def _past(tokens: Sequence[Token], place: int) -> int:
    """The first place whose word says something."""
    while place < len(tokens) and says_nothing(tokens[place]) and not _of_a_terminal(tokens, place):
        place += 1
    return place


def _of_a_terminal(tokens: Sequence[Token], place: int) -> bool:
    """Whether a word is of a terminal: `small tag`, the `A` of `A red to fuse 1`, not of `A red runs to`."""
    after = tokens[place + 1].text.casefold() if place + 1 < len(tokens) else ""
    if tokens[place].text.casefold() in trade.words("english", "sizes") and after in SIDES:
        return True
    if names_a_terminal(tokens, place):
        return True
    if not LETTERED.fullmatch(tokens[place].text):
        return False
    verb = next((token.text for token in tokens[place:] if token.sort in JOINS), "")
    return tokens[place].text != "A" or not verb[:1].isalpha() or " " not in verb


def _terminal(tokens: Sequence[Token], place: int, scene: Surroundings) -> tuple[int, list[Token]]:
    """How many tokens at a place are a terminal, and what stands for it; (0, []) for none."""
    if place >= len(tokens):
        return 0, []
    token = tokens[place]
    low = token.text.casefold()
    after = tokens[place + 1] if place + 1 < len(tokens) else None
    kind = token.sort == "word" and low in trade.words("terminals", "before")
    if kind and after is not None and after.sort in ("number", "word") and LETTERED.fullmatch(after.text):
        return 2, [after]
    if after is not None and after.text.casefold() in SIDES:
        if LETTERED.fullmatch(token.text):
            return 2, [token]  # `the D terminal`
        if low in ("other", "second"):
            return 2, [replace(token, text="other", value="other"), replace(after, text="side", value="side")]
        if low in trade.words("english", "sizes"):
            return 2, [token, after]
        if trade.long_form(low) in ("positive", "negative"):
            return 2, [token]  # `the negative post`
    if token.sort in ("plus", "dash") and not place and after is not None:
        sign = "positive" if token.sort == "plus" else "negative"
        return 1, [replace(token, sort="word", text=sign, value=sign)]
    if CODE.fullmatch(token.text) and is_a_device(token.text, scene):
        return 0, []
    if token.sort == "number" and _counts(tokens, place):
        return 0, []
    if token.sort == "number" or (token.sort == "word" and LETTERED.fullmatch(token.text)):
        return 1, [token]
    named = low in trade.words("terminals", "words") or trade.long_form(low) in ("positive", "negative")
    named = named or names_a_terminal(tokens, place)
    return (1, [token]) if token.sort == "word" and named else (0, [])


def names_a_terminal(tokens: Sequence[Token], place: int) -> bool:
    """`GND black to …`, `up blue to …`: a terminal, right before what is said of its wire."""
    low = tokens[place].text.casefold()
    behind = [token for token in tokens[place + 1 : place + 3] if token.sort != "comma"]
    after = behind[0] if behind else None
    told = low in trade.words("terminals", "owned") or low in trade.words("terminals", "words")
    return told and after is not None and after.sort in ("colour", "letters", "size")


def is_a_device(code: str, scene: Surroundings) -> bool:
    """Whether a code is a device of the page: `S1` and `A2` are more often terminals of one."""
    names, key = scene.names, code.casefold()
    told = key in names.headed or key in names.aliases or bool(names.terminals.get(key))
    return told or (names.stands(key) > 1 and not re.fullmatch("[ABDMSTW][1-4]", code))


def _counts(tokens: Sequence[Token], place: int) -> bool:
    """`2 thin yellow wires`: how many, and no terminal."""
    for token in tokens[place + 1 :]:
        if token.text.casefold() in ("wires", "leads", "cables", "cores", "tails", "ends"):
            return True
        if token.sort not in ("word", *ABOUT):
            return False
    return False


def _goes_on(tokens: Sequence[Token], place: int) -> bool:
    """Whether a sign of joining or what is said of a wire follows a terminal."""
    while place < len(tokens) and (tokens[place].sort in SPACE or says_nothing(tokens[place])):
        place += 1
    return place < len(tokens) and tokens[place].sort in (*JOINS, *ABOUT, "via", "decimal")
