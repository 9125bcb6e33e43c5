"""`harness.toml`: every key, its type and its bounds; an unknown key is an error that names the nearest."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from loomtest.errors import Problem, nearest
from loomtest.harness.document import finite_number, plain, read_document
from loomtest.harness.model import ISOLATION_LEVELS, Expect, Face, Limits
from loomtest.harness.outward import visible
from loomtest.harness.points import read_point
from loomtest.harness.table import lines_of, quoted

MOST_CAVITIES = 10_000
IN_SEGMENTS = "isolation_in_segments"
_TOP = (
    "name",
    "wires",
    "unreachable",
    "worked_on",
    "expect",
    "limits",
    "cavities",
    "faces",
    "places",
    "columns",
)
_NUMBERINGS = ("across", "down", "back-and-forth")
SIDES = ("mating", "wire")
_Bound = tuple[Callable[[float], bool], str]
_NOT_NEGATIVE: _Bound = (lambda x: x >= 0, "a number of 0 or more")
_ABOVE: _Bound = (lambda x: x > 0, "a number above 0")
_EXPECT: dict[str, _Bound] = {
    "temperature_c": (lambda x: -100 <= x <= 200, "degrees Celsius from -100 to 200"),
    "temperature_spread_c": _NOT_NEGATIVE,
    "copper_factor": (lambda x: 0.5 <= x <= 2, "a factor from 0.5 to 2"),
    "copper_spread_percent": (lambda x: 0 <= x <= 100, "a percentage from 0 to 100"),
    "length_spread_percent": (lambda x: 0 <= x <= 100, "a percentage from 0 to 100"),
    "joint_milliohms": _NOT_NEGATIVE,
    "joint_spread_milliohms": _NOT_NEGATIVE,
    "bad_joint_rate": (lambda x: 0 < x < 1, "a share between 0 and 1"),
    "bad_joint_from_milliohms": _ABOVE,
    "bad_joint_to_ohms": _ABOVE,
    "unknown_wire_to_ohms": _ABOVE,
}
_LIMITS: dict[str, _Bound] = {
    "bad_joint_milliohms": _ABOVE,
    "joint_drop_volts": _ABOVE,
    "system_volts": (lambda x: 1 <= x <= 60, "volts from 1 to 60"),
    "continuity_ohms": _ABOVE,
    "short_below_ohms": _ABOVE,
    "isolation_ohms": _ABOVE,
    "confidence": (lambda x: 0.5 < x < 1, "a probability between 0.5 and 1"),
}


WIRE_COLUMNS = ("from", "to", "wire", "colour", "size", "length", "kind", "amps", "circuit", "note")
COLUMNS_KEY = "columns"
HEADING_ROW = "heading_row"


@dataclass(frozen=True)
class ColumnNames:
    """Which columns of a wire list hold what: our names to the person's own, or to `column D`.

    `from` and `to` may be two, connector and pin. `heading_row` counts from 1; 0: the list has none.
    """

    names: Mapping[str, tuple[str, ...]]
    heading_row: int | None = None


@dataclass(frozen=True)
class Settings:
    """The tables of `harness.toml` with defaults; `lines` is key path to line, for later messages."""

    name: str = ""
    wires: str = "wires.csv"
    unreachable: tuple[str, ...] = ()
    worked_on: tuple[str, ...] = ()
    expect: Expect = field(default_factory=Expect)
    limits: Limits = field(default_factory=Limits)
    cavities: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    faces: Mapping[str, Face] = field(default_factory=dict)
    places: Mapping[str, str] = field(default_factory=dict)
    columns: ColumnNames | None = None
    lines: Mapping[str, int] = field(default_factory=dict)


def read_settings(text: str, file: str, problems: list[Problem]) -> Settings:
    """Read the text of a harness.toml; mistakes are added to `problems`, their keys keep the defaults."""
    document = read_document(text, file, problems)
    if document is None:
        return Settings()
    return _SettingsReader(file, _lines(text), problems).settings(document)


def _lines(text: str) -> dict[str, int]:
    """Where each key stands: tomllib does not say. `[table]` headers and `key =` at the start of a line."""
    lines: dict[str, int] = {}
    table = ""
    key_text = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
    header = re.compile(rf"\s*\[\s*({key_text}(?:\s*\.\s*{key_text})*)\s*\]\s*(?:#.*)?")
    entry = re.compile(rf"\s*({key_text}(?:\s*\.\s*{key_text})*)\s*=")

    def path(dotted: str) -> str:
        return ".".join(piece.strip("\"'") for piece in re.findall(key_text, dotted))

    for number, line in enumerate(lines_of(text), start=1):
        if match := header.fullmatch(line):
            table = path(match[1])
            lines.setdefault(table, number)
        elif match := entry.match(line):
            lines.setdefault(f"{table}.{path(match[1])}" if table else path(match[1]), number)
    return lines


class _SettingsReader:
    def __init__(self, file: str, lines: Mapping[str, int], problems: list[Problem]) -> None:
        self.file, self.lines, self.problems = file, lines, problems

    def say(self, key: str, found: str, expected: str, severity: str = "error") -> None:
        line = self.lines.get(key)
        if line is None and "." in key:
            line = self.lines.get(key.rpartition(".")[0])
        name = visible(key)
        self.problems.append(Problem(self.file, line, name, found, expected, severity))

    def settings(self, document: dict[str, Any]) -> Settings:
        self.unknown(document, _TOP, "")
        limits = self.table(document, "limits")
        return Settings(
            name=self.string(document, "name", ""),
            wires=self.string(document, "wires", "wires.csv"),
            unreachable=self.names(document, "unreachable", "points"),
            worked_on=self.names(document, "worked_on", "connectors"),
            expect=self.expect(self.table(document, "expect")),
            limits=self.limits(limits),
            cavities=self.cavities(self.table(document, "cavities")),
            faces=self.faces(self.table(document, "faces")),
            places=self.places(self.table(document, "places")),
            columns=self.columns(self.table(document, COLUMNS_KEY)),
            lines=self.lines,
        )

    def unknown(self, table: Mapping[str, Any], known: tuple[str, ...], prefix: str) -> None:
        for key in table:
            if key not in known:
                near = nearest(key, known, 1)
                expected = f"{near[0]}, the nearest known key" if near else "one of " + ", ".join(known)
                self.say(prefix + key, f"unknown key {quoted(key)}", expected)

    def table(self, document: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        value = document.get(key, {})
        if isinstance(value, dict):
            return value
        self.say(key, plain(value), f"a table, [{key}]")
        return {}

    def string(self, table: Mapping[str, Any], key: str, default: str) -> str:
        value = table.get(key, default)
        if isinstance(value, str):
            return value.strip()
        self.say(key, plain(value), "a text in quotation marks")
        return default

    def names(self, document: Mapping[str, Any], key: str, what: str) -> tuple[str, ...]:
        value = document.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.say(key, plain(value), f'a list of {what} in quotation marks, such as ["X1", "X2"]')
            return ()
        found = (self.point(key, item) for item in value)
        return tuple(dict.fromkeys(name for name in found if name))

    def point(self, key: str, text: str) -> str:
        try:
            return read_point(text)
        except ValueError as error:
            self.say(key, quoted(text), str(error))
            return ""

    def numbers(self, table: Mapping[str, Any], name: str, bounds: Mapping[str, _Bound]) -> dict[str, float]:
        known = (*bounds, "isolation", IN_SEGMENTS) if name == "limits" else tuple(bounds)
        self.unknown(table, known, f"{name}.")
        numbers: dict[str, float] = {}
        for key, (fits, expected) in bounds.items():
            if key not in table:
                continue
            number = finite_number(table[key])
            if number is not None and fits(number):
                numbers[key] = number
            else:
                self.say(f"{name}.{key}", plain(table[key]), expected)
        return numbers

    def expect(self, table: Mapping[str, Any]) -> Expect:
        expect = Expect(**self.numbers(table, "expect", _EXPECT))
        low, high = expect.bad_joint_from_milliohms, expect.bad_joint_to_ohms
        if low / 1e3 >= high:
            key = "bad_joint_to_ohms" if "bad_joint_to_ohms" in table else "bad_joint_from_milliohms"
            found = f"bad_joint_from_milliohms = {low:g} and bad_joint_to_ohms = {high:g}"
            self.say(f"expect.{key}", found, "the first smaller than the second")
            return Expect()
        return expect

    def limits(self, table: Mapping[str, Any]) -> Limits:
        numbers: dict[str, Any] = self.numbers(table, "limits", _LIMITS)
        if "isolation" in table:
            if table["isolation"] in ISOLATION_LEVELS:
                numbers |= {"isolation": table["isolation"], "isolation_written": True}
            else:
                self.say(
                    "limits.isolation", plain(table["isolation"]), "one of " + ", ".join(ISOLATION_LEVELS)
                )
        shared = table.get(IN_SEGMENTS, False)
        if isinstance(shared, bool):
            numbers[IN_SEGMENTS] = shared
        else:
            self.say(f"limits.{IN_SEGMENTS}", plain(shared), "true or false")
        limits = Limits(**numbers, bad_joint_written="bad_joint_milliohms" in numbers)
        for low, high in (
            ("continuity_ohms", "short_below_ohms"),
            ("short_below_ohms", "isolation_ohms"),
        ):
            if getattr(limits, low) > getattr(limits, high):
                key = f"limits.{high if high in numbers else low}"
                found = f"{low} = {getattr(limits, low):g} above {high} = {getattr(limits, high):g}"
                self.say(key, found, f"{low} no larger than {high}")
        return limits

    def cavities(self, table: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
        out: dict[str, tuple[str, ...]] = {}
        for written, value in table.items():
            key = f"cavities.{written}"
            connector = self.point(key, written)
            names: list[str] = []
            if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MOST_CAVITIES:
                names = [str(number) for number in range(1, value + 1)]
            elif isinstance(value, list) and 1 <= len(value) <= MOST_CAVITIES:
                for item in value:
                    if isinstance(item, bool) or not isinstance(item, str | int):
                        self.say(key, plain(item), "cavity names in quotation marks")
                        continue
                    name = self.cavity(key, item if isinstance(item, str) else plain(item))
                    if name in names:
                        self.say(key, f"cavity {quoted(name)} twice", "each cavity once")
                    elif name:
                        names.append(name)
            else:
                self.say(key, plain(value), f"a count from 1 to {MOST_CAVITIES}, or a list of cavity names")
            if connector and ":" in connector:
                self.say(key, quoted(written), "the name of a connector, without a cavity")
            elif connector and names:
                out[connector] = tuple(names)
        return out

    def cavity(self, key: str, text: str) -> str:
        try:
            return read_point(f"X:{text}").partition(":")[2]  # the connector's part only makes it a point
        except ValueError:
            self.say(key, quoted(text), "a cavity's name of visible letters, figures and signs")
            return ""

    def faces(self, table: Mapping[str, Any]) -> dict[str, Face]:
        out: dict[str, Face] = {}
        for written, value in table.items():
            key = f"faces.{written}"
            connector = self.point(key, written)
            if not isinstance(value, dict):
                self.say(key, plain(value), 'a table such as {rows = 2, numbering = "across"}')
                continue
            self.unknown(value, ("rows", "numbering", "seen_from"), f"{key}.")
            rows, numbering = value.get("rows", 1), value.get("numbering", "across")
            side = value.get("seen_from", "mating")
            if isinstance(rows, bool) or not isinstance(rows, int) or not 1 <= rows <= 100:
                self.say(f"{key}.rows", plain(rows), "a whole number from 1 to 100")
            elif numbering not in _NUMBERINGS:
                self.say(f"{key}.numbering", plain(numbering), "one of " + ", ".join(_NUMBERINGS))
            elif side not in SIDES:
                self.say(f"{key}.seen_from", plain(side), "one of " + ", ".join(SIDES))
            elif connector:
                out[connector] = Face(rows, numbering, side)
        return out

    def columns(self, table: Mapping[str, Any]) -> ColumnNames | None:
        if not table:
            return None
        self.unknown(table, (*WIRE_COLUMNS, HEADING_ROW), "columns.")
        names: dict[str, tuple[str, ...]] = {}
        for key in WIRE_COLUMNS:
            value = table.get(key, [])
            each = value if isinstance(value, list) else [value]
            most = 2 if key in ("from", "to") else 1
            if len(each) > most or not all(isinstance(name, str) and name.strip() for name in each):
                expected = "a column's name in quotation marks"
                expected += ', or two: ["Connector", "Pin"]' if most == 2 else ""
                self.say(f"columns.{key}", plain(value), expected)
            elif each:
                names[key] = tuple(name.strip() for name in each)
            elif key in ("from", "to"):
                self.say(f"columns.{key}", "nothing", f"which column says {key}: a name, or two")
        row = table.get(HEADING_ROW)
        if row is not None and (isinstance(row, bool) or not isinstance(row, int) or not 0 <= row <= 1000):
            self.say(f"columns.{HEADING_ROW}", plain(row), "the row of the column names, or 0 for none")
            row = None
        return ColumnNames(names, row) if {"from", "to"} <= names.keys() else None

    def places(self, table: Mapping[str, Any]) -> dict[str, str]:
        out: dict[str, str] = {}
        for written, value in table.items():
            if not isinstance(value, str):
                self.say(f"places.{written}", plain(value), "words in quotation marks")
            elif name := self.point(f"places.{written}", written):
                out[name] = value.strip()
        return out
