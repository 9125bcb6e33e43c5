"""The heads of lines and paragraphs: the words that say what the clauses behind and below them are about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.beginning import (
    COUNTS,
    LETTERED,
    SIDES,
    beginning,
    is_a_device,
    is_label,
    joins,
    names_a_terminal,
)
from loomtest.harness.notes.clauses import shared_out
from loomtest.harness.notes.items import ABOUT, JOINS
from loomtest.harness.notes.meaning import Surroundings
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token

MOST_WORDS = 5
_HAS = {"has", "have", "had", "gives", "give", "with", "got", "takes", "carries"}
_WIRES = {"wires", "leads", "cables", "cores", "terminals", "posts", "tags", "pins", "more", "out", "them"}


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
    skip = _is_a_title(statements, scene)
    for index, statement in enumerate(statements):
        if skip:
            skip = False
            continue
        head, rest = _headed(statement, last=index + 1 == len(statements))
        topic = _topic(head)
        behind = rest or [token for following in statements[index + 1 : index + 2] for token in following]
        point = topic is not None and bool(topic.words and topic.terminal)
        if point and beginning(behind, scene).sort in ("colour", "join"):
            found.append([*head, *behind])  # `Valve earth. Black to the engine block`
            skip = not rest
            continue
        if topic is None or not _can_be_a_topic(topic, scene) or _is_a_terminal_here(topic, scene):
            found.append(list(statement))
            continue
        following = next((s for s in (rest, *statements[index + 1 :]) if joins(s)), rest)
        begins = beginning(following, scene)
        if begins.sort == "own" and shared_out(following, scene):
            begins = replace(begins, sort="each")
        if begins.sort == "own" and not is_label(rest, following):
            found.append(list(statement))
            continue
        if begins.sort != "own":
            scene.topic, scene.topic_indent = topic, indent
        if rest:
            found.append(rest)
    return found


def _is_a_title(statements: Sequence[list[Token]], scene: Surroundings) -> bool:
    """`Heater fan. Fuse 4 to fan switch 1, green. …`, `Fridge on 12 volt. …`: what the circuit is for."""
    if len(statements) < 2 or len(statements[0]) > MOST_WORDS + 1:
        return False
    if any(token.sort not in ("word", "measure", "gap", "and") for token in statements[0]):
        return False
    nouns = [i for i, token in enumerate(statements[0]) if token.sort == "word" and trade.is_noun(token.text)]
    named = bool(nouns) and not any(trade.is_ground(statements[0][i].text) for i in nouns)
    points_back = any(token.text.casefold() in ("it", "its", "there", "that") for token in statements[1])
    return (
        named and not points_back and joins(statements[1]) and beginning(statements[1], scene).sort == "own"
    )


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
    if behind[0].sort == "comma" and (counted or is_label(behind[1:], behind[1:])):
        return head, behind[1:]
    return [], []


def _opens(token: Token) -> bool:
    return token.sort == "dash" or token.text == "="


def _names_a_terminal_of(tokens: Sequence[Token]) -> bool:
    """`key switch - BAT red > plug 1`: behind the sign a terminal, a colour and a further sign of joining."""
    first = tokens[0] if tokens else None
    if first is None or not (
        first.sort in ("number", "plus", "dash")
        or LETTERED.fullmatch(first.text)
        or names_a_terminal(tokens, 0)
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
        if token.text.casefold() in COUNTS or (token.sort == "number" and place == len(head) - 2):
            return head[:place]
    return head


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
    if topic.words[-1].casefold() in SIDES and topic.words[0].casefold() in trade.words("english", "sizes"):
        return False  # `small tag`
    return bool(topic.sort) or scene.names.knows(topic)


def _is_a_terminal_here(topic: Mention, scene: Surroundings) -> bool:
    """`Motor solenoid. B2: red to …. S1: white to …`: of what the paragraph is about, and no device."""
    return topic.sort == "code" and scene.topic is not None and not is_a_device(topic.words[0], scene)
