"""One written value to a number in SI units: every spelling that a meter, a hand or a spreadsheet gives.

Case tells `m` (milli) from `M` (mega); the Unicode look-alikes of ohm and micro are one; a decimal comma is
read and said so. Over-range is +inf. Nothing is guessed: what could mean two things is refused.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from loomtest.readings.model import Quantity

# Ohm sign U+2126 and micro sign U+00B5 fold onto the Greek letters; minus, spaces and full stops of
# typesetting fold onto ASCII. NFKC would also fold superscripts into digits, so the table is written out.
_FOLD = str.maketrans(
    {
        "\u2126": "\u03a9",
        "\u00b5": "\u03bc",
        "\u2212": "-",
        "\u2013": "-",
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u2265": ">",
        "\ufeff": "",
    }
)
_PREFIXES = {
    "": 1.0,
    "p": 1e-12,  # of farads only: nobody writes picohms
    "n": 1e-9,
    "u": 1e-6,
    "\u03bc": 1e-6,
    "micro": 1e-6,
    "m": 1e-3,
    "milli": 1e-3,
    "k": 1e3,
    "K": 1e3,
    "kil": 1e3,  # kilohm
    "kilo": 1e3,
    "M": 1e6,
    "meg": 1e6,  # megohm
    "mega": 1e6,
    "G": 1e9,
    "gig": 1e9,
    "giga": 1e9,
    "T": 1e12,
}
_UNITS = {"": "", "ohm": "ohm", "ohms": "ohm", "\u03a9": "ohm", "v": "volt", "volt": "volt", "volts": "volt"}
_UNITS |= {"f": "farad", "farad": "farad", "farads": "farad"}
_NUMBER = re.compile(r"([+-]?)((?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)")
# Value codes of the trade, after IEC 60062 (value from memory): the letter stands for the decimal point.
_LETTER_CODE = re.compile(r"([0-9]*)([RrkKMGm])([0-9]*)\s*(?:[oO][hH][mM][sS]?|\u03a9)?")
_LETTER_FACTOR = {"R": 1.0, "r": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9, "m": 1e-3}
_OVER_WORDS = frozenset(
    ("OL", "0L", "OVLD", "OVERLOAD", "OVER", "OVERRANGE", "OPEN", "INF", "INFINITY", "INFINITE", "\u221e")
)
_OVER = re.compile(r"\+?([A-Za-z0\u221e. -]+?)\s*(?:[mkKMG]|meg|kil|milli)?\s*(?:[oO][hH][mM][sS]?|\u03a9)?")
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9])")

# SCPI-99 vol. 1, 7.2.1: 9.9E37 stands for infinity, -9.9E37 for minus infinity, 9.91E37 for not-a-number.
SCPI_INFINITY = 9.9e37
SCPI_NAN = 9.91e37
# Some meters round theirs to 1E38 or write 9.9E38; far above that it is no meter's mark (common practice).
MOST_INFINITY = 1e39
# No meter shows more: insulation testers end at some 10 Tohm (common practice).
MOST_OHMS = 1e15
MOST_VOLTS = 1e5
# A loom's wires have at most some microfarads, 30 to 100 pF a metre (common practice).
MOST_FARADS = 1e-3
# What a zeroed meter may still show below zero; further down something else is wrong (common practice).
_FAR_NEGATIVE_OHMS = -1.0
_FAR_NEGATIVE_DIODE_VOLTS = -0.05
_FAR_NEGATIVE_FARADS = -20e-12

SPELLINGS = "a number such as 0.42, 420 m\u03a9, 1.2k or 4R7, or OL for over-range"
_SPELLINGS = {
    "ohm": SPELLINGS,
    "volt": "a number of volts",
    "farad": "a capacitance such as 120 pF or 1.2 nF",
}


class ValueSyntaxError(ValueError):
    """A cell that is no value. `found` and `expected` are the two halves of a `Problem`."""

    def __init__(self, found: str, expected: str) -> None:
        self.found, self.expected = found, expected
        super().__init__(f"found {found}; expected {expected}")


@dataclass(frozen=True, slots=True)
class Value:
    """A value in SI units.

    `number`: ohms, volts, or 1.0 / 0.0 for yes / no; +inf for over-range. `above_ohm`: what `>2M` states,
    else NaN. `scale`: SI units in one of the unit it was written in (`420 mΩ`: 0.001), for its uncertainty.
    `comma`: a decimal comma was read as such.
    """

    number: float
    above_ohm: float = math.nan
    scale: float = 1.0
    comma: bool = False


def dimension_of(quantity: Quantity) -> str:
    """What a value of the quantity is counted in."""
    if quantity in (Quantity.VOLTAGE_DROP, Quantity.DIODE):
        return "volt"
    if quantity is Quantity.CAPACITANCE:
        return "farad"
    return "yes/no" if quantity is Quantity.CONTINUITY else "ohm"


def most(dimension: str) -> float:
    """The greatest believable value of a dimension, in its SI unit."""
    return {"ohm": MOST_OHMS, "farad": MOST_FARADS}.get(dimension, MOST_VOLTS)


def lowest(quantity: Quantity) -> float:
    """The least believable value of a quantity, in its SI unit."""
    if quantity is Quantity.DIODE:
        return _FAR_NEGATIVE_DIODE_VOLTS
    if quantity is Quantity.CAPACITANCE:
        return _FAR_NEGATIVE_FARADS
    return _FAR_NEGATIVE_OHMS if dimension_of(quantity) == "ohm" else -MOST_VOLTS


def parse_unit(text: str) -> tuple[float, str]:
    """SI units in one of `text` and its dimension: `milliohm` is (0.001, "ohm"), `k` is (1000.0, "").

    Raises ValueSyntaxError.
    """
    folded = text.translate(_FOLD).strip()
    whole = re.fullmatch(r"(.*?)\s*(ohms?|\u03a9|v|volts?|f|farads?|)", folded, re.IGNORECASE | re.DOTALL)
    prefix, unit = (whole[1], whole[2].lower().replace("\u03c9", "\u03a9")) if whole else (folded, "")
    factor = _PREFIXES.get(prefix)
    if factor is None and len(prefix) > 1:
        factor = _PREFIXES.get(prefix.lower())
    if factor is None or not folded or (prefix == "p" and _UNITS[unit] != "farad"):
        raise ValueSyntaxError(quoted(text), "a unit: ohm, milliohm, kilohm, megohm, V, mV, nF or pF")
    return factor, _UNITS[unit]


def parse_value(
    text: str,
    quantity: Quantity = Quantity.RESISTANCE,
    unit: str = "",
    *,
    comma_is_decimal: bool = False,
) -> Value:
    """The value of one cell, or of what a hand typed.

    `unit` is that of a bare number ("" means ohm or volt, by the quantity). `comma_is_decimal`: the file is
    known to write decimal commas, so that `1,234` is 1.234; otherwise such a number is refused as ambiguous,
    while `0,42` is read. Raises ValueSyntaxError with what was found and what was expected.
    """
    folded = text.translate(_FOLD).strip()
    dimension = dimension_of(quantity)
    if not folded:
        raise ValueSyntaxError("nothing", _SPELLINGS.get(dimension, "yes or no"))
    if dimension == "yes/no":
        return _yes_or_no(folded)
    if folded.startswith(">"):
        return _more_than(folded, quantity, unit, comma_is_decimal)
    over = is_over_range(folded)
    value = Value(math.inf) if over else _number(folded, dimension, unit, comma_is_decimal)
    _check_plausible(value.number, folded, dimension, quantity)
    return value


def bare_number(text: str) -> float | None:
    """A number without a unit, a decimal comma read as a point; None where it is anything else."""
    folded = text.translate(_FOLD).strip()
    if folded.count(",") == 1 and "." not in folded:
        folded = folded.replace(",", ".")
    return float(folded) if _NUMBER.fullmatch(folded) else None


def parse_current(text: str) -> float:
    """Amperes above zero: `5`, `5 A`, `500 mA`. Raises ValueSyntaxError."""
    match = re.fullmatch(r"(.*?)\s*(m?)[Aa]?(?:mp|mps)?", text)
    amperes = bare_number(match[1]) if match else None
    if match is None or amperes is None or not 0.0 < amperes < 1e4:
        raise ValueSyntaxError(quoted(text), "amperes above zero, such as 5 or 500 mA")
    return amperes * (1e-3 if match[2] else 1.0)


def parse_temperature(text: str) -> float:
    """Degrees Celsius: `21`, `21.5 °C`. Raises ValueSyntaxError."""
    number = bare_number(re.sub(r"\s*(°\s*)?[cC]?$", "", text))
    if number is None or not believable_temperature(number):
        raise ValueSyntaxError(quoted(text), "degrees Celsius, such as 21.5")
    return number


def parse_range(text: str) -> float:
    """Ohms above zero: `2000`, `2M`. Raises ValueSyntaxError."""
    value = parse_value(text)
    if not 0.0 < value.number < math.inf:
        raise ValueSyntaxError(quoted(text), "the meter's range in ohms, such as 2000 or 2M")
    return value.number


def believable_temperature(number_c: float) -> bool:
    """True for degrees Celsius that wires can have while somebody measures them; never for NaN."""
    return -100.0 < number_c < 300.0


def parse_uncertainty(text: str) -> float:
    """A bare standard uncertainty, above zero. Raises ValueSyntaxError."""
    number = bare_number(text)
    if number is None or not 0.0 < number < math.inf:
        raise ValueSyntaxError(quoted(text), "a standard uncertainty above zero")
    return number


def no_resistance(ohm: float) -> str:
    """Why no circuit can have so many ohms, as found and expected; "" where one can, or over-range."""
    try:
        parse_value(repr(ohm))
    except ValueSyntaxError as error:
        return str(error)
    return ""


def quoted(text: str) -> str:
    """A cell as a message shows it: in quotes, control characters visible, cut at 40 characters."""
    shown = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)
    return f'"{shown[:40]}…"' if len(shown) > 40 else f'"{shown}"'


def is_over_range(text: str) -> bool:
    """True for a word that meters and hands use for over-range, with or without a unit behind it."""
    match = _OVER.fullmatch(text.translate(_FOLD).strip())
    if match is None or match[1].startswith("-"):
        return False
    return re.sub(r"[. -]", "", match[1]).upper() in _OVER_WORDS


def _yes_or_no(folded: str) -> Value:
    word = folded.casefold()
    if word in ("yes", "y"):
        return Value(1.0)
    # A meter on its continuity range shows over-range where it does not beep.
    if word in ("no", "n") or is_over_range(folded):
        return Value(0.0)
    raise ValueSyntaxError(quoted(folded), "yes or no (for a number, another quantity)")


def _more_than(folded: str, quantity: Quantity, unit: str, comma_is_decimal: bool) -> Value:
    rest = folded.lstrip(">").lstrip("= ")
    if not rest:
        raise ValueSyntaxError(quoted(folded), "a limit above zero, such as >40M")
    if quantity is Quantity.CAPACITANCE:
        raise ValueSyntaxError(quoted(folded), "a capacitance: over-range says nothing of a place")
    if dimension_of(quantity) != "ohm" and quantity is not Quantity.DIODE:
        raise ValueSyntaxError(quoted(folded), "the volts lost; over-range says nothing about a drop")
    inner = _number(rest, dimension_of(quantity), unit, comma_is_decimal)
    if not 0.0 < inner.number <= MOST_OHMS:
        raise ValueSyntaxError(quoted(folded), "a limit above zero, such as >40M")
    above = inner.number if quantity is not Quantity.DIODE else math.nan
    return Value(math.inf, above, inner.scale, inner.comma)


def _number(folded: str, dimension: str, unit: str, comma_is_decimal: bool) -> Value:
    code = _LETTER_CODE.fullmatch(folded)
    if code and dimension == "ohm" and (code[3] or (code[1] and code[2] in "Rr")):
        return Value(float(f"{code[1] or '0'}.{code[3] or '0'}") * _LETTER_FACTOR[code[2]])
    text, comma = _point_for_comma(folded, comma_is_decimal)
    match = _NUMBER.match(text)
    if match is None:
        raise ValueSyntaxError(quoted(folded), _SPELLINGS[dimension])
    number = float(match[1] + match[2])
    rest = text[match.end() :].strip()
    if abs(abs(number) - SCPI_NAN) < 1e-4 * SCPI_NAN and number > 0:
        raise ValueSyntaxError(f"{quoted(folded)}, a meter's mark for not-a-number", "the reading, or OL")
    if SCPI_INFINITY * (1 - 1e-9) <= number < MOST_INFINITY:
        return Value(math.inf, comma=comma)
    if number == math.inf:
        raise ValueSyntaxError(quoted(folded), "a number that a meter can show, or OL for over-range")
    if not rest and not unit:
        return Value(number, comma=comma)
    try:
        scale, written = parse_unit(rest or unit)
    except ValueSyntaxError:
        wanted = _SPELLINGS[dimension] if rest else "a unit"
        raise ValueSyntaxError(quoted(folded if rest else unit), wanted) from None
    if written and written != dimension:
        what = f"{dimension}s"
        raise ValueSyntaxError(quoted(folded if rest else f"{folded} {unit}"), f"{what} for this quantity")
    return Value(number * scale, scale=scale, comma=comma)


def _point_for_comma(folded: str, comma_is_decimal: bool) -> tuple[str, bool]:
    """The number with a decimal point, and whether a comma stood for it."""
    if "," not in folded:
        return folded, False
    if folded.count(",") > 1 or "." in folded:
        raise ValueSyntaxError(quoted(folded), "a number without marks between thousands")
    if _GROUPED.match(folded) and not comma_is_decimal:
        point, plain = folded.replace(",", "."), folded.replace(",", "")
        raise ValueSyntaxError(quoted(folded), f"{point} or {plain}: the comma could mean either")
    return folded.replace(",", "."), True


def _check_plausible(number: float, folded: str, dimension: str, quantity: Quantity) -> None:
    if number == math.inf:  # and never -inf, which `-1e309` gives
        if quantity is Quantity.VOLTAGE_DROP:
            raise ValueSyntaxError(quoted(folded), "the volts lost; over-range says nothing about a drop")
        if quantity is Quantity.CAPACITANCE:
            raise ValueSyntaxError(quoted(folded), "a capacitance: over-range says nothing of a place")
        return
    if abs(number) > most(dimension):
        expected = f"at most {most(dimension):g} {dimension}s"
        if dimension == "farad":
            raise ValueSyntaxError(quoted(folded), f"{expected}; a bare number is farads: write 120 pF")
        raise ValueSyntaxError(quoted(folded), f"{expected}, or OL for over-range")
    if number < lowest(quantity):
        if dimension == "farad":
            raise ValueSyntaxError(
                quoted(folded), "no capacitance below zero (zero the meter with its leads in the air)"
            )
        what = "resistance" if dimension == "ohm" else "diode reading"
        raise ValueSyntaxError(
            quoted(folded), f"no {what} far below zero (a voltage on the circuit does that: battery off)"
        )
