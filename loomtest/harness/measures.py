"""Numbers with units as people write them in a wire list: sizes, lengths, ohms and amperes."""

from __future__ import annotations

import math
import re

_NUMBER = r"[+-]?(?:\d{1,15}(?:[.,]\d{0,25})?|[.,]\d{1,25})(?:[eE][+-]?\d{1,3})?"
_MEASURE = re.compile(rf"({_NUMBER})\s*([^\d\s].*)?", re.ASCII)
_FEET_AND_INCHES = re.compile(
    rf"({_NUMBER})\s*(?:ft|feet|foot|')\s*({_NUMBER})\s*(?:in|inch|inches|\"|'')", re.ASCII
)
_GAUGE = re.compile(
    r"(?:awg\s*#?\s*(\d{1,2}/0|0{1,4}|\d{1,2})|#?\s*(\d{1,2}/0|0{1,4}|\d{1,2})\s*awg|([1-4]/0))", re.I
)

_THOUSANDS = re.compile(r"\d{1,3}(?:\.\d{3})+,\d*|\d{1,3}(?:,\d{3})+\.\d*")
_MM2 = {"", "mm2", "mm²", "mm^2", "qmm", "sqmm", "sq mm"}
_METRES = {"": 1.0, "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0}
_METRES |= {"mm": 1e-3, "cm": 1e-2, "dm": 0.1}
_METRES |= {"in": 0.0254, "inch": 0.0254, "inches": 0.0254, '"': 0.0254, "''": 0.0254, "″": 0.0254}
_METRES |= {"ft": 0.3048, "foot": 0.3048, "feet": 0.3048, "'": 0.3048, "′": 0.3048}
# The Greek capital omega (U+03A9) and the ohm sign (U+2126) look alike and are two characters.
_OHMS = {"": 1.0, "ohm": 1.0, "ohms": 1.0, "\u03a9": 1.0, "\u2126": 1.0, "R": 1.0, "r": 1.0}
_OHMS |= {"m\u03a9": 1e-3, "m\u2126": 1e-3, "mohm": 1e-3, "milliohm": 1e-3, "milliohms": 1e-3}
_OHMS |= {"k": 1e3, "K": 1e3, "k\u03a9": 1e3, "k\u2126": 1e3, "kohm": 1e3, "kilohm": 1e3, "kilohms": 1e3}
_OHMS |= {"M": 1e6, "M\u03a9": 1e6, "M\u2126": 1e6, "Mohm": 1e6, "megohm": 1e6, "megohms": 1e6}
_AMPS = {"": 1.0, "A": 1.0, "a": 1.0, "amp": 1.0, "amps": 1.0, "ampere": 1.0, "amperes": 1.0, "mA": 1e-3}

SIZE_EXPECTED = "a size such as 1.5, 1.5 mm2 or AWG 16 (0000 to 40)"
LENGTH_EXPECTED = "a length such as 0.85, 850 mm, 85 cm, 33 in or 2.8 ft"
OHMS_EXPECTED = "ohms such as 4.7, 220 mΩ or 1.2k"
AMPS_EXPECTED = "amperes such as 5, 7.5 A or 500 mA"
LARGEST_MM2 = 1000.0
LONGEST_M = 10_000.0


def awg_area_mm2(gauge: int) -> float:
    """Area of a solid conductor of American wire gauge; 0 is 0, -1 is 00 (2/0), -3 is 0000 (4/0).

    ASTM B258: the diameters are a geometric series, d = 0.127 mm · 92^((36 - n)/39).
    """
    diameter_mm = 0.127 * math.pow(92.0, (36 - gauge) / 39)
    return math.pi / 4 * diameter_mm**2


def plain_number(text: str) -> float:
    """A finite number with a decimal point or a decimal comma; ValueError otherwise."""
    if not re.fullmatch(_NUMBER, text.strip(), re.ASCII):
        raise ValueError("a number")
    value = float(text.strip().replace(",", "."))
    if not math.isfinite(value):
        raise ValueError("a finite number")
    return value


def _refuse_thousands(text: str) -> None:
    """`1.234,5` has a point for the thousands and a comma for the decimals: one number, two signs."""
    if match := _THOUSANDS.search(text):
        signs = re.sub(r"\d", "", match[0])
        plain = match[0].replace(signs[0], "")
        raise ValueError(
            f"{plain}: one sign in a number, between the whole and its decimals, and none at the thousands"
        )


def read_size(text: str) -> float:
    """Conductor area in mm²; a bare number is mm². ValueError with what was expected."""
    text = text.strip()
    gauge = _GAUGE.fullmatch(text)
    if gauge:
        name = next(group for group in gauge.groups() if group is not None)
        if name.endswith("/0"):
            number = 1 - int(name[:-2])
        elif set(name) == {"0"}:
            number = 1 - len(name)
        else:
            number = int(name)
        if not -3 <= number <= 40:
            raise ValueError(SIZE_EXPECTED)
        return awg_area_mm2(number)
    _refuse_thousands(text)
    match = _MEASURE.fullmatch(text)
    if not match or (match[2] or "").strip().casefold() not in _MM2:
        raise ValueError(SIZE_EXPECTED)
    return _within(plain_number(match[1]), LARGEST_MM2, SIZE_EXPECTED, "mm²")


def read_length(text: str) -> float:
    """Length in metres; a bare number is metres. ValueError with what was expected."""
    text = text.strip()
    _refuse_thousands(text)
    both = _FEET_AND_INCHES.fullmatch(text)
    if both:
        metres = plain_number(both[1]) * 0.3048 + plain_number(both[2]) * 0.0254
    else:
        match = _MEASURE.fullmatch(text)
        unit = _METRES.get((match[2] or "").strip().casefold()) if match else None
        if not match or unit is None:
            raise ValueError(LENGTH_EXPECTED)
        metres = plain_number(match[1]) * unit
    return _within(metres, LONGEST_M, LENGTH_EXPECTED, "m")


def in_inches(text: str) -> bool:
    """True for a length that is written in inches or feet."""
    return bool(re.search(r"(?:in|inch|inches|ft|foot|feet|[\"'″′])\s*$", text.strip(), re.IGNORECASE))


def read_ohms(text: str) -> float:
    """Ohms, zero or more. ValueError with what was expected."""
    value = _with_unit(text, _OHMS, OHMS_EXPECTED)
    if value < 0:
        raise ValueError(f"{OHMS_EXPECTED}, not below zero")
    return value


def read_amps(text: str) -> float:
    """Amperes, above zero. ValueError with what was expected."""
    return _within(_with_unit(text, _AMPS, AMPS_EXPECTED), 1e5, AMPS_EXPECTED, "A")


def _with_unit(text: str, units: dict[str, float], expected: str) -> float:
    _refuse_thousands(text)
    match = _MEASURE.fullmatch(text.strip())
    if not match:
        raise ValueError(expected)
    written = (match[2] or "").strip()
    unit = units.get(written)
    if unit is None:
        raise ValueError(expected)
    return plain_number(match[1]) * unit


def _within(value: float, most: float, expected: str, unit: str) -> float:
    if not 0 < value <= most:
        raise ValueError(f"{expected}, above 0 and at most {most:,.0f} {unit}")
    return value
