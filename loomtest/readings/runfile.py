"""What stands in a run folder beside the readings: `run.toml`, the copy of the harness, and their digest.

`run.toml` is written once when the run begins; after that only whole lines are added to its last table,
`[events]`. A line is complete when it ends in a line feed, so that a torn one shows.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from loomtest.errors import InputError, Problem, RunFolderError
from loomtest.harness.document import finite_number, read_document
from loomtest.harness.exchange.filename import copy_name, is_exchange
from loomtest.harness.load import list_text
from loomtest.harness.model import ISOLATION_LEVELS, Harness
from loomtest.harness.outward import toml_text
from loomtest.readings.appended import split_torn
from loomtest.readings.instrument import load_instrument
from loomtest.readings.kitfile import SEATS_FILE, SeatRow, read_seats
from loomtest.readings.model import Instrument, Job, Run
from loomtest.readings.packed import PACKED_ENDING
from loomtest.readings.table import read_bytes
from loomtest.readings.values import believable_temperature

RUN_FILE = "run.toml"
READINGS_FILE = "readings.csv"
INSTRUMENT_FILE = "instrument.toml"
WIRE_LIST = "wires.csv"
HARNESS_FOLDER = "harness"
LOCK_FILE = "run.lock"
SET_ASIDE_FILE = "set-aside.txt"
FORMAT = "loomtest-run/1"
OLDER_HEADER = (  # of runs recorded before marker clips
    "from,to,value,quantity,unit,current,uncertainty,range,bonded_from,bonded,time,withdraws,instrument,"
    "temperature,note\n"
)
HEADER = OLDER_HEADER.removesuffix("\n") + ",round\n"

Fact = str | int | float | bool


@dataclass(frozen=True)
class OpenedRun:
    """A run folder as read: `data` is its readings file up to the last whole line, `torn` the rest."""

    run: Run
    instrument: Instrument | None
    data: bytes
    file: str
    torn: bytes
    seats: tuple[SeatRow, ...] = ()

    def warnings(self, harness: Harness) -> tuple[Problem, ...]:
        """A torn last line, and a harness that is not the one the run was recorded against."""
        found: list[Problem] = []
        if self.torn:
            shown = json.dumps(self.torn[:60].decode("utf-8", "replace"), ensure_ascii=False)
            expected = "a whole line; the program was stopped while it wrote, and this piece is not used"
            found.append(Problem(self.file, self.data.count(b"\n") + 1, "", shown, expected, "warning"))
        written = self.run.raw.get("temperature_c")
        if written is not None and self.run.temperature_c is None:
            file = str(Path(self.file).parent / RUN_FILE)
            expected = "degrees Celsius, such as 21.5; it is not used"
            found.append(Problem(file, None, "temperature_c", str(written)[:40], expected, "warning"))
        digest = harness_digest(harness)
        if self.run.harness_digest and digest and digest != self.run.harness_digest:
            file = str(Path(self.file).parent / RUN_FILE)
            expected = f"the harness it was recorded against (a copy is in its folder {HARNESS_FOLDER})"
            found.append(Problem(file, None, "harness", "a changed harness", expected, "warning"))
        return tuple(found)


def open_run(folder: Path) -> OpenedRun:
    """A run folder for reading; a run that is still being recorded can be opened too. Raises InputError."""
    file = str(folder / READINGS_FILE)
    packed = folder / (READINGS_FILE + PACKED_ENDING)
    if packed.is_file() and not (folder / READINGS_FILE).is_file():
        file = str(packed)
    for name in (RUN_FILE, READINGS_FILE):
        if not (folder / name).is_file() and not (name == READINGS_FILE and file == str(packed)):
            expected = f"a run folder, which holds {RUN_FILE} and {READINGS_FILE}, or a readings file (CSV)"
            raise InputError([Problem(str(folder), None, "", f"a folder without {name}", expected)])
    whole, torn = split_torn(read_bytes(Path(file), file))
    instrument_file = folder / INSTRUMENT_FILE
    return OpenedRun(
        run=read_run_file(folder),
        instrument=load_instrument(instrument_file) if instrument_file.is_file() else None,
        data=whole,
        file=file,
        torn=torn,
        seats=seats_in(folder),
    )


def seats_in(folder: Path) -> tuple[SeatRow, ...]:
    """Where marker clips sat in a run, () where it had none. Raises InputError."""
    file = folder / SEATS_FILE
    return read_seats(file) if file.is_file() else ()


def read_run_file(folder: Path) -> Run:
    """The tables of `run.toml`, a torn last line left out. Raises InputError."""
    path = folder / RUN_FILE
    problems: list[Problem] = []
    raw: dict[str, Any] | None = None
    try:
        whole, _ = split_torn(path.read_bytes())
        raw = read_document(whole.decode("utf-8"), str(path), problems)
    except (OSError, UnicodeDecodeError) as error:
        problems.append(Problem(str(path), None, "", f"damage ({error})", "a run file"))
    if raw is None:
        raise InputError(problems)
    harness = raw.get("harness") if isinstance(raw.get("harness"), dict) else {}
    assert isinstance(harness, dict)
    leads = [event for event in events_of(raw) if event.get("what") == "leads"]
    zero = {str(event.get("when")): event for event in leads}
    return Run(
        stage=str(raw.get("stage", "")),
        operator=str(raw.get("operator", "")),
        started=str(raw.get("started", "")),
        temperature_c=_temperature(raw.get("temperature_c")),
        lead_start_ohms=finite_number(zero.get("start", {}).get("ohms")),
        lead_end_ohms=finite_number(zero.get("end", {}).get("ohms")),
        lead_uncertainty_ohms=finite_number(leads[-1].get("uncertainty_ohms")) if leads else None,
        harness_name=str(harness.get("name", "")),
        harness_digest=str(harness.get("digest", "")),
        tool_version=str(raw.get("tool_version", "")),
        notes=str(raw.get("notes", "")),
        rehearsal=raw.get("rehearsal") is True,
        job=_job(raw.get("job")),
        isolation=next((level for level in ISOLATION_LEVELS if level == raw.get("isolation")), None),
        raw=raw,
    )


def _temperature(value: object) -> float | None:
    number = finite_number(value)
    return number if number is not None and believable_temperature(number) else None


def _job(table: object) -> Job:
    """The table `[job]`; a key that is missing or no text counts as empty."""
    given = table if isinstance(table, dict) else {}
    texts = {key: given.get(key) for key in ("number", "unit", "customer")}
    return Job(**{key: str(text) for key, text in texts.items() if isinstance(text, str | int)})


def events_of(raw: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The entries of `[events]` in their order: started, leads, resumed, note, ended."""
    events = raw.get("events")
    return [event for event in events.values() if isinstance(event, dict)] if isinstance(events, dict) else []


def last_event(raw: Mapping[str, Any]) -> int:
    """The highest number in `[events]`; 0 where there is none."""
    events = raw.get("events")
    keys = events if isinstance(events, dict) else {}
    return max((int(key) for key in keys if re.fullmatch("[0-9]{1,9}", key)), default=0)


def check_grows(folder: Path) -> None:
    """Raises InputError where lines of this program would not fit behind what stands in the folder's files:
    a table behind `[events]`, or another header of the readings (of a file that was typed by hand and kept).
    """
    text = split_torn((folder / RUN_FILE).read_bytes())[0].decode("utf-8")
    problems: list[Problem] = []
    raw = read_run_file(folder).raw
    grown = read_document(text + event_line(last_event(raw) + 1, {"what": "resumed"}), "", [])
    if grown is None or len(events_of(grown)) != len(events_of(raw)) + 1:
        expected = "the entries of [events], one a line and numbered from 1, at the end of the file"
        found = "another table, or other entries"
        file = str(folder / RUN_FILE)
        problems.append(Problem(file, text.count("\n") + 1, "events", found, expected))
    try:
        with (folder / READINGS_FILE).open("rb") as stream:
            header = stream.readline(1000)
    except OSError as error:
        raise RunFolderError(f"{folder / READINGS_FILE} cannot be read: {error.strerror}") from error
    if header not in (HEADER.encode(), OLDER_HEADER.encode()):
        expected = f"{HEADER.strip()}, as a recorded run has it: begin a new run"
        problems.append(Problem(str(folder / READINGS_FILE), 1, "", "a header of its own", expected))
    if problems:
        raise InputError(problems)


def event_line(number: int, facts: Mapping[str, Fact]) -> str:
    """One line of `[events]`."""
    inside = ", ".join(f"{key} = {toml_value(value)}" for key, value in facts.items())
    return f"{number} = {{{inside}}}\n"


def toml_value(value: Fact) -> str:
    """A value as TOML writes it; text always on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # A JSON string is a TOML basic string, but for DEL and for surrogates that are no character.
        return toml_text(value)
    return repr(value)


def toml_list(value: Fact | Sequence[str]) -> str:
    """A value, or a list of texts, on one line."""
    if isinstance(value, str | int | float | bool):
        return toml_value(value)
    return "[" + ", ".join(toml_value(text) for text in value) + "]"


def harness_copies(harness: Harness) -> dict[str, bytes]:
    """Name and content of each file of a copy of the harness that `load_harness` reads.

    A bare list that is a workbook, or laid out in its own way, is copied as what was read of it: as CSV.
    """
    toml = next((file for file in harness.files if file.suffix.casefold() == ".toml"), None)
    copies: dict[str, Path] = {}
    for file in harness.files:
        if file == toml:
            copies["harness.toml"] = file
        elif file != harness.files[-1]:
            copies[file.name] = file
        elif toml is None and is_exchange(file):
            given = harness.source
            copies[copy_name(given if given is not None and is_exchange(given) else file)] = file
        elif toml is None and not harness.laid_out:
            copies[WIRE_LIST] = file
        elif toml is not None:
            copies[file.relative_to(toml.parent).as_posix()] = file
    contents = {name: file.read_bytes() for name, file in copies.items()}
    if toml is None and harness.laid_out:
        contents[WIRE_LIST] = list_text(harness).encode("utf-8")
    return contents


def kept_beside(harness: Harness) -> Path | None:
    """The bare list itself, where the copy is not made of its bytes: it is kept beside the copy."""
    bare = all(file.suffix.casefold() != ".toml" for file in harness.files)
    original = harness.files[-1] if harness.laid_out and bare else None
    return original if original is not None and original.name != WIRE_LIST else None


def harness_digest(harness: Harness) -> str:
    """`sha256:…` over the names and contents of the harness files; "" for a harness without files.

    It is the SHA-256 of the lines `DIGEST  NAME` that `sha256sum` prints for them, in the order of names.
    """
    copies = harness_copies(harness)
    if not copies:
        return ""
    lines = [f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(copies.items())]
    return "sha256:" + hashlib.sha256("".join(lines).encode()).hexdigest()


def instrument_text(instrument: Instrument) -> str:
    """An instrument file for a specification that was not read from one."""
    keys: list[tuple[str, Fact | None]] = [
        ("name", instrument.name),
        ("method", instrument.method),
        ("autorange", instrument.autorange),
        ("lead_ohms", instrument.lead_ohms),
        ("lead_uncertainty_ohms", instrument.lead_uncertainty_ohms),
        ("touch_ohms", instrument.touch_ohms),
        ("open_above_ohms", instrument.open_above_ohms),
        ("beep_below_ohms", instrument.beep_below_ohms),
        ("lead_farads", instrument.lead_farads or None),
    ]
    lines = [f"{key} = {toml_value(value)}" for key, value in keys if value is not None]
    for one in instrument.ranges:
        fields: Sequence[tuple[str, float]] = (
            ("up_to_ohms", one.up_to_ohms),
            ("percent", one.percent),
            ("counts", one.counts),
            ("resolution_ohms", one.resolution_ohms),
        )
        lines += ["", "[[range]]", *(f"{key} = {toml_value(value)}" for key, value in fields)]
    for of_farads in instrument.capacitance_ranges:
        numbers = asdict(of_farads).items()
        lines += ["", "[[capacitance_range]]", *(f"{key} = {toml_value(value)}" for key, value in numbers)]
    for of_volts in instrument.voltage_ranges:
        numbers = asdict(of_volts).items()
        lines += ["", "[[voltage_range]]", *(f"{key} = {toml_value(value)}" for key, value in numbers)]
    return "\n".join(lines) + "\n"
