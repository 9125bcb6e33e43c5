"""Numbers with units, and colours, as cells of our wire list. What is unclear is said, and left empty."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from loomtest.harness.colours import colour_parts
from loomtest.harness.exchange.tree import Element
from loomtest.harness.measures import LARGEST_MM2, LONGEST_M, plain_number

Say = Callable[[Element, str, str], None]  # element, found, expected

_PREFIX = {"": 1.0, "milli": 1e-3, "centi": 1e-2, "deci": 0.1, "micro": 1e-6, "kilo": 1e3}
_METRE = re.compile(r"(?P<square>square[ _]?)?(?:metre|meter)", re.IGNORECASE)
# Units that have a name alone, and no parts to put together.
_NAMED = {
    "m": (1.0, 1), "metre": (1.0, 1), "meter": (1.0, 1),
    "mm": (1e-3, 1), "millimetre": (1e-3, 1), "millimeter": (1e-3, 1),
    "cm": (1e-2, 1), "centimetre": (1e-2, 1), "centimeter": (1e-2, 1),
    "mm2": (1e-6, 2), "mm²": (1e-6, 2), "mm^2": (1e-6, 2), "square millimetre": (1e-6, 2),
    "square millimeter": (1e-6, 2),
}  # fmt: skip

# Common practice in drawings with German words: two letters a colour, the base colour first.
_GERMAN = {
    "sw": "BK", "br": "BN", "ro": "RD", "rt": "RD", "or": "OG", "ge": "YE", "gb": "YE", "gn": "GN",
    "bl": "BU", "li": "VT", "vi": "VT", "gr": "GY", "ws": "WH", "rs": "PK", "ng": "natural", "nt": "natural",
    "tr": "clear", "be": "beige",
    "schwarz": "BK", "braun": "BN", "rot": "RD", "orange": "OG", "gelb": "YE", "gruen": "GN", "grün": "GN",
    "blau": "BU", "lila": "VT", "violett": "VT", "grau": "GY", "weiss": "WH", "weiß": "WH", "rosa": "PK",
    "natur": "natural", "transparent": "clear",
}  # fmt: skip
_BASE = ("grund", "base", "main")
_TRACER = ("kenn", "tracer", "stripe", "ident", "second")


@dataclass(frozen=True, slots=True)
class Unit:
    """What one of a unit is in metres (`dimension` 1) or square metres (2); 0 for anything else."""

    factor: float
    dimension: int


def unit_of(element: Element) -> Unit:
    """A `Unit`. A prefix before square metres belongs to the metre: square millimetres."""
    name, prefix = element.told("Si_unit_name"), element.told("Si_prefix").casefold()
    match = _METRE.fullmatch(name)
    if match is None:
        factor, dimension = _NAMED.get((name or element.told("Unit_name")).casefold(), (0.0, 0))
        return Unit(factor, 0 if prefix else dimension)
    square = match["square"] is not None or element.told("Si_dimension").casefold() == "square"
    if prefix not in _PREFIX:
        return Unit(0.0, 0)
    dimension = 2 if square else 1
    return Unit(_PREFIX[prefix] ** dimension, dimension)


def measured(value: Element, units: Mapping[str, Unit], dimension: int, say: Say) -> float | None:
    """A numerical value in metres or square metres; None, with the reason said, where it cannot be told."""
    what, within = ("a length", LONGEST_M) if dimension == 1 else ("an area", LARGEST_MM2 / 1e6)
    written = value.told("Value_component")
    try:
        number = plain_number(written)
    except ValueError:
        say(value, f"{written or 'nothing'} as {what}", "a number; it was left out")
        return None
    unit = value.told("Unit_component")
    if not unit:
        say(value, f"{what} of {written} without a unit", "a unit; it was left out")
        return None
    if unit not in units:
        say(value, f"{what} whose unit {unit} the file does not have", "the id of a unit; it was left out")
        return None
    if units[unit].dimension != dimension:
        kind = "metres" if dimension == 1 else "square metres"
        say(value, f"{what} in the unit {unit}", f"{kind}, with or without a prefix; it was left out")
        return None
    metres = number * units[unit].factor
    if not 0 <= metres <= within:
        say(value, f"{what} of {written}", "one that a loom can have; it was left out")
        return None
    return metres


def cell(number: float | None) -> str:
    """The number as a cell of a wire list."""
    return "" if number is None else f"{number:.9g}"


def size_cell(square_metres: float | None) -> str:
    """A conductor's area as a cell: mm²."""
    return cell(None if not square_metres else square_metres * 1e6)


def colour_cell(colours: list[Element]) -> tuple[str, str]:
    """The colours of a wire, base first, as a cell; and, where they are no colours that we know, as written.

    `colours`: elements with `Colour_type` and `Colour_value`.
    """
    ranked = sorted(colours, key=lambda element: _rank(element.told("Colour_type")))
    written = [text for element in ranked if (text := element.told("Colour_value"))]
    if not written:
        return "", ""
    try:
        parts = [part for text in written for part in _parts(text)]
        coded = "/".join(parts)
        colour_parts(coded)
    except ValueError:
        return "", "/".join(written)
    return coded, ""


def _rank(kind: str) -> int:
    word = kind.casefold()
    if any(known in word for known in _BASE):
        return 0
    return 2 if any(known in word for known in _TRACER) else 1


def _parts(text: str) -> list[str]:
    """`sw/rt`, `SWRT`, `Schwarz`, `BKRD` or `black` as letters of IEC 60757, or words that have none."""
    out: list[str] = []
    for word in re.split(r"[\s/+\-_.,;&]+", text.casefold()):
        if not word:
            continue
        pairs = [word[i : i + 2] for i in range(0, len(word), 2)]
        if word in _GERMAN:
            out.append(_GERMAN[word])
        elif len(word) <= 6 and all(pair in _GERMAN for pair in pairs):
            out.extend(_GERMAN[pair] for pair in pairs)
        else:
            out.extend(colour_parts(word))
    return out
