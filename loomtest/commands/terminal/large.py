"""Letters for three metres: words in blocks that fill the terminal, with a colour, a shape and a sound."""

from __future__ import annotations

import os
import sys
import time
from textwrap import wrap

from loomtest.commands.terminal.text import shown

# Five columns by seven rows each, as dot matrix displays have drawn capitals for decades (common practice).
_LETTERS = {
    "D": "11110 10001 10001 10001 10001 10001 11110", "E": "11111 10000 10000 11110 10000 10000 11111",
    "G": "01110 10001 10000 10111 10001 10001 01110", "H": "10001 10001 10001 11111 10001 10001 10001",
    "I": "111 010 010 010 010 010 111", "K": "10001 10010 10100 11000 10100 10010 10001",
    "N": "10001 11001 10101 10101 10011 10001 10001", "O": "01110 10001 10001 10001 10001 10001 01110",
    "P": "11110 10001 10001 11110 10000 10000 10000", "R": "11110 10001 10001 11110 10100 10010 10001",
    "S": "01111 10000 10000 01110 00001 00001 11110", "T": "11111 00100 00100 00100 00100 00100 00100",
    "U": "10001 10001 10001 10001 10001 10001 01110", "W": "10001 10001 10001 10101 10101 11011 10001",
    " ": "00 00 00 00 00 00 00",
}  # fmt: skip
_HIGH = 7
# Of the palette of pictures and pages, told apart by every common kind of colour blindness: ink, ground.
_COLOURS = {"good": ("255;255;255", "15;102;117"), "bad": ("255;255;255", "140;26;44"),
            "doubt": ("32;41;46", "255;217;102")}  # fmt: skip
_BELLS = {"good": 1, "bad": 3, "doubt": 2}
_BETWEEN_BELLS_S = 0.25


def large(word: str, columns: int, rows: int) -> list[str]:
    """The word in block letters, as large as `columns` by `rows` characters allow."""
    glyphs = [_LETTERS[letter].split() for letter in word]
    wide = sum(len(glyph[0]) for glyph in glyphs) + len(glyphs) - 1
    scale = max(1, min(columns // (2 * wide), rows // _HIGH)) if columns >= 2 * wide else 0
    across = 2 * scale or 1  # a character is about twice as high as it is wide
    lines = []
    for row in range(_HIGH):
        dots = "0".join(glyph[row] for glyph in glyphs)
        lines += ["".join(("█" if dot == "1" else " ") * across for dot in dots)] * max(scale, 1)
    return lines


def show_large(word: str, tone: str, lines: list[str]) -> None:
    """Fill the terminal with the word and the lines below it; elsewhere print them plainly, one a line."""
    out = sys.stdout
    if not out.isatty():
        out.write("\n".join([word, *map(shown, lines)]) + "\n")
        out.flush()
        return
    size = os.get_terminal_size(out.fileno())
    size = os.terminal_size((size.columns or 80, size.lines or 24))  # a terminal may not know its own
    below = [piece for line in lines for piece in wrap(shown(line), max(20, size.columns - 4)) or [""]]
    most = max(0, size.lines - _HIGH - 4)
    below = below[:most]
    body = large(word, size.columns - 4, max(_HIGH, size.lines - len(below) - 4))
    wide = max(map(len, body))
    centred = [(" " * ((size.columns - wide) // 2) + line).ljust(size.columns) for line in body]
    ink, ground = _COLOURS[tone]
    colour = "" if os.environ.get("NO_COLOR") else f"\x1b[38;2;{ink};48;2;{ground}m"
    blank = " " * size.columns
    painted = [blank, *centred, blank, *(f"  {line}".ljust(size.columns) for line in below)]
    out.write("\x1b[2J\x1b[H" + "".join(f"{colour}{line[: size.columns]}\x1b[0m\n" for line in painted))
    out.flush()


def sound(tone: str) -> None:
    """The terminal's bell: once for right, twice for not sure, three times for wrong."""
    if not sys.stdout.isatty():
        return
    for count in range(_BELLS[tone]):
        if count:
            time.sleep(_BETWEEN_BELLS_S)
        sys.stdout.write("\a")
        sys.stdout.flush()


def forget_typed() -> None:
    """Drop what was typed on the terminal and not read yet."""
    if not sys.stdin.isatty():
        return
    try:
        import termios
    except ImportError:  # Windows
        import msvcrt

        while msvcrt.kbhit():  # type: ignore[attr-defined]  # Windows alone has it
            msvcrt.getwch()  # type: ignore[attr-defined]  # likewise
        return
    termios.tcflush(sys.stdin, termios.TCIFLUSH)
