"""Sentences as clauses, each with its subject written out.

A clause is a subject, a verb and what it reaches, with what is said of the wire. What a line or a paragraph
is about (`Deck light. The white goes to deck switch 2, the black to the earth bar`; `Regulator: 3 green to
frame, 4 red to battery +`) is the subject of the clauses that name a terminal, a colour or nothing in its
place; a clause with a device of its own keeps that.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_pin
from loomtest.harness.notes.items import ABOUT, JOINS, items_of
from loomtest.harness.notes.meaning import Surroundings
from loomtest.harness.notes.mentions import CODE, Mention, mention_of
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token

MOST_WORDS = 5
_BETWEEN = ("comma", "and", "semi", "slash")
_SPACE = ("gap", "comma", "colon", "stop", "note", "remark")
_SAYS_OF = {"is", "has", "have", "gets", "takes", "are", "being", "it's", "its", "same", "also", "another"}
_OF_IT = {"with", "it", "them", "then", "leave", "leaves"}
_NUMBERS = {*trade.ordered("english", "numbers")[2:], "more", "further"}
_HAS = {"has", "have", "had", "gives", "give", "with", "got", "takes", "carries"}
_WIRES = {"wires", "leads", "cables", "cores", "terminals", "posts", "tags", "pins", "more", "out", "them"}
_SIDES = trade.words("terminals", "sides") | {"wire", "lead", "leg", "pin", "contact"}
_LETTERED = re.compile(r"[A-Z]{1,2}\d{0,2}[+-]?|\d{1,3}[A-Za-z]?")


@dataclass(frozen=True, slots=True)
class Clause:
    """How a clause begins (`terminal`, `colour`, `join` or `own`), its terminal and the rest of it."""

    sort: str
    terminal: tuple[Token, ...]
    rest: tuple[Token, ...]


def leave_topic(scene: Surroundings, indent: int) -> None:
    """Forget what a line was about at one that is not set in below it."""
    if scene.topic_indent is not None and indent <= scene.topic_indent:
        scene.topic, scene.topic_indent = None, None


def take_topic(scene: Surroundings, line: PageLine, tokens: Sequence[Token]) -> None:
    """`Deck lamp` in a line of its own: what the lines set in below it are about."""
    named = [token for token in tokens if token.sort not in ("gap", "note", "remark", "stop", "colon")]
    topic = _topic(named) if 0 < len(named) <= MOST_WORDS else None
    plain = all(token.sort in ("word", "number") for token in named)
    if topic is not None and plain and _can_be_a_topic(topic, scene):
        scene.topic, scene.topic_indent = topic, indent_of(line)


def indent_of(line: PageLine) -> int:
    """How far a line is set in."""
    return len(line.text) - len(line.text.lstrip())


def with_heads(statements: Sequence[list[Token]], scene: Surroundings, indent: int) -> list[list[Token]]:
    """The statements of a line without the head that says what they are about, which is the scene's topic."""
    found: list[list[Token]] = []
    skip = False
    for index, statement in enumerate(statements):
        if skip:
            skip = False
            continue
        head, rest = _headed(statement, last=index + 1 == len(statements))
        topic = _topic(head)
        behind = rest or [token for following in statements[index + 1 : index + 2] for token in following]
        point = topic is not None and bool(topic.words and topic.terminal)
        if point and _beginning(behind, scene).sort in ("colour", "join"):
            found.append([*head, *behind])  # `Valve earth. Black to the engine block`
            skip = not rest
            continue
        if topic is None or not _can_be_a_topic(topic, scene) or _is_a_terminal_here(topic, scene):
            found.append(list(statement))
            continue
        following = next((s for s in (rest, *statements[index + 1 :]) if _joins(s)), rest)
        begins = _beginning(following, scene)
        if begins.sort == "own" and _shared_out(following, scene):
            begins = replace(begins, sort="each")
        if begins.sort == "own" and not _is_label(rest, following):
            found.append(list(statement))
            continue
        if begins.sort != "own":
            scene.topic, scene.topic_indent = topic, indent
        if rest:
            found.append(rest)
    return found


def _joins(tokens: Sequence[Token]) -> bool:
    return any(token.sort in (*JOINS, "via") for token in tokens)


def _headed(statement: Sequence[Token], last: bool) -> tuple[list[Token], list[Token]]:
    """The words of a head and what follows it in the statement: up to a colon, or the whole of a sentence."""
    tokens = [token for token in statement if token.sort != "gap"]
    length = next((i for i, t in enumerate(tokens) if t.sort not in ("word", "number")), len(tokens))
    head = _without_its_count(tokens[:length])
    if not 0 < len(head) <= MOST_WORDS:
        return [], []
    behind = [token for token in tokens[length:] if token.sort not in ("note", "remark")]
    if not behind:
        return ([], []) if last else (head, [])
    if behind[0].sort == "colon" or (_opens(behind[0]) and _names_a_terminal_of(behind[1:])):
        return head, behind[1:]
    counted = len(head) < length or any(token.text.casefold() == "one" for token in behind)
    if behind[0].sort == "comma" and (counted or _is_label(behind[1:], behind[1:])):
        return head, behind[1:]
    return [], []


def _opens(token: Token) -> bool:
    return token.sort == "dash" or token.text == "="


def _names_a_terminal_of(tokens: Sequence[Token]) -> bool:
    """`key switch - BAT red > plug 1`: behind the sign a terminal, a colour and a further sign of joining."""
    first = tokens[0] if tokens else None
    if first is None or not (
        first.sort in ("number", "plus", "dash")
        or _LETTERED.fullmatch(first.text)
        or _names_a_terminal(tokens, 0)
    ):
        return False
    about = next((i for i, token in enumerate(tokens[1:]) if token.sort not in ABOUT), len(tokens) - 1)
    return bool(about) and any(token.sort in JOINS for token in tokens[about + 1 : about + 2])


def _without_its_count(head: list[Token]) -> list[Token]:
    """`the alternator gives two wires`, `sensor 3 wires`: the device alone."""
    if not head or head[-1].text.casefold() not in _WIRES:
        return head
    for place, token in enumerate(head[1:-1], 1):
        if token.text.casefold() in _HAS:
            return head[:place]
        if token.text.casefold() in _NUMBERS or (token.sort == "number" and place == len(head) - 2):
            return head[:place]
    return head


def _is_label(rest: Sequence[Token], following: Sequence[Token]) -> bool:
    """`tank gauge, tan from box 6 to sender 1`: a colour and both ends; the head says what it is for."""
    first = next((token for token in following if not _says_nothing(token)), None)
    joins = [token.sort for token in following if token.sort in JOINS]
    return first is not None and first.sort == "colour" and joins[:1] == ["from"] and "to" in joins[1:]


def _topic(head: Sequence[Token]) -> Mention | None:
    """The device that a head names: `BATT SW` is one, and no terminal of a battery."""
    named = mention_of(head) if head else None
    if named is not None and trade.is_noun(named.terminal):
        return Mention((*named.words, named.terminal))
    return named


def _can_be_a_topic(topic: Mention, scene: Surroundings) -> bool:
    plain = bool(topic.words) and not topic.terminal and not topic.many
    if not plain or any(trade.is_odd(word) for word in topic.words):
        return False
    if trade.long_form(topic.words[-1]) in trade.words("english", "nameless"):
        return False
    if topic.words[-1].casefold() in _SIDES and topic.words[0].casefold() in trade.words("english", "sizes"):
        return False  # `small tag`
    return bool(topic.sort) or scene.names.knows(topic)


def _is_a_terminal_here(topic: Mention, scene: Surroundings) -> bool:
    """`Motor solenoid. B2: red to …. S1: white to …`: of what the paragraph is about, and no device."""
    return topic.sort == "code" and scene.topic is not None and not _is_a_device(topic.words[0], scene)


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
        apart = any(_is_label(part, part) for part in parts[1:])
        return parts if apart else [list(statement)]
    begun = [_beginning(part, scene) for part in parts]
    shared = [token for part, clause in zip(parts, begun, strict=True) if not _joins(part) for token in part]
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
        if clause.sort == "own" or (shared_out and not _joins(part)):
            if _joins(part) or not shared_out:
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
        begins = _beginning(piece[1:], scene) if len(piece) > 1 else Clause("own", (), ())
        joined = any(token.sort in JOINS for token in piece)
        begun = begins.sort in ("terminal", "colour") or _is_label(piece[1:], piece[1:])
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


def _beginning(tokens: Sequence[Token], scene: Surroundings) -> Clause:
    """How a clause begins: with a terminal, a colour, a sign of joining, or a device of its own."""
    place = _past(tokens, 0)
    joins = [token for token in tokens if token.sort in JOINS]
    if [token.sort for token in joins[:2]] == ["from", "to"]:
        return Clause("own", (), tuple(tokens))  # `a blue one comes out of 58 and runs to …`
    first = next((token.text.casefold() for token in tokens[:3] if token.text.casefold() not in _THE), "")
    if first in _ONE_OF_THEM and joins and _reaches(tokens):
        return Clause(
            "each", (), tuple(token for token in tokens if token.text.casefold() not in _ONE_OF_THEM)
        )
    if place < len(tokens) and tokens[place].sort in JOINS:
        return Clause("join", (), tuple(tokens[place:]))
    length, own = _terminal(tokens, place, scene)
    if own and _goes_on(tokens, place + length):
        return Clause("terminal", tuple(own), tuple(tokens[place + length :]))
    if place < len(tokens) and tokens[place].sort in ABOUT and not _is_label(tokens, tokens):
        behind = place
        while behind < len(tokens) and (tokens[behind].sort in ABOUT or _says_nothing(tokens[behind])):
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
    told = _SIDES | _ONE_OF_THEM | {"end", "of", "them", "is", "core"}
    return all(_says_nothing(token) or token.text.casefold() in told for token in words)


def _which_of_them(part: Sequence[Token]) -> int:
    """`the other goes to …` in a statement of its own is the second."""
    low = {token.text.casefold() for token in part[:3]}
    return 3 if "third" in low else 2 if {"other", "second", "another"} & low else 1


def _said_of_all(parts: Sequence[Sequence[Token]]) -> list[Token]:
    """`one to A and one to B, yellow`: what is said once, at the end, is said of each."""
    said = [[token for token in part if token.sort in ABOUT] for part in parts]
    return said[-1] if len(said) > 1 and said[-1] and not any(said[:-1]) else []


def _shared_out(statement: Sequence[Token], scene: Surroundings) -> bool:
    """`two wires, one from …, one to …`"""
    return sum(_beginning(part, scene).sort == "each" for part in _parted(statement, scene)) > 1


def _is_shared(topic: Mention) -> bool:
    """Whether all wires of a device are of one point: a joint, a bar, a ground."""
    return topic.sort in ("joint", "ground") or trade.is_ground(topic.key)


def _says_nothing(token: Token) -> bool:
    low = token.text.casefold()
    said = trade.is_filler(low) or low in _SAYS_OF or low in _OF_IT or low in _NUMBERS
    return token.sort == "gap" or (token.sort == "word" and said)


def _past(tokens: Sequence[Token], place: int) -> int:
    """The first place whose word says something."""
    while place < len(tokens) and _says_nothing(tokens[place]) and not _of_a_terminal(tokens, place):
        place += 1
    return place


def _of_a_terminal(tokens: Sequence[Token], place: int) -> bool:
    """Whether a word is of a terminal: `small tag`, the `A` of `A red to fuse 1`, not of `A red runs to`."""
    after = tokens[place + 1].text.casefold() if place + 1 < len(tokens) else ""
    if tokens[place].text.casefold() in trade.words("english", "sizes") and after in _SIDES:
        return True
    if _names_a_terminal(tokens, place):
        return True
    if not _LETTERED.fullmatch(tokens[place].text):
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
    if kind and after is not None and after.sort in ("number", "word") and _LETTERED.fullmatch(after.text):
        return 2, [after]
    if after is not None and after.text.casefold() in _SIDES:
        if _LETTERED.fullmatch(token.text):
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
    if CODE.fullmatch(token.text) and _is_a_device(token.text, scene):
        return 0, []
    if token.sort == "number" and _counts(tokens, place):
        return 0, []
    if token.sort == "number" or (token.sort == "word" and _LETTERED.fullmatch(token.text)):
        return 1, [token]
    named = low in trade.words("terminals", "words") or trade.long_form(low) in ("positive", "negative")
    named = named or _names_a_terminal(tokens, place)
    return (1, [token]) if token.sort == "word" and named else (0, [])


def _names_a_terminal(tokens: Sequence[Token], place: int) -> bool:
    """`GND black to …`, `up blue to …`: a terminal, right before what is said of its wire."""
    low = tokens[place].text.casefold()
    behind = [token for token in tokens[place + 1 : place + 3] if token.sort != "comma"]
    after = behind[0] if behind else None
    told = low in trade.words("terminals", "owned") or low in trade.words("terminals", "words")
    return told and after is not None and after.sort in ("colour", "letters", "size")


def _is_a_device(code: str, scene: Surroundings) -> bool:
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
    while place < len(tokens) and (tokens[place].sort in _SPACE or _says_nothing(tokens[place])):
        place += 1
    return place < len(tokens) and tokens[place].sort in (*JOINS, *ABOUT, "via", "decimal")


def _joined(rest: Sequence[Token]) -> list[Token]:
    """What follows the subject: what is said of the wire, a sign of joining, and the other end."""
    place = 0
    while place < len(rest) and (rest[place].sort in (*_SPACE, *ABOUT) or _says_nothing(rest[place])):
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
