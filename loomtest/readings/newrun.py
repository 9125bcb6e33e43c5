"""Making a run folder: the copies that stand in it from the beginning."""

from __future__ import annotations

import os
import shutil
from dataclasses import asdict, dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path

from loomtest.errors import RunFolderError
from loomtest.harness.model import Harness, IsolationLevel
from loomtest.readings import runfile
from loomtest.readings.mended import Mended
from loomtest.readings.model import NO_JOB, Instrument, Job


@dataclass(frozen=True, slots=True)
class About:
    """What is known of a run when it begins. `instrument` None: nobody stated one.

    `rehearsal`: the meter or the scanner is a simulated one; `isolation`: the level it is planned for;
    `mended`: what was mended since an earlier run.
    """

    stage: str = ""
    operator: str = ""
    instrument: Instrument | None = None
    temperature_c: float | None = None
    notes: str = ""
    identifier: str = ""
    rehearsal: bool = False
    job: Job = NO_JOB
    isolation: IsolationLevel | None = None
    mended: Mended | None = None


def run_of_file(folder: Path, readings: Path, harness: Harness, about: About, started: datetime) -> None:
    """A run folder around a readings file that was typed by hand; the file's bytes are kept as they are,
    but for a last line feed where it lacks one. Raises RunFolderError.
    """
    try:
        folder.mkdir(parents=True)
        fill_run(folder, harness, about, started)
        data = readings.read_bytes()
        if data and not data.endswith(b"\n"):
            data += b"\n"  # in a run folder a line without one is a torn line
        (folder / runfile.READINGS_FILE).write_bytes(data)
    except OSError as error:
        raise RunFolderError(f"{folder} cannot be made: {error.strerror or error}") from error


def with_harness(run: Path, harness: Harness, place: Path) -> None:
    """A copy of a run folder at `place`, with a copy of its harness. Raises RunFolderError."""
    try:
        shutil.copytree(run, place, ignore=shutil.ignore_patterns(runfile.LOCK_FILE))
        _copy_harness(harness, place)
    except OSError as error:
        raise RunFolderError(f"{place} cannot be made: {error.strerror or error}") from error


def _copy_harness(harness: Harness, folder: Path) -> None:
    contents = runfile.harness_copies(harness)
    original = runfile.kept_beside(harness)
    if original is not None:
        contents[original.name] = original.read_bytes()
    for name, data in contents.items():
        copy = folder / runfile.HARNESS_FOLDER / name
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(data)


def fill_run(folder: Path, harness: Harness, about: About, now: datetime) -> None:
    """Write what a run folder begins with into an empty folder. Raises OSError."""
    _copy_harness(harness, folder)
    instrument = about.instrument
    if instrument is not None and not instrument.assumed:
        text = instrument.text.replace("\r\n", "\n").replace("\r", "\n")
        text = text or runfile.instrument_text(instrument)
        (folder / runfile.INSTRUMENT_FILE).write_text(text, "utf-8", newline="\n")
    started = now.isoformat(timespec="seconds")
    facts: list[tuple[str, runfile.Fact | None]] = [
        ("format", runfile.FORMAT),
        ("identifier", about.identifier or None),
        ("tool_version", version("loomtest")),
        ("stage", about.stage),
        ("operator", about.operator),
        ("started", started),
        ("temperature_c", about.temperature_c),
        ("rehearsal", about.rehearsal or None),
        ("isolation", about.isolation),
        ("notes", about.notes),
    ]
    lines = ["# One sitting at the bench. Written once at its start; only [events] grows, line by line."]
    lines += [f"{key} = {runfile.toml_value(value)}" for key, value in facts if value is not None]
    job = [(key, value) for key, value in asdict(about.job).items() if value]
    if job:
        lines += ["", "[job]", *(f"{key} = {runfile.toml_value(value)}" for key, value in job)]
    lines += ["", "[harness]", f"name = {runfile.toml_value(harness.name)}"]
    lines += [f"digest = {runfile.toml_value(runfile.harness_digest(harness))}"]
    if instrument is not None:
        lines += ["", "[instrument]", f"name = {runfile.toml_value(instrument.name)}"]
        lines += [f"assumed = {runfile.toml_value(instrument.assumed)}"]
    if about.mended is not None:
        lines += ["", "[mended]"]
        lines += [f"{key} = {runfile.toml_list(value)}" for key, value in about.mended.facts().items()]
    lines += ["", "[events]", ""]
    text = "\n".join(lines) + runfile.event_line(1, {"what": "started", "at": started})
    for name, content in ((runfile.READINGS_FILE, runfile.HEADER), (runfile.RUN_FILE, text)):
        with (folder / name).open("w", encoding="utf-8", newline="\n") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
