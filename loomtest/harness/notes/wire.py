"""The words of one line to its wires: which are the ends, and what is said of the wire between them."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import pairwise
from typing import Any

from loomtest.harness.colours import FILLERS, IEC_60757, SHADES, colour_parts
from loomtest.harness.measures import read_amps, read_length, read_size
from loomtest.harness.notes.words import SINGLE, Token
from loomtest.harness.points import read_point

_ATTRIBUTES = ("colour", "size", "length", "amps", "kind", "circuit")
_NO_NAMES = {"for", "and", "or", "of", "not", "no", "unused", "empty", "spare", "blank", "nc"}
_NO_NAMES |= {"fuse", "resistor", "lamp", "bulb", "coil", "diode", *SHADES, *FILLERS}
_READERS: dict[str, Callable[[str], float]] = {"size": read_size, "length": read_length, "amps": read_amps}


@dataclass(frozen=True, slots=True)
class NotedWire:
    """A wire as the notepad has it; the texts are cells of a wire list, `size` and `length` with units."""

    line: int
    start: str
    end: str
    wire: str = ""
    colour: str = ""
    size: str = ""
    length: str = ""
    amps: str = ""
    kind: str = ""
    circuit: str = ""
    note: str = ""

    @property
    def words(self) -> str:
        """The wire in one line of our own spelling; reading it gives the same wire (odd remarks excepted)."""
        size = self.size if self.size.startswith("AWG") or not self.size else f"{self.size} mm²"
        about = ", ".join(filter(None, (self.colour, size, self.length, self.amps, self.kind)))
        said = " ".join(filter(None, (self.start, about, "to", self.end)))
        said += f", for {self.circuit}" if self.circuit else ""
        said += f"  # {self.note}" if self.note else ""
        return f"{self.wire}: {said}" if self.wire else said


class NotReadError(Exception):
    """Why a line is no wire: what was found, and what was expected."""


def wires_of(
    number: int, tokens: Sequence[Token], heading: tuple[str, ...], labels: dict[str, str]
) -> list[NotedWire]:
    """The wires that a line's words make: one, or one between each two points of `X1:1 to SP1 to X4:3`.

    `heading` are the connectors of bare cavities, `labels` what a label before the wire said. Raises
    NotReadError with what was found and expected.
    """
    words = [word for word in tokens if word.sort != "gap"]
    if not any(word.sort in ("point", "cavity", "arrow", "back") for word in words):
        raise NotReadError("found no point and no arrow; expected a wire, or # before a line that is none")
    for word in words:
        if word.sort == "unread":
            raise NotReadError(_unknown(word.value))
        if word.sort == "and":
            raise NotReadError("found more than one thing joined by and; expected one wire a line")
    if "wire" not in labels and _names_a_wire(words):
        labels = {**labels, "wire": words[0].value}
        words = words[1:]
    _refuse_a_name_of_two_words(words)
    points = _points(words, heading)
    _refuse_odd_arrows(words, points)
    spans = list(pairwise(points))
    if len(spans) > 1 and "wire" in labels:
        raise NotReadError(f"found {labels['wire']} for several wires; expected one wire a line")
    wires = []
    for (left, start), (right, end) in spans:
        if start == end:
            raise NotReadError(f"found {start} at both ends; expected two different points")
        ends = (end, start) if any(word.sort == "back" for word in words[left:right]) else (start, end)
        about = words if len(spans) == 1 else words[left : right + 1]
        wires.append(_wire(NotedWire(number, *ends), about, labels))
    outside = (*words[: points[0][0]], *words[points[-1][0] + 1 :])
    if len(spans) > 1 and any(word.sort in _ATTRIBUTES for word in outside):
        raise NotReadError(
            "found what may be said of several wires; expected it between the two ends of its wire"
        )
    return wires


def _refuse_a_name_of_two_words(words: Sequence[Token]) -> None:
    for word, after in pairwise(words):
        name, _, cavity = after.value.partition(":")
        if word.sort == "kind" and after.sort == "point" and not re.search(r"\d", name):
            whole = f"{word.value}_{name}:{cavity}"
            raise NotReadError(
                f"found {word.value} {name} {cavity}; expected a name in one word, such as {whole}"
            )


def _refuse_odd_arrows(words: Sequence[Token], points: Sequence[tuple[int, str]]) -> None:
    """Two points, with an arrow between them or none; more only as a chain with an arrow between each two."""
    names = [name for _, name in points]
    if len(names) < 2:
        have = f"only {names[0]}" if names else "no point"
        raise NotReadError(f"found {have}; expected two points, such as X1 1 red to X4 3")
    arrows = [index for index, word in enumerate(words) if word.sort in ("arrow", "back")]
    between = [sum(left < arrow < right for arrow in arrows) for (left, _), (right, _) in pairwise(points)]
    if len(arrows) != sum(between) or any(count > 2 for count in between):  # `X1:1 - red - X4:3` has two
        raise NotReadError("found an arrow that does not stand between two points; expected X1 1 red to X4 3")
    if len(names) > 2 and not all(between):
        raise NotReadError(f"found {len(names)} points, {', '.join(names)}; expected one wire a line")


def _names_a_wire(words: Sequence[Token]) -> bool:
    """True for `W3 X1 1 to X4 3`, where W3 cannot be one of the two ends."""
    return (
        len(words) > 2
        and words[0].sort == "name"
        and bool(re.fullmatch(r"[Ww]\d{1,4}", words[0].value))
        and words[1].sort == "point"
        and sum(word.sort in ("point", "name", "cavity") for word in words[1:]) == 2
    )


def _points(words: Sequence[Token], heading: tuple[str, ...]) -> list[tuple[int, str]]:
    """The points of a line with their places in it; a bare cavity belongs to the heading's connector."""
    found: list[tuple[int, str]] = []
    for index, word in enumerate(words):
        if word.sort == "point":
            found.append((index, word.value))
        elif word.sort == "cavity":
            if len(word.value) == 1 and word.value.isalpha() and _meant(word.value):
                raise NotReadError(_unknown(word.value))
            if len(found) >= len(heading):
                expected = "a point with its connector, such as X1 1"
                raise NotReadError(
                    f"found {word.value!r} alone; expected {expected}, or a unit (1.5 mm², 0.85 m)"
                )
            found.append((index, f"{heading[len(found)]}:{word.value}"))
        elif word.sort == "name":
            plain = bool(SINGLE.fullmatch(word.value)) or bool(re.search(r"\d|[+-]$", word.value))
            if word.value.casefold() in _NO_NAMES or not (plain or _faces_an_arrow(words, index)):
                raise NotReadError(_unknown(word.value))
            found.append((index, word.value))
    for _, name in found:
        try:
            read_point(name)
            if not re.fullmatch(r"[^\W\d]\w*(?::\w+)?[+-]?", name) or re.search(r"[²³¹]", name):
                raise ValueError("letters and figures, such as X1:3")
        except ValueError as error:
            raise NotReadError(f"found {name!r}; expected {error}") from None
    return found


def _faces_an_arrow(words: Sequence[Token], index: int) -> bool:
    """True for `horn` in `horn red to X1 3`: only what is said of the wire stands between."""
    for step in (1, -1):
        place = index + step
        while 0 <= place < len(words) and words[place].sort in (*_ATTRIBUTES, "note"):
            place += step
        if 0 <= place < len(words) and words[place].sort in ("arrow", "back"):
            return True
    return False


def _wire(wire: NotedWire, words: Sequence[Token], labels: dict[str, str]) -> NotedWire:
    told: dict[str, Any] = dict(labels)
    notes = []
    for word in words:
        if word.sort == "note":
            if word.value:
                notes.append(word.value)
        elif word.sort in _ATTRIBUTES:
            if word.sort in told:
                raise NotReadError(f"found {told[word.sort]} and {word.value}; expected one {word.sort}")
            told[word.sort] = word.value
    if told.get("kind") == "fuse" and "amps" in told:
        notes.append("fuse of " + told.pop("amps"))  # a rating, and not what the circuit carries
    for sort, reader in _READERS.items():
        try:
            if sort in told:
                reader(told[sort])
        except ValueError as error:
            raise NotReadError(f"found {told[sort]!r}; expected {error}") from None
    return replace(wire, note="; ".join(notes), **told)


def _meant(letter: str) -> list[str]:
    return [code for code, word in IEC_60757.items() if word.startswith(letter.casefold())]


def _unknown(text: str) -> str:
    if re.fullmatch(r"\w+-\w+", text):
        name, _, cavity = text.partition("-")
        return f"found {text!r}; expected {name}:{cavity} for a cavity, or spaces around the dash for a wire"
    if re.match(r"\d", text):
        return f"found {text!r}; expected a unit that leaves no doubt: 1.5 mm² or AWG 16, 0.85 m or 850 mm"
    try:
        colour_parts(text)
        hint = ""
    except ValueError as error:
        hint = str(error) if len(text) == 1 and _meant(text) else ""
    if hint:
        return f"found {text!r} alone; expected {hint}"
    near = get_close_matches(text.casefold(), list(IEC_60757.values()), n=1, cutoff=0.6)
    meant = f" (is {near[0]} meant?)" if near and near[0][0] == text[0].casefold() else ""
    return (
        f"found {text!r}{meant}; expected a point, colour, size or length. A circuit is written as "
        "'for horn', a remark in (brackets), a name of two words as one (fuse_box)"
    )
