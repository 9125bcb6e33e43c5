"""The shop's own heading, from `shop.toml`: its name, a few lines, its logo.

name = "Harbour workshop"
lines = ["Slipway 3", "by appointment"]
logo = "logo.svg"              # SVG or PNG, beside the file
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from loomtest.errors import InputError, Problem, nearest
from loomtest.evidence.page.logo import Logo, load_logo
from loomtest.harness.document import LARGEST_TOML_BYTES, plain, read_document
from loomtest.harness.outward import visible
from loomtest.harness.table import lines_of, read_text

SHOP_FILE = "shop.toml"
MOST_LINES = 6
LONGEST_LINE = 80
_KEYS = ("name", "lines", "logo")


@dataclass(frozen=True, kw_only=True, slots=True)
class Shop:
    """Who made the page. `files`: what it was read from, its own file first."""

    name: str = ""
    lines: tuple[str, ...] = ()
    logo: Logo | None = None
    files: tuple[Path, ...] = ()

    def warnings(self) -> list[Problem]:
        """What was taken out of the logo."""
        if self.logo is None or not self.logo.taken_out:
            return []
        found = ", ".join(self.logo.taken_out)
        return [Problem(str(self.files[-1]), None, "logo", found, "shapes alone; it was left out", "warning")]


NO_SHOP = Shop()


def find_shop(loom: Path) -> Shop:
    """The heading that stands beside a loom, or in the workshop's folder above it; none is an empty one.

    Raises InputError for one with a mistake in it.
    """
    folder = loom if loom.is_dir() else loom.parent
    for place in (folder, folder.absolute().parent):
        if (place / SHOP_FILE).is_file():
            return load_shop(place / SHOP_FILE)
    return NO_SHOP


def load_shop(path: Path) -> Shop:
    """The heading in a file. Raises InputError with every mistake in it."""
    file, problems = str(path), list[Problem]()
    text = read_text(path, file, problems, LARGEST_TOML_BYTES)
    table = None if text is None else read_document(text, file, problems)
    if text is None or table is None:
        raise InputError(problems)

    def say(key: str, found: str, expected: str) -> None:
        rows = (n for n, line in enumerate(lines_of(text), 1) if re.match(rf"\s*{re.escape(key)}\s*=", line))
        problems.append(Problem(file, next(rows, None), visible(key), found, expected))

    for key in table:
        if key not in _KEYS:
            close = nearest(key, _KEYS, 1)
            known = f"{close[0]} (the nearest known key)" if close else "one of " + ", ".join(_KEYS)
            say(key, "an unknown key", known)
    name, lines = _name(table, say), _lines(table, say)
    logo, files = table.get("logo"), [path]
    if logo is not None and (not isinstance(logo, str) or Path(logo).name != logo):
        say("logo", plain(logo), "the name of an SVG or PNG file beside this one")
    drawn: Logo | None = None
    if isinstance(logo, str) and Path(logo).name == logo:
        try:
            drawn = load_logo(path.parent / logo)
            files.append(path.parent / logo)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return Shop(name=name, lines=lines, logo=drawn, files=tuple(files))


def _name(table: dict[str, Any], say: Any) -> str:
    name = table.get("name", "")
    if not isinstance(name, str) or len(name) > LONGEST_LINE:
        say("name", plain(name), f"text in quotes, of at most {LONGEST_LINE} letters")
        return ""
    return name


def _lines(table: dict[str, Any], say: Any) -> tuple[str, ...]:
    lines = table.get("lines", [])
    if not isinstance(lines, list) or not all(isinstance(line, str) for line in lines):
        say("lines", plain(lines), 'a list of texts, such as ["Slipway 3", "by appointment"]')
        return ()
    if len(lines) > MOST_LINES or any(len(line) > LONGEST_LINE for line in lines):
        say("lines", f"{len(lines)} lines", f"at most {MOST_LINES}, of at most {LONGEST_LINE} letters each")
        return ()
    return tuple(lines)
