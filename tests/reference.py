"""Makes docs/reference.md out of the code: a test compares the page with what this makes now.

    PYTHONPATH=. python tests/reference.py

What a column or key means is said here once; that none is missing and none is invented is taken from the
readers themselves.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import fields
from pathlib import Path
from typing import Any, get_args

import typer

import loomtest
from loomtest.bench.rehearsal.faults import COLUMNS as FAULT_COLUMNS
from loomtest.bench.rehearsal.faults import NEEDS
from loomtest.commands.app import app
from loomtest.commands.terminal.help import JOB, ends, entries, examples, synopsis, told
from loomtest.diagnosis.verdict import Fault
from loomtest.harness.branches import BRANCH_COLUMNS
from loomtest.harness.colours import IEC_60757
from loomtest.harness.measures import _AMPS, _METRES, _MM2, _OHMS
from loomtest.harness.model import Expect, Limits
from loomtest.harness.newfolder import KEY_SAYS
from loomtest.harness.settings import _TOP, HEADING_ROW, WIRE_COLUMNS
from loomtest.harness.wirelist import COLUMNS, KINDS
from loomtest.readings.instrument import _KEYS, _RANGE_KEYS, instrument_names, load_instrument
from loomtest.readings.model import Quantity
from loomtest.readings.table import COLUMNS as READING_COLUMNS
from loomtest.words.labels import FAULT_SIGN, FAULT_WORD

PAGE = Path(__file__).parents[1] / "docs" / "reference.md"
WIRES = {
    "from": "the point where the wire begins: `X3:2` (connector, cavity), or a name alone (`GND1`); needed",
    "to": "the point where it ends; needed",
    "wire": "its name; `W1`, `W2` … by row where left out; each once",
    "colour": "letters of IEC 60757 or plain words; `color` is read too",
    "size": "of the conductor: `1.5` (mm²), `AWG 16`",
    "length": "`0.85` (m), `850 mm`, `33 in`, `2.8 ft`",
    "kind": "`wire`, or a part that stays plugged in",
    "ohms_min": "the least a part may have",
    "ohms_max": "the most a part may have; on a wire, instead of the limit that is computed",
    "amps": "the current that the circuit carries in service",
    "circuit": "the circuit's name",
    "note": "anything",
}
LIE = {
    "from": "a node: a connector, a ring or splice, or a name of your own where branches part (`J1`); needed",
    "to": "the node at the branch's other end; left out in a row that says where `from` lies",
    "length": "of the branch, with the units of a wire's length; left out where nobody measured it",
    "x": "where the node lies, in a row without `to`: a length of either sign",
    "y": "likewise",
    "z": "likewise; 0 where left out",
}
READINGS = {
    "from": "the point probed; for polarity the positive lead; needed",
    "to": "the other point; needed",
    "value": "`0.42`, `420 mΩ`, `1.2k`, `OL`, `>40M`, `9.9E37`; `yes` or `no`; left empty: not measured",
    "quantity": "what the value is of; `resistance` where left out",
    "unit": "of a bare value and of `uncertainty`: `ohm`, `milliohm`, `kilohm`, `megohm`, `V`, `mV`",
    "current": "amperes that flowed, for `voltage_drop`",
    "uncertainty": "standard uncertainty of this value (k = 1), leads not included",
    "range": "the meter's range in ohms when it showed over-range",
    "bonded_from": "further points clipped to `from`, separated by spaces",
    "bonded": "further points clipped to `to`",
    "time": "ISO 8601 with offset",
    "withdraws": "the number of an earlier row that this one takes back",
    "instrument": "which meter, for the record",
    "temperature": "of the conductors, °C",
    "round": "with marker clips: which way of putting them on; 1 where left out",
    "note": "anything",
}
QUANTITIES = {
    "RESISTANCE": "ohms with two leads",
    "RESISTANCE_4W": "ohms with four leads: nothing of the leads is in it",
    "VOLTAGE_DROP": "volts along it while `current` flows",
    "CONTINUITY": "the beeper: `yes` below its limit, `no` above it",
    "INSULATION": "megohms at a test voltage",
    "DIODE": "volts of the diode test, red lead on `from`",
    "CAPACITANCE": "farads of a broken wire against the rest tied together",
}
PARTS = {
    "wire": "copper with a joint at each end",
    "fuse": "joins its points like a wire; at most 1 Ω without a range",
    "resistor": "stands between two circuits; 0.1 Ω to 10 kΩ without a range",
    "lamp": "likewise; cold, a tenth of what it has when lit, or less (common practice)",
    "coil": "likewise: a relay, a horn, a motor",
    "diode": "conducts from `from` to `to`; only `quantity = diode` judges it",
    "switch": "may be on or off while you measure: it joins its points or parts them",
    "restraint": "a wire of an airbag or belt tensioner: never measured",
}
FAULTS_SAY = {
    "open": "two points that should be joined are not",
    "short": "two circuits that should be apart are joined",
    "crossed": "the wires of a cycle of cavities are exchanged",
    "misplaced": "a wire's end sits where it does not belong, and nothing came back for it",
    "high-resistance": "a joint or wire that has more than its limit",
    "leakage": "two circuits are joined by more than a short's and less than isolation's resistance",
    "intermittent": "comes and goes while the loom is flexed",
    "wrong-part": "a part outside its range",
}
TOP = {
    "name": "what the loom is called",
    "wires": "the wire list's file in this folder",
    "unreachable": "points that no probe reaches",
    "worked_on": "connectors that were taken apart: likelier to hold a mistake",
    "expect": "healthy copper and joints, below",
    "limits": "what decides, below",
    "cavities": "of each connector: a count, or a list of names",
    "faces": "`{rows, numbering, seen_from}` of each connector: how its cavities lie",
    "places": "where to find a connector, ground or splice, in words",
    "columns": "which columns of a list laid out in its own way hold what, below",
}
OWN_COLUMNS = {
    "from": 'your column, `"Start"`, or two, connector and pin: `["Plug", "Way"]`; '
    '`"column C"` where it has no name of its own; needed',
    "to": "the same of the other end; needed",
    **{key: f"your column for `{key}`" for key in WIRE_COLUMNS if key not in ("from", "to")},
    HEADING_ROW: "the row of your column names, where it is not the first with all of them; 0: there is none",
}
METER = {
    "name": "what it is, in words",
    "method": "`two-wire` or `four-wire`",
    "autorange": "true where it finds the range by itself",
    "lead_ohms": "what the leads have, still to be taken off; left out: not known, found from the run",
    "lead_uncertainty_ohms": "how well that is known: one value for the whole run",
    "lead_farads": "what the leads in the air show, taken off every capacitance",
    "touch_ohms": "how much a touch differs from the next",
    "open_above_ohms": "it shows over-range above this",
    "beep_below_ohms": "it beeps below this",
    "range": "`[[range]]` tables, the smallest first, below",
    "capacitance_range": "`[[capacitance_range]]` tables: the same in farads (`up_to_farads`, `percent`, "
    "`counts`, `resolution_farads`)",
    "voltage_range": "`[[voltage_range]]` tables of direct volts: the same in volts (`up_to_volts`, "
    "`percent`, `counts`, `resolution_volts`)",
    "serial": "how to read it over a cable: [log](log.md)",
}
RANGE = {
    "up_to_ohms": "the range's end",
    "percent": "maker's limit of error: percent of the reading …",
    "counts": "… and this many counts",
    "resolution_ohms": "one count",
}


def table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> list[str]:
    """A table in Markdown."""
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    return [*lines, *("| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows)]


def said(names: Iterable[str], meanings: dict[str, str]) -> list[tuple[str, str]]:
    """The names of the code with what they mean; both must be the same names."""
    names = list(names)
    assert set(names) == set(meanings), set(names) ^ set(meanings)
    return [(f"`{name}`", meanings[name]) for name in names]


def command_lines() -> list[str]:
    """Every verb, in the order of the job."""
    group: Any = typer.main.get_command(app)
    lines = []
    for title, names in JOB:
        lines += [f"## {title}", ""]
        for name in names:
            command = group.commands[name]
            summary, paragraphs, objects = told(command)
            lines += [f"### loomtest {name}", "", summary, "", f"    {' '.join(synopsis(name, command))}", ""]
            for text in (*paragraphs, objects):
                lines += [text, ""] if text else []
            rows = [(f"`{e.written}`", e.text + (" Needed." if e.required else "")) for e in entries(command)]
            lines += [*table(("argument or option", "what it is"), rows), ""]
            lines += [f"    {example}" for example in examples(command)]
            statuses = "; ".join(f"{status} {text}" for status, text in ends(name) if status not in (2, 130))
            lines += ["", f"Exit status: {statuses}.", ""]
    return lines


def _written(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def file_lines() -> list[str]:
    """The columns and keys of every file."""
    lines = ["## The wire list, `wires.csv`", "", *table(("column", "means"), said(COLUMNS, WIRES)), ""]
    lines += ["Any other column is carried along.", "", *table(("kind", "is"), said(KINDS, PARTS)), ""]
    lines += ["## `harness.toml`", "", *table(("key", "means"), said(_TOP, TOP)), ""]
    for name, defaults in (("limits", Limits()), ("expect", Expect())):
        keys = [item.name for item in fields(defaults) if not item.name.endswith("_written")]
        rows = [(f"`{key}`", f"`{_written(getattr(defaults, key))}`", KEY_SAYS[key]) for key in keys]
        lines += [f"`[{name}]`", "", *table(("key", "default", "means"), rows), ""]
    lines += ["Where the limits come from: [limits](limits.md).", ""]
    lines += [
        "`[columns]`",
        "",
        *table(("key", "means"), said((*WIRE_COLUMNS, HEADING_ROW), OWN_COLUMNS)),
        "",
    ]
    lines += ["For lists as they are: [spreadsheets](spreadsheet.md#columns-in-your-own-words).", ""]
    lines += ["## How the loom lies, `branches.csv`", ""]
    lines += ["In the folder of the wire list, where you have it: [branches](branches.md).", ""]
    lines += [*table(("column", "means"), said(BRANCH_COLUMNS, LIE)), ""]
    lines += ["## Readings", "", *table(("column", "means"), said(READING_COLUMNS, READINGS)), ""]
    quantities = {quantity.name.lower(): QUANTITIES[quantity.name] for quantity in Quantity}
    lines += [*table(("quantity", "is"), said(quantities, quantities)), ""]
    lines += ["## `instrument.toml`", "", *table(("key", "means"), said(_KEYS, METER)), ""]
    lines += [*table(("key of `[[range]]`", "means"), said(_RANGE_KEYS, RANGE)), ""]
    known = [(name, load_instrument(name)) for name in instrument_names()]
    meters = [(f"`{name}`", meter.name, meter.method) for name, meter in known]
    lines += ["Meters that come along, for `--instrument`:", ""]
    lines += [*table(("name", "is", "leads"), meters), ""]
    return lines


def word_lines() -> list[str]:
    """Units, colours, faults, exit statuses and the library's names."""
    units = [
        ("size", ", ".join(f"`{unit}`" for unit in sorted(_MM2) if unit) + ", `AWG 0000` to `AWG 40`", "mm²"),
        (
            "length",
            ", ".join(f"`{unit}`" for unit in _METRES if unit) + ", feet and inches (`2 ft 6 in`)",
            "m",
        ),
        ("ohms", ", ".join(f"`{unit}`" for unit in _OHMS if unit and "\u2126" not in unit), "Ω"),
        ("amps", ", ".join(f"`{unit}`" for unit in _AMPS if unit), "A"),
    ]
    lines = ["## Units", "", *table(("cell of the wire list", "units read", "a bare number is"), units), ""]
    colours = [(f"`{code}`", word) for code, word in IEC_60757.items()]
    lines += ["## Colours", "", "IEC 60757. Two colours: `BKWH`, `BK/WH`, `black/white`, base first.", ""]
    lines += [*table(("letters", "colour"), colours), "", "## Faults", ""]
    faults = [
        (f"`{fault}`", FAULT_WORD[fault], f"`{FAULT_SIGN[fault]}`", FAULTS_SAY[fault])
        for fault in get_args(Fault)
    ]
    assert set(FAULTS_SAY) == set(get_args(Fault))
    lines += [*table(("in JSON", "printed", "mark", "what it is"), faults), ""]
    made = ", ".join(f"`{name}`" for name in NEEDS)
    columns = ",".join(FAULT_COLUMNS)
    lines += [f"A rehearsal's `faults.csv` (columns `{columns}`) may hold {made}.", ""]
    lines += ["## Exit status", ""]
    statuses = [
        ("0", "done; `judge`, `compare`: pass; `wiggle`: no event; `verify`: all good"),
        ("1", "`judge`, `compare`: a fault stands; `wiggle`: intermittent; `verify`: something is wrong"),
        ("2", "could not be carried out: one message on standard error"),
        ("3", "`judge`, `compare`: not proven; `wiggle`: too short to say"),
        ("130", "interrupted; what was recorded is safe on disk"),
    ]
    lines += [*table(("status", "means"), statuses), "", "## In Python", ""]
    public = {name: getattr(loomtest, name) for name in loomtest.__all__ if name != "__version__"}
    verbs = [(name, thing) for name, thing in public.items() if not isinstance(thing, type)]
    types = [(name, thing) for name, thing in public.items() if isinstance(thing, type)]
    for heads, found in ((("name", "does"), verbs), (("type", "is"), types)):
        rows = [(f"`loomtest.{name}`", _first_sentence(thing)) for name, thing in found]
        lines += [*table(heads, rows), ""]
    lines += ["`loomtest.__version__` is the version. How to use them: [notebook](notebook.md).", ""]
    return lines


def _first_sentence(thing: Any) -> str:
    text = " ".join((thing.__doc__ or "").split("\n\n")[0].split())
    return re.sub(r"\s+", " ", text)


def page() -> str:
    """The whole page."""
    lines = [
        "# Reference",
        "",
        "Made from the program itself by `tests/reference.py`, and compared with it by a test. The same "
        "stands in `loomtest --help` and `loomtest COMMAND --help`.",
        "",
        *command_lines(),
        "## For every command",
        "",
        "An answer stands on standard output; warnings and a word of progress on standard error. Progress "
        "is shown only where standard error is a terminal and only for what takes longer than a second; "
        "`--quiet` leaves it out. Colour is used only on a terminal and not where `NO_COLOR` is set. "
        "`LOOMTEST_ARCHIVE` names the archive folder where `--archive` does not.",
        "",
        "Completion: `loomtest --install-completion` lets the Tab key of bash, zsh, fish or PowerShell "
        "complete commands and options; open a new window afterwards. `--show-completion` prints it instead, "
        "to put in place by hand.",
        "",
        *file_lines(),
        *word_lines(),
    ]
    return "\n".join(lines).rstrip("\n") + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
