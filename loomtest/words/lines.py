"""Lines of text with their tone: how sentences reach a screen of 80 columns."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

WIDTH = 80

_NUMBER_AND_UNIT = re.compile(r"(\d) ([mkMG]?Ω|m?V|[AW]|mm²|m|%)(?![\w])")


@dataclass(frozen=True, slots=True)
class Line:
    """One printed line and its tone: plain, head, soft, good, doubt or bad."""

    text: str
    tone: str = "plain"


def wrapped(*sentences: str, tone: str = "plain", indent: int = 0) -> list[Line]:
    """The sentences in lines of at most `WIDTH`, each sentence beginning a line."""
    pad = " " * indent
    return [Line(pad + text, tone) for said in sentences for text in folded(said, WIDTH - indent)]


def held(text: str) -> str:
    """The text with every number held to its unit by a space that does not break."""
    return _NUMBER_AND_UNIT.sub("\\1\N{NO-BREAK SPACE}\\2", text)


def folded(text: str, width: int) -> list[str]:
    """Lines of at most `width`; no name is broken, and no number parted from its unit."""
    lines = textwrap.wrap(held(text), width, break_long_words=False, break_on_hyphens=False)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def sentence(text: str) -> str:
    """The text with a capital at its start and a stop at its end."""
    return text[:1].upper() + text[1:] + ("." if text and text[-1] not in ".!?:" else "")


def capital(text: str) -> str:
    """The text with its first letter large and nothing else changed."""
    return text[:1].upper() + text[1:]


def one_of(words: Sequence[str], last: str = "or") -> str:
    """`a`, `a or b`, `a, b or c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def all_of(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return one_of(words, "and")
