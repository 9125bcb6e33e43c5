"""What a writer takes back in the same line, and lines that another one puts right in so many words.

`fuse box 4. no - 5` is 5; `from M, no, from L` is from L. `CORRECTION to 4: pin 4, not pin 2` changes the one
2 of line 4, and its words stay beside the wire as a note. What is not as plain as that is asked about.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token

_JOINS = ("to", "arrow", "back", "from", "feeds")
_APART = ("comma", "dash", "stop", "colon", "quest", "gap", "semi")
_WRONG_NOTE = re.compile(r"(?i)\S{1,6}\W+(?:no|wrong|not)|(?:not|no)\W+\S{1,6}")


def taken_back(tokens: Sequence[Token]) -> list[Token]:
    """The tokens without what the writer takes back, and without the words that say so."""
    found: list[Token] = []
    index = 0
    while index < len(tokens):
        token = tokens[index]
        after = tokens[index + 1] if index + 1 < len(tokens) else None
        if token.sort == "note" and _WRONG_NOTE.fullmatch(token.value) and _is_value(after):
            index += 1  # `rear block (3 - no) 2`
            continue
        begin = _behind_the_words(tokens, index) if found else 0
        kept = _put_in_place(found, tokens, begin) if begin else None
        if kept is None:
            found.append(token)
            index += 1
            continue
        found, index = kept
    return found


def _is_value(token: Token | None) -> bool:
    return token is not None and token.sort in ("number", "word")


def _behind_the_words(tokens: Sequence[Token], index: int) -> int:
    """Where what is meant begins, behind `no`, `sorry`, `I mean`; 0 where nothing is taken back there."""
    apart = index > 0 and tokens[index - 1].sort in _APART
    place, said = index, ""
    while place < len(tokens) and place - index < 5:
        said = f"{said} {_word(tokens[place])}".strip()
        if not any(phrase == said or phrase.startswith(f"{said} ") for phrase in _PHRASES):
            break
        place += 1
    words = " ".join(_word(token) for token in tokens[index:place])
    if words not in _PHRASES or not apart:
        return 0
    begin = place
    while begin < len(tokens) and tokens[begin].sort in _APART:
        begin += 1
    plain = words in ("no", "rather", "wrong")
    ends = place < len(tokens) and (tokens[place].sort in (*_APART, *_JOINS))
    return begin if begin < len(tokens) and (not plain or ends) else 0


_PHRASES = frozenset(trade.phrases("doubt", "taken_back"))


def _word(token: Token) -> str:
    """A word as it stands; `no.` before a sentence was taken for a number's."""
    return "no" if token.value.casefold() in ("no", "no.") else token.text.casefold()


def _put_in_place(before: list[Token], tokens: Sequence[Token], begin: int) -> tuple[list[Token], int] | None:
    """What stands before with the new in place of the old, and how far the tokens are read; None where the
    old is not plain."""
    kept = list(before)
    while kept and kept[-1].sort in _APART:
        kept.pop()
    new = tokens[begin]
    after = tokens[begin + 1] if begin + 1 < len(tokens) else None
    if not kept:
        return None
    if new.sort in _JOINS:
        at = max((i for i, token in enumerate(kept) if token.sort in _JOINS), default=-1)
        return (kept[:at], begin) if at > 0 else None
    closes = after is None or after.sort not in ("word", "number", *_JOINS)
    if not closes:
        return None
    if new.sort in ("colour", "size", "amps"):
        at = max((i for i, token in enumerate(kept) if token.sort == new.sort), default=-1)
        return ([*kept[:at], new, *kept[at + 1 :]], begin + 1) if at >= 0 else None
    if _is_terminal(new) and _is_terminal(kept[-1]):
        return [*kept[:-1], new], begin + 1
    return None


def _is_terminal(token: Token) -> bool:
    return token.sort == "number" or bool(token.sort == "word" and re.fullmatch(r"[A-Z]\d?", token.text))


def put_right_here(line: PageLine, above: Sequence[PageLine], numbers: Sequence[str]) -> None:
    """Put into the lines of these numbers what this one says in place of what it says not to be."""
    pair = _not_this(line.tokens)
    if pair is None:
        return
    right, wrong = pair
    for other in above:
        at = [i for i, t in enumerate(other.tokens) if (t.sort, t.text) == (wrong.sort, wrong.text)]
        if not other.listed or other.listed not in numbers or len(at) != 1:
            continue
        old = other.tokens[at[0]]
        new = Token(right.sort, right.text, right.value, old.start, old.end)
        said = line.text.strip()
        note = Token("remark", said, said, len(other.text), len(other.text))
        told = [*other.tokens[: at[0]], new, *other.tokens[at[0] + 1 :]]
        last = len(told) - (told[-1].sort == "stop")
        other.tokens = [*told[:last], note, *told[last:]]
        other.right = line.puts_right = True


def _not_this(tokens: Sequence[Token]) -> tuple[Token, Token] | None:
    """`pin 4 of the lamp, not pin 2`: what is right and what is wrong, of one sort."""
    for index, token in enumerate(tokens):
        if token.text.casefold() != "not":
            continue
        wrong = next((t for t in tokens[index + 1 : index + 3] if t.sort in ("number", "colour")), None)
        begin = max((i for i in range(index) if tokens[i].sort in ("stop", "colon")), default=-1)
        right = [t for t in tokens[begin + 1 : index] if wrong is not None and t.sort == wrong.sort]
        if wrong is not None and len(right) == 1:
            return right[0], wrong
    return None
