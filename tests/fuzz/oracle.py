"""What a written value means, found by another route than the program's: decimal arithmetic, words by words.

It knows less than the reader: where it says None it has no opinion.
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal, InvalidOperation

_PREFIX = {"": 0, "n": -9, "u": -6, "µ": -6, "m": -3, "k": 3, "M": 6, "G": 9, "T": 12}
_DIGITS = re.compile(r"([+-]?)([0-9]*)([.,]?)([0-9]*)(?:[eE]([+-]?[0-9]{1,6}))?\s*(.*)", re.DOTALL)


def number_and_unit(text: str) -> tuple[Decimal, str] | None:
    """The first number of a text, exactly, and what stands behind it."""
    match = _DIGITS.fullmatch(text.strip())
    if match is None or not (match[2] or match[4]):
        return None
    try:
        number = Decimal(f"{match[1]}{match[2] or '0'}.{match[4] or '0'}E{match[5] or '0'}")
    except InvalidOperation:
        return None
    return number, match[6].strip()


def ohms_of(text: str) -> Decimal | None:
    """Ohms of a number with an SI prefix and one of the signs for ohm, or nothing; None for anything else."""
    plain = "".join({"\u2126": "Ω", "\u03a9": "Ω", "\u03bc": "µ", "\u2212": "-"}.get(c, c) for c in text)
    found = number_and_unit(plain)
    if found is None:
        return None
    number, unit = found
    unit = unit.removesuffix("Ω").removesuffix("ohms").removesuffix("ohm").strip()
    return number.scaleb(_PREFIX[unit]) if unit in _PREFIX else None


def same(value: float, exact: Decimal) -> bool:
    """Whether a float is the exact number, to the last digits that arithmetic with factors may lose."""
    return abs(Decimal(value) - exact) <= abs(exact) * Decimal("1e-14") + Decimal("1e-300")


def has_digit(text: str) -> bool:
    """Whether any character of the text is a figure in any script."""
    return any(unicodedata.category(letter) in ("Nd", "No", "Nl") for letter in text)
