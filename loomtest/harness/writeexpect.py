"""Writing `[expect]` into a harness.toml: everything else in the file stays as it is."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from loomtest.errors import InputError, Problem
from loomtest.harness.encoding import decode
from loomtest.harness.outward import visible

_OURS = re.compile(r"^# from \d+ sound units?, [^\n]*\n(?:#   [^\n]*\n)*", re.MULTILINE)
_HEADER = re.compile(r"^[ \t]*\[[ \t]*expect[ \t]*\][^\n]*\n", re.MULTILINE)
_WIDTH = 100


def settings_file(given: Path) -> Path:
    """The harness.toml that `[expect]` of this harness belongs into; it need not be there yet.

    Raises InputError for a bare wire list or a harness file, which have none.
    """
    if given.is_dir():
        return given / "harness.toml"
    if given.suffix.lower() == ".toml":
        return given
    expected = "a harness folder, or its harness.toml, to write [expect] into"
    raise InputError([Problem(visible(str(given)), None, "", "a file without settings", expected)])


def settings_read(file: Path) -> str:
    """The file's text with its line ends; "" where there is none yet. Raises InputError."""
    if not file.exists():
        return ""
    try:
        return decode(file.read_bytes())[0]
    except (OSError, ValueError) as error:
        raise InputError([Problem(visible(str(file)), None, "", str(error), "a settings file")]) from error


def with_expect(text: str, values: Mapping[str, float], units: Sequence[str], day: str) -> str:
    """The text of a harness.toml with these keys of `[expect]`, below the units and the day they come from.

    What such a comment said before is replaced; keys that are not given, and their comments, stay.
    """
    import tomlkit

    end = "\r\n" if "\r\n" in text else "\n"
    document = tomlkit.parse(_OURS.sub("", text.replace("\r\n", "\n")))
    if "expect" not in document:
        document.add("expect", tomlkit.table())
    table = document["expect"]
    for key, value in values.items():
        table[key] = value
    out = tomlkit.dumps(document)
    comment = _comment(units, day)
    header = _HEADER.search(out)
    at = header.end() if header else 0  # written as expect.key = …: there is no header to stand below
    return (out[:at] + comment + out[at:]).replace("\n", end)


def _comment(units: Sequence[str], day: str) -> str:
    lines, line = [], "#  "
    for unit in (visible(" ".join(unit.split())) for unit in units):
        if len(line) > 3 and len(line) + len(unit) + 2 > _WIDTH:
            lines.append(line.rstrip())
            line = "#  "
        line += f" {unit},"
    lines.append(line.rstrip(","))
    noun = "unit" if len(units) == 1 else "units"
    return f"# from {len(units)} sound {noun}, {day} (loomtest expect):\n" + "".join(
        f"{one}\n" for one in lines
    )


def write_settings(file: Path, text: str) -> None:
    """Put the text in the file's place at once: a power cut leaves the old file or the new one."""
    aside = file.with_name(f".{file.name}.new")
    try:
        with aside.open("w", encoding="utf-8", newline="") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        aside.replace(file)
    except OSError as error:
        found = f"a place that cannot be written ({error.strerror})"
        raise InputError(
            [Problem(visible(str(file)), None, "", found, "a settings file to write")]
        ) from error
