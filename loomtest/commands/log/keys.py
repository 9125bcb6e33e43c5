"""Single keys from the terminal, without waiting for Enter and without blocking."""

from __future__ import annotations

import sys
from types import TracebackType

# What terminals send for keys that have a name here.
_NAMES = {"\r": "enter", "\n": "enter", "\x7f": "backspace", "\x08": "backspace", "\x1b": "escape"}


def named(text: str) -> list[str]:
    """Keys out of what a terminal sent; arrow and function keys (escape sequences) come as `other`."""
    keys = []
    index = 0
    while index < len(text):
        if text[index] == "\x1b" and text[index + 1 : index + 2] in ("[", "O"):
            index += 2
            while index < len(text) and not text[index].isalpha() and text[index] != "~":
                index += 1
            index += 1
            keys.append("other")
            continue
        letter = text[index]
        index += 1
        if letter == "\x03":
            raise KeyboardInterrupt
        if letter in _NAMES:
            keys.append(_NAMES[letter])
        elif letter.isprintable():
            keys.append(letter)
        else:
            keys.append("other")
    return keys


if sys.platform == "win32":
    import msvcrt

    class ConsoleKeys:
        """Keys of a Windows console."""

        def __enter__(self) -> ConsoleKeys:
            return self

        def __exit__(
            self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
        ) -> None:
            return

        def read(self) -> list[str]:
            """The keys pressed since the last call."""
            text = ""
            while msvcrt.kbhit():
                letter = msvcrt.getwch()
                if letter in ("\x00", "\xe0"):
                    msvcrt.getwch()
                    letter = "\x00"
                text += letter
            return named(text)

    Keys = ConsoleKeys

else:
    import os
    import select
    import termios
    import tty

    class TerminalKeys:
        """Keys of a terminal in character mode; its former mode comes back at the end."""

        def __enter__(self) -> TerminalKeys:
            self._file = sys.stdin.fileno()
            self._mode = termios.tcgetattr(self._file)
            tty.setcbreak(self._file)
            return self

        def __exit__(
            self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
        ) -> None:
            termios.tcsetattr(self._file, termios.TCSADRAIN, self._mode)

        def read(self) -> list[str]:
            """The keys pressed since the last call."""
            data = b""
            while select.select([self._file], [], [], 0)[0]:
                piece = os.read(self._file, 1024)
                if not piece:
                    raise KeyboardInterrupt  # the terminal was closed
                data += piece
            return named(data.decode("utf-8", "replace"))

    Keys = TerminalKeys
