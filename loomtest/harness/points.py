"""Names of points: `X3:2` (connector and cavity) or `GND2`, `SP1`, `BATT+` (a single terminal).

The colon introduces the terminal, as in IEC 81346, where the same point is written `-X3:2`.
"""

from __future__ import annotations

import re

LONGEST_NAME = 100
# What a spreadsheet takes for the beginning of a formula, with the full-width forms that some programs fold.
FORMULA_SIGNS = "=+-@|%\uff1d\uff0b\uff0d\uff20"
_FIGURES = "0123456789"  # `²` is a digit too, and no number
_EVERYDAY = re.compile(r"[A-Za-z_]\w{0,30}[+-]?(?::\w{1,30})?", re.ASCII)
# What spreadsheets make of a cavity such as 3:2, of 1-2 or 1/2, and of MAR1 (common practice).
_TIME = re.compile(
    r"\d{1,2}:\d{2}:\d{2}(?:[.,]\d+)?(?:\s*[ap]\.?m\.?)?|\d{1,2}:\d{2}\s*[ap]\.?m\.?", re.I | re.A
)
_MONTH = "(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)"  # as spreadsheets write them: no MAR-12
_DATE = re.compile(
    r"\d{4}-\d{1,2}-\d{1,2}(?:[T ].*)?|(?:\d{1,2}[/.]){2}(?:\d{2}|\d{4})"
    rf"|\d{{1,2}}-{_MONTH}(?:-\d{{2,4}})?|{_MONTH}-\d{{2,4}}",
    re.ASCII,
)


def read_point(text: str) -> str:
    """The point's stored name; ValueError with what was expected when `text` cannot be one."""
    if _EVERYDAY.fullmatch(text):  # nothing to correct: most points of a long list
        return text
    name = text.strip()
    if name[0:1] == "'" and name[1:2] in tuple(FORMULA_SIGNS):
        name = name[1:]  # the guard that our own tables for spreadsheets have before such a name
    if len(name) > 1 and name[0] == "-":
        name = name[1:].lstrip()
    if not name:
        raise ValueError("a point such as X3:2 or GND1")
    if len(name) > LONGEST_NAME:
        raise ValueError(f"a name of at most {LONGEST_NAME} letters")
    if name[0].isdigit() or name[-1].isdigit():
        made = made_by_a_spreadsheet(name)
        if made:
            raise ValueError(
                f"a point such as X3:2 (a spreadsheet made {made} of it: format the column as text)"
            )
    if ":" in name:
        if name.count(":") > 1:
            raise ValueError("one colon, between connector and cavity: X3:2")
        connector, _, cavity = name.partition(":")
        connector, cavity = connector.rstrip(), cavity.lstrip()
        if not connector or not cavity:
            raise ValueError("a connector, a colon and a cavity: X3:2")
        name = f"{connector}:{cavity}"
    if not name.isprintable():
        raise ValueError("a name of visible letters, figures and signs")
    if any(letter.isspace() for letter in name):
        raise ValueError(f"a name without a space, such as {re.sub(chr(92) + 's+', '_', name)}")
    if not any(letter.isalnum() for letter in name.partition(":")[0]):
        raise ValueError("a name with a letter or a figure in it")
    if name[0] == "#":
        raise ValueError("a name that does not begin with # (it marks a comment)")
    return name


def made_by_a_spreadsheet(text: str) -> str:
    """What a spreadsheet took such a text for and wrote instead: `a time`, `a date`; "" where it did not."""
    return "a time" if _TIME.fullmatch(text) else "a date" if _DATE.fullmatch(text) else ""


def folded(point: str) -> str:
    """What two points share when they differ only by case or by leading zeros of the cavity."""
    connector, colon, cavity = point.rpartition(":")
    if not colon:
        return point.casefold()
    return f"{connector}:{cavity.lstrip('0') or '0'}".casefold()


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """A sorting key under which X2:10 comes after X2:9."""
    pieces = re.findall(r"[0-9]+|[^0-9]+", name)
    return tuple((0, int(p), "") if p[0] in _FIGURES else (1, 0, p.casefold()) for p in pieces)
