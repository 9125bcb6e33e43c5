"""Room that words take: near enough for every usual typeface, so that nothing is clipped or overlaps."""

from __future__ import annotations

import unicodedata

_NARROW = set("iljtfrI.,:;'|!()[] /-")
_WIDE = set("mwMW@%—…")


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Pixels that `text` takes at `size`: what the widest of the usual typefaces needs."""
    return size * sum(map(_share, text)) * (1.08 if bold else 1.0)


def _share(letter: str) -> float:
    if letter in _NARROW:
        return 0.4
    if letter in _WIDE:
        return 0.95
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.02
    return 0.74 if letter.isupper() else 0.62


def cut(text: str, width: float, size: float, bold: bool = False) -> str:
    """`text` if it fits, else its beginning and an ellipsis."""
    if text_width(text, size, bold) <= width:
        return text
    while text and text_width(text + "…", size, bold) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(text: str, width: float, size: float = 11.0, most: int = 3, bold: bool = False) -> list[str]:
    """`text` in lines of at most `width` pixels; what does not fit in `most` lines ends in an ellipsis."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size, bold) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1] + " …"]
    return [cut(line, width, size, bold) for line in lines]
