"""LegalNames of an exchange file made names of ours: without spaces and colons, each once."""

from __future__ import annotations

import re

from loomtest.harness.points import FORMULA_SIGNS, LONGEST_NAME, read_point


def legal(text: str, instead: str, longest: int = LONGEST_NAME // 2 - 2) -> str:
    """`text` as a connector's or a cavity's name; `instead` where nothing of it can be one.

    >>> legal("X 12:A", "c1")
    'X_12_A'
    """
    name = re.sub(r"[\s:]+", "_", text.strip()).strip("_")
    name = "".join(letter for letter in name if letter.isprintable()).lstrip("#'" + FORMULA_SIGNS)
    name = name[:longest]
    try:
        return read_point(name)
    except ValueError:
        return instead


class LegalNames:
    """Gives each thing a name of its own, and remembers which ones are not as they were written.

    `cased`: names that differ by case only are two names (cavities a and A of one connector).
    """

    def __init__(self, *, cased: bool = False) -> None:
        self.cased = cased
        self.taken: set[str] = set()
        self.changed: list[tuple[str, str]] = []  # as written, as it is called

    def give(self, text: str, instead: str) -> str:
        """A legal name for `text` that nothing else has: the second of a name gets `_2`."""
        base = legal(text, legal(instead, "unnamed"))
        name, number = base, 1
        while (name if self.cased else name.casefold()) in self.taken:
            number += 1
            name = f"{base}_{number}"
        self.taken.add(name if self.cased else name.casefold())
        if name != text:
            self.changed.append((text or instead, name))
        return name
