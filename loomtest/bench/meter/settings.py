"""The table `[serial]` of an instrument file: how a meter talks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from loomtest.bench.meter.pattern import LinePattern
from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.document import finite_number, plain, read_document

# What a bare line-printing meter is taken to print: a number, perhaps a unit, or a word for over-range.
ANY_NUMBER = (
    r"(?:(?P<overload>[+-]?\s*(?:0?\.?[O0]\.?L|OVLD|OVER|OPEN|OFL|>+))|(?P<value>[+-]?\s*\d*[.,]?\d+(?:[eE][+-]?\d+)?))"
    r"\s*(?P<unit>[a-zA-ZµμΩΩ]*(?:\s*DC)?)"
)


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """One table `[serial]`; the defaults are a meter that prints a line per reading at 9600 baud.

    `pattern` must match a whole line and has the groups `value`, `unit` and `overload` (and `range`,
    in ohms, where a meter prints it). `poll` empty: it prints on its own. `unit` holds where the line
    has none. `function` is what a SCPI meter is set to.
    """

    protocol: str = "lines"
    baud: int = 9600
    bits: int = 8
    parity: str = "none"
    stop_bits: int = 1
    terminator: str = "\r\n"
    poll: str = ""
    poll_every_s: float = 0.25
    answer_within_s: float = 3.0
    pattern: str = ANY_NUMBER
    unit: str = "ohm"
    function: str = "resistance"

    @property
    def rate(self) -> str:
        """The line settings in words."""
        return f"{self.baud} baud, parity {self.parity}"


_CHOICES: dict[str, tuple[Any, ...]] = {
    "protocol": ("lines", "scpi"),
    "parity": ("none", "even", "odd"),
    "bits": (7, 8),
    "stop_bits": (1, 2),
    "function": ("resistance", "resistance_4w", "voltage", "diode"),
}
_POSITIVE = ("baud", "poll_every_s", "answer_within_s")


def read_settings(text: str, file: str) -> SerialSettings | None:
    """The settings in the text of an instrument file; None when it has no table `[serial]`.

    Raises InputError with every mistake found.
    """
    broken: list[Problem] = []
    document = read_document(text, file, broken)
    if document is None:
        raise InputError(broken)
    table = document.get("serial")
    if table is None:
        return None
    if not isinstance(table, dict):
        raise InputError([Problem(file, None, "serial", plain(table), "a table [serial]")])
    problems = list(_problems(table, file))
    if problems:
        raise InputError(problems)
    settings = SerialSettings(**table)
    if settings.protocol == "lines":
        _check_pattern(settings.pattern, file)
    return settings


def _problems(table: Mapping[str, Any], file: str) -> list[Problem]:
    defaults: dict[str, Any] = {field.name: field.default for field in fields(SerialSettings)}
    found = []
    for key, value in table.items():
        place = f"serial.{key}"
        if key not in defaults:
            close = nearest(key, list(defaults), 1) or list(defaults)
            found.append(Problem(file, None, place, "an unknown key", " or ".join(close)))
            continue
        kind = type(defaults[key])
        numeric = kind in (int, float)
        if isinstance(value, bool) or not isinstance(value, (int, float) if kind is float else kind):
            wanted = "a number" if numeric else "text in quotes"
            found.append(Problem(file, None, place, plain(value), wanted))
        elif key in _CHOICES and value not in _CHOICES[key]:
            found.append(Problem(file, None, place, plain(value), " or ".join(map(str, _CHOICES[key]))))
        elif key in _POSITIVE and not (finite_number(value) or 0.0) > 0.0:
            found.append(Problem(file, None, place, plain(value), "a number above zero"))
        elif key in ("poll", "terminator") and not str(value).isascii():
            found.append(Problem(file, None, place, plain(value), "plain ASCII characters"))
        elif key == "terminator" and not value:
            found.append(
                Problem(file, None, place, "nothing", "the characters that end a line, such as \\r\\n")
            )
    return found


def _check_pattern(pattern: str, file: str) -> None:
    try:
        groups = LinePattern(pattern).groups
    except ValueError as error:
        wanted = "a regular expression that is quick on every line"
        raise InputError([Problem(file, None, "serial.pattern", str(error), wanted)]) from None
    if "value" not in groups:
        wanted = "a group (?P<value>…) that holds the number"
        raise InputError([Problem(file, None, "serial.pattern", f"groups {sorted(groups)}", wanted)])
