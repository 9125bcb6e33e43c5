"""Names that look the same and are not: letters of other scripts, accents in two pieces, O and 0, l, I and 1.

The letters of other scripts are those of Unicode's table of confusables (UTS #39, confusables.txt), which the
library confusable-homoglyphs brings along; it is read only where a name has a letter beyond ASCII.
"""

from __future__ import annotations

import unicodedata
from functools import cache

# Within ASCII the same table takes these for one another; no typeface of a terminal parts all of them.
_ALIKE = str.maketrans({"0": "O", "1": "l", "I": "l", "|": "l"})


def looks(name: str) -> str:
    """The same text for names that a person cannot tell apart (the skeleton of UTS #39, section 4)."""
    if not name.isascii():
        name = "".join(map(_plain, unicodedata.normalize("NFD", name)))
    return name.translate(_ALIKE)


def told_apart(name: str, other: str) -> tuple[str, str]:
    """What the first letter is called in which two names that look the same differ, in each of them."""
    for one, two in zip(name, other, strict=False):
        if one != two:
            return _called(one), _called(two)
    longer = max(name, other, key=len)
    rest = _called(longer[min(len(name), len(other))])
    return (rest, "without it") if longer == name else ("without it", rest)


def _called(letter: str) -> str:
    return unicodedata.name(letter, f"U+{ord(letter):04X}").lower()


@cache
def _plain(letter: str) -> str:
    """The ASCII letters that look like this one; itself where none do."""
    if letter.isascii():
        return letter
    from confusable_homoglyphs.confusables import confusables_data

    plain = [str(twin["c"]) for twin in confusables_data.get(letter, ()) if twin["c"].isascii()]
    return min(plain, key=lambda text: not text.isalnum(), default=letter)
