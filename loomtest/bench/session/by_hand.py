"""Readings typed by hand: one value, one pair, or a whole line `POINT POINT VALUE [note]`."""

from __future__ import annotations

import re

from loomtest.bench.plan.plan import Step
from loomtest.errors import nearest
from loomtest.harness.model import Harness, connector_of
from loomtest.harness.points import folded, read_point
from loomtest.readings.model import Instrument, Quantity
from loomtest.readings.run import Reading
from loomtest.readings.values import parse_unit, parse_value
from loomtest.words.cautions import NEVER_A_METER

LINE = "POINT POINT VALUE [note], such as X1:3 X4:1 0.12"
DROP = "the volts with their unit and the amperes that flowed, such as 36 mV 1.5 A"
FARADS = "a capacitance with its unit, such as 120 pF"
MOST_AMPS = 1000.0
_AMPS = re.compile(
    r"(.*?[a-zA-Z])[\s,;]*(?:at|@)?\s*([0-9]*[.,]?[0-9]+)\s*(m?)(?:A|a|amps?|amperes?)", re.DOTALL
)


def typed_value(text: str, quantity: Quantity = Quantity.RESISTANCE) -> float:
    """Ohms or volts of what was typed, +inf for over-range. Raises ValueError with what was expected."""
    return parse_value(text, quantity).number


def drop_of(text: str) -> tuple[str, float | None]:
    """A voltage drop as typed, `36 mV 1.5 A`: the volts as they stand, and the amperes, None where none
    stand. Raises ValueError where the volts have no unit, or the amperes are none."""
    match = _AMPS.fullmatch(text.strip())
    volts = match[1].strip() if match else text.strip()
    if _dimension(volts.lstrip("+-\u2212\u20130123456789.,eE ")) != "volt":
        raise ValueError(f"found {text.strip()!r}; expected {DROP}")
    amps = float(match[2].replace(",", ".")) * (1e-3 if match[3] else 1.0) if match else None
    if amps is not None and not 0.0 < amps <= MOST_AMPS:
        raise ValueError(f"found {amps:g} A; expected {DROP}")
    return volts, amps


def placing_value(text: str, quantity: Quantity, amps_before: float | None) -> tuple[str, float | None]:
    """The value and the amperes of a typed reading that tells a place; amperes that were typed with an
    earlier one go on. Raises ValueError with what was found and expected."""
    if quantity is Quantity.VOLTAGE_DROP:
        volts, amps = drop_of(text)
        if amps is None and amps_before is None:
            raise ValueError(f"found {text.strip()!r}; expected {DROP}")
        return volts, amps if amps is not None else amps_before
    if quantity is Quantity.CAPACITANCE and _dimension(text.strip().lstrip("+-0123456789.,eE ")) != "farad":
        raise ValueError(f"found {text.strip()!r}; expected {FARADS}")
    return text.strip(), None


def quantity_of(step: Step | None, instrument: Instrument) -> Quantity:
    """What a reading at this step is of, with this meter."""
    if step is not None and step.quantity != "resistance":
        return Quantity[step.quantity.upper()]
    return Quantity.RESISTANCE_4W if instrument.method == "four-wire" else Quantity.RESISTANCE


def point_of(text: str, harness: Harness) -> str:
    """The point as the harness spells it; an undeclared cavity of a known connector is one too.

    Raises ValueError that names the nearest known points, and for a point of a restraint system.
    """
    point = _spelled(text, harness)
    if point in harness.untouchable:
        raise ValueError(f"{point} belongs to a restraint system. {NEVER_A_METER}")
    return point


def _spelled(text: str, harness: Harness) -> str:
    point = read_point(text)
    if point in harness.code_of:
        return point
    alike = [known for known in harness.points if folded(known) == folded(point)]
    if len(alike) == 1:
        return alike[0]
    connectors = {connector_of(known) for known in harness.points} - {""}
    if connector_of(point) in connectors:
        return point
    close = nearest(point, harness.points)
    wanted = " or ".join(close) if close else "a point of the harness"
    raise ValueError(f"found the point {point!r}; expected {wanted}")


def pair_of(text: str, harness: Harness) -> tuple[str, str]:
    """Two different points out of `X1:3 X4:1`. Raises ValueError."""
    words = text.replace(",", " ").split()
    if len(words) != 2:
        raise ValueError(f"found {text!r}; expected two points, such as X1:3 X4:1")
    start, end = point_of(words[0], harness), point_of(words[1], harness)
    if start == end:
        raise ValueError(f"found {start} twice; expected two different points")
    return start, end


def step_between(harness: Harness, start: str, end: str) -> Step:
    """A step for a pair that no plan asked for: joined is expected inside a net, over-range elsewhere."""
    codes = [harness.code_of.get(point) for point in (start, end)]
    joined = None not in codes and harness.net_of[codes[0]] == harness.net_of[codes[1]]
    if joined:
        return Step(0, "continuity", start, end, None, "")
    return Step(0, "isolation", start, end, float("inf"), "")


def read_line(text: str, harness: Harness, four_wire: bool = False) -> Reading:
    """One typed line as a reading to record. Raises ValueError with what was found and expected.

    A unit or a prefix may stand apart from its number (`0.42 ohm`, `3 k`). Farads (`120 pF`) make it a
    capacitance, volts with the amperes that flowed (`36 mV 1.5 A`) a voltage drop. A point may be written in
    two words (`X1 3`), and the second with what is tied to it (`X1:2+X1:3`). What comes after is the note.
    """
    words = text.split()
    if len(words) < 3:
        raise ValueError(f"found {text.strip()!r}; expected {LINE}")
    (start, end), words = _points_in(words, harness)
    end, *tied = end.split("+")
    bonded = tuple(point_of(point, harness) for point in tied)
    start, end = pair_of(f"{start} {end}", harness)
    if not words:
        raise ValueError(f"found {text.strip()!r}; expected {LINE}")
    value, rest = words[0], words[1:]
    if rest and _dimension(rest[0]) is not None and value[-1:].isdigit():
        value, rest = f"{value} {rest[0]}", rest[1:]
    quantity = Quantity.RESISTANCE_4W if four_wire else Quantity.RESISTANCE
    amps = None
    unit = _dimension(value.lstrip("+-\u2212\u20130123456789.,eE "))
    if value.casefold() in ("yes", "no"):
        quantity = Quantity.CONTINUITY
    elif value.casefold() == "o":
        value = "OL"
    elif unit == "farad":
        quantity = Quantity.CAPACITANCE
    elif unit == "volt":
        quantity = Quantity.VOLTAGE_DROP
        value, amps, rest = _volts_and_amps(value, rest)
    parse_value(value, quantity)
    note = " ".join(rest)
    return Reading(start, end, value, quantity=quantity, current_a=amps, bonded_end=bonded, note=note)


def line_of(reading: Reading) -> str:
    """A reading as a typed line: its points with what is tied to them, value, amperes and note."""
    end = "+".join((reading.end, *reading.bonded_end))
    amps = "" if reading.current_a is None else f"{reading.current_a:.12g} A"
    return " ".join(filter(None, (reading.start, end, str(reading.value), amps, reading.note)))


def _points_in(words: list[str], harness: Harness) -> tuple[tuple[str, str], list[str]]:
    """The two points of a line, and the words behind them; a point may be `X1:3` or `X1 3`."""
    if not _is_point(words[0], harness):
        for one, other in ((2, 2), (2, 1), (1, 2)):
            start, end = ":".join(words[:one]), ":".join(words[one : one + other])
            if _is_point(start, harness) and _is_point(end.split("+")[0], harness):
                return (start, end), words[one + other :]
    elif ":".join(words[1:3]) in harness.code_of and not _is_point(words[1].split("+")[0], harness):
        return (words[0], ":".join(words[1:3])), words[3:]
    return (words[0], words[1]), words[2:]


def _is_point(text: str, harness: Harness) -> bool:
    """Whether it is written as a point and stands in the wire list."""
    try:
        return read_point(text) in harness.code_of
    except ValueError:
        return False


def _volts_and_amps(volts: str, rest: list[str]) -> tuple[str, float, list[str]]:
    """Volts, and the amperes in the words behind: `1.5 A`, `1.5A`, `at 1.5 A`. Raises ValueError."""
    for count in (3, 2, 1):
        line = " ".join([volts, *rest[:count]])
        if len(rest) >= count and _AMPS.fullmatch(line):
            value, amps = drop_of(line)
            assert amps is not None
            return value, amps, rest[count:]
    raise ValueError(f"found {volts!r} and no amperes; expected {DROP}")


def _dimension(word: str) -> str | None:
    """What a unit counts, "" for a prefix alone; None for a word that is no unit."""
    try:
        return parse_unit(word)[1]
    except ValueError:
        return None
