"""A new harness folder to fill in: wire list, settings and readings sheet, explained in their own comments.

Comments stand above the header row, where every reader of ours passes them over, and hold no comma or
semicolon, so that a spreadsheet keeps each in one cell. The files begin with a byte-order mark: without it
some spreadsheets take Ω and ² for something else.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path

from loomtest.errors import InputError, Problem
from loomtest.harness.model import Expect, Limits
from loomtest.harness.notes.notation import NotedWire
from loomtest.harness.outward import sheet_cell, toml_text, visible
from loomtest.harness.settings import read_settings
from loomtest.harness.table import quoted
from loomtest.harness.whole import take_back, written_whole

WIRES, SETTINGS, READINGS, NOTES = "wires.csv", "harness.toml", "readings.csv", "notes.txt"
NOTES_READ, ANSWERS, CHANGES = "notes.read.txt", "notes.answers.toml", "connector_change.csv"
WIRE_COLUMNS = (
    "from", "to", "wire", "colour", "size", "length", "kind", "amps", "circuit", "note",
    "ohms_min", "ohms_max",
)  # fmt: skip
READING_COLUMNS = ("from", "to", "value", "quantity", "unit", "current", "note")
BOM = "\ufeff"

WIRES_TEXT = """\
# The wire list: one row for each wire. Only from and to are needed. The rest makes the answers sharper.
# from and to: X1:3 is connector X1 cavity 3. A ground or splice or stud is just its name: GND1 or SP1
# wire: its name. colour: red or RD or BK/WH. size: 1.5 (mm²) or AWG 16. length: 0.85 (m) or 33 in
# kind: wire or nothing. For a part that stays plugged in: fuse or resistor or lamp or coil or diode
# amps: what the circuit carries in service. circuit: its name. ohms_min and ohms_max: what a part may have
# Lines that begin with # are passed over. Keep the row of column names. Save as CSV in UTF-8.
"""
_READINGS_TEXT = """\
# What the meter showed: one row for each pair of points touched. In any order and as often as you like.
# from and to: the points as the wire list names them. value: 0.4 or 420 mΩ or 1.2k. OL for over-range.
# quantity: nothing for ohms. resistance_4w for four-wire ohms.
# For volts lost while a current flows: voltage_drop in quantity and V in unit and the amperes in current.
# Hold the tips of the leads together first and note what they show: that much is leads and not wire.
"""
KEY_SAYS = {
    "temperature_c": "of the wires while you measure",
    "temperature_spread_c": "how far off that may be",
    "copper_factor": "a stranded wire against the table's copper",
    "copper_spread_percent": "how far off a wire's own copper may be",
    "length_spread_percent": "how far off your lengths may be",
    "joint_milliohms": "a healthy crimp or splice",
    "joint_spread_milliohms": "how far off that may be",
    "bad_joint_rate": "share of wires with a poor joint before anything is measured",
    "bad_joint_from_milliohms": "the least that a poor joint adds; any size up to the next key is as likely",
    "bad_joint_to_ohms": "the most that a poor joint adds",
    "unknown_wire_to_ohms": "a healthy wire without size or length has any resistance up to this",
    "bad_joint_milliohms": "most a wire may have above a healthy one; written here, joints are judged at it",
    "joint_drop_volts": "where amps is known: no more than this lost; the smaller limit holds",
    "system_volts": "of the vehicle: what a lost volt is compared with",
    "continuity_ohms": "limit of a wire without size or length",
    "short_below_ohms": "joined below this",
    "isolation_ohms": "apart above this",
    "isolation": 'which pairs to show apart: "full", "neighbours", "bonded" or "none"',
    "isolation_in_segments": "true: at neighbours also circuits whose wires share a branch (branches.csv)",
    "confidence": "how sure an answer must be",
}


@dataclass(frozen=True)
class Answers:
    """What is known of a new harness. `cavities` is connector to its cavities as TOML (`8`, `["A1"]`)."""

    name: str
    cavities: Mapping[str, str] = field(default_factory=dict)
    worked_on: Sequence[str] = ()
    wires: Sequence[NotedWire] = ()
    notes: str | None = None
    places: Mapping[str, str] = field(default_factory=dict)
    more: Mapping[str, str] = field(default_factory=dict)  # further files: name to text
    separator: str = ","


def files_of(answers: Answers) -> dict[str, str]:
    """File name to its text."""
    files = {
        WIRES: wire_list(answers.wires, answers.separator),
        SETTINGS: settings_text(answers),
        READINGS: BOM + _READINGS_TEXT + answers.separator.join(READING_COLUMNS) + "\r\n",
    }
    if answers.notes is not None:
        files[NOTES] = answers.notes
    files |= answers.more
    return {name: text.replace("\r\n", "\n").replace("\n", "\r\n") for name, text in files.items()}


def wire_list(wires: Sequence[NotedWire], separator: str = ",") -> str:
    """The wire list with its comments, and a row for each wire; a wire without a name gets one by row.

    With a semicolon as the separator numbers have a decimal comma, as a spreadsheet that wants the one
    wants the other.
    """
    out = io.StringIO()
    out.write(BOM + WIRES_TEXT)
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")
    writer.writerow(WIRE_COLUMNS)
    taken = {wire.wire for wire in wires}
    for row, wire in enumerate(wires, 1):
        name = wire.wire or f"W{row}"
        while not wire.wire and name in taken:
            name += "'"
        taken.add(name)
        size, length, amps = wire.size, wire.length, wire.amps
        if separator == ";":
            size, length, amps = (text.replace(".", ",") for text in (size, length, amps))
        cells = [
            wire.start,
            wire.end,
            name,
            wire.colour,
            size,
            length,
            wire.kind,
            amps,
            wire.circuit,
            wire.note,
        ]
        writer.writerow([*map(sheet_cell, cells), "", ""])
    return out.getvalue()


def settings_text(answers: Answers) -> str:
    """harness.toml with every key: those that were answered, the others as comments with their defaults."""
    lines = [
        "# What is known of this loom beside its wires. Every key may be left out.",
        "# A line that begins with # is a comment: take the sign away to use the key.",
        "",
        f"name = {_quoted(answers.name)}",
        f'# wires = "{WIRES}"           # the wire list in this folder',
        '# unreachable = ["SP1"]         # points that no probe can reach: a splice under tape',
    ]
    if answers.worked_on:
        lines.append(
            f"worked_on = [{', '.join(map(_quoted, answers.worked_on))}]  # taken apart in this work"
        )
    else:
        lines.append('# worked_on = ["X1"]            # connectors taken apart: likelier to hold a mistake')
    lines += ["", "[cavities]  # of each connector, empty ones too: a count, or a list of names"]
    lines += [f"{_key(name)} = {cavities}" for name, cavities in answers.cavities.items()]
    if not answers.cavities:
        lines += ["# X1 = 8", '# X2 = ["A1", "A2", "B1", "B2"]']
    lines += [
        "",
        "[faces]  # how the cavities lie: for what is side by side, and for pictures",
        '# numbering is "across", "down" or "back-and-forth"; seen_from is "mating" or "wire"',
        '# X1 = {rows = 2, numbering = "across", seen_from = "mating"}',
        "",
        "[places]  # where to find a connector, ground or splice, in words",
        *(f"{_key(name)} = {_quoted(place)}" for name, place in answers.places.items()),
        *(() if answers.places else ('# X1 = "bulkhead, left of the battery"',)),
        "",
        "[limits]  # what decides; the numbers here are the defaults",
        *_defaults(Limits()),
        "",
        "[expect]  # healthy copper and joints; the numbers here are the defaults",
        *_defaults(Expect()),
        "",
    ]
    return "\n".join(lines)


def read_cavities(items: Iterable[str], source: str, problems: list[Problem]) -> dict[str, str]:
    """`X1=8` and `X2=A1,A2` as connector to TOML value, held to the rules of harness.toml."""
    found: dict[str, str] = {}
    for item in items:
        name, equals, value = item.partition("=")
        expected = "a connector and its cavities: X1=8, or X1=A1,A2,B1"
        if not equals or not name.strip():
            problems.append(Problem(source, None, "", quoted(item), expected))
            continue
        count = value.strip()
        names = ", ".join(_quoted(word.strip()) for word in value.split(","))
        cavities = count if count.isdecimal() and not count.startswith("0") else f"[{names}]"
        wrong: list[Problem] = []
        read_settings(f"[cavities]\n{_quoted(name.strip())} = {cavities}", source, wrong)
        problems += [replace(problem, line=None) for problem in wrong]
        found[name.strip()] = cavities
    return found


def _defaults(values: Limits | Expect) -> list[str]:
    told = [(item.name, getattr(values, item.name)) for item in fields(values) if item.name in KEY_SAYS]
    keys = [f"# {name} = {json.dumps(value, ensure_ascii=False)}" for name, value in told]
    width = max(map(len, keys)) + 2
    return [f"{key.ljust(width)}# {KEY_SAYS[name]}" for key, (name, _) in zip(keys, told, strict=True)]


def _quoted(text: str) -> str:
    return toml_text(text)


def _key(name: str) -> str:
    return name if name.isascii() and name.replace("_", "").isalnum() else _quoted(name)


def refuse_what_is_there(folder: Path, names: Iterable[str]) -> None:
    """Raise InputError where one of the files exists: nothing is ever written over.

    What a stopped program left of such a folder is removed first.
    """
    try:
        take_back(folder)
    except OSError as error:
        raise not_written(folder, error) from error
    there = [folder / name for name in names if (folder / name).exists() or (folder / name).is_symlink()]
    if folder.exists() and not folder.is_dir():
        raise InputError(
            [Problem(visible(str(folder)), None, "", "a file", "a folder, or a new name for one")]
        )
    if there:
        expected = "a new folder: nothing is ever written over"
        found = "a file that is there already"
        raise InputError([Problem(visible(str(path)), None, "", found, expected) for path in there])


def not_written(folder: Path, error: OSError) -> InputError:
    """What is said where a folder could not be written: that nothing of it was."""
    found = f"a folder that cannot be written ({(error.strerror or str(error)).lower()})"
    expected = "a folder to write into; nothing was written there"
    return InputError([Problem(visible(str(folder)), None, "", found, expected)])


def write_new(folder: Path, files: Mapping[str, str]) -> list[Path]:
    """Write the files into `folder`, which may exist. Raises InputError, with nothing written, where one of
    them is there already or the folder cannot be written.
    """
    refuse_what_is_there(folder, files)
    try:
        with written_whole(folder) as aside:
            for name, text in files.items():
                (aside / name).write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise not_written(folder, error) from error
    return [folder / name for name in files]
