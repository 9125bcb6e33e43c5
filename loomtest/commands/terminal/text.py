"""Plain text for a terminal of 80 columns: names from files made visible, words counted, lists wrapped."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

WIDTH = 80
_THIN = "\u202f"
_BETWEEN_THOUSANDS = re.compile(rf"(?<=[0-9]){_THIN}(?=[0-9]{{3}})")


def shown(text: str) -> str:
    """The text with every control and direction-changing character made visible, line breaks included.

    Nothing that comes from a file may command the terminal: `str.isprintable` is false for controls
    (escape, carriage return), format characters (right-to-left marks) and unusual spaces. The thin space
    that parts thousands stays.
    """
    if text.isprintable():
        return text
    return _THIN.join(map(_spelled, _BETWEEN_THOUSANDS.split(text)))


def _spelled(text: str) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def shown_lines(text: str) -> str:
    """`shown`, keeping the line breaks that the program itself put into a message."""
    return "\n".join(shown(line) for line in text.split("\n"))


def counted(number: int, one: str, many: str = "") -> str:
    """`1 wire`, `3 wires`, `12 400 wires`; `many` where an s is not enough."""
    word = one if number == 1 else many or one + "s"
    return f"{number:,}".replace(",", "\u202f") + " " + word if number >= 10_000 else f"{number} {word}"


def wrapped(words: Iterable[str], indent: int = 0, hanging: int | None = None, width: int = WIDTH) -> str:
    """Words in lines of at most `width`, the first indented by `indent`, the others by `hanging`.

    A word is never broken, nor a name in it: each is one item as it came.
    """
    margin = " " * (indent if hanging is None else hanging)
    lines = [" " * indent]
    fresh = True
    for word in words:
        if not fresh and len(lines[-1]) + 1 + len(word) > width:
            lines.append(margin)
            fresh = True
        lines[-1] += word if fresh else " " + word
        fresh = False
    return "\n".join(lines)


def paragraph(text: str, indent: int = 0, hanging: int | None = None) -> str:
    """Running text, wrapped."""
    return wrapped(text.split(" "), indent, hanging)


def listed(names: Sequence[str], separator: str = ",") -> list[str]:
    """Names with the separator after all but the last, each made visible: for `wrapped`."""
    return [shown(name) + (separator if index < len(names) - 1 else "") for index, name in enumerate(names)]
